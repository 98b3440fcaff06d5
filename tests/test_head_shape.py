"""The big shape: found on the reference, carried to the painting, measured, or refused with a reason."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

import norms_face as norms
from drawn_head import FACE, SIZE, UNIT, Head
from limner.compare.assemble import compare
from limner.compare.ranking import mend_first
from limner.face.facepoints import POINT_COUNT
from limner.face.locate import locate
from limner.face.mesh import open_mesh
from limner.face.placeable import BEYOND, OUTLINE
from limner.measure.heads import HEADS
from limner.pictures.load import load_picture
from limner.proving.photograph import Shot, rephotograph
from limner.proving.plant import Displacement, deform
from limner.proving.pulls import Pull
from limner.proving.render import Brush, paint
from limner.register import carry
from limner.register.carried import Carried, CarriedHead
from limner.register.headcarry import CUT, NO_EDGE, _correlations, carry_head
from limner.register.headpath import best_path
from limner.result import MeasureResult

SITTER = Head()
PAINTED = {"hair": (80, 58, 40), "skin": (222, 170, 128), "ground": (116, 124, 132), "seed": 1}


def carried(painting: Head, reference: Head = SITTER, **marks: tuple[float, float, float]) -> CarriedHead:
    faces = [norms.face_points(head.points, noise=0.3) for head in (reference, painting)]
    return carry_head(reference.picture(), faces[0], painting.picture(), faces[1], marks=marks)


def audited(painting: Head) -> dict[str, MeasureResult]:
    """With the mesh's points carried without an error, so that only the big shape is read."""
    points = painting.points
    pixels = Carried(points=points, runs=np.stack([points, points]), head=carried(painting))
    faces = [norms.face_points(head.points, noise=0.3) for head in (SITTER, painting)]
    return {m.id: m for m in compare(*faces, carried=pixels, stage="finish").measures}


def row(key: str) -> int:
    return BEYOND[key] - POINT_COUNT


def test_outline_hairline_and_neck_lie_where_they_were_drawn() -> None:
    head = carried(SITTER)
    outline = head.reference[[row(key) for key in OUTLINE]]
    assert np.isfinite(outline).all()
    # One step of the search outward is 0.015 of the unit; the worst place, where jaw and neck meet, may be two off.
    assert np.abs(SITTER.outline(outline)).max() < 0.025 * UNIT
    assert head.reference[row("v")] == pytest.approx((700, SITTER.top), abs=0.02 * UNIT)
    assert head.reference[row("tr")] == pytest.approx((700, SITTER.hairline), abs=0.02 * UNIT)
    for side, sign in (("right", -1), ("left", 1)):
        for abbr in ("nt", "nb"):
            assert head.reference[row(f"{abbr}_{side}"), 0] == pytest.approx(700 + sign * 150, abs=0.02 * UNIT)
    # The same picture: nothing has moved.
    known = np.isfinite(head.reference).all(axis=1)
    assert head.painting[known] == pytest.approx(head.reference[known], abs=0.005 * UNIT)


@pytest.mark.parametrize("factor", [0.92, 1.0, 1.08])
def test_a_head_painted_too_wide_or_narrow_is_read(factor: float) -> None:
    result = audited(replace(SITTER, width=SITTER.width * factor, **PAINTED))
    width = result["head_shape_width"]
    assert width.deviation == pytest.approx(100 * (factor - 1), abs=1.0)
    assert width.witness == "pixels"
    assert (width.call == "off") is (factor != 1.0)
    assert result["head_top"].deviation == pytest.approx(0, abs=1.5)
    assert result["head_shape_area"].deviation == pytest.approx(100 * (factor - 1) * 0.95, abs=3)


