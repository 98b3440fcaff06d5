"""The plan of corrections: known errors are planted, the plan names them, and carried out it mends them."""

from __future__ import annotations

import sys
from dataclasses import replace

import cv2
import numpy as np
import pytest
from scipy.interpolate import RBFInterpolator

import norms_face as norms
from limner import audit
from limner.auditing import examine
from limner.compare.apart import set_apart
from limner.compare.assemble import compare
from limner.compare.corrections import after, planned, with_plan
from limner.compare.corrections.fit import Fit, design, moved
from limner.compare.corrections.say import Told, kept_ways, sentence
from limner.compare.corrections.units import FACE, FEATURE_UNITS, PAIRS
from limner.compare.millimetres import with_millimetres
from limner.compare.wording import rounded
from limner.face.byhand import FACE_IN_PUPILS
from limner.face.points import FEATURES
from limner.proving.plant import plant
from limner.proving.render import Brush, paint
from limner.proving.slips import Slip
from limner.proving.trials import crop_to_face
from limner.register.carried import Carried
from limner.result import AuditResult, CanvasReport, Correction, Quantity
from limner.settings import Hold, Settings
from sample import sample

UNITS = {unit.id: unit for unit in (FACE, *PAIRS, *FEATURE_UNITS)}
MM = 6.0
"""px per mm of the placed norm faces."""


def judged(painted: np.ndarray, canvas: CanvasReport | None = None, hold: Hold = "eyes") -> AuditResult:
    """The audit of a face of published mean measures, painted otherwise, its points carried without an error."""
    pose = {"scale": MM, "turn": 0.0, "centre": (900.0, 700.0)}
    place = norms.place(painted, **pose)
    carried = Carried(points=place, runs=place + np.array([[[-0.2, 0.0]], [[0.2, 0.0]]]))
    reference = norms.face_points(norms.norms_px(), noise=0.3)
    settings = Settings(hold=hold)
    there = norms.face_points(place, noise=0.5, seed=1)
    found = compare(reference, there, carried=carried, stage="finish", settings=settings)
    result = sample(
        reference=replace(sample().reference, pupil_distance=apart_px(reference.mean)),
        settings=settings,
        scale=found.scale,
        measures=found.measures,
        reference_points=reference.mean,
        painting_points=found.painting_points,
        should_be=found.should_be,
        point_sigma=found.point_sigma,
        canvas=canvas,
    )
    return with_plan(set_apart(with_millimetres(result)))


def apart_px(points: np.ndarray) -> float:
    return float(np.linalg.norm(points[473] - points[468]))


def canvas_known(share: float = 0.0) -> CanvasReport:
    """A canvas on which the placed norm faces are as large as in life; its millimetre known to so much, one sigma."""
    return CanvasReport(
        found_by="hand",
        sure=True,
        reason="Given.",
        corners=(),
        size_mm=(400.0, 500.0),
        mm_per_px=Quantity(value=1 / MM, sigma=share / MM),
        off_axis=0.0,
    )


def one(result: AuditResult, unit: str) -> Correction:
    found = [c for c in result.corrections if c.unit == unit]
    assert len(found) == 1, [c.text for c in result.corrections]
    return found[0]


def test_nothing_off_needs_no_plan():
    assert judged(norms.norms_mm()).corrections == ()


def test_a_mouth_painted_too_low_is_moved_up_by_as_much():
    painted = norms.moved(norms.norms_mm(), norms.MOUTH, 0.0, 4.0)
    step = one(judged(painted), "mouth")
    apart = np.linalg.norm(norms.norms_mm()[473] - norms.norms_mm()[468])
    assert step.dy.value == pytest.approx(-4.0 / apart, abs=0.01)
    assert step.dx.value is None
    assert " up " in step.text
    assert "mouth_y" in step.mends
    assert step.left_off == 0


def test_on_a_canvas_of_known_size_it_is_told_in_millimetres():
    step = one(judged(norms.moved(norms.norms_mm(), norms.MOUTH, 5.0, 0.0), canvas_known()), "mouth")
    assert step.dx_mm.value == pytest.approx(-5.0, abs=0.3)
    assert "mm toward picture left" in step.text


