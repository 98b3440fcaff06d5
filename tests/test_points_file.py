"""The points file: what is accepted, what is refused and in which words, and that nothing is lost."""

from __future__ import annotations

import json
import os
import stat
from importlib import resources
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limner.errors import OutputError, UsageError
from limner.face.byhand import HandPoint, HandPoints, check_belongs, points_for, usual_sigma
from limner.face.placeable import OUTLINE, PLACEABLE, nearest_name
from limner.face.points import NAMED_POINTS
from limner.face.pointsfile import MOST_BYTES, SCHEMA, parse_points, points_text, read_points, save_points
from limner.pictures.picture import Picture

DIGEST = "0123456789abcdef" * 4


def schema() -> dict[str, Any]:
    text = resources.files("limner.report").joinpath("schema/points-1.json").read_text(encoding="utf-8")
    held: dict[str, Any] = json.loads(text)
    return held


def good() -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "picture": {"width": 640, "height": 480, "sha256": DIGEST},
        "points": {
            "tr": {"x": 320.25, "y": 40, "sigma": 2.5, "source": "hand"},
            "ex_right": {"x": 250, "y": 200.5, "source": "found"},
            "sa_left": {"x": 0, "y": 480},
        },
        "unseen": ["ex_left"],
    }


def picture(width: int = 640, height: int = 480, digest: str | None = DIGEST) -> Picture:
    pixels = np.zeros((height, width, 3), dtype=np.uint8)
    return Picture(pixels=pixels, name="canvas.jpg", digest=digest, full_size=(width, height))


def test_a_good_file_is_read_whole() -> None:
    read = parse_points(json.dumps(good()))
    assert (read.width, read.height, read.sha256, read.unseen) == (640, 480, DIGEST, ("ex_left",))
    assert read.points["tr"] == HandPoint(x=320.25, y=40.0, sigma=2.5, source="hand")
    assert read.points["ex_right"].source == "found"
    assert read.points["sa_left"] == HandPoint(x=0.0, y=480.0, sigma=None, source="hand")
    assert set(read.by_hand) == {"tr", "sa_left"}


def test_a_byte_order_mark_is_no_matter() -> None:
    assert parse_points(b"\xef\xbb\xbf" + json.dumps(good()).encode()).width == 640


def test_written_and_read_again_is_the_same() -> None:
    read = parse_points(json.dumps(good()))
    text = points_text(read)
    jsonschema.validate(json.loads(text), schema())
    assert parse_points(text) == read
    assert points_text(parse_points(text)) == text


names = st.sampled_from(sorted(PLACEABLE))
across = st.floats(0, 640).map(lambda v: round(v, 2))
points = st.builds(
    HandPoint,
    x=across,
    y=st.floats(0, 480).map(lambda v: round(v, 2)),
    sigma=st.none() | st.floats(0.01, 900).map(lambda v: round(v, 3)),
    source=st.sampled_from(["hand", "found"]),
)


@given(st.dictionaries(names, points), st.none() | st.just(DIGEST))
def test_every_set_survives_the_file_and_fits_the_schema(placed: dict[str, HandPoint], digest: str | None) -> None:
    text = points_text(HandPoints(width=640, height=480, sha256=digest, points=placed))
    jsonschema.validate(json.loads(text), schema())
    assert dict(parse_points(text).points) == placed


def test_the_schema_names_every_placeable_point_and_no_other() -> None:
    assert schema()["$defs"]["name"]["enum"] == list(PLACEABLE)
    assert set(NAMED_POINTS) < set(PLACEABLE)
    assert set(OUTLINE) < set(PLACEABLE)
    assert {"tr", "v", "sa_right", "sba_left"} < set(PLACEABLE)


def changed(**parts: Any) -> str:
    return json.dumps({**good(), **parts})


def with_point(key: str, **point: Any) -> str:
    return changed(points={key: point}, unseen=[])


