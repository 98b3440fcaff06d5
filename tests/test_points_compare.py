"""Comparisons with points placed by hand: whose word counts, how sure it is, and what only a hand can give."""

from __future__ import annotations

import math
import zlib

import numpy as np
import pytest

import norms_face as norms
from limner.compare.assemble import Comparison, compare
from limner.errors import FaceError
from limner.face.byhand import HandPoint, HandPoints
from limner.face.facepoints import FacePoints
from limner.face.handmerge import join_by_hand
from limner.face.placeable import OUTLINE, PLACEABLE
from limner.face.points import MESH_POINTS, NAMED_POINTS
from limner.measure.catalogue import CATALOGUE, NOT_SEEN
from limner.measure.heads import HEADS
from limner.pictures.picture import Picture
from limner.register.carried import Carried
from limner.result import MeasureResult
from limner.settings import Settings

FACE = norms.norms_px()
REFERENCE = norms.face_points(FACE, noise=0.3)
PAINTED = norms.face_points(FACE, noise=0.5, seed=1)
UNIT = float(np.linalg.norm(FACE[473] - FACE[468]))


Marks = dict[str, HandPoint]


def picture(name: str) -> Picture:
    pixels = np.zeros((8, 8, 3), dtype=np.uint8)
    digest = f"{zlib.crc32(name.encode()):064x}"
    return Picture(pixels=pixels, name=name, digest=digest, full_size=(4000, 4000), scale=1.0)


def joined(
    face: FacePoints | None, name: str, points: dict[str, HandPoint], unseen: tuple[str, ...] = ()
) -> FacePoints:
    seen = picture(name)
    held = HandPoints(width=4000, height=4000, sha256=seen.digest, points=points, unseen=unseen)
    return join_by_hand(face, held, seen)


def marks(*keys: str, sigma: float = 1.0, face: np.ndarray = FACE) -> Marks:
    """Marks where the face really has its points."""
    places = {key: face[list(NAMED_POINTS[key].indices)].mean(axis=0) for key in keys}
    return {key: HandPoint(x=float(x), y=float(y), sigma=sigma) for key, (x, y) in places.items()}


def on_line(key: str, start: str, end: str, share: float, aside: float = 0.0, sigma: float = 1.0) -> Marks:
    """A mark on the line from one named point to another, as a share of the way, and aside in pupil distances."""
    a, b = (FACE[list(NAMED_POINTS[name].indices)].mean(axis=0) for name in (start, end))
    x, y = a + share * (b - a) + np.array([aside * UNIT, 0.0])
    return {key: HandPoint(x=float(x), y=float(y), sigma=sigma)}


def by_id(comparison: Comparison) -> dict[str, MeasureResult]:
    return {measure.id: measure for measure in comparison.measures}


def carried(points: np.ndarray) -> Carried:
    return Carried(points=points, runs=points + np.array([[[-0.2, 0.0]], [[0.2, 0.0]]]))


def shifted(key: str, dx: float, dy: float, sigma: float = 1.0) -> Marks:
    ((_, mark),) = marks(key, sigma=sigma).items()
    return {key: HandPoint(x=mark.x + dx, y=mark.y + dy, sigma=sigma)}


def test_without_marks_nothing_is_changed() -> None:
    result = by_id(compare(REFERENCE, PAINTED, carried=carried(FACE)))
    assert set(result) == set(CATALOGUE) | set(NOT_SEEN)
    assert {m.witness for m in result.values()} <= {"pixels", "mesh", None}


def test_a_mark_in_the_painting_wins_over_pixels_and_detector() -> None:
    width = CATALOGUE["mouth_width"]
    painting = joined(PAINTED, "painting", shifted("ch_left", 0.2 * UNIT, 0.0))
    result = by_id(compare(REFERENCE, painting, carried=carried(FACE)))
    true = np.linalg.norm(FACE[291] - FACE[61])
    assert width.formula is not None
    assert result["mouth_width"].deviation == pytest.approx(100 * 0.2 * UNIT / true, abs=1.0)
    assert result["mouth_width"].witness == "hand"
    assert result["nose_width"].witness == "pixels"
    assert result["eye_width_left"].witness == "pixels"


def test_marks_in_both_pictures_are_surer_than_in_one() -> None:
    ends = ("ch_right", "ch_left", "p_right", "p_left")
    one = by_id(compare(REFERENCE, joined(PAINTED, "painting", marks(*ends)), carried=carried(FACE)))["mouth_width"]
    both = by_id(
        compare(
            joined(REFERENCE, "reference", marks(*ends)),
            joined(PAINTED, "painting", marks(*ends)),
            carried=carried(FACE),
        )
    )["mouth_width"]
    assert one.witness == both.witness == "hand"
    assert one.sigma is not None
    assert both.sigma is not None
    assert both.sigma < one.sigma