def test_both_eyes_too_wide_are_one_step_and_not_two():
    painted = norms.widened(norms.widened(norms.norms_mm(), norms.EYE_LEFT, 1.15), norms.EYE_RIGHT, 1.15)
    result = judged(painted)
    step = one(result, "eyes")
    assert step.level == "pair"
    assert step.along.value == pytest.approx(100 * (1 / 1.15 - 1), abs=1.5)
    assert "narrower" in step.text
    assert not {"eye_left", "eye_right"} & {c.unit for c in result.corrections}


def test_one_eye_too_wide_is_not_laid_on_the_other():
    result = judged(norms.widened(norms.norms_mm(), norms.EYE_LEFT, 1.2))
    assert one(result, "eye_left").along.value == pytest.approx(100 * (1 / 1.2 - 1), abs=2.0)
    assert not {"eyes", "eye_right"} & {c.unit for c in result.corrections}


BROWS = {side: list(FEATURES[f"brow_{side}"].indices) for side in ("left", "right")}


@pytest.mark.parametrize(
    ("left", "right", "units"),
    [
        (-4.0, 0.0, ["brow_left"]),
        (-3.0, -0.5, ["brow_left", "brow_right"]),
        (4.0, 1.0, ["brow_left", "brow_right"]),
        (-4.0, -4.0, ["brows"]),
        (-4.5, -4.0, ["brows"]),
        (-5.0, -4.0, ["brow_left", "brow_right"]),
    ],
    ids=["one alone", "one hardly", "one much less", "both", "both nearly", "one surely more"],
)
def test_no_brow_is_moved_with_the_other_only_to_be_moved_back(left, right, units):
    """What each of a pair needs may go the same way and still be no step for both; nothing is moved to and fro."""
    result = judged(norms.moved(norms.moved(norms.norms_mm(), BROWS["left"], 0.0, left), BROWS["right"], 0.0, right))
    assert [c.unit for c in result.corrections] == units
    apart = np.linalg.norm(norms.norms_mm()[473] - norms.norms_mm()[468])
    needed = {"brow_left": -left / apart, "brow_right": -right / apart, "brows": -(left + right) / 2 / apart}
    for step in result.corrections:
        assert step.dy.value == pytest.approx(needed[step.unit], abs=0.005)


@pytest.mark.parametrize(("left", "right", "units"), [(1.15, 1.06, 2), (1.15, 1.0, 1), (1.15, 1.12, 1)])
def test_no_eye_is_narrowed_with_the_other_only_to_be_widened_again(left, right, units):
    painted = norms.widened(norms.widened(norms.norms_mm(), norms.EYE_LEFT, left), norms.EYE_RIGHT, right)
    steps = judged(painted).corrections
    assert len(steps) == units
    assert all(step.along.value < 0 for step in steps)


@pytest.mark.parametrize("way", [(4.0, 0.0), (-4.0, 0.0), (0.0, 3.0)])
def test_one_eye_in_the_wrong_place_is_one_step_on_that_eye(way):
    result = judged(norms.moved(norms.norms_mm(), norms.EYE_LEFT, *way))
    assert [c.unit for c in result.corrections] == ["eye_left"]


@pytest.mark.parametrize("way", [(2.5, 0.0), (-2.5, 0.0), (0.0, 3.0), (0.0, -2.5)])
@pytest.mark.parametrize(("side", "first"), [("left", 473), ("right", 468)])
def test_a_whole_eye_in_the_wrong_place_is_one_step_where_the_head_is_held(side, first, way):
    """Pupil and all: the eyes cannot be what the rest is brought to then, and that is said where they are held."""
    rows = [*(norms.EYE_LEFT if side == "left" else norms.EYE_RIGHT), *range(first, first + 5)]
    painted = norms.moved(norms.norms_mm(), rows, *way)
    steps = judged(painted, hold="head").corrections
    assert [step.unit for step in steps] == [f"eye_{side}"]
    apart = np.linalg.norm(norms.norms_mm()[473] - norms.norms_mm()[468])
    moved_by = np.array([steps[0].dx.value or 0.0, steps[0].dy.value or 0.0]) * apart
    np.testing.assert_allclose(moved_by, -np.array(way), atol=0.25)


