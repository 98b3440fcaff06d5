"""What a deviation is called, from which size on, and how sure a reading is."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from limner.compare.calibration import MOST, WIDE, Grade, calibration, few_tones, grade_of, reads_small, sigma_for
from limner.compare.calls import SEEN, STAGE_SHARE, asked_at, call_for, threshold_at
from limner.measure.catalogue import CATALOGUE, between
from limner.measure.heads import HEADS
from limner.settings import STAGES

T = 8.0
ANY_TWO = (between("en_left", "ch_left"), between("en_left", "gn"))
EDGE = T / WIDE  # the sigma whose 95 % interval is as wide as the threshold


@pytest.mark.parametrize(
    ("deviation", "sigma", "call"),
    [
        (0.0, 0.0, "true"),
        (4.0, 0.0, "true"),  # not more than half the threshold
        (4.001, 0.0, "slight"),
        (8.0, 0.0, "slight"),  # not more than the threshold
        (8.001, 0.0, "off"),
        (-8.001, 0.0, "off"),
        (8.001, 4.0, "off"),
        (9.0, 9.0 / WIDE, "unsure"),  # past the threshold, not past its own doubt
        (9.0, 9.0 / WIDE - 1e-9, "off"),
        (7.0, EDGE + 1e-9, "unsure"),
        (7.0, EDGE - 1e-9, "slight"),
        (1.0, EDGE - 1e-9, "true"),
        (1.0, EDGE + 1e-9, "unsure"),
        (30.0, EDGE + 1e-9, "off"),  # far past both
    ],
)
def test_the_call_at_every_boundary(deviation, sigma, call):
    assert call_for(deviation, sigma, T) == call


@given(st.floats(-100, 100), st.floats(0, 50), st.floats(0.1, 20))
def test_the_sign_never_changes_the_call(deviation, sigma, threshold):
    assert call_for(deviation, sigma, threshold) == call_for(-deviation, sigma, threshold)


def test_at_the_block_in_the_published_threshold_stands_and_strict_scales_it():
    assert threshold_at(T, 0.1, "block-in") == T
    assert threshold_at(T, 0.1, "block-in", strict=0.5) == T / 2
    assert threshold_at(T, 0.1, "finish", strict=0.5) == threshold_at(T, 0.1, "finish") / 2


def test_thresholds_tighten_stage_by_stage_to_the_smallest_error_that_is_seen():
    by_stage = [threshold_at(T, 1.0, stage) for stage in STAGES]
    assert by_stage == sorted(by_stage, reverse=True)
    assert len(set(by_stage)) == len(STAGES)
    assert_allclose(by_stage[-1], SEEN)
    assert set(STAGE_SHARE) == set(STAGES)


@pytest.mark.parametrize("stage", STAGES)
@given(sigma=st.floats(0.0, 20.0))
def test_tightening_never_makes_a_reading_unsure_that_was_sure(stage, sigma):
    tight = threshold_at(T, sigma, stage)
    assert T / 4 - 1e-9 <= tight <= T + 1e-9
    if sigma * WIDE <= T:
        assert sigma * WIDE <= tight * (1 + 1e-9)


def test_the_smallest_error_seen_is_seen_95_times_out_of_100():
    readings = SEEN + np.random.default_rng(0).normal(0.0, 1.0, 200_000)
    assert_allclose((np.abs(readings) > WIDE).mean(), 0.95, atol=0.003)


def test_a_block_in_is_not_asked_for_the_iris():
    iris = [m for m in CATALOGUE.values() if m.feature.startswith("iris")]
    assert iris
    assert not any(asked_at(m, "block-in") for m in iris)
    assert all(asked_at(m, stage) for m in CATALOGUE.values() for stage in STAGES if stage != "block-in")
    assert all(asked_at(m, "block-in") for m in CATALOGUE.values() if m not in iris)


@pytest.mark.parametrize("witness", ["mesh", "pixels", "hand"])
def test_the_calibration_speaks_for_every_measure(witness):
    for measure in CATALOGUE.values():
        grade = grade_of(measure, witness)
        assert grade.basis
        assert 0 < grade.slope_low <= grade.slope <= 1.5
        assert sigma_for(measure, witness, 0.0, size=1.0) > 0


def test_few_tones_are_read_less_surely():
    for measure in CATALOGUE.values():
        kind = measure.grade.partition(".")[0]
        assert grade_of(measure, "pixels", few=True) is few_tones()[kind]
        assert grade_of(measure, "mesh", few=True) is calibration()["mesh"][kind]
    for name in ("eye_width_left", "mouth_width", "upper_lip", "nose_x"):
        full, few = (sigma_for(CATALOGUE[name], "pixels", 0.2, 1.2, deviation=3.0, few=few) for few in (False, True))
        assert few > full
        assert sigma_for(CATALOGUE[name], "pixels", 0.2, 1.2, deviation=3.0, broad=True) >= few


def test_no_row_of_the_calibration_is_idle():
    every = (*CATALOGUE.values(), *HEADS.values(), *ANY_TWO)
    used = {measure.grade for measure in every}
    kinds = {grade.partition(".")[0] for grade in used}
    assert set(calibration()["mesh"]) == set(few_tones()) == kinds
    assert set(calibration()["pixels"]) == used


def test_a_measure_goes_by_the_row_of_its_own_or_else_by_that_of_its_kind():
    rows = calibration()
    inner, nose = CATALOGUE["between_eyes"], CATALOGUE["nose_length"]
    assert grade_of(inner, "pixels") is rows["pixels"]["between.inner"]
    assert grade_of(nose, "pixels") is rows["pixels"]["between.nose"]
    assert grade_of(inner, "mesh") is grade_of(nose, "mesh") is rows["mesh"]["between"]
    assert grade_of(ANY_TWO[0], "pixels") is rows["pixels"]["between"]
    assert grade_of(replace(inner, grade="unheard.of"), "hand") is rows["hand"]["default"]
    with pytest.raises(KeyError, match=r"unheard\.of"):
        grade_of(replace(inner, grade="unheard.of"), "pixels")


def test_the_calibration_says_where_it_comes_from():
    data = json.loads(files("limner.compare").joinpath("calibration.json").read_text(encoding="utf-8"))
    assert data["schema"] == "limner.calibration/1"
    assert len(data["provenance"]) > 40


# measuring figures: slope of the mesh on rendered paintings, 8 unseen faces, 13 plantings each.
@pytest.mark.parametrize(
    ("id_", "low", "high"), [("eye_width_left", 0.37, 0.52), ("nose_width", 0.27, 0.30), ("upper_lip", 0.58, 0.78)]
)
def test_the_interval_of_a_mesh_size_reaches_what_was_planted(id_, low, high):
    measure = CATALOGUE[id_]
    assert reads_small(measure, "mesh")
    for slope in (low, high):
        for planted in (8.0, 17.4, -13.0):
            read = slope * planted
            assert abs(planted - read) <= WIDE * sigma_for(measure, "mesh", 0.0, deviation=read) * 1.001


def test_the_noise_of_a_witness_that_reads_small_is_larger_in_what_is_true():
    """True changes t read as slope * t + noise: the interval about what was read holds t 95 times out of 100."""
    rng = np.random.default_rng(1)
    measure, row = CATALOGUE["lower_lip"], grade_of(CATALOGUE["lower_lip"], "mesh")
    spread = 3.0
    noise = math.hypot(spread, row.floor)
    planted = rng.normal(0.0, 10.0, 4000)
    read = row.slope * planted + rng.normal(0.0, noise, planted.size)
    sigmas = np.array([sigma_for(measure, "mesh", spread, deviation=value) for value in read])
    assert (np.abs(planted - read) <= WIDE * sigmas).mean() >= 0.95


def test_more_scatter_less_confidence_and_a_shorter_length_are_less_sure():
    width, space = CATALOGUE["mouth_width"], CATALOGUE["between_eyes"]
    assert sigma_for(width, "pixels", 2.0) > sigma_for(width, "pixels", 1.0) > sigma_for(width, "pixels", 0.0)
    assert sigma_for(width, "pixels", 1.0, 0.2) > sigma_for(width, "pixels", 1.0, 0.9)
    assert sigma_for(space, "pixels", 0.0, size=0.25) == pytest.approx(2 * sigma_for(space, "pixels", 0.0, size=0.5))
    # A steep change is read a little small by the pixels too, so a large reading is less sure than a small one.
    assert sigma_for(width, "pixels", 1.0, deviation=30.0) > sigma_for(width, "pixels", 1.0)
    assert sigma_for(width, "pixels", 1.0, 1000.0) == sigma_for(width, "pixels", 1.0, MOST)


def test_calm_paint_is_read_surer_and_loose_paint_less_by_a_power_of_confidence():
    eye, row = CATALOGUE["eye_width_left"], grade_of(CATALOGUE["eye_width_left"], "pixels")
    assert row.rise > 1
    for confidence in (0.5, 1.0, 2.0):
        assert sigma_for(eye, "pixels", 0.0, confidence) == pytest.approx(row.floor / confidence**row.rise)
    # The scatter of the fits is itself less where paint is calm, and counts as it is.
    rest, scatter = sigma_for(eye, "pixels", 0.0, 2.0), row.factor * 0.3
    assert sigma_for(eye, "pixels", 0.3, 2.0) == pytest.approx(math.hypot(rest, scatter))
    for few in (True, False):  # neither where paint has few tones nor for the face finder
        witness = "pixels" if few else "mesh"
        assert sigma_for(eye, witness, 0.3, 2.0, few=few) == sigma_for(eye, witness, 0.3, 1.0, few=few)


@pytest.mark.parametrize(
    "wrong",
    [
        {"slope": 0.0},
        {"floor": -1.0},
        {"point": math.nan},
        {"factor": math.inf},
        {"rise": -0.5},
        {"bend": -1.0},
        {"power": math.nan},
    ],
)
def test_a_row_that_makes_no_sense_is_refused(wrong):
    row = {"slope": 1.0, "slope_low": 1.0, "floor": 0.0, "point": 0.0, "factor": 1.0, "doubt": 0.0, "basis": "a test"}
    with pytest.raises(ValueError, match="slopes above 0"):
        Grade(**{**row, **wrong})


def test_a_block_in_is_read_less_surely():
    sure, unsure = (sigma_for(CATALOGUE["mouth_width"], "mesh", 1.0, broad=broad) for broad in (False, True))
    assert unsure == pytest.approx(sure * grade_of(CATALOGUE["mouth_width"], "mesh").broad)
    assert unsure > sure
