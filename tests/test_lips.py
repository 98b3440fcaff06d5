"""The lips by their edges: a lip that is painted thicker moves its outer edge, and no smooth bend does."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from limner.face.points import FEATURES
from limner.register.again import field_through
from limner.register.bring import PX_PER_PUPILS, Brought
from limner.register.carrying import fitted_points
from limner.register.flow import at
from limner.register.lips import Mouth, with_lips
from limner.register.tone import Look, planes
from textured import textured

Array = NDArray[np.float64]
TOP, UNDER, OVER, BOTTOM = 0, 13, 14, 17
FITTED = np.concatenate(list(fitted_points().values()))
MIDDLE, HALF = np.array([180.0, 190.0]), 43.0
UPPER, LOWER = 17.0, 22.0
"""Working px: half the mouth's width, thickness of its lips."""


def mouth_of(gap: float = 0.0) -> Array:
    """(478, 2) array: points all over the picture, those of the lips on a mouth that is open by so many px."""
    places = np.random.default_rng(0).uniform(0, 360, (478, 2))
    (top, under), (bottom, over) = (np.split(np.array(FEATURES[lip].indices), 2) for lip in ("upper_lip", "lower_lip"))
    for edge, high in (
        (top, -UPPER - gap / 2),
        (under[::-1], -gap / 2),
        (over[::-1], gap / 2),
        (bottom, LOWER + gap / 2),
    ):
        out = np.linspace(-1, 1, len(edge))
        places[edge] = MIDDLE + np.stack([HALF * out, high * (1 - out**2)], axis=1)
    return places


def thicker(spots: Array, by: float) -> Array:
    """The move of each spot: straight stretch from where the lips meet to the upper edge, fading above."""
    out, above = (spots[..., 0] - MIDDLE[0]) / HALF, MIDDLE[1] - spots[..., 1]
    thick = UPPER * np.maximum(1 - out**2, 1e-3)
    way = by * thick * np.clip(above / thick, 0, 1) * np.clip((90 - above) / 70, 0, 1)
    return np.stack([np.zeros_like(way), -way], axis=-1)


def thicker_below(spots: Array, by: float) -> Array:
    """The same of the lower lip: all of it upside down."""
    over = (spots - MIDDLE) * [1, -1] + MIDDLE
    return np.asarray(thicker(over, by * LOWER / UPPER) * [1, -1])


def pictures(by: float, places: Array, *, noise: float = 0.0) -> Brought:
    """A face of random texture, and the same with a thicker upper lip, in the working frame."""
    return textured(places, lambda spots: thicker(spots, by), rounds=60, noise=noise)


def fit(brought: Brought, run: Array) -> Array:
    flow = np.zeros((360, 360, 2), np.float32)
    return with_lips(brought.sitter, flow, planes(brought, Look(blur=0.006, window=0.25)), run, FITTED)


@pytest.mark.parametrize("by", [0.4, 0.2, -0.3])
def test_a_lip_read_too_near_to_what_it_was_is_brought_to_where_it_is(by: float) -> None:
    places = mouth_of()
    true = thicker(places, by)
    told = fit(pictures(by, places), places + 0.85 * true) - places
    assert told[TOP, 1] / true[TOP, 1] == pytest.approx(0.94, abs=0.03)  # three tenths stay with the local fits
    assert_allclose(told[[UNDER, OVER, BOTTOM]], 0, atol=0.4)
    others = np.setdiff1d(np.arange(478), Mouth(places).rows)
    assert_allclose(told[others], 0.85 * true[others], atol=1e-9)


@pytest.mark.parametrize("by", [0.3, -0.3])
def test_a_lower_lip_leans_more_on_the_local_fits(by: float) -> None:
    """It is thicker, and they read it well."""
    places = mouth_of()
    true = thicker_below(places, by)
    brought = textured(places, lambda spots: thicker_below(spots, by), rounds=60)
    told = fit(brought, places + 0.85 * true) - places
    assert told[BOTTOM, 1] / true[BOTTOM, 1] == pytest.approx(0.90, abs=0.02)
    assert_allclose(told[[TOP, UNDER, OVER]], 0, atol=0.4)


def test_the_start_alone_does_not_tell_it() -> None:
    """What the test above asks is not in the field that the fit starts from."""
    places = mouth_of()
    true = thicker(places, 0.4)
    field = field_through(np.zeros((360, 360, 2), np.float32), places[FITTED], 0.85 * true[FITTED])
    assert at(field, places)[TOP, 1] / true[TOP, 1] < 0.85


def test_strokes_raise_no_lip() -> None:
    places = mouth_of()
    told = fit(pictures(0.0, places, noise=3.0), places.copy()) - places
    assert np.abs(np.diff(told[[TOP, UNDER, BOTTOM], 1])).max() < 0.3


def test_a_point_far_from_where_the_local_fits_have_it_counts_little() -> None:
    places = mouth_of()
    near, far = places.copy(), places.copy()
    near[TOP] -= [0.0, 1.0]
    far[TOP] -= [0.0, 10.0]
    brought = pictures(0.0, places)
    assert fit(brought, near)[TOP, 1] - near[TOP, 1] == pytest.approx(0.6, abs=0.25)
    assert fit(brought, far)[TOP, 1] - far[TOP, 1] < 0.6


def test_a_wide_open_mouth_is_left_to_the_local_fits() -> None:
    places = mouth_of(gap=0.12 * PX_PER_PUPILS)
    run = places + 0.3
    assert_allclose(fit(pictures(0.3, places), run), run, atol=0)
    ajar = mouth_of(gap=0.08 * PX_PER_PUPILS)
    assert np.abs(fit(pictures(0.3, ajar), ajar + 0.3) - ajar - 0.3).max() > 0.5


@pytest.mark.parametrize("gap", [0.0, 6.0])
def test_a_roof_stands_on_its_edge_and_ends_at_the_next(gap: float) -> None:
    mouth = Mouth(mouth_of(gap))
    terms = mouth.terms(mouth.places[[TOP, UNDER, OVER, BOTTOM]])
    assert len(terms) == 19
    assert_allclose(terms[10::3], 0.1 * np.array([[1, 0, 0, 0], [0, 1, 1, 0], [0, 0, 0, 1]]), atol=1e-6)
    assert_allclose(terms[11::3], 0, atol=1e-6)  # what slants and what bends is nothing in the middle
    assert_allclose(terms[12::3], 0, atol=1e-6)


def test_the_terms_turn_with_the_head() -> None:
    places = mouth_of()
    turn = np.array([[np.cos(0.5), -np.sin(0.5)], [np.sin(0.5), np.cos(0.5)]])
    spots = places[[TOP, UNDER, 61, 291, 152, 4]]
    assert_allclose(Mouth(places @ turn.T).terms(spots @ turn.T), Mouth(places).terms(spots), atol=1e-5)