def test_steps_come_large_to_small_and_what_is_foreseen_only_falls():
    painted = norms.widened(norms.widened(norms.norms_mm(), norms.EYE_LEFT, 1.15), norms.EYE_RIGHT, 1.15)
    result = judged(norms.moved(painted, norms.MOUTH, 3.0, 4.0))
    order = ["placement", "head", "pair", "feature"]
    levels = [order.index(c.level) for c in result.corrections]
    assert levels == sorted(levels)
    left = [len(result.off), *(c.left_off for c in result.corrections)]
    assert left == sorted(left, reverse=True)
    assert [c.step for c in result.corrections] == list(range(1, len(levels) + 1))
    mended = [id_ for c in result.corrections for id_ in c.mends]
    assert len(mended) == len(set(mended))
    assert left[-1] == len(result.off) - len(mended)


def test_what_is_not_painted_yet_is_not_moved():
    painted = norms.moved(norms.norms_mm(), norms.MOUTH, 0.0, 4.0)
    result = judged(painted)
    hidden = tuple(replace(m, call="not painted yet") if m.feature == "lips" else m for m in result.measures)
    assert "mouth" not in {c.unit for c in planned(replace(result, measures=hidden))}


def about(text: str) -> str:
    """Which part of the face a sentence speaks of."""
    subject = text.split(":", maxsplit=1)[0].lower()
    return next(part for part in ("cheek", "brow", "eye", "mouth", "nose", "chin") if part in subject)


def test_mend_first_has_the_order_of_the_plan():
    painted = norms.widened(norms.widened(norms.norms_mm(), norms.EYE_LEFT, 1.12), norms.EYE_RIGHT, 1.12)
    painted = norms.moved(painted, norms.MOUTH, 0.0, 7.0)
    painted = norms.moved(painted, list(FEATURES["brow_left"].indices), 0.0, -4.0)
    result = judged(painted)
    said = list(dict.fromkeys(about(line) for line in result.mend_first if about(line) != "cheek"))
    planned_parts = list(dict.fromkeys(about(step.text) for step in result.corrections))
    assert set(said) <= set(planned_parts)
    assert said == [part for part in planned_parts if part in said]
    assert said[0] == "eye", "a pair comes before one feature, however far the mouth is off"
    assert max(result.off, key=lambda m: m.weight).feature not in ("eye_left", "eye_right")


def less_sure(result: AuditResult, feature: str, share: float) -> AuditResult:
    """The same audit with the give or take of what is off about a feature as large as this share of it."""
    measures = tuple(
        replace(m, sigma=share * abs(m.deviation) / 1.96) if m.call == "off" and feature in m.feature else m
        for m in result.measures
    )
    return with_plan(replace(result, measures=measures))


def test_of_two_pairs_the_one_that_is_surely_off_goes_first():
    painted = norms.widened(norms.widened(norms.norms_mm(), norms.EYE_LEFT, 1.12), norms.EYE_RIGHT, 1.12)
    both = [*FEATURES["brow_left"].indices, *FEATURES["brow_right"].indices]
    sure = judged(norms.moved(painted, both, 0.0, -7.0))
    assert [step.unit for step in sure.corrections] == ["brows", "eyes"]
    assert list(dict.fromkeys(about(line) for line in sure.mend_first)) == ["brow", "eye"]
    unsure = less_sure(sure, "brow", 0.9)
    assert max(unsure.off, key=lambda m: m.weight).feature.startswith("brow"), "the brows are off by more, as before"
    assert [step.unit for step in unsure.corrections] == ["eyes", "brows"]
    assert list(dict.fromkeys(about(line) for line in unsure.mend_first)) == ["eye", "brow"]


def test_however_unsure_a_pair_it_stays_before_one_feature():
    painted = norms.widened(norms.widened(norms.norms_mm(), norms.EYE_LEFT, 1.15), norms.EYE_RIGHT, 1.15)
    result = less_sure(judged(norms.moved(painted, norms.MOUTH, 0.0, 5.0)), "eye", 0.7)
    assert [step.unit for step in result.corrections] == ["eyes", "mouth"]
    assert about(result.mend_first[0]) == "eye"


