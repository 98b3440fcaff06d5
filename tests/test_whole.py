"""What is wrong with the whole face: a common stretch is said once, a turn in words, and no single slip is either."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

import norms_face as norms
from limner import audit
from limner.compare.assemble import View, compare
from limner.compare.turned import TURN, turn_findings
from limner.compare.whole import STRETCH
from limner.compare.wholeplan import with_whole_plan
from limner.face.points import FEATURES
from limner.face.turning import PLACES, rotation, turning
from limner.measure.askew import fit_askew, undone
from limner.measure.frames import HEAD_FEATURES
from limner.measure.strain import fit_strain
from limner.pictures.picture import Picture
from limner.proving.photograph import Shot, rephotograph
from limner.proving.plant import plant
from limner.proving.render import Brush, paint
from limner.proving.slips import Slip
from limner.register.carried import Carried
from limner.report.moves import after_stretch, find_moves
from limner.report.overlay import Overlay
from limner.report.text import to_text
from limner.report.words import painted_whole
from limner.result import Pose, WholeFinding
from limner.settings import Settings
from sample import sample

POSE = {"scale": 6.0, "turn": 5.0, "centre": (900.0, 700.0)}
REFERENCE = norms.face_points(norms.norms_px(), noise=0.3)
LEVEL = Pose(yaw=0.0, pitch=0.0, roll=0.0, sigma=0.5)
BOARD = np.full((1500, 1800, 3), 120, np.uint8)
NOSE, EYE = FEATURES["nose"].indices, FEATURES["eye_left"].indices


def stretch(points: np.ndarray, percent: float, axis: float = 0.0) -> np.ndarray:
    """Longer by so much along a line whose top leans ``axis`` degrees to picture right (y down)."""
    t = np.radians(axis)
    along = np.array([np.sin(t), -np.cos(t)])
    return points @ (np.eye(2) + percent / 100 * np.outer(along, along))


def compared(painted: np.ndarray, *, noise: float = 0.0, seed: int = 0, proportions=None, pose=LEVEL, strict=1.0):
    placed = norms.place(painted, **POSE)
    placed = placed + np.random.default_rng(seed).normal(0, noise, placed.shape)
    carried = Carried(points=placed, runs=placed + np.array([[[-0.2, 0.0]], [[0.2, 0.0]]]))
    return compare(
        REFERENCE,
        norms.face_points(placed, noise=0.3, seed=seed),
        carried=carried,
        of_reference=View(pose=pose),
        of_painting=View(pose=pose, proportions=proportions),
        settings=Settings(strict=strict),
        stage="finish",
    )


def found(comparison, id_: str):
    return next(f for f in comparison.whole if f.id == id_)


def off(comparison) -> set[str]:
    return {m.id for m in comparison.measures if m.call == "off"}


@pytest.mark.parametrize(
    ("deviation", "sigma", "said"),
    [
        (1.2, 2.0, "1 degree to picture right"),
        (-3.1, 1.0, "3 degrees to picture left"),
        (0.3, 2.0, "no difference"),
    ],
)
def test_a_turn_is_told_in_degrees_and_a_nought_has_no_way(deviation, sigma, said):
    turn = WholeFinding(
        id="turn", name="turn of the head", unit="degrees", deviation=deviation, sigma=sigma, threshold=3.0,
        call="true", axis=None, cause="drawing", reason=None, source="", text="",
    )  # fmt: skip
    assert painted_whole(turn) == said


def test_the_stretch_is_the_planted_one_along_any_line():
    rng = np.random.default_rng(3)
    face = rng.uniform(-1, 1, (60, 2))
    groups = [str(k % 10) for k in range(60)]
    for axis in (-60.0, -20.0, 0.0, 30.0, 45.0, 80.0):
        seen = fit_strain(face, 1.7 * stretch(face, 6.0, axis) + [3.0, -2.0], np.ones(60), groups)
        assert seen.amount == pytest.approx(6.0, abs=1e-6)
        assert seen.axis == pytest.approx(axis, abs=1e-4)
        assert seen.share == pytest.approx(1.0, abs=1e-6)
        undone = stretch(face, 6.0, axis) @ np.linalg.inv(seen.matrix)
        assert fit_strain(face, undone, np.ones(60), groups).amount == pytest.approx(0.0, abs=1e-6)


def test_the_axis_is_that_of_the_singular_values():
    """Against numpy's SVD of the map: the stretch is the ratio of its singular values, along its first left vector."""
    rng = np.random.default_rng(4)
    face, groups = rng.uniform(-1, 1, (40, 2)), [str(k % 8) for k in range(40)]
    for _ in range(5):
        map_ = np.eye(2) + rng.uniform(-0.08, 0.08, (2, 2))
        seen = fit_strain(face, face @ map_.T, np.ones(40), groups)
        left, sides, _ = np.linalg.svd(map_)
        assert seen.amount == pytest.approx(100 * (sides[0] / sides[1] - 1), abs=1e-5)
        along = np.array([np.sin(np.radians(seen.axis)), -np.cos(np.radians(seen.axis))])
        assert abs(along @ left[:, 0]) == pytest.approx(1.0, abs=1e-5)


