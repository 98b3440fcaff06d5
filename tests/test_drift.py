"""Drift from the sitter toward a type, on constructed moves; and the known habits of portrait drawing."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

import norms_face as norms
from limner.compare.assemble import View, compare
from limner.compare.canons.habits import HABITS, habits
from limner.compare.canons.observed import OBSERVED
from limner.compare.drift import CLEAR, Change, Goal, Step, drift_of, is_clear, movement
from limner.measure.catalogue import CATALOGUE
from limner.register.carried import Carried
from limner.result import Drift, Pose, Quantity
from sample import measure

AT = Quantity(value=1.30, sigma=0.02)
CANON = Goal(target="canon", value=1.0)


def change(share: float, sitter: float = 1.30, goal: float = 1.0, sigma: float = 0.01) -> Change:
    """The change that moves a ratio that share of the way."""
    return Change(value=share * (goal - sitter) / sitter, sigma=sigma, lengths={})


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0, 1.6, -0.4])
def test_constructed_moves_are_told(share):
    drift = drift_of(AT, change(share), CANON)
    assert drift.reason is None
    assert drift.share.value == pytest.approx(share, abs=1e-12)
    assert drift.gap.value == pytest.approx(-0.30)


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0, 1.6])
def test_the_uncertainty_of_a_share_is_that_of_many_trials(share):
    goal = Goal(target="average", value=1.0, sigma=0.01)
    told = drift_of(AT, change(share), goal).share.sigma
    rng = np.random.default_rng(3)
    r = rng.normal(1.30, 0.02, 200_000)
    d = rng.normal(change(share).value, 0.01, 200_000)
    c = rng.normal(1.0, 0.01, 200_000)
    assert told == pytest.approx((r * d / (c - r)).std(), rel=0.03)


def test_a_gap_within_twice_its_uncertainty_shows_no_drift():
    near = Quantity(value=1.10, sigma=0.05 * 1.0001)
    assert drift_of(near, change(0.5, 1.10), CANON).share.value is None
    assert drift_of(near, change(0.5, 1.10), CANON).reason
    assert drift_of(replace(near, sigma=0.0499), change(0.5, 1.10), CANON).share.value == pytest.approx(0.5)
    assert CLEAR == 2.0
    assert not is_clear(Quantity(value=None, sigma=None))
    assert drift_of(Quantity(value=None, sigma=None), change(0.0), CANON).reason


def steps(share: float) -> list[Step]:
    """Three ratios away from their canons, each moved that share of the way in logarithms."""
    out = []
    for id_, sitter, goal, length in (("a", 1.3, 1.0, "nose"), ("b", 1.2, 1.5, "nose"), ("c", 0.9, 1.0, "mouth")):
        factor = (goal / sitter) ** share
        moved = Change(value=factor - 1, sigma=0.01 * factor, lengths={length: (1 if id_ == "a" else -1, 0.01)})
        at = Quantity(value=sitter, sigma=0.01)
        out.append(Step(id=id_, sitter=at, change=moved, goal=Goal(target="canon", value=goal), spread=0.1))
    return out


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0, 1.5, -0.5])
def test_one_movement_over_several_ratios(share):
    whole = movement("canon", steps(share))
    assert whole.ratios == ("a", "b", "c")
    assert whole.share.value == pytest.approx(share, abs=1e-12)
    assert 0 < (whole.share.sigma or 0) < 0.2


def test_the_movement_counts_only_clear_gaps():
    blurred = [replace(steps(1.0)[0], sitter=Quantity(value=1.3, sigma=0.2)), *steps(1.0)[1:]]
    assert movement("canon", blurred).ratios == ("b", "c")
    none = [replace(step, sitter=replace(step.sitter, sigma=1.0)) for step in steps(1.0)]
    assert movement("canon", none).share.value is None
    assert movement("canon", none).reason
    assert movement("canon", []).reason


def test_ratios_that_share_a_length_share_its_error():
    """The nose moves a and b against each other along the line to the goal, so that its error adds up."""
    together = movement("canon", steps(0.5)).share.sigma or 0
    apart = [replace(s, change=replace(s.change, lengths={s.id: (1, 0.01)})) for s in steps(0.5)]
    assert together > 1.1 * (movement("canon", apart).share.sigma or 0)


LEVEL = View(pose=Pose(yaw=0.0, pitch=0.0, roll=0.0, sigma=0.5))
WIDE_NOSE = norms.widened(norms.norms_px(), (129, 358), 1.25)
"""al-al over en-en: 1.37 instead of 1.10, and the mouth 1.12 noses wide instead of 1.40."""


def painted(factor: float) -> dict[str, dict[str, Drift]]:
    """Drift of a painting with the nose brought to a share of its width, on a sitter placed by hand."""
    points = norms.widened(WIDE_NOSE, (129, 358), factor)
    sitter = replace(norms.face_points(WIDE_NOSE), found_by="hand")
    other = replace(norms.face_points(points), found_by="hand")
    rows = compare(sitter, other, of_reference=LEVEL, of_painting=LEVEL).canons
    return {row.id: {drift.target: drift for drift in row.drift} for row in rows}


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0, 1.3, -0.5])
def test_a_painted_nose_drifts_to_the_canon_as_constructed(share):
    sitter = 1.25 * norms.AL_AL / norms.EN_EN
    drift = painted(1 + share * (1.0 - sitter) / sitter)["orbitonasal"]["canon"]
    assert drift.share.value == pytest.approx(share, abs=1e-9)
    assert drift.goal == 1.0


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_a_painted_nose_drifts_to_the_average_face_as_constructed(share):
    sitter, mean = 1.25 * norms.AL_AL / norms.EN_EN, OBSERVED["orbitonasal"].mean
    drift = painted(1 + share * (mean - sitter) / sitter)["orbitonasal"]["average"]
    assert drift.share.value == pytest.approx(share, abs=1e-9)


def test_the_pixels_tell_the_change_and_the_face_finder_alone_hides_a_small_gap():
    """The sitter's own ratio is known by the finder only, so that a small drift is not to be told."""
    sitter = norms.face_points(norms.norms_px())
    points = norms.widened(norms.norms_px(), (129, 358), 0.8)
    rows = compare(sitter, sitter, carried=Carried(points=points, runs=points[None])).canons
    row = next(row for row in rows if row.id == "naso_oral")
    assert row.painting.value == pytest.approx((row.reference.value or 0) / 0.8)
    assert next(d for d in row.drift if d.target == "average").share.value is None
    wider = norms.widened(norms.norms_px(), (129, 358), 1.6)
    far, points = norms.face_points(wider), norms.widened(wider, (129, 358), 0.8)
    rows = compare(far, far, carried=Carried(points=points, runs=points[None])).canons
    row = next(row for row in rows if row.id == "naso_oral")
    drift = next(d for d in row.drift if d.target == "average")
    at = row.reference.value or 0
    assert drift.share.value == pytest.approx(at * 0.25 / (OBSERVED["naso_oral"].mean - at), rel=1e-6)
    assert (drift.share.sigma or 0) > 0.2  # what the finder hides of the sitter is in it


