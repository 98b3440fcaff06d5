"""Eyes, mouth and nose as pieces of their own: a slip that ends right at its rim is read as large as it is."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from shapely import MultiPoint, Point

from limner.face.points import FEATURES
from limner.register.bring import Brought
from limner.register.carrying import fitted_points
from limner.register.rims import outside, rims_of, with_rims
from limner.register.tone import Look, planes
from textured import textured

Array = NDArray[np.float64]
FITTED = np.concatenate(list(fitted_points().values()))
EYE = np.array(FEATURES["eye_left"].indices)
MIDDLE, HALF = np.array([180.0, 150.0]), np.array([26.0, 11.0])
"""Working px: where the eye lies, and half its width and height."""
ENDS = (362, 263)


def face() -> Array:
    """(478, 2) array: points all over the picture, those of one eye on an ellipse, its corners at the ends."""
    places = np.random.default_rng(0).uniform(40, 320, (478, 2))
    order = np.roll(EYE, -int(np.flatnonzero(ENDS[1] == EYE)[0]))
    round_it = np.linspace(0, 2 * np.pi, len(order), endpoint=False)
    places[order] = MIDDLE + HALF * np.stack([np.cos(round_it), -np.sin(round_it)], axis=1)
    places[ENDS[0]], places[ENDS[1]] = MIDDLE - [HALF[0], 0], MIDDLE + [HALF[0], 0]
    return places


def wider(spots: Array, by: float, rim: float) -> Array:
    """The move of each spot: a stretch of the eye along its axis that ends ``rim`` px outside it."""
    seen = (spots - MIDDLE) / HALF
    off = np.maximum(np.sqrt((seen**2).sum(axis=-1)) - 1, 0) * HALF.mean()
    share = np.clip(1 - off / rim, 0, 1)
    return np.stack([by * (spots[..., 0] - MIDDLE[0]) * share, np.zeros(spots.shape[:-1])], axis=-1)


def pictures(by: float, places: Array, *, rim: float = 14.0, noise: float = 0.0) -> Brought:
    """A face of random texture, and the same with a wider eye, in the working frame."""
    return textured(places, lambda spots: wider(spots, by, rim), rounds=80, noise=noise)


def fit(brought: Brought, run: Array) -> Array:
    flow = np.zeros((360, 360, 2), np.float32)
    return with_rims(brought.sitter, flow, planes(brought, Look(blur=0.006, window=0.25)), run, FITTED)


def width(points: Array) -> float:
    return float(points[ENDS[1], 0] - points[ENDS[0], 0])


@pytest.mark.parametrize("by", [0.15, 0.08, -0.12])
def test_an_eye_read_too_near_to_what_it_was_is_brought_to_where_it_is(by: float) -> None:
    places = face()
    true = wider(places, by, 14.0)
    before = places + 0.8 * true
    told = fit(pictures(by, places), before)
    grown = (width(told) - width(places)) / (2 * HALF[0] * by)
    assert grown == pytest.approx(1, abs=0.05)


@pytest.mark.parametrize("by", [4.0, -4.0, 6.0])
def test_a_corner_that_a_slip_beside_the_eye_has_moved_is_not_drawn_back_to_the_piece(by: float) -> None:
    """The paint round either corner is asked on its own: the eye does not move as one there."""

    def beside(spots: Array) -> Array:
        near = np.clip(1 - np.linalg.norm((spots - MIDDLE - [HALF[0], 0]) / [18, 30], axis=-1), 0, 1)
        return np.stack([by * near * near * (3 - 2 * near), np.zeros(spots.shape[:-1])], axis=-1)

    places = face()
    true = beside(places)
    told = fit(textured(places, beside, rounds=80, noise=0.3), places + true)
    assert true[ENDS[1], 0] == by
    assert_allclose(told[list(ENDS)], (places + true)[list(ENDS)], atol=0.05)


def test_an_eye_that_is_as_it_was_stays() -> None:
    places = face()
    told = fit(pictures(0.0, places, noise=0.3), places.copy())
    assert_allclose(told[EYE], places[EYE], atol=0.35)


def test_what_is_no_part_of_a_piece_is_not_touched() -> None:
    places = face()
    run = places + np.random.default_rng(1).normal(0, 1, places.shape)
    told = fit(pictures(0.1, places), run)
    own = np.unique(np.concatenate([rim.rows for rim in rims_of(places)]))
    rest = np.setdiff1d(np.arange(478), own)
    assert_allclose(told[rest], run[rest])
    assert not np.isin(own, [468, 473, 152, 13, 14]).any()


def test_a_fit_that_matches_worse_than_what_was_there_has_less_say() -> None:
    """The painting holds nothing of the reference: whatever is fitted there is no reason to move far."""
    places = face()
    brought = pictures(0.0, places)
    other = np.random.default_rng(9).normal(size=(360, 360)).astype(np.float32)
    lab = np.dstack([cv2.GaussianBlur(other, (0, 0), 3) * 80 + 50, np.zeros((360, 360, 2))]).astype(np.float32)
    strange = Brought(sitter=brought.sitter, painting=lab, found=places, to_painting=np.eye(2, 3))
    told = fit(strange, places.copy())
    assert np.abs(told[EYE] - places[EYE]).max() < 0.04 * 130


def test_the_piece_is_whole_within_its_rim_and_nothing_beyond() -> None:
    places = face()
    rim = rims_of(places)[1]
    assert_allclose(rim.middle, MIDDLE, atol=0.5)
    piece = rim.terms(np.stack([MIDDLE, MIDDLE + [20, 0], MIDDLE + [HALF[0] + 14, 0], MIDDLE + [0, 60]]))[-3:]
    assert_allclose(piece[:, 0], [0.3, 0, 0], atol=0.005)
    assert_allclose(piece[:, 1], [0.3, 20 / 130, 0], atol=0.005)
    assert_allclose(piece[:, 2:], 0, atol=1e-6)


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 10_000))
def test_how_far_outside_is_as_shapely_has_it(seed: int) -> None:
    rng = np.random.default_rng(seed)
    scattered = rng.uniform(0, 50, (12, 2))
    hull = MultiPoint(scattered).convex_hull
    corners = np.array(hull.exterior.coords)[:-1]
    asked = rng.uniform(-30, 80, (20, 2))
    assert_allclose(outside(corners, asked), [hull.distance(Point(*one)) for one in asked], atol=1e-9)
    assert_allclose(outside(corners[::-1], asked), [hull.distance(Point(*one)) for one in asked], atol=1e-9)
