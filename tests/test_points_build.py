"""What the points page holds, and what of a picture file it must never hold."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from limner.face.byhand import HandPoint, HandPoints, points_for
from limner.face.placeable import PLACEABLE
from limner.pictures.load import load_picture
from limner.pictures.picture import Picture
from limner.report.pointspage import points_page
from limner.report.pointspage.build import is_points_page, saved_name
from limner.report.pointspage.places import drawn, in_order, where
from pointsdesk import EYES, FULL, made_up_picture, start_points


def given(page: str) -> dict[str, Any]:
    text = re.search(r'<script type="application/json" id="given">(.*?)</script>', page, re.DOTALL)
    assert text
    held: dict[str, Any] = json.loads(text[1])
    return held


def images(page: str) -> list[bytes]:
    return [base64.b64decode(layer["data"].split(",", 1)[1]) for layer in given(page)["layers"]]


def test_the_same_input_gives_the_same_page() -> None:
    first, second = (points_page(made_up_picture(), start_points(**EYES)) for _ in range(2))
    assert first == second
    assert is_points_page(first)
    assert not is_points_page("<!doctype html>\n<title>letter</title>\n<!-- limner points page -->")


def test_the_policy_allows_this_script_and_this_style_and_nothing_else() -> None:
    page = points_page(made_up_picture(), start_points())
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)
    assert policy
    rules = dict(rule.strip().split(" ", 1) for rule in policy[1].split(";"))
    for kind, tag in (("style-src", "style"), ("script-src", "script")):
        text = re.search(rf"<{tag}>(.*?)</{tag}>", page, re.DOTALL)
        assert text
        digest = base64.b64encode(hashlib.sha256(text[1].encode()).digest()).decode()
        assert rules.pop(kind) == f"'sha256-{digest}'"
    assert rules == {"default-src": "'none'", "img-src": "data:", "base-uri": "'none'", "form-action": "'none'"}


def test_nothing_is_asked_of_any_other_place() -> None:
    page = points_page(made_up_picture(), start_points())
    for layer in given(page)["layers"]:
        page = page.replace(layer["data"], "")
    addresses = set(re.findall(r"\w+://[^\s\"')]+", page))
    assert addresses == {"http://www.w3.org/2000/svg"}
    assert not re.search(r"@import|url\(|\bfetch\(|XMLHttpRequest|WebSocket|sendBeacon|localStorage|import\(", page)
    assert "@" not in re.sub(r"@media", "", page)


def test_nothing_of_the_file_but_its_pixels_gets_in(tmp_path: Path, portrait: NDArray[np.uint8]) -> None:
    exif = Image.Exif()
    exif[0x010F], exif[0x013B] = "Secretcam", "A. Secret"
    exif.get_ifd(0x8825).update({1: "N", 2: (48.0, 12.0, 30.0), 29: "2020:02:02"})
    folder = tmp_path / "secret commission"
    folder.mkdir()
    path = folder / "sitter.jpg"
    Image.fromarray(portrait).save(path, quality=100, exif=exif, comment=b"secret words")
    assert b"Secretcam" in path.read_bytes()
    picture = load_picture(path, label="picture")
    page = points_page(picture, points_for(picture))
    for held in (page.encode(), *images(page)):
        assert b"ecret" not in held
        assert b"Exif" not in held
    shown = Image.open(io.BytesIO(images(page)[0]))
    assert shown.size == (512, 512)
    assert not shown.getexif()
    assert "comment" not in shown.info
    off = float(np.abs(np.asarray(shown).astype(int) - portrait).mean())
    assert off < 2.5


def large_picture(points: dict[str, HandPoint]) -> tuple[Picture, HandPoints]:
    pixels = np.zeros((1500, 3000, 3), dtype=np.uint8)
    picture = Picture(pixels=pixels, name="big.jpg", digest=None, full_size=(6000, 3000), scale=0.5)
    return picture, HandPoints(width=6000, height=3000, sha256=None, points=points)


def test_a_large_picture_is_reduced_with_its_scale_kept_and_the_head_shown_finer() -> None:
    face = {
        key: HandPoint(x=x, y=y) for key, x, y in (("p_right", 1000, 900), ("p_left", 1200, 900), ("gn", 1100, 1300))
    }
    layers = given(points_page(*large_picture(face)))["layers"]
    whole, head = layers
    assert (whole["x"], whole["y"], whole["width"], whole["height"], whole["shown"]) == (0, 0, 6000, 3000, 1600)
    assert head["width"] / head["shown"] == pytest.approx(2.0)
    assert head["x"] < 1000 - 200
    assert head["x"] + head["width"] > 1200 + 200
    assert head["y"] < 900 - 200
    assert head["y"] + head["height"] > 1300 + 200
    assert len(given(points_page(*large_picture({})))["layers"]) == 1


def test_points_at_the_very_edge_do_not_break_the_finer_view() -> None:
    corners = {"v": (0, 0), "sa_right": (0, 3000), "sa_left": (6000, 0), "gn": (6000, 3000)}
    picture, start = large_picture({key: HandPoint(x=x, y=y) for key, (x, y) in corners.items()})
    whole, head = given(points_page(picture, start))["layers"]
    assert (head["x"], head["width"]) == (whole["x"], whole["width"])
    same = {key: HandPoint(x=10, y=10) for key in ("v", "tr", "gn")}
    assert points_page(*large_picture(same))


def test_every_point_is_listed_once_said_and_drawn() -> None:
    listed = [key for _, keys in in_order() for key in keys]
    assert sorted(listed) == sorted(PLACEABLE)
    for key in PLACEABLE:
        assert where(key).endswith(".")
        for x, y in drawn(key).values():
            assert 0 < x < 200
            assert 0 < y < 250
    rows = [
        point for group in given(points_page(made_up_picture(), start_points()))["groups"] for point in group["points"]
    ]
    assert [row["name"] for row in rows] == listed


def test_right_and_left_mirror_each_other_in_the_drawing() -> None:
    for key, point in PLACEABLE.items():
        if point.side == "right":
            (x, y), (mirrored, level) = drawn(key)["front"], drawn(key.replace("_right", "_left"))["front"]
            assert (200 - x, y) == (mirrored, level)
            assert x < 100


@pytest.mark.parametrize(
    ("name", "saved"),
    [
        ("canvas.jpg", "canvas.points.json"),
        ("Bildnis Änne.tif", "Bildnis_Änne.points.json"),
        ("..", "picture.points.json"),
        (".hidden", "picture.points.json"),
        ("a/b\\c:d*e?.png", "a_b_c_d_e.points.json"),
        ("x" * 300 + ".jpg", "x" * 80 + ".points.json"),
    ],
)
def test_the_saved_name_is_safe_anywhere(name: str, saved: str) -> None:
    assert saved_name(made_up_picture(name), "json") == saved


def test_points_that_end_a_script_stay_data() -> None:
    page = points_page(made_up_picture("</script><script>alert(1)</script>.jpg"), start_points())
    assert page.count("<script") == 2
    assert given(page)["picture"] == {"width": FULL[0], "height": FULL[1]}
