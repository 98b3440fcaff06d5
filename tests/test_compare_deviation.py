"""Deviations on a flat face whose errors are planted by construction: what is read is what was planted."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

import norms_face as norms
from limner.compare.deviation import Framed, Pair, Reading, frame_up, pair_up, read
from limner.face.points import FEATURES, NAMED_POINTS
from limner.measure.catalogue import CATALOGUE, between
from limner.measure.similarity import NoFit

POSE = {"scale": 7.0, "turn": -11.0, "centre": (1500.0, 900.0)}
"""The painting is photographed larger and turned: nothing of that may show in a deviation."""


def framed(painted: np.ndarray, hold="eyes", reference: np.ndarray | None = None, **more) -> Framed:
    first = norms.norms_px() if reference is None else reference
    second = norms.place(painted, **POSE)
    found = frame_up(pair_up(first, first[None], second, second[None]), hold, **more)
    assert isinstance(found, Framed)
    return found


def deviation(id_: str, painted: np.ndarray, hold="eyes") -> float:
    reading = read(CATALOGUE[id_], framed(painted, hold))
    assert isinstance(reading, Reading), reading
    return reading.deviation


FACE = norms.norms_mm()
BOTH_EYES = (*norms.EYE_RIGHT, *norms.EYE_LEFT)


@pytest.mark.parametrize("hold", ["eyes", "head"])
@pytest.mark.parametrize("measure", CATALOGUE.values(), ids=lambda m: m.id)
def test_a_true_copy_deviates_by_nothing_however_it_was_photographed(measure, hold):
    assert_allclose(deviation(measure.id, FACE, hold), 0.0, atol=1e-6)


@pytest.mark.parametrize("hold", ["eyes", "head"])
@pytest.mark.parametrize("percent", [10.0, -13.0, 2.5])
def test_an_eye_painted_ten_percent_wider_reads_ten_percent(percent, hold):
    painted = norms.widened(FACE, norms.EYE_LEFT, 1 + percent / 100)
    assert_allclose(deviation("eye_width_left", painted, hold), percent, atol=1e-6)
    assert_allclose(deviation("eye_width_right", painted, hold), 0.0, atol=1e-6)
    assert_allclose(deviation("eye_opening_left", painted, hold), 0.0, atol=1e-6)
    assert_allclose(deviation("eye_left_area", painted, hold), percent, atol=1e-6)


@pytest.mark.parametrize(
    ("id_", "indices", "dx", "dy"),
    [
        ("mouth_y", norms.MOUTH, 0.0, 3.0),
        ("mouth_x", norms.MOUTH, -2.0, 0.0),
        ("nose_y", (*FEATURES["nose"].indices, 4), 0.0, -2.5),
        ("nose_x", (*FEATURES["nose"].indices, 4), 2.5, 0.0),
        ("brow_left_y", FEATURES["brow_left"].indices, 0.0, -3.0),
        ("chin_y", (152,), 0.0, 4.0),
        ("eye_right_x", (*norms.EYE_RIGHT, 469, 470, 471, 472), 2.0, 0.0),
    ],
)
def test_a_shift_reads_in_percent_of_the_pupil_distance_toward_picture_right_and_down(id_, indices, dx, dy):
    expected = 100 * (dx + dy) / norms.IPD
    assert_allclose(deviation(id_, norms.moved(FACE, indices, dx, dy)), expected, atol=1e-6)


@pytest.mark.parametrize("degrees", [3.0, -4.5])
@pytest.mark.parametrize(
    ("id_", "indices"),
    [
        ("mouth_axis", norms.MOUTH),
        ("brow_axis", (*FEATURES["brow_left"].indices, *FEATURES["brow_right"].indices)),
        ("nose_base_axis", (129, 358)),
        ("jaw_axis", (172, 397)),
        ("centre_axis", (168, 152)),
        ("nose_axis", (168, 4)),
        ("eye_slant_left", (*norms.EYE_LEFT, 473)),
        ("brow_slant_right", FEATURES["brow_right"].indices),
        ("eyes_mouth_angle", norms.MOUTH),
        ("brows_mouth_angle", norms.MOUTH),
        ("nose_base_mouth_angle", norms.MOUTH),
    ],
)
def test_a_turn_clockwise_reads_positive_degrees(id_, indices, degrees):
    assert_allclose(deviation(id_, norms.turned(FACE, indices, degrees)), degrees, atol=1e-6)


def test_the_eye_axis_is_read_against_the_head():
    eyes = (*BOTH_EYES, 468, 473)
    painted = norms.turned(FACE, eyes, 3.0)
    assert_allclose(deviation("eye_axis", painted), 3.0, atol=0.1)  # the head fit gives way a little
    assert_allclose(deviation("mouth_axis", painted), -3.0, atol=1e-6)


def test_holding_the_eyes_everything_follows_the_pupils_and_holding_the_head_nothing_does():
    """Pupils (and eyes) painted a tenth further apart; the rest is true."""
    out = 0.05 * norms.IPD
    painted = norms.moved(norms.moved(FACE, (*norms.EYE_RIGHT, 468), -out, 0.0), (*norms.EYE_LEFT, 473), out, 0.0)
    by_eyes, by_head = framed(painted, "eyes"), framed(painted, "head")
    assert_allclose(by_eyes.scales.held / by_head.scales.held, 1.1, rtol=2e-3)
    assert_allclose(deviation("nose_width", painted, "eyes"), 100 * (1 / 1.1 - 1), atol=1e-6)
    assert_allclose(deviation("nose_width", painted, "head"), 0.0, atol=0.2)
    for hold in ("eyes", "head"):  # this one goes by the head whatever is held
        assert_allclose(deviation("pupil_distance", painted, hold), 10.0, atol=0.2)
        assert_allclose(deviation("eye_left_x", painted, hold), 5.0, atol=0.2)


def test_values_are_in_pupil_distances_of_the_reference():
    painted = norms.widened(FACE, norms.MOUTH, 1.2)
    reading = read(CATALOGUE["mouth_width"], framed(painted))
    assert isinstance(reading, Reading)
    assert_allclose([reading.reference, reading.painting], np.array([1.0, 1.2]) * norms.CH_CH / norms.IPD)
    assert_allclose(reading.deviation, 20.0)


def test_the_mouth_opening_deviates_in_pupil_distances_because_it_may_be_closed():
    painted = norms.moved(FACE, (14,), 0.0, 4.0)
    assert_allclose(deviation("mouth_opening", painted), 100 * 4.0 / norms.IPD, atol=1e-6)
    assert_allclose(deviation("lower_lip", painted), 100 * (-4.0 / norms.STO_LI), atol=1e-6)


@pytest.mark.parametrize("factor", [1.1, 0.85])
def test_overlap_and_gap_of_an_eye_grown_on_both_sides(factor):
    painted = norms.widened(FACE, norms.EYE_LEFT, factor, factor)
    shared = min(factor, 1 / factor) ** 2
    assert_allclose(deviation("eye_left_overlap", painted), 100 * (shared - 1), atol=1e-6)
    assert_allclose(deviation("eye_left_area", painted), 100 * (factor**2 - 1), atol=1e-6)
    # The corners move by half the growth of the width, and the width is the outline's greatest extent.
    assert_allclose(deviation("eye_left_gap", painted), 100 * abs(factor - 1) / 2, atol=1e-6)


def test_place_has_no_part_in_overlap_and_gap():
    painted = norms.moved(FACE, norms.EYE_LEFT, 6.0, -4.0)
    assert_allclose(deviation("eye_left_overlap", painted), 0.0, atol=1e-6)
    assert_allclose(deviation("eye_left_gap", painted), 0.0, atol=1e-6)


@pytest.mark.parametrize("side", ["left", "right"])
def test_alignments_are_positive_outward_on_either_side(side):
    outward = 2.0 if side == "left" else -2.0
    corner = NAMED_POINTS[f"ch_{side}"].indices
    wing = NAMED_POINTS[f"al_{side}"].indices
    painted = norms.moved(norms.moved(FACE, corner, outward, 0.0), wing, outward, 0.0)
    assert_allclose(deviation(f"mouth_corner_pupil_{side}", painted), 200 / norms.IPD, atol=1e-6)
    assert_allclose(deviation(f"nose_wing_eye_corner_{side}", painted), 200 / norms.IPD, atol=1e-6)


def test_a_lid_that_comes_down_covers_more_of_the_iris():
    lid = NAMED_POINTS["ps_left"].indices
    assert_allclose(deviation("lid_cover_left", norms.moved(FACE, lid, 0.0, 1.0)), 100 / norms.IPD, atol=1e-6)


def test_the_scatter_of_the_readings_becomes_the_spread_of_the_deviation():
    """Ends of a length that scatter by q along it give sqrt(2) q; both pictures, sqrt(2) more; pupils likewise."""
    q = 0.004 * norms.IPD
    rng = np.random.default_rng(3)
    runs = FACE + rng.normal(0.0, q, (2, 1500, 478, 2))
    pair = Pair(reference=np.concatenate([FACE[None], runs[0]]), painting=np.concatenate([FACE[None], runs[1]]))
    both = frame_up(pair, "eyes")
    assert isinstance(both, Framed)
    reading = read(CATALOGUE["mouth_width"], both)
    assert isinstance(reading, Reading)
    width = 2 * q**2 * (1 / norms.CH_CH**2 + 1 / norms.IPD**2)
    assert_allclose(reading.spread, 100 * np.sqrt(2 * width), rtol=0.08)
    assert_allclose(reading.spread_reference, np.sqrt(width) * norms.CH_CH / norms.IPD, rtol=0.08)


def test_the_shorter_list_of_readings_is_gone_through_again():
    pair = pair_up(FACE, FACE[None] + np.arange(2)[:, None, None], FACE, FACE[None] + np.arange(5)[:, None, None])
    assert pair.reference.shape == pair.painting.shape == (6, 478, 2)
    assert_allclose(pair.reference[1:, 0, 0] - FACE[0, 0], [0, 1, 0, 1, 0])


@pytest.mark.parametrize("measure", CATALOGUE.values(), ids=lambda m: m.id)
def test_a_point_that_is_missing_takes_its_measures_with_it_and_says_which(measure):
    holed = FACE.copy()
    holed[measure.own_points[0]] = np.nan
    both = framed(holed, "head")
    reading = read(measure, both)
    assert isinstance(reading, NoFit)
    assert "not there in the painting" in reading.reason
    needs_pupils = measure.own_points[0] in (468, 473)
    spared = [m for m in CATALOGUE.values() if measure.own_points[0] not in m.points and m.formula is not None]
    assert spared
    assert all(isinstance(read(m, both), Reading) for m in spared if not (needs_pupils and m.placed))


def test_a_length_of_nothing_in_the_reference_has_no_percentage():
    reference = norms.norms_px()
    reference[17] = reference[14]
    reading = read(CATALOGUE["lower_lip"], framed(FACE, reference=reference))
    assert isinstance(reading, NoFit)
    assert "one place" in reading.reason


def test_an_outline_without_area_has_no_overlap():
    reference = norms.norms_px()
    reference[list(norms.EYE_LEFT)] = reference[473]
    both = framed(FACE, reference=reference)
    for what in ("area", "overlap", "gap"):
        assert isinstance(read(CATALOGUE[f"eye_left_{what}"], both), NoFit)


def test_with_one_eye_sizes_go_by_the_root_of_the_nose_and_the_chin():
    reference = norms.norms_px()
    reference[473] = np.nan
    painted = norms.widened(FACE, norms.MOUTH, 1.1)
    both = framed(painted, reference=reference, normaliser="n-gn")
    width = read(CATALOGUE["mouth_width"], both)
    assert isinstance(width, Reading)
    assert_allclose(width.deviation, 10.0, atol=1e-6)
    assert_allclose(width.reference, norms.CH_CH / norms.N_GN)
    place = read(CATALOGUE["mouth_y"], both)
    assert isinstance(place, NoFit)
    assert "pupil" in place.reason
    turn = read(CATALOGUE["nose_base_mouth_angle"], both)
    assert isinstance(turn, Reading)
    assert_allclose(turn.deviation, 0.0, atol=1e-6)


def test_without_a_size_there_is_no_comparison():
    flat = np.full((478, 2), 5.0)
    found = frame_up(pair_up(flat, flat[None], FACE, FACE[None]), "eyes")
    assert isinstance(found, NoFit)
    assert "reference" in found.reason
    assert isinstance(frame_up(pair_up(FACE, FACE[None], flat, flat[None]), "head"), NoFit)


def test_a_measure_of_the_painters_own():
    measure = between("ex_left", "ch_left")
    painted = FACE.copy()
    painted[263] = FACE[291] + 1.25 * (FACE[263] - FACE[291])
    reading = read(measure, framed(painted))
    assert isinstance(reading, Reading)
    assert_allclose(reading.deviation, 25.0, atol=1e-6)