def test_a_feature_that_lies_anywhere_has_no_say():
    rng = np.random.default_rng(5)
    face, groups = rng.uniform(-1, 1, (60, 2)), [str(k % 10) for k in range(60)]
    painted = face + rng.normal(0, 0.002, face.shape)
    painted[::10] += [0.5, 0.3]
    seen = fit_strain(face, painted, np.ones(60), groups)
    assert seen.amount < 0.5
    assert seen.share < 0.2
    assert fit_strain(face[:3], painted[:3], np.ones(3), groups[:3]) is None


@pytest.mark.parametrize("percent", [3.0, 5.0, 8.0, -5.0])
@pytest.mark.parametrize("axis", [0.0, 45.0])
def test_a_common_stretch_is_said_once_and_the_parts_are_told_without_it(percent, axis):
    comparison = compared(stretch(norms.norms_mm(), percent, axis))
    said = found(comparison, "stretch")
    amount = percent if percent > 0 else 100 * (1 / (1 + percent / 100) - 1)
    assert abs(said.deviation) == pytest.approx(amount, abs=0.15)
    assert said.call == "off"
    assert said.cause == "camera or drawing"
    assert not off(comparison)
    assert len(said.explains) >= 5
    (notice,) = [n for n in comparison.warnings if n.code == "face_stretched"]
    assert "camera or drawing" in notice.text
    assert f"{len(said.explains)} measures" in notice.text
    # What belongs where is told in the picture as the camera saw it: nothing has to move.
    assert np.abs(comparison.should_be - comparison.painting_points)[list(NOSE)].max() < 1.0


def seen_from(points: np.ndarray, degrees: float, distance: float = 850.0, around: float = 0.0) -> np.ndarray:
    """Points on a flat canvas, mm, as a camera sees them that stands so far to the side of its middle, aimed at it."""
    t, a = np.radians(degrees), np.radians(around)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    away = (points - points.mean(axis=0)) @ turn.T
    x, y = away[:, 0], away[:, 1]
    scale = distance / (distance + x * np.sin(t))
    return np.stack([x * np.cos(t) * scale, y * scale], axis=1) @ turn


@pytest.mark.parametrize("around", [0.0, 60.0, 150.0])
@pytest.mark.parametrize("degrees", [12.0, 20.0])
def test_a_camera_beside_the_canvas_is_said_once(degrees, around):
    """A painted face of life size, from 0.85 m: perspective too. The stretch is told at the eyes, not at the middle."""
    comparison = compared(seen_from(norms.norms_mm(), degrees, around=around))
    said = found(comparison, "stretch")
    assert said.call == "off"
    assert said.cause == "camera or drawing"
    assert not off(comparison)
    assert "seen askew" in said.text
    assert abs(said.deviation) == pytest.approx(100 * (1 / np.cos(np.radians(degrees)) - 1), abs=1.0)
    assert np.abs(comparison.should_be - comparison.painting_points)[list(NOSE)].max() < 2.0


