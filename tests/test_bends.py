"""How far the face round each feature is bent, and what a reading's doubt owes to it."""

from __future__ import annotations

import math

import numpy as np
import pytest

import norms_face as norms
from limner.compare import witness
from limner.compare.assemble import compare
from limner.compare.bends import ROUND, bends
from limner.compare.calibration import grade_of, owed_to_bend
from limner.face.points import FEATURES
from limner.measure.catalogue import CATALOGUE
from limner.measure.similarity import NoFit
from limner.register.carried import Carried

FACE = norms.norms_px()
UNIT = float(np.linalg.norm(FACE[473] - FACE[468]))
POSE = {"scale": 6.0, "turn": 5.0, "centre": (900.0, 700.0)}


def near(feature: str) -> np.ndarray:
    own = FACE[list(FEATURES[feature].indices)]
    away = np.linalg.norm(FACE - own.mean(axis=0), axis=1)
    return away < away[list(FEATURES[feature].indices)].max() + ROUND * UNIT


def bulged(about: int, much: float) -> np.ndarray:
    """The face with a bulge round one point: ``much`` pupil distances down at its middle, nothing from 0.3 on."""
    away = np.linalg.norm(FACE - FACE[about], axis=1) / UNIT
    return FACE + np.outer(np.clip(1 - (away / 0.3) ** 2, 0, None), [0, much * UNIT])


def test_a_size_a_turn_and_a_stretch_bend_nothing():
    assert max(bends(FACE, FACE).values()) < 1e-9
    assert max(bends(FACE, 1.7 * FACE @ [[0.6, 0.8], [-0.9, 0.7]] + [40, -7]).values()) < 1e-9


def test_what_is_left_of_a_bow_is_what_a_straight_line_leaves_of_it():
    """Held against numpy's own least squares, in a painting twice as large."""
    x = (FACE[:, 0] - FACE[:, 0].mean()) / UNIT
    found = bends(FACE, 2 * (FACE + np.column_stack([0 * x, 0.2 * UNIT * x**2])))
    rows = near("lips")
    terms = np.column_stack([FACE[rows], np.ones(rows.sum())])
    left = 0.2 * x[rows] ** 2
    left = left - terms @ np.linalg.lstsq(terms, left, rcond=None)[0]
    assert found["lips"] == pytest.approx(100 * np.sqrt((left**2).mean()), rel=0.02)


def test_a_bulge_bends_what_is_beside_it_and_nothing_far_away():
    found = bends(FACE, bulged(133, 0.05))
    assert found["eye_right"] > 0.3
    assert found["eye_right"] == pytest.approx(bends(FACE, bulged(133, 0.1))["eye_right"] / 2, rel=0.01)
    assert max(found[far] for far in ("eye_left", "brow_left", "nose_base", "lips", "jaw")) < 1e-9


def test_what_is_not_there_bends_nothing():
    painted = bulged(133, 0.05)
    eye = [row for row in range(478) if np.any(painted[row] != FACE[row])]
    assert max(bends(FACE, painted, eye).values()) < 1e-9
    painted[eye] = np.nan
    assert max(bends(FACE, painted).values()) < 1e-9
    blind = FACE.copy()
    blind[468] = np.nan
    assert bends(blind, FACE) == {}


def test_a_part_without_points_round_it_is_bent_as_the_whole():
    nothing = NoFit("not asked")
    heard = witness.Testimony(
        pixels=nothing, found=nothing, finder="mesh", best=FACE, bends={"face": 1.5, "jaw": 1.0, "lips": 0.5}
    )
    assert heard.bent(("chin",)) == 1.5
    assert heard.bent(("upper_lip",)) == 0.5
    assert heard.bent(("jaw",)) == 1.0
    assert heard.bent(("jaw", "chin")) == 1.5
    assert heard.bent(("brow_left",)) == heard.bent(()) == 0.0


def test_only_the_pixels_owe_to_a_bend():
    eye = CATALOGUE["eye_width_left"]
    assert owed_to_bend(eye, "pixels", 2.0) == 2 * owed_to_bend(eye, "pixels", 1.0) > 0
    assert owed_to_bend(eye, "mesh", 2.0) == owed_to_bend(eye, "hand", 2.0) == 0
    assert owed_to_bend(eye, "pixels", 2.0, few=True) == 0


def test_between_the_eyes_a_great_bend_owes_more_than_in_proportion():
    """A nose and eyes off at once strain the corners between them; each alone hardly does."""
    apart = CATALOGUE["between_eyes"]
    power = grade_of(apart, "pixels").power
    assert power > 1.2
    assert owed_to_bend(apart, "pixels", 3.0) == pytest.approx(3**power * owed_to_bend(apart, "pixels", 1.0))
    assert grade_of(apart, "mesh").power == 1 == grade_of(CATALOGUE["nose_width"], "pixels").power


def test_a_slip_beside_a_feature_makes_it_less_sure_by_what_is_owed():
    """The eye itself is read as before; of the far eye, and by the face finder, the doubt stays as it was."""
    seen = {}
    for name, points in (("calm", norms.norms_mm()), ("bulged", norms.norms_mm())):
        moved = points.copy()
        if name == "bulged":
            away = np.linalg.norm(points - points[133], axis=1) / np.linalg.norm(points[473] - points[468])
            moved = points + np.outer(np.clip(1 - (away / 0.3) ** 2, 0, None), [0, -8.0])
            kept = [*FEATURES["eye_right"].indices, *range(468, 473)]
            moved[kept] = points[kept]
        there = norms.place(moved, **POSE)
        carried = Carried(points=there, runs=there + np.array([[[-0.2, 0.0]], [[0.2, 0.0]]]))
        found = norms.face_points(norms.place(moved, **POSE), noise=0.5, seed=1)
        result = compare(norms.face_points(FACE, noise=0.3), found, carried=carried, stage="finish")
        alone = compare(norms.face_points(FACE, noise=0.3), found, stage="finish")
        seen[name] = ({m.id: m for m in result.measures}, {m.id: m for m in alone.measures}, result)
    (calm, calm_alone, _), (bent, bent_alone, second) = seen["calm"], seen["bulged"]
    right, left = "eye_width_right", "eye_width_left"
    assert bent[right].deviation == pytest.approx(calm[right].deviation, abs=1e-6)
    assert bent[right].sigma > 1.2 * calm[right].sigma
    known = bends(FACE, second.painting_points)
    owed = owed_to_bend(CATALOGUE[right], "pixels", max(known[f] for f in CATALOGUE[right].features if f in known))
    assert bent[right].sigma == pytest.approx(math.hypot(calm[right].sigma, owed), rel=0.02)
    assert bent[left].sigma == pytest.approx(calm[left].sigma, rel=0.05)
    assert bent_alone[right].sigma == pytest.approx(calm_alone[right].sigma, rel=0.02)