def test_marks_in_the_reference_alone_are_carried_by_the_pixels() -> None:
    reference = joined(REFERENCE, "reference", shifted("ch_left", 5.0, 0.0))
    moved = FACE.copy()
    moved[291, 0] += 5.0
    result = by_id(compare(reference, PAINTED, carried=carried(moved)))["mouth_width"]
    assert result.witness == "pixels"
    assert result.deviation == pytest.approx(0.0, abs=0.3)


def test_the_stated_give_or_take_is_what_comes_out() -> None:
    """A length between two marks in two pictures, seen along the line: two ends, two pictures, four errors."""
    ends = ("n", "gn", "p_right", "p_left")
    sigma = 2.0
    read = []
    for number in range(60):
        faces = [joined(None, f"{which} {number}", marks(*ends, sigma=sigma)) for which in ("a", "b")]
        result = by_id(compare(*faces))["face_height"]
        assert result.sigma is not None
        read.append(result.sigma)
    height = np.linalg.norm(FACE[152] - FACE[168])
    ends_only = 100 * math.sqrt(4) * sigma / height
    scale = 100 * math.sqrt(4) * sigma / UNIT
    floor = math.sqrt(2) * 0.1 / (height / UNIT)
    expected = math.sqrt(ends_only**2 + scale**2 + floor**2)
    assert np.sqrt(np.mean(np.square(read))) == pytest.approx(expected, rel=0.1)


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    """Marks set with the error their file states, on two pictures of one face: 95 % within 1.96 sigma."""
    rng = np.random.default_rng(7)
    ends = ("n", "gn", "sn", "ch_right", "ch_left", "p_right", "p_left")
    inside, total = 0, 0
    for number in range(120):
        faces = []
        for which in ("a", "b"):
            held = {
                key: HandPoint(x=mark.x + rng.normal(0, 2.0), y=mark.y + rng.normal(0, 2.0), sigma=2.0)
                for key, mark in marks(*ends).items()
            }
            faces.append(joined(None, f"{which} {number}", held))
        for id_ in ("face_height", "nose_length", "mouth_width", "lower_face", "mouth_axis", "chin_y"):
            result = by_id(compare(*faces))[id_]
            if result.deviation is not None and result.sigma is not None:
                total += 1
                inside += abs(result.deviation) <= 1.96 * result.sigma
    assert total == 120 * 6
    assert 0.92 <= inside / total <= 0.985


def test_two_profiles_are_compared_with_marks_alone() -> None:
    profile = ("n", "prn", "sn", "ls", "sto", "li", "gn", "p_left", "ex_left")
    reference = joined(None, "reference", {**marks(*profile), **on_line("tr", "gn", "n", 1.5)})
    longer = marks(*profile)
    longer["prn"] = HandPoint(x=longer["prn"].x, y=longer["prn"].y + 0.3 * UNIT, sigma=1.0)
    longer["sn"] = HandPoint(x=longer["sn"].x, y=longer["sn"].y + 0.3 * UNIT, sigma=1.0)
    comparison = compare(reference, joined(None, "painting", {**longer, **on_line("tr", "gn", "n", 1.5)}))
    result = by_id(comparison)
    true = np.linalg.norm(FACE[2] - FACE[168])
    assert result["nose_length"].call == "off"
    assert result["nose_length"].witness == "hand"
    assert result["nose_length"].deviation == pytest.approx(100 * 0.3 * UNIT / true, rel=0.05)
    assert result["face_height"].deviation == pytest.approx(0.0, abs=1e-6)
    assert result["hairline"].deviation == pytest.approx(0.0, abs=1e-6)
    for id_ in ("eye_width_right", "mouth_width", "mouth_y", "eye_left_area", "nose_width"):
        assert result[id_].call == "not measured", id_
        assert result[id_].reason
    assert "no_pupil_distance" in {notice.code for notice in comparison.warnings}
    assert set(comparison.points) == {*profile, "tr"}