def leaning(points: np.ndarray, across: float, down: float = 0.0) -> np.ndarray:
    """Points, mm, with lengths larger by a share per pupil distance to picture right and down; the eyes stay."""
    eyes = points[[468, 473]]
    origin, unit = eyes.mean(axis=0), np.linalg.norm(eyes[1] - eyes[0])
    away = (points - origin) / unit
    return origin + unit * away * (1 + (away @ [across, down])[:, None] / 1.5)


def deviations(comparison) -> dict[str, float]:
    return {m.id: m.deviation for m in comparison.measures if m.deviation is not None and m.unit == "percent"}


@pytest.mark.parametrize("lean", [(0.01, 0.0), (-0.008, 0.008), (0.0, -0.011)])
def test_a_camera_a_little_beside_the_canvas_is_taken_out(lean):
    painted = leaning(norms.norms_mm(), *lean)
    told = deviations(compared(painted))
    as_seen = deviations(compared(painted, proportions=0.5))
    lengths = ("mouth_width", "nose_width", "face_height", "lower_face", "jaw_width", "eye_width_left")
    worst, seen = (max(abs(dev[id_]) for id_ in lengths) for dev in (told, as_seen))
    assert seen > 0.4
    assert worst < 0.3 * seen
    comparison = compared(painted)
    # What belongs where is told in the picture as the camera saw it: nothing has to move.
    assert np.nanmax(np.abs(comparison.should_be - comparison.painting_points)[list(NOSE)]) < 1.0
    assert found(comparison, "stretch").call == "true"
    (notice,) = [n for n in comparison.warnings if n.code == "slight_lean"]
    told_percent = float(notice.text.split("grow by ")[1].split(" %")[0])
    assert told_percent == pytest.approx(100 * np.hypot(*lean), abs=0.15)


def test_a_lean_beyond_what_photos_have_is_said_to_be_seen_askew():
    comparison = compared(leaning(norms.norms_mm(), 0.02))
    assert "larger to picture right, by about 2.0 % over one pupil distance" in found(comparison, "stretch").text
    assert not [n for n in comparison.warnings if n.code == "slight_lean"]
    assert not off(comparison)


def test_a_next_to_nothing_lean_and_one_that_cannot_be_a_camera_s_are_not_told():
    for painted, proportions in ((leaning(norms.norms_mm(), 0.004), None), (leaning(norms.norms_mm(), 0.012), 0.5)):
        comparison = compared(painted, proportions=proportions)
        assert not [n for n in comparison.warnings if n.code == "slight_lean"]


@pytest.mark.parametrize(
    ("indices", "move"), [(tuple(FEATURES["lips"].indices), (3.0, 0.0)), (tuple(EYE), (0.0, 3.0)), (NOSE, (3.0, 2.0))]
)
def test_a_feature_out_of_place_is_no_lean(indices, move):
    """Moved by 3 mm, 5 % of the pupil distance: what is told of it and of the others stays within 0.3 %."""
    painted = norms.norms_mm()
    painted[list(indices)] += move
    told, as_seen = compared(painted), compared(painted, proportions=0.5)
    assert not [n for n in told.warnings if n.code == "slight_lean"]
    first, second = deviations(told), deviations(as_seen)
    lengths = ("mouth_width", "nose_width", "face_height", "jaw_width", "face_width")
    assert max(abs(first[id_] - second[id_]) for id_ in lengths) < 0.3


def test_a_slip_in_a_photo_from_the_side_is_told_as_from_the_front():
    slipped = norms.widened(norms.norms_mm(), (129, 358), 1.25)
    plain = {m.id: m for m in compared(slipped).measures}["nose_width"]
    measure = {m.id: m for m in compared(seen_from(slipped, 17.0)).measures}["nose_width"]
    assert measure.deviation == pytest.approx(plain.deviation, abs=0.5)