BAD: dict[str, tuple[str | bytes, str]] = {
    "nothing": ("", "expected JSON"),
    "not json": ("points, please", "expected JSON, but line 1, column 1"),
    "cut off": (json.dumps(good())[:-20], "expected JSON"),
    "not text": (b"\xff\xfe\x00{", "JSON text in UTF-8"),
    "a list": ("[]", 'an object with "schema"'),
    "no schema": ("{}", "it has none"),
    "another kind": (changed(schema="limner.audit/1"), 'its schema is "limner.audit/1"'),
    "a later version": (changed(schema="limner.points/2"), "update limner"),
    "schema is a number": (changed(schema=1), "its schema is 1"),
    "no picture": (json.dumps({"schema": SCHEMA, "points": {}}), 'expected "picture"'),
    "picture is null": (changed(picture=None), "expected an object"),
    "picture without digest": (changed(picture={"width": 3, "height": 3}), 'expected "sha256"'),
    "width is text": (changed(picture={"width": "3", "height": 3, "sha256": DIGEST}), "width as a whole number"),
    "width is true": (changed(picture={"width": True, "height": 3, "sha256": DIGEST}), "width as a whole number"),
    "width is huge": (changed(picture={"width": 10**9, "height": 3, "sha256": DIGEST}), "width as a whole number"),
    "digest is short": (changed(picture={"width": 3, "height": 3, "sha256": "ab"}), "64 hexadecimal digits"),
    "another key": (changed(colour="red"), '"colour" came'),
    "points is a list": (changed(points=[]), '"points" to be an object'),
    "point is a list": (changed(points={"tr": [1, 2]}), "a list or object came"),
    "unknown name": (with_point("ex_rigth", x=1, y=1), "the nearest is ex_right"),
    "bare pair": (with_point("ex", x=1, y=1), "the nearest is ex_right or ex_left"),
    "no y": (with_point("tr", x=1), 'expected "y"'),
    "extra in a point": (with_point("tr", x=1, y=1, z=1), '"z" came'),
    "x is text": (with_point("tr", x="1", y=1), 'x as a number, but "1" came'),
    "x is true": (with_point("tr", x=True, y=1), "x as a number"),
    "x is null": (with_point("tr", x=None, y=1), "x as a number"),
    "x is NaN": (with_point("tr", x=float("nan"), y=1), "NaN came"),
    "y is Infinity": (with_point("tr", x=1, y=float("inf")), "Infinity came"),
    "y is -Infinity": (with_point("tr", x=1, y=float("-inf")), "-Infinity came"),
    "x overflows": (with_point("tr", x=1, y=1).replace('"x": 1', '"x": 1e999'), "finite number"),
    "x is a huge integer": (with_point("tr", x=10**400, y=1), "finite number"),
    "x has too many digits": (with_point("tr", x=1, y=1).replace('"x": 1', '"x": 1' + "0" * 5000), "digits"),
    "left of the picture": (with_point("tr", x=-0.01, y=1), "inside the picture, 0 to 640"),
    "below the picture": (with_point("tr", x=1, y=480.1), "inside the picture, 0 to 480"),
    "sigma is zero": (with_point("tr", x=1, y=1, sigma=0), "sigma above 0"),
    "sigma is negative": (with_point("tr", x=1, y=1, sigma=-1), "sigma above 0"),
    "sigma is enormous": (with_point("tr", x=1, y=1, sigma=1e9), "sigma above 0 px and below"),
    "sigma is text": (with_point("tr", x=1, y=1, sigma="1"), "sigma as a number"),
    "source is strange": (with_point("tr", x=1, y=1, source="guess"), '"guess" came'),
    "a name twice": (
        '{"schema": "limner.points/1", "points": {"tr": {"x": 1, "y": 1}, "tr": {}}}',
        '"tr" is there twice',
    ),
    "x twice": ('{"points": {"tr": {"x": 1, "x": 2}}}', '"x" is there twice'),
    "placed and unseen": (changed(unseen=["tr"]), "every name once"),
    "unseen twice": (changed(unseen=["gn", "gn"]), "every name once"),
    "unseen is text": (changed(unseen="gn"), '"unseen" to be a list'),
    "unseen is unknown": (changed(unseen=["ears"]), "the name of a point"),
    "unseen holds a list": (changed(unseen=[["gn"]]), "the name of a point"),
    "very deep": ("[" * 100_000, "expected"),
}


@pytest.mark.parametrize("case", BAD)
def test_what_is_wrong_is_refused_in_one_clear_line(case: str) -> None:
    text, words = BAD[case]
    with pytest.raises(UsageError) as refused:
        parse_points(text, "points file 'a.json'")
    message = str(refused.value)
    assert words in message
    assert message.startswith("points file 'a.json'")
    assert "\n" not in message
    assert len(message) < 400
    assert refused.value.exit_code == 2


SCHEMA_CANNOT_SAY = {
    *("nothing", "not json", "cut off", "not text", "a name twice", "x twice", "very deep", "x has too many digits"),
    *("x is NaN", "y is Infinity", "below the picture", "sigma is enormous", "placed and unseen", "x overflows"),
    *("x is a huge integer",),
}
"""JSON Schema knows no duplicates and does not compare a point with its picture's size."""


@pytest.mark.parametrize("case", sorted(set(BAD) - SCHEMA_CANNOT_SAY))
def test_the_schema_refuses_the_same(case: str) -> None:
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(json.loads(BAD[case][0]), schema())