@pytest.mark.parametrize("height", [1.0, 1.15])
def test_eyes_painted_too_large_are_no_move_of_the_brows(height):
    painted = norms.norms_mm()
    for eye in (norms.EYE_LEFT, norms.EYE_RIGHT):
        painted = norms.widened(painted, eye, 1.15, height)
    result = judged(painted)
    assert one(result, "eyes").step == 1
    assert not {"brows", "brow_left", "brow_right"} & {c.unit for c in result.corrections}
    assert not any("brow" in line for line in result.mend_first), result.mend_first


def test_an_amount_that_is_printed_at_its_own_limit_is_no_move():
    told = Told(per_px=1.0, name="mm")
    at_limit = Fit(amounts=np.array([0.0, 8.4, 0.0, 0.0, 0.0]), sigma=np.array([np.inf, 4.2, 1, 1, 1]), explained=1.0)
    assert rounded(8.4, 4.2) == ("8", "8")
    assert kept_ways(at_limit, told) == frozenset()
    clear = replace(at_limit, amounts=np.array([0.0, 12.0, 0.0, 0.0, 0.0]))
    assert kept_ways(clear, told) == {"y"}
    assert kept_ways(at_limit, Told(per_px=0.1, name="mm")) == frozenset()


def test_what_is_printed_in_mm_includes_the_doubt_of_the_canvas():
    clear = Fit(amounts=np.array([0.0, 40.0, 0.0, 0.0, 0.0]), sigma=np.array([np.inf, 1.0, 1, 1, 1]), explained=1.0)
    mouth = UNITS["mouth"]
    assert "40 mm down (give or take 2 mm)" in sentence(mouth, clear, frozenset("y"), Told(per_px=1.0, name="mm"))
    loose = Told(per_px=1.0, name="mm", share=0.05)
    assert "40 mm down (give or take 5 mm)" in sentence(mouth, clear, frozenset("y"), loose)


def test_no_step_is_printed_at_its_own_limit():
    painted = norms.widened(norms.widened(norms.norms_mm(), norms.EYE_LEFT, 1.15), norms.EYE_RIGHT, 1.15)
    for shift in (2.0, 3.0, 4.0):
        for step in judged(norms.moved(painted, norms.MOUTH, shift, shift)).corrections:
            for way in (step.dx, step.dy, step.along, step.across, step.turn):
                assert way.value is None or abs(way.value) > 1.96 * way.sigma


def test_the_chin_goes_sideways_as_surely_as_the_centre_line_is_known():
    """Its doubt across is that of the turn of the line from the root of the nose to it, not that of its height."""
    result = judged(norms.moved(norms.norms_mm(), list(FEATURES["chin"].indices), 6.0, 0.0))
    by_id = {m.id: m for m in result.measures}
    chin = one(result, "chin")
    across = np.radians(by_id["centre_axis"].sigma) / FACE_IN_PUPILS
    assert chin.dx.sigma == pytest.approx(across, rel=1e-6)
    assert chin.dy.sigma == pytest.approx(by_id["chin_y"].sigma / 100, rel=1e-6)
    assert chin.dx.value == pytest.approx(
        -6.0 / np.linalg.norm(norms.norms_mm()[473] - norms.norms_mm()[468]), abs=0.03
    )