def test_what_is_brought_back_is_put_in_again():
    rng = np.random.default_rng(8)
    face, groups = rng.uniform(-1, 1, (60, 2)), [str(k % 10) for k in range(60)]
    seen = stretch(face, 5.0, 30.0)
    seen = seen / (1 + 0.04 * seen[:, :1] - 0.02 * seen[:, 1:])
    askew = fit_askew(seen, face, np.ones(60), groups)
    assert askew.clear
    assert np.abs(undone(askew.back, seen) - face).max() < 0.01
    assert askew.toward[0] < 0 < askew.toward[1]
    assert not fit_askew(stretch(face, 5.0, 30.0), face, np.ones(60), groups).clear


@pytest.mark.parametrize(("percent", "words"), [(4.0, "too long for its width"), (-4.0, "too wide for its length")])
def test_on_a_canvas_of_known_size_it_is_the_drawing_and_stays_to_be_moved(percent, words):
    painted = stretch(norms.norms_mm(), percent)
    comparison = compared(painted, proportions=0.4)
    said = found(comparison, "stretch")
    assert said.call == "off"
    assert said.cause == "drawing"
    assert words in said.text
    assert "camera" not in said.text
    assert not [n for n in comparison.warnings if n.code == "face_stretched"]
    apart = np.abs(comparison.should_be - comparison.painting_points).max()
    assert apart > 10.0
    assert np.abs(comparison.should_be - comparison.evened_points)[list(NOSE)].max() < 1.0


@pytest.mark.parametrize(("percent", "low"), [(8.0, 1.5), (8.0, 0.0), (-6.0, 2.0), (6.0, 8.0)])
def test_no_arrow_of_the_overlay_goes_against_the_plan(percent, low):
    """A face drawn too long, its mouth too high for that face and too low on the canvas: first shorten, then lower.

    The arrow is what is left to do after the first step, and the overlay says so.
    """
    slipped = norms.moved(norms.norms_mm(), norms.MOUTH, 0.0, low - 5.0 if percent > 0 else low)
    comparison = compared(stretch(slipped, percent), proportions=0.4)
    fields = ("scale", "measures", "painting_points", "should_be", "point_sigma", "whole", "evened_points")
    result = sample(
        settings=Settings(),
        reference_points=REFERENCE.mean,
        **{name: getattr(comparison, name) for name in fields},
    )
    result = with_whole_plan(result)
    steps = {step.unit: step for step in result.corrections}
    assert after_stretch(result) is result.corrections[0] is steps["whole"]
    arrows = {move.name: move for move in find_moves(result)}
    assert arrows, "something is left to move"
    for name, unit in {"the whole mouth": "mouth", "the whole nose": "nose"}.items():
        step = steps.get(unit)
        if step is not None and step.dy.value is not None and name in arrows:
            arrow = arrows[name].end - arrows[name].start
            assert np.sign(arrow[1]) == np.sign(step.dy.value), (name, step.text)
    assert "the whole mouth" in arrows
    assert steps["mouth"].dy.value is not None
    told = Overlay().svg(result, Picture(pixels=BOARD, name="b", digest=None, full_size=BOARD.shape[1::-1])).decode()
    assert "The arrows begin after step 1" in told


@pytest.mark.parametrize("percent", [0.0, 5.0])
@pytest.mark.parametrize(
    ("id_", "rows", "factor"), [("nose_width", (129, 358), 1.25), ("eye_width_left", norms.EYE_LEFT, 1.17)]
)
def test_a_slip_is_not_swallowed(percent, id_, rows, factor):
    slipped = norms.widened(norms.norms_mm(), rows, factor)
    plain = {m.id: m for m in compared(slipped).measures}[id_]
    comparison = compared(stretch(slipped, percent))
    measure = {m.id: m for m in comparison.measures}[id_]
    assert found(comparison, "stretch").call == ("off" if percent else "true")
    assert measure.call == "off"
    assert measure.deviation == pytest.approx(plain.deviation, abs=0.3)