@given(st.text(max_size=200) | st.binary(max_size=200))
def test_rubbish_is_a_usage_error_and_nothing_else(rubbish: str | bytes) -> None:
    with pytest.raises(UsageError):
        parse_points(rubbish)


json_like = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8) | names, inner, max_size=3),
    max_leaves=8,
)


@given(json_like, st.sampled_from(["picture", "points", "unseen", "schema"]))
def test_any_json_in_any_place_is_read_or_refused(rubbish: Any, place: str) -> None:
    text = changed(**{place: rubbish})
    try:
        read = parse_points(text)
    except UsageError:
        return
    jsonschema.validate(json.loads(points_text(read)), schema())


def test_nearest_names() -> None:
    assert nearest_name("pupil_right") in {"p_right", "pi_right"}
    assert nearest_name("chin") == "gn"
    assert nearest_name("pupil") == "p_right"
    assert nearest_name("x" * 10_000) is None


def test_a_file_of_100_megabytes_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "huge.json"
    with path.open("wb") as file:
        file.truncate(100_000_000)
    with pytest.raises(UsageError, match=r"at most 1000 kB, but it has 100\.0 MB"):
        read_points(path)
    path.write_bytes(b" " * (MOST_BYTES + 1))
    with pytest.raises(UsageError, match="at most 1000 kB"):
        read_points(path)


def test_what_is_no_regular_file_is_refused_without_waiting(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="there is no such file"):
        read_points(tmp_path / "none.json")
    with pytest.raises(UsageError, match="a regular file"):
        read_points(tmp_path)
    with pytest.raises(UsageError):
        read_points("a\0b.json")
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.json")
        with pytest.raises(UsageError, match="a regular file"):
            read_points(tmp_path / "pipe.json")


def test_points_of_another_picture_are_refused() -> None:
    read = parse_points(json.dumps(good()))
    check_belongs(read, picture())
    with pytest.raises(UsageError, match=r"'canvas.jpg' \(800 x 480 px\), but .* placed on one of 640 x 480"):
        check_belongs(read, picture(width=800))
    with pytest.raises(UsageError, match="another picture of this size, or this file was changed since"):
        check_belongs(read, picture(digest="f" * 64))


def test_a_picture_that_was_never_a_file_is_known_by_its_size() -> None:
    read = parse_points(json.dumps(good()))
    check_belongs(read, picture(digest=None))
    with pytest.raises(UsageError):
        check_belongs(read, picture(height=481, digest=None))


def test_usual_give_or_take_follows_the_size_of_the_face() -> None:
    assert usual_sigma("sn", {}) == 1.0
    eyes = {"p_right": HandPoint(x=100, y=100), "p_left": HandPoint(x=400, y=500)}
    assert usual_sigma("sn", eyes) == pytest.approx(5.0)
    profile = {"n": HandPoint(x=100, y=100), "gn": HandPoint(x=100, y=664)}
    assert usual_sigma("sn", profile) == pytest.approx(3.0)
    assert usual_sigma("tr", eyes) == usual_sigma("zy_left", eyes) == pytest.approx(12.5)
    small = {"p_right": HandPoint(x=100, y=100), "p_left": HandPoint(x=150, y=100)}
    assert usual_sigma("sn", small) == 1.0
    held = HandPoints(width=640, height=480, sha256=None, points={**eyes, "tr": HandPoint(x=1, y=1, sigma=0.25)})
    assert (held.sigma_of("tr"), held.sigma_of("p_left")) == (0.25, pytest.approx(5.0))


def test_saving_is_whole_and_never_over_something_else(tmp_path: Path) -> None:
    mine = points_for(picture())
    path = tmp_path / "canvas.points.json"
    save_points(path, mine, picture=picture())
    assert read_points(path) == mine
    more = HandPoints(width=640, height=480, sha256=DIGEST, points={"tr": HandPoint(x=1, y=2)})
    save_points(path, more, picture=picture())
    assert read_points(path) == more
    assert [held.name for held in tmp_path.iterdir()] == ["canvas.points.json"]
    for name, text in (("letter.txt", "Dear sitter"), ("other.json", points_text(mine))):
        other = tmp_path / name
        other.write_text(text)
        with pytest.raises(OutputError, match="not a points file of this picture"):
            save_points(other, points_for(picture(width=700)), picture=picture(width=700))
        assert other.read_text() == text


def test_saving_into_nowhere_is_an_output_error(tmp_path: Path) -> None:
    with pytest.raises(OutputError):
        save_points(tmp_path / "no" / "a.json", points_for(picture()), picture=picture())
    with pytest.raises(OutputError):
        save_points(tmp_path, points_for(picture()), picture=picture())
    assert stat.S_ISDIR(tmp_path.stat().st_mode)