def test_the_same_lengths_count_once_in_the_movement_and_leonardos_not_at_all():
    marks = {"tr": (400.0, -50.0, 0.0), "v": (400.0, -200.0, 0.0)}
    face = replace(norms.face_points(norms.norms_px()), found_by="hand", hand=marks)
    whole = next(v for v in compare(face, face, of_reference=LEVEL, of_painting=LEVEL).drift if v.target == "canon")
    assert whole.share.value == pytest.approx(0.0)
    assert not {id_ for id_ in whole.ratios if id_.startswith("leonardo")}
    assert len({"four_section_lower", "thirds_lower"} & set(whole.ratios)) == 1


# Habits, on planted ones.

PLANTED = {
    "eyes_wider": norms.widened(norms.widened(norms.norms_px(), norms.EYE_RIGHT, 1.12), norms.EYE_LEFT, 1.12),
    "eyes_opener": norms.widened(norms.widened(norms.norms_px(), norms.EYE_RIGHT, 1, 1.4), norms.EYE_LEFT, 1, 1.4),
    "lips_higher": norms.widened(norms.norms_px(), norms.MOUTH, 1.0, 1.6),
    "mouth_narrower": norms.widened(norms.norms_px(), norms.MOUTH, 0.85),
    "nose_narrower": norms.widened(norms.norms_px(), (129, 358), 0.85),
    "face_rounder": norms.widened(norms.norms_px(), (234, 454), 1.15),
}