def test_on_faithful_copies_neither_stretch_nor_turn_is_said():
    """A hundred copies, each feature's place off by 0.3 % of the pupil distance and each point by 0.15 %."""
    said = 0
    for seed in range(100):
        rng = np.random.default_rng(seed)
        painted = norms.norms_mm() + rng.normal(0, 0.1, (478, 2))
        for places, _ in HEAD_FEATURES.values():
            for place in places:
                painted[list(place)] += rng.normal(0, 0.2, 2)
        placed = norms.place(painted, **POSE)
        source, target = REFERENCE.mean, placed
        rows = [list(p) for places, _ in HEAD_FEATURES.values() for p in places]
        first, second = (np.array([points[r].mean(axis=0) for r in rows]) for points in (source, target))
        groups = [feature for feature, (places, _) in HEAD_FEATURES.items() for _ in places]
        weights = np.array([weight for places, weight in HEAD_FEATURES.values() for _ in places])
        seen = fit_strain(first, second, weights, groups)
        turn = turning(source, target, LEVEL)
        said += seen.amount > STRETCH or abs(turn.yaw) > TURN or abs(turn.pitch) > TURN
    assert said <= 1


def turned(pose: Pose, yaw: float, pitch: float) -> tuple[np.ndarray, np.ndarray]:
    """A reference and a painting of the neutral face, seen from far off; the painting turned further."""
    reference, painting = np.full((478, 2), np.nan), np.full((478, 2), np.nan)
    further = Pose(yaw=pose.yaw + yaw, pitch=pose.pitch + pitch, roll=pose.roll, sigma=0.5)
    for points, at in ((reference, pose), (painting, further)):
        for place in PLACES:
            seen = rotation(at) @ np.array(place.at)
            points[list(place.rows)] = 4 * seen[:2] + 500
    return reference, painting


@pytest.mark.parametrize(("yaw", "pitch"), [(4.0, 0.0), (-10.0, 0.0), (0.0, 6.0), (0.0, -4.0), (5.0, 5.0)])
@pytest.mark.parametrize("ahead", [0.0, 15.0])
def test_a_turn_is_told_from_what_lies_nearer(yaw, pitch, ahead):
    seen = turning(*turned(Pose(yaw=ahead, pitch=0.0, roll=3.0, sigma=0.5), yaw, pitch), LEVEL_AT[ahead])
    give = 0.08 * np.hypot(yaw, pitch) + 0.35
    assert seen.yaw == pytest.approx(yaw, abs=give)
    assert seen.pitch == pytest.approx(pitch, abs=give)
    assert abs(seen.yaw - yaw) < 1.96 * seen.sigma_yaw
    assert abs(seen.pitch - pitch) < 1.96 * seen.sigma_pitch


LEVEL_AT = {ahead: Pose(yaw=ahead, pitch=0.0, roll=3.0, sigma=0.5) for ahead in (0.0, 15.0)}


def test_a_stretch_is_not_taken_for_a_turn_nor_a_nose_out_of_place():
    reference, _ = turned(LEVEL, 0.0, 0.0)
    for axis in (0.0, 45.0, 90.0):
        seen = turning(reference, stretch(reference, 6.0, axis), LEVEL)
        assert abs(seen.yaw) < 0.05
        assert abs(seen.pitch) < 0.05
    painting = reference.copy()
    painting[[4, 2, 129, 358]] += [12.0, 0.0]  # 3 mm, as a turn of six degrees would
    seen = turning(reference, painting, LEVEL)
    assert abs(seen.yaw) < max(TURN, 1.96 * seen.sigma_yaw)