@pytest.mark.parametrize("unit", UNITS.values(), ids=UNITS)
def test_a_unit_moves_as_its_amounts_say(unit):
    points = norms.place(norms.norms_mm(), scale=MM, turn=0.0, centre=(900.0, 700.0))
    first = unit.parts[0]
    rows = list(first.rows)
    middle = points[rows].mean(axis=0)
    shifted = moved(unit, points, np.array([3.0, -2.0, 0.0, 0.0, 0.0]))
    np.testing.assert_allclose(shifted[rows] - points[rows], np.tile([3.0, -2.0], (len(rows), 1)))
    larger = moved(unit, points, np.array([0.0, 0.0, 0.1, 0.1, 0.0]))
    np.testing.assert_allclose(larger[rows] - middle, 1.1 * (points[rows] - middle), atol=1e-9)
    turned = moved(unit, points, np.array([0.0, 0.0, 0.0, 0.0, 0.01]))
    off, there = points[rows] - middle, turned[rows] - middle
    far = np.linalg.norm(off, axis=1) > 5
    off, there = off[far], there[far]
    angle = np.degrees(np.arctan2(there[:, 1], there[:, 0]) - np.arctan2(off[:, 1], off[:, 0]))
    np.testing.assert_allclose((angle + 180) % 360 - 180, np.degrees(0.01), atol=0.01)  # clockwise as seen, y down
    assert design(first, points).shape == (len(rows), 2, 5)


def carried_out(result: AuditResult, painting: np.ndarray) -> np.ndarray:
    """The painting warped as the plan says: smooth between the points it moves, still at the picture's edge."""
    height, width = painting.shape[:2]
    edge = [(x, y) for x in np.linspace(0, width - 1, 9) for y in (0, height - 1)]
    edge += [(x, y) for y in np.linspace(0, height - 1, 9) for x in (0, width - 1)]
    rows = sorted({row for unit in UNITS.values() for part in unit.parts for row in part.rows})
    there, here = after(result)[rows], result.painting_points[rows]
    sources = np.vstack([there, np.unique(edge, axis=0)])
    back = np.vstack([here - there, np.zeros((len(sources) - len(there), 2))])
    smooth = RBFInterpolator(sources + 1e-6 * np.arange(len(sources))[:, None], back, neighbors=80)
    grid = np.stack(np.meshgrid(np.arange(0, width + 8, 8), np.arange(0, height + 8, 8)), axis=-1)
    field = smooth(grid.reshape(-1, 2).astype(float)).reshape(grid.shape).astype(np.float32)
    x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    off = cv2.remap(field, x / 8, y / 8, cv2.INTER_CUBIC)
    return cv2.remap(painting, x + off[..., 0], y + off[..., 1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)


SLIPS = (
    (Slip(kind="eyes_size", amount=0.13), Slip(kind="mouth_width", amount=-0.10), Slip(kind="chin", amount=-0.09)),
    (Slip(kind="nose_width", amount=0.18), Slip(kind="brow_left_y", amount=-0.05), Slip(kind="mouth_y", amount=0.05)),
    (Slip(kind="eyes_width", amount=-0.12), Slip(kind="nose_y", amount=0.05), Slip(kind="mouth_turn", amount=4.0)),
)


def test_carried_out_it_mends_nine_of_ten(portrait, model_path, capsys):
    """Planted, painted, audited; warped by the plan and audited again: at least 90 % of what was off is off no more.

    And what was not off stays so: of all that was read, at most 3 % is off only now.
    """
    settings = Settings(model=model_path, values=False, stage="colour")
    first = examine(portrait, portrait, settings=replace(settings, witness="mesh"))
    pixels = crop_to_face(first.reference.pixels, first.result.reference_points)
    points = audit(pixels, pixels, settings=replace(settings, witness="mesh")).reference_points
    off = mended = fresh = read = 0
    for number, slips in enumerate(SLIPS):
        painting = paint(plant(pixels, points, slips).pixels, Brush.random("strokes", number))
        result = audit(pixels, painting, settings=settings)
        again = {m.id: m.call for m in audit(pixels, carried_out(result, painting), settings=settings).measures}
        was = {m.id: m.call for m in result.measures if m.deviation is not None}
        off += len(result.off)
        mended += sum(again[m.id] != "off" for m in result.off)
        fresh += sum(again[id_] == "off" and call != "off" for id_, call in was.items())
        read += len(was)
    with capsys.disabled():
        told = f"carried out, the plans mend {mended} of {off} measures that were off; of {read} read, {fresh} go off"
        sys.stdout.write(f"\n  {told}\n")
    assert off >= 20
    assert mended >= 0.9 * off
    assert fresh <= 0.03 * read