def habits_in(points: np.ndarray) -> dict[str, str]:
    reference = norms.face_points(norms.norms_px())
    carried = Carried(points=points, runs=points[None])
    return {row.id: row.call for row in compare(reference, reference, carried=carried).habits}


@pytest.mark.parametrize("habit", PLANTED)
def test_a_planted_habit_is_shown_and_a_faithful_copy_shows_none(habit):
    assert habits_in(PLANTED[habit])[habit] == "shown"
    assert "shown" not in habits_in(norms.norms_px()).values()


def test_the_other_way_is_said():
    assert habits_in(norms.widened(norms.norms_px(), (129, 358), 1.2))["nose_narrower"] == "the other way"


def test_grown_features_are_told_from_a_larger_face():
    grown = norms.norms_px()
    for indices in (norms.EYE_RIGHT, norms.EYE_LEFT, norms.MOUTH, (129, 358)):
        grown = norms.widened(grown, indices, 1.2, 1.2)
    assert habits_in(grown)["features_grown"] == "shown"
    assert habits_in(norms.place(norms.norms_mm(), scale=5.0, centre=(400.0, 300.0)))["features_grown"] == "not shown"


@pytest.mark.parametrize(("top", "call"), [(-170.0, "not shown"), (-50.0, "shown"), (-400.0, "the other way")])
def test_eyes_are_too_high_by_the_share_of_the_head_where_the_top_is_marked(top, call):
    # Chin to eyes over chin to top: 0.50 in faces (Ostrofsky 2015, told by Smith, Kempe & Wood 2021).
    face = replace(norms.face_points(norms.norms_px()), found_by="hand", hand={"v": (400.0, -170.0, 0.0)})
    other = replace(face, hand={"v": (400.0, top, 0.0)})
    row = next(r for r in compare(face, other, of_reference=LEVEL, of_painting=LEVEL).habits if r.id == "eyes_higher")
    assert row.measures == ("eyes_at_half",)
    assert row.call == call


def test_without_the_mark_the_eyes_are_looked_for_in_the_head_fit():
    reference = norms.face_points(norms.norms_px())
    row = next(row for row in compare(reference, reference).habits if row.id == "eyes_higher")
    assert row.measures == ("eye_right_y", "eye_left_y")
    assert row.unit == "percent of pupil distance"


def test_every_habit_has_a_source_and_measures_of_the_catalogue():
    assert all(habit.source for habit in HABITS)
    assert {id_ for habit in HABITS for id_ in (*habit.measures, *habit.against)} <= set(CATALOGUE)


def test_a_habit_whose_measures_have_no_number_says_why():
    missing = measure("nose_width", "nose width", "width", None, None, call="not painted yet", reason="bare ground")
    row = next(row for row in habits((missing,), ()) if row.id == "nose_narrower")
    assert (row.call, row.reason) == ("not measured", "bare ground")
    assert row.deviation == Quantity(value=None, sigma=None)


def test_doubt_of_two_groups_adds_in_squares():
    both = (
        measure("face_width", "x", "width", 10.0, 3.0, call="off"),
        measure("face_height", "x", "height", 4.0, 4.0, call="true"),
    )
    row = next(row for row in habits(both, ()) if row.id == "face_rounder")
    assert row.deviation.value == pytest.approx(6.0)
    assert row.deviation.sigma == pytest.approx(math.hypot(3.0, 4.0))
    assert row.call == "unsure"