def test_which_way_it_is_turned_is_said_as_a_painter_sees_it():
    for ahead, yaw, words in (
        (0.0, 6.0, "to picture right"),
        (15.0, -6.0, "too far to the front"),
        (15.0, 6.0, "side"),
    ):
        pose = Pose(yaw=ahead, pitch=0.0, roll=0.0, sigma=0.5)
        reference, painting = turned(pose, yaw, 0.0)
        turn, tip = turn_findings(
            reference, painting, (pose, pose), without=(), by_pixels=True, broad=False, strict=1.0
        )
        assert turn.call == "off"
        assert words in turn.text
        assert "about 6" in turn.text or "about 5" in turn.text
        assert tip.call == "true"
        broad = turn_findings(reference, painting, (pose, pose), without=(), by_pixels=True, broad=True, strict=1.0)
        assert broad[0].sigma == pytest.approx(2 * turn.sigma)
        assert not turn_findings(
            reference, painting, (pose, pose), without=(), by_pixels=False, broad=False, strict=1.0
        )


@pytest.fixture(scope="module")
def sitter(portrait, model_path):
    """The portrait cropped, twice as large, with its points."""
    part = np.ascontiguousarray(cv2.resize(portrait[0:330, 60:390], (990, 990), interpolation=cv2.INTER_CUBIC))
    settings = Settings(model=model_path, values=False, witness="mesh")
    return part, audit(part, part, settings=settings).reference_points


def photographed(pixels: np.ndarray, percent: float, scale: float = 0.95) -> np.ndarray:
    height, width = pixels.shape[:2]
    middle = np.array([width, height]) / 2
    map_ = np.array([[1, 0], [0, 1 + percent / 100]])
    matrix = np.column_stack([map_, middle - map_ @ middle])
    longer = cv2.warpAffine(pixels, matrix, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
    shot = Shot(scale=scale, stops=0.1, blur=0.5, noise=1.5, seed=2)
    return rephotograph(paint(longer, Brush.random("glazes", 5)), shot).pixels


def test_a_stretched_painting_with_a_slip_in_it(sitter, model_path):
    """5 % too long with a nose 25 % too wide: the one is said once, the other as without the stretch."""
    reference, points = sitter
    slipped = plant(reference, points, Slip(kind="nose_width", amount=0.25)).pixels
    settings = Settings(model=model_path, values=False, stage="finish")
    plain = audit(reference, photographed(slipped, 0.0), settings=settings)
    told = audit(reference, photographed(slipped, 5.0), settings=settings)
    before, after = ({m.id: m for m in result.measures}["nose_width"] for result in (plain, told))
    assert found(plain, "stretch").call == "true"
    said = found(told, "stretch")
    assert said.call == "off"
    assert said.deviation == pytest.approx(5.0, abs=1.96 * said.sigma)
    assert after.call == "off"
    assert after.deviation == pytest.approx(before.deviation, abs=3.0)
    assert len(told.off) < len(plain.off) + 5
    text = " ".join(to_text(told).split())
    assert "camera or drawing" in text
    assert "longer than wide" in text


def test_on_a_straightened_canvas_the_stretch_is_the_first_thing_to_mend(sitter, model_path):
    reference, _ = sitter
    photo = photographed(reference, 4.0, scale=1.0)
    end = photo.shape[0] - 0.5
    corners = ((-0.5, -0.5), (end, -0.5), (end, end), (-0.5, end))
    settings = Settings(model=model_path, values=False, stage="finish", canvas="400x400mm", corners=corners)
    result = audit(reference, photo, settings=settings)
    assert "too long for its width" in result.mend_first[0]
    first = result.corrections[0]
    assert (first.step, first.unit) == (1, "whole")
    assert first.along.value == pytest.approx(-3.85, abs=1.96 * first.along.sigma)
    assert [step.step for step in result.corrections] == list(range(1, len(result.corrections) + 1))
    assert next(one["id"] for one in result.to_dict()["whole"] if one["call"] == "off") == "stretch"