def test_hairline_ears_neck_and_outline_appear_with_their_marks() -> None:
    def head(larger: float) -> Marks:
        centre, radius = FACE[[168, 152]].mean(axis=0), 2 * larger * UNIT
        turn = np.radians([150, 180, 210, 240, 270, 300, 330, 0, 30])
        rim = {
            key: HandPoint(x=centre[0] + radius * math.cos(a), y=centre[1] + radius * math.sin(a), sigma=1)
            for key, a in zip(OUTLINE, turn, strict=True)
        }
        ears = {
            **on_line("sa_right", "n", "gn", 0.1, -1.2), **on_line("sba_right", "n", "gn", 0.6, -1.2),
            **on_line("nt_right", "n", "gn", 1.1, -0.6), **on_line("nt_left", "n", "gn", 1.1, 0.6),
            **on_line("nb_right", "n", "gn", 1.5, -0.6), **on_line("nb_left", "n", "gn", 1.5, 0.6),
        }  # fmt: skip
        return {**rim, **ears, **on_line("tr", "gn", "n", 1.5 * larger), **on_line("v", "gn", "n", 2 * larger)}

    reference = joined(REFERENCE, "reference", head(1.0))
    painting = joined(PAINTED, "painting", head(1.2))
    result = by_id(compare(reference, painting, carried=carried(FACE)))
    assert set(HEADS) - {"ear_length_left"} <= set(result)
    for id_ in set(HEADS) - {"ear_length_left"}:
        assert result[id_].witness == "hand", id_
        assert result[id_].sigma, id_
    assert result["head_shape_area"].deviation == pytest.approx(44, abs=8)
    assert result["head_shape_area"].call == "off"
    assert result["hairline"].deviation == pytest.approx(100 * (0.5 + 0.3) / 0.5 - 100, abs=2)
    assert result["ear_length_right"].deviation == pytest.approx(0, abs=1.5)
    assert abs(result["neck_axis"].deviation or 0) < 2
    assert "ears" not in result
    assert "head_top" in result
    assert {"tr", "v", "ho_12"} <= set(compare(reference, painting).points)


def test_a_mark_in_one_picture_only_is_not_measured_and_says_so() -> None:
    result = by_id(
        compare(joined(REFERENCE, "reference", on_line("tr", "gn", "n", 1.5)), PAINTED, carried=carried(FACE))
    )
    assert result["hairline"].call == "not measured"
    assert result["hairline"].reason == "not there in the painting: hairline"
    assert "ears" in result
    assert "head_shape_area" not in result


def test_what_is_not_to_be_seen_is_not_measured_even_from_the_pixels() -> None:
    painting = joined(PAINTED, "painting", {}, unseen=("ex_left",))
    result = by_id(compare(REFERENCE, painting, carried=carried(FACE)))
    assert result["eye_width_left"].call == "not measured"
    assert result["eye_width_left"].reason == "not there in the painting: outer eye corner, sitter's left"
    assert result["eye_width_right"].call == "true"


def test_one_mark_where_the_lips_meet_is_no_closed_mouth() -> None:
    ends = ("n", "gn", "p_right", "p_left", "ls", "sto", "li")
    result = by_id(compare(joined(None, "a", marks(*ends)), joined(None, "b", marks(*ends))))
    assert result["mouth_opening"].call == "not measured"
    assert result["upper_lip"].deviation == pytest.approx(0)
    apart = (*ends, "stu", "stl")
    result = by_id(compare(joined(None, "a", marks(*apart)), joined(None, "b", marks(*apart))))
    assert result["mouth_opening"].deviation == pytest.approx(0)


def test_a_reference_with_a_detector_and_a_drawing_with_marks() -> None:
    drawing = joined(None, "drawing", marks(*(point.key for point in MESH_POINTS)))
    result = by_id(compare(REFERENCE, drawing))
    assert result["mouth_width"].witness == "hand"
    assert result["mouth_width"].deviation == pytest.approx(0, abs=1)
    assert result["eye_left_area"].call == "not measured"


def test_marks_that_give_no_size_are_refused() -> None:
    with pytest.raises(FaceError, match="Place the points by hand"):
        compare(joined(None, "a", marks("ch_left", "ch_right")), joined(None, "b", marks("ch_left", "ch_right")))


def test_every_head_measure_is_declared_in_full() -> None:
    for id_, measure in HEADS.items():
        assert measure.id == id_
        assert measure.limit.source
        assert measure.statement
        assert measure.own_points
        assert any(row >= 478 for row in measure.own_points)
    assert all(PLACEABLE[key].indices == () for key in OUTLINE)


def test_between_takes_marks_too() -> None:
    settings = Settings(between=(("tr", "gn"), ("sa_left", "p_left")))
    marked = on_line("tr", "gn", "n", 1.5)
    faces = joined(REFERENCE, "reference", marked), joined(PAINTED, "painting", marked)
    result = by_id(compare(*faces, carried=carried(FACE), settings=settings))
    assert result["between_tr_gn"].deviation == pytest.approx(0, abs=1)
    assert result["between_tr_gn"].witness == "hand"
    assert result["between_sa_left_p_left"].call == "not measured"
    assert result["between_sa_left_p_left"].reason == "not there in the reference: top of the ear, sitter's left"


def test_the_length_that_is_one_is_named() -> None:
    ends = ("n", "gn", "sn")
    assert compare(joined(None, "a", marks(*ends)), joined(None, "b", marks(*ends))).scale.by == "n-gn"
    assert compare(REFERENCE, PAINTED).scale.by == "pupils"