@pytest.mark.parametrize("shift", [-30.0, 30.0])
def test_a_hairline_painted_too_high_or_low_is_read(shift: float) -> None:
    result = audited(replace(SITTER, hairline=SITTER.hairline - shift, **PAINTED))
    length = FACE[168, 1] - SITTER.hairline
    assert result["hairline"].deviation == pytest.approx(100 * shift / length, abs=1.5)
    assert result["hairline"].call == "off"
    assert result["head_shape_width"].call == "true"


def test_a_head_painted_too_tall_is_read() -> None:
    result = audited(replace(SITTER, top=SITTER.top - 40, **PAINTED))
    assert result["head_top"].deviation == pytest.approx(100 * 40 / (FACE[168, 1] - SITTER.top), abs=1.5)
    assert result["head_height"].call == "off"


def test_a_neck_painted_too_wide_and_a_tilted_one_are_read() -> None:
    wide = audited(replace(SITTER, neck=SITTER.neck * 1.12, **PAINTED))
    assert wide["neck_width"].deviation == pytest.approx(12, abs=1.5)
    tilted = audited(replace(SITTER, tilt=30.0, **PAINTED))
    # To picture right downwards: the line from under the jaw to the shoulder turns against the clock.
    assert tilted["neck_axis"].deviation == pytest.approx(-np.degrees(np.arctan(0.1)), abs=1.5)


def test_what_is_not_painted_gets_no_number_but_a_reason() -> None:
    blank = replace(SITTER, hair=(180, 150, 120), skin=(180, 150, 120), ground=(180, 150, 120))
    head = carried(blank)
    assert not np.isfinite(head.painting).any()
    assert {head.doubts[key] for key in (*OUTLINE, "v", "tr", "nt_left")} == {NO_EDGE}
    result = audited(blank)
    for id_ in set(HEADS) - {"ear_length_left", "ear_length_right"}:
        assert result[id_].call == "not measured"
        assert result[id_].deviation is None
        assert result[id_].reason


def test_hair_that_goes_over_into_a_dark_ground_is_not_measured() -> None:
    head = carried(replace(SITTER, ground=SITTER.hair, seed=3))
    assert all(head.doubts.get(key) == NO_EDGE for key in OUTLINE)
    assert "tr" not in head.doubts


def test_a_reference_whose_hair_goes_over_into_the_ground_is_not_measured() -> None:
    head = carried(SITTER, replace(SITTER, ground=SITTER.hair))
    assert all(head.doubts.get(key) for key in OUTLINE)
    assert not np.isfinite(head.reference[[row(key) for key in OUTLINE]]).any()


def test_hair_out_of_the_picture_is_told_of_either() -> None:
    high = replace(SITTER, lift=170.0)
    picture = high.picture()
    cut = replace(picture, pixels=picture.pixels[: SIZE[1] - 200])
    faces = norms.face_points(SITTER.points), norms.face_points(high.points)
    head = carry_head(cut, faces[1], SITTER.picture(), faces[0])
    assert head.doubts["ho_12"] == head.doubts["v"] == "the hair runs out of the reference"
    head = carry_head(SITTER.picture(), faces[0], cut, faces[1])
    assert head.doubts["ho_12"] == head.doubts["v"] == CUT
    assert "ho_9" not in head.doubts


def test_marks_by_hand_on_the_reference_are_carried() -> None:
    mark = (700.0 - 20, SITTER.hairline + 2, 1.0)
    head = carried(replace(SITTER, hairline=SITTER.hairline + 25, **PAINTED), tr=mark)
    assert head.reference[row("tr")] == pytest.approx(mark[:2])
    assert head.painting[row("tr"), 1] - mark[1] == pytest.approx(25, abs=0.02 * UNIT)


def test_a_mark_in_the_painting_alone_is_not_held_against_a_found_point() -> None:
    painting = replace(SITTER, **PAINTED)
    pixels = Carried(points=FACE, runs=np.stack([FACE, FACE]), head=carried(painting))
    marked = replace(norms.face_points(FACE, noise=0.3), hand={"tr": (700.0, 300.0, 1.0)})
    result = {m.id: m for m in compare(norms.face_points(FACE, noise=0.3), marked, carried=pixels).measures}
    assert result["hairline"].call == "not measured"
    assert result["hairline"].reason == "not there in the reference: hairline"
    assert result["head_shape_width"].witness == "pixels"


