"""How much longer a whole face is one way than the other, and how far it is sheared: a fit no single feature can drag.

One face is brought onto the other by ``y = A x + t``. What of A is no turn and no size is a stretch along one axis: a
camera that stood to the side of a flat canvas gives it, and so does a hand that draws everything too long.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ROUNDS = 15
"""How often the weights are renewed, in each of the two stages of the fit."""
_TUKEY = 4.685
_RAYLEIGH = 1.1774


@dataclass(frozen=True, kw_only=True, eq=False)
class Strain:
    """What a whole face is stretched by, in the frame its points were given in (x across, y down)."""

    long: float
    """Percent by which it is longer (down) than wide against the other face; negative where it is wider than long."""
    shear: float
    """Percent: positive where what lies further down is moved toward x."""
    sigma: float
    """One-sigma uncertainty of each of the two, percent: from leaving out one group of places after another."""
    share: float
    """Of how far the places lie apart under the best turn, size and shift alone, the share that the stretch takes away;
    0 or less where it explains nothing."""
    matrix: Array
    """(2, 2) array: the stretch itself, in the frame of the target; symmetric, of determinant 1."""

    @property
    def amount(self) -> float:
        """Percent by which it is longer along its axis than across it; not negative."""
        return amount_and_axis(self.long, self.shear)[0]

    @property
    def axis(self) -> float:
        """Degrees between the axis it is stretched along and down; positive clockwise as seen, -90 to 90."""
        return amount_and_axis(self.long, self.shear)[1]


def amount_and_axis(long: float, shear: float) -> tuple[float, float]:
    """``amount`` and ``axis`` of ``long`` and ``shear``, as :class:`Strain` has them."""
    amount = 100 * (float(np.exp(np.hypot(long, shear) / 100)) - 1)
    return amount, float(-np.degrees(np.arctan2(shear, long)) / 2) + 0.0


def fit_strain(source: Array, target: Array, weights: Array, groups: Sequence[str]) -> Strain | None:
    """The stretch most places agree on, with its uncertainty.

    Iteratively reweighted least squares from the least sum of distances to Tukey's biweight, as the similarity's
    (:func:`limner.measure.similarity.fit_robust`); the uncertainty is the jackknife's over groups (Tukey 1958).

    Args:
        source: (N, 2) array.
        target: (N, 2) array, about the same place, size and turn.
        weights: (N,) array, positive.
        groups: the group each place belongs to; a group is left out as a whole.

    Returns:
        The stretch of the target against the source; ``None`` where fewer than three groups would be left.

    >>> rng = np.random.default_rng(1); face = rng.uniform(-1, 1, (40, 2)); groups = [str(k % 8) for k in range(40)]
    >>> longer = fit_strain(face, face * [1.0, 1.05], np.ones(40), groups)
    >>> round(longer.amount, 2), round(abs(longer.axis), 2), round(longer.share, 2)
    (5.0, 0.0, 1.0)
    """
    names = tuple(dict.fromkeys(groups))
    if len(names) < 4 or len(source) < 6:
        return None
    member = np.array([names.index(group) for group in groups])
    kept = np.vstack([np.ones(len(member), dtype=bool), member[None] != np.arange(len(names))[:, None]])
    whole, *others = _fit(source, target, weights * kept)
    left = [_logs(other) for other in others]
    spread = (len(names) - 1) / len(names) * ((np.array(left) - np.mean(left, axis=0)) ** 2).sum(axis=0)
    long, shear = _logs(whole)
    alike = _alike(whole, source, target, weights)
    apart, rest = (float((weights * _off(source, target, map_)).sum()) for map_ in (alike, whole))
    return Strain(
        long=long,
        shear=shear,
        sigma=float(np.sqrt(spread.max())),
        share=1 - rest / apart if apart > 0 else 0.0,
        matrix=_stretch(whole),
    )


def _design(points: Array) -> Array:
    return np.column_stack([points, np.ones(len(points))])


def _off(source: Array, target: Array, fitted: Array) -> Array:
    """(..., N) distances of the places under (..., 3, 2) maps."""
    away = target - _design(source) @ fitted
    return np.asarray(np.hypot(away[..., 0], away[..., 1]))


def _solve(source: Array, target: Array, weights: Array) -> Array:
    """(K, 3, 2) array: for each row of (K, N) weights the map, as rows for x, y and 1."""
    basis = _design(source)
    held = basis.T * weights[:, None]
    return np.asarray(np.linalg.solve(held @ basis + 1e-12 * np.eye(3), held @ target))


def _fit(source: Array, target: Array, weights: Array) -> Array:
    """(K, 3, 2) array: one robust fit for each row of (K, N) weights; a place of weight 0 is left out."""
    fitted = _solve(source, target, weights)
    floor = 1e-7 * float(np.ptp(target))
    for _ in range(ROUNDS):
        fitted = _solve(source, target, weights / np.maximum(_off(source, target, fitted), floor))
    for _ in range(ROUNDS):
        fitted = _solve(source, target, biweights(_off(source, target, fitted), weights, floor))
    return fitted


def biweights(away: Array, weights: Array, floor: float) -> Array:
    """(K, N) array: each row of weights, less the farther off a place lies, by Tukey's biweight."""
    spread = np.maximum(_weighted_medians(away, weights) / _RAYLEIGH, floor)[:, None]
    return np.asarray(weights * (np.clip(1 - (away / (_TUKEY * spread)) ** 2, 0, None) ** 2 + 1e-9))


def _stretch(fitted: Array) -> Array:
    return _symmetric(fitted[:2].T)


def _symmetric(turned: Array) -> Array:
    """(2, 2) array: what the map does after its turn, brought to determinant 1."""
    squares, axes = np.linalg.eigh(turned @ turned.T)
    sides = np.sqrt(squares / np.sqrt(squares.prod()))
    return np.asarray((axes * sides) @ axes.T)


def _logs(fitted: Array) -> tuple[float, float]:
    return strain_of(fitted[:2].T)


def strain_of(linear: Array) -> tuple[float, float]:
    """``long`` and ``shear`` of a (2, 2) map, percent, as :class:`Strain` has them."""
    (a, b), (c, d) = linear.tolist()
    # The map times its transpose, brought to determinant 1, is the stretch twice over: of its two sides, which are
    # each other's inverse, half the difference is the hyperbolic sine of their logarithm.
    size = abs(a * d - b * c)
    long, shear = (c * c + d * d - a * a - b * b) / (2 * size), (a * c + b * d) / size
    much = math.hypot(long, shear)
    share = 100 * (math.asinh(much) / much if much > 0 else 1.0)
    return share * long, share * shear


def _alike(fitted: Array, source: Array, target: Array, weights: Array) -> Array:
    """The same map without its stretch, laid where the places agree with it best."""
    plain = (np.linalg.inv(_stretch(fitted)) @ fitted[:2].T).T
    away = target - source @ plain
    middle = _weighted_medians(away.T, np.broadcast_to(weights, (2, len(weights))))
    return np.vstack([plain, middle])


def _weighted_medians(values: Array, weights: Array) -> Array:
    """(K,) array: the median of each row of (K, N) values under its own weights."""
    each = np.arange(len(values))
    order = np.argsort(values, axis=1)
    below = np.cumsum(weights[each[:, None], order], axis=1)
    place = (below < weights.sum(axis=1, keepdims=True) / 2).sum(axis=1).clip(0, values.shape[1] - 1)
    return np.asarray(values[each, order[each, place]])
