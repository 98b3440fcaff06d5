"""The similarity fits: against two libraries, against known moves, and against features that try to drag them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.spatial import procrustes
from skimage.transform import SimilarityTransform

from limner.face.points import FEATURES
from limner.measure.frames import HEAD_FEATURES, fit_head
from limner.measure.similarity import NoFit, Similarity, fit_robust, fit_similarity
from norms_face import EYE_LEFT, EYE_RIGHT, MOUTH, moved, norms_mm, norms_px, place, widened


def cloud(seed: int, count: int = 30) -> np.ndarray:
    return np.random.default_rng(seed).normal(0.0, 1.0, (count, 2)) * (40.0, 60.0) + (200.0, 300.0)


@pytest.mark.parametrize("seed", range(5))
def test_the_plain_fit_is_the_one_scikit_image_finds(seed):
    source = cloud(seed)
    noise = np.random.default_rng(seed + 100).normal(0.0, 5.0, source.shape)
    target = place(source, scale=0.7, turn=33.0, centre=(12.0, -9.0)) + noise
    fit = fit_similarity(source, target)
    other = SimilarityTransform.from_estimate(source, target)
    assert isinstance(fit, Similarity)
    assert_allclose(fit.scale, other.scale, rtol=1e-12)
    assert_allclose(np.radians(fit.angle), other.rotation, rtol=1e-10)
    assert_allclose(fit(source), other(source), rtol=1e-10)


@pytest.mark.parametrize("seed", range(5))
def test_what_the_fit_leaves_over_is_the_disparity_scipy_finds(seed):
    source = cloud(seed)
    target = place(source, scale=1.4, turn=-20.0) + np.random.default_rng(seed).normal(0.0, 8.0, source.shape)
    # scipy fits target to source, both brought to unit size, and lets both be mirrored; these need no mirroring.
    _, _, disparity = procrustes(source, target)
    fit = fit_similarity(target, source)
    assert isinstance(fit, Similarity)
    left_over = ((fit(target) - source) ** 2).sum() / ((source - source.mean(axis=0)) ** 2).sum()
    assert_allclose(left_over, disparity, rtol=1e-10)


@given(
    scale=st.floats(0.1, 10.0),
    turn=st.floats(-179.0, 179.0),
    dx=st.floats(-500.0, 500.0),
    dy=st.floats(-500.0, 500.0),
)
def test_a_known_move_is_found_and_undone(scale, turn, dx, dy):
    source = cloud(3)
    fit = fit_similarity(source, place(source, scale=scale, turn=turn, centre=(dx, dy)))
    assert isinstance(fit, Similarity)
    assert_allclose([fit.scale, fit.angle], [scale, turn], atol=1e-7)
    assert_allclose(fit.inverse(fit(source)), source, atol=1e-6)


def test_a_whole_number_weight_counts_as_so_many_points():
    source = cloud(1, 6)
    target = source + np.random.default_rng(2).normal(0.0, 9.0, source.shape)
    weights = np.array([1.0, 2.0, 3.0, 1.0, 4.0, 1.0])
    again = np.repeat(np.arange(6), weights.astype(int))
    one, other = fit_similarity(source, target, weights), fit_similarity(source[again], target[again])
    assert isinstance(one, Similarity)
    assert isinstance(other, Similarity)
    assert_allclose([one.factor, one.shift], [other.factor, other.shift], rtol=1e-12)


def test_a_mirror_image_is_not_fitted_by_mirroring():
    source = cloud(4) - cloud(4).mean(axis=0)
    fit = fit_similarity(source, source * (-1.0, 1.0))
    assert isinstance(fit, Similarity)
    assert float(fit.scale) < 0.5  # scipy, which mirrors, would leave nothing over
    assert procrustes(source, source * (-1.0, 1.0))[2] < 1e-12


def test_many_fits_at_once_are_the_same_as_one_by_one():
    source = np.stack([cloud(seed) for seed in range(4)])
    target = source[::-1] + 3.0
    together = fit_robust(source, target)
    assert isinstance(together, Similarity)
    for k in range(4):
        alone = fit_robust(source[k], target[k])
        assert isinstance(alone, Similarity)
        assert_allclose(together.factor[k], alone.factor, rtol=1e-9)


@pytest.mark.parametrize(
    ("source", "target", "says"),
    [
        (np.zeros((5, 2)), cloud(0, 5), "one place"),
        (cloud(0, 5), np.ones((5, 2)), "one place"),
        (cloud(0, 5), cloud(0, 6), "same shape"),
        (cloud(0, 5), np.full((5, 2), np.nan), "finite"),
        (cloud(0, 1), cloud(0, 1), "two of them"),
    ],
)
def test_a_fit_that_cannot_be_made_is_false_and_says_why(source, target, says):
    for fit in (fit_similarity(source, target), fit_robust(source, target)):
        assert isinstance(fit, NoFit)
        assert not fit
        assert says in fit.reason


def test_negative_weights_are_refused():
    fit = fit_similarity(cloud(0), cloud(1), np.full(30, -1.0))
    assert isinstance(fit, NoFit)


def test_the_robust_fit_lets_a_third_of_the_points_lie_where_they_like():
    source = cloud(5)
    target = place(source, scale=1.2, turn=10.0, centre=(5.0, 5.0))
    target[:10] += np.random.default_rng(0).normal(0.0, 60.0, (10, 2)) + 80.0
    plain, robust = fit_similarity(source, target), fit_robust(source, target)
    assert isinstance(plain, Similarity)
    assert isinstance(robust, Similarity)
    assert abs(float(plain.scale) - 1.2) > 0.02
    assert_allclose([robust.scale, robust.angle], [1.2, 10.0], atol=1e-6)


SLIPS = {
    "both eyes a fifth wider": lambda p: widened(widened(p, EYE_RIGHT, 1.2), EYE_LEFT, 1.2),
    "one eye low": lambda p: moved(p, (*EYE_LEFT, 473), 0.0, 5.0),
    "mouth 8 mm down": lambda p: moved(p, MOUTH, 0.0, 8.0),
    "nose a quarter larger": lambda p: widened(p, FEATURES["nose"].indices, 1.25, 1.25),
    "nose sideways": lambda p: moved(p, FEATURES["nose"].indices, 5.0, 0.0),
    "brows up": lambda p: moved(p, (*FEATURES["brow_right"].indices, *FEATURES["brow_left"].indices), 0.0, -5.0),
    "chin and jaw long": lambda p: moved(p, FEATURES["jaw"].indices, 0.0, 10.0),
    "pupils apart": lambda p: moved(moved(p, (*EYE_RIGHT, 468), -4.0, 0.0), (*EYE_LEFT, 473), 4.0, 0.0),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_no_single_feature_drags_the_head(slip):
    reference = norms_px()
    painting = place(SLIPS[slip](norms_mm()), scale=6.0, turn=12.0, centre=(900.0, 500.0))
    fit = fit_head(reference, painting)
    assert isinstance(fit, Similarity)
    assert_allclose(fit.scale, 1.5, rtol=2e-3)
    assert_allclose(fit.angle, 12.0, atol=0.15)


def test_the_head_fit_does_without_features_that_are_not_painted():
    reference = norms_px()
    painting = norms_px(scale=8.0)
    painting[list(MOUTH)] = 0.0
    painting[list(EYE_LEFT)] = 1000.0
    fit = fit_head(reference, painting, frozenset({"lips", "eye_left"}))
    assert isinstance(fit, Similarity)
    assert_allclose(fit.scale, 2.0, rtol=1e-6)


def test_too_few_features_give_no_head_fit():
    fit = fit_head(norms_px(), norms_px(), frozenset(HEAD_FEATURES) - {"nose", "lips"})
    assert isinstance(fit, NoFit)
    assert "at least 3" in fit.reason