def test_the_head_is_mended_before_what_is_in_it() -> None:
    wide = audited(replace(SITTER, width=SITTER.width * 1.08, **PAINTED))
    about = replace(HEADS["neck_width"].about, level=1, feature="face", noun="face")
    face = replace(HEADS["neck_width"], id="face_width", family="size", about=about)
    off = replace(wide["head_shape_width"], id="face_width", family="size", feature="face", deviation=30.0)
    told = mend_first([off, wide["head_shape_width"]], {**HEADS, "face_width": face})
    assert len(told) == 2
    assert "head" in told[0]


def test_the_best_path_is_the_best_of_all() -> None:
    rng = np.random.default_rng(0)
    for _ in range(20):
        score = rng.uniform(0, 1, (5, 4))

        def worth(path: tuple[int, ...], score: NDArray[np.float64] = score) -> float:
            steps = np.diff(path)
            return float(score[np.arange(5), path].sum() - 0.1 * (steps**2).sum())

        best = max(itertools.product(range(4), repeat=5), key=worth)
        assert worth(tuple(best_path(score, 0.1).tolist())) == pytest.approx(worth(best))


def test_correlations_are_those_of_numpy() -> None:
    rng = np.random.default_rng(1)
    pattern, painted = rng.normal(0, 10, (2, 9, 1)), rng.normal(0, 10, (2, 20, 1))
    found = _correlations(pattern, painted, np.full(9, 1 / 9))
    for m, d in itertools.product(range(2), range(12)):
        assert found[m, d] == pytest.approx(np.corrcoef(pattern[m, :, 0], painted[m, d : d + 9, 0])[0, 1], abs=1e-6)


@pytest.mark.parametrize(("kind", "amount"), [("strokes", 0.08), ("glazes", -0.07), ("strokes", 0.0)])
def test_a_planted_width_is_read_from_a_rendered_portrait(
    kind: str, amount: float, portrait: NDArray[np.uint8], model_path: Path
) -> None:
    mesh = open_mesh(model_path)
    sitter = load_picture(np.ascontiguousarray(portrait[:300, 60:400]).repeat(3, axis=0).repeat(3, axis=1), label="a")
    points = locate(sitter, mesh, None, "reference")
    own = carry_head(sitter, points, sitter, points)
    sides = [own.reference[row(key)] for key in ("ho_9", "ho_3")]
    assert np.isfinite(sides).all()
    span, unit = sides[1] - sides[0], points.pupil_distance
    pulls = [
        Pull(centre=side, axes=np.eye(2), radii=(0.32 * unit, 0.9 * unit), matrix=np.zeros((2, 2)),
             shift=sign * amount / 2 * span)
        for side, sign in zip(sides, (-1, 1), strict=True)
    ]  # fmt: skip
    moves = Displacement(tuple(pulls) if amount else ())
    photo = rephotograph(paint(deform(sitter.pixels, moves), Brush.random(kind, 5)), Shot.random(5))  # type: ignore[arg-type]
    canvas = load_picture(photo.pixels, label="b")
    found = locate(canvas, mesh, None, "painting")
    pixels = replace(carry(sitter, points, canvas, found), head=carry_head(sitter, points, canvas, found))
    result = {m.id: m for m in compare(points, found, carried=pixels, stage="finish").measures}
    ends = moves(np.stack(sides))
    true = 100 * (np.linalg.norm(ends[1] - ends[0]) / np.linalg.norm(span) - 1)
    width = result["head_shape_width"]
    assert width.deviation == pytest.approx(true, abs=1.5)
    assert width.call == ("off" if amount else "true")
