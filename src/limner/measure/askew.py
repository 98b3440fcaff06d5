"""A face seen askew: stretched, and drawn larger to one side, as a camera beside a flat canvas near it sees it.

The painted places are brought back onto the other face by ``x = A y + t + (g . y) y``, a plane's perspective to first
order. With g = 0 it is the stretch alone of :mod:`limner.measure.strain`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.measure.strain import ROUNDS, biweights, strain_of

Array = NDArray[np.float64]

GAIN = 0.25
"""Share of what a stretch leaves that perspective must take away besides: photos of a canvas from 17 degrees beside it
took 0.27 to 0.57, 30 turned heads 0.22 at most, and stretched faces, copies and single slips 0.03 at most."""
USUAL_LEAN = 0.004
"""One sigma of each part of g, per pupil distance, in photos taken with care from the front: a lean of 1.7 % from edge
to edge of a portrait cut 4.4 pupil distances wide (limner's choice)."""
_LEAST_DOUBT = 0.0005
"""Of each part of g, per pupil distance: painted copies taken square on read 0.0004."""
_ALIKE = np.array([[1, 0, 0, 0], [0, -1, 0, 0], [0, 0, 1, 0], [0, 1, 0, 0], [1, 0, 0, 0], [0, 0, 0, 1]], dtype=float)
"""What a turn, a size and a shift make of A by rows with t."""
_WHOLE, _FLAT = np.eye(8), np.eye(8)[:, :6]
_LEANING = np.block([[_ALIKE, np.zeros((6, 2))], [np.zeros((2, 4)), np.eye(2)]])
CLEAR = 3.0
"""Standard deviations from which it is clear; of the turned heads one was past that, with a gain of 0.15."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Askew:
    """How a face is seen askew, in the frame its points were given in (x across, y down)."""

    back: Array
    """(8,) array: A by rows with t (a, b, t1, c, d, t2), then g; brings the face seen back onto the other."""
    long: float
    """As :class:`limner.measure.strain.Strain` has it, at the origin of the frame."""
    shear: float
    sigma: float
    """One-sigma uncertainty of both, percent."""
    side: float
    """Percent by which lengths grow over one unit of the frame, toward where they are larger."""
    toward: tuple[float, float]
    """Unit vector to there."""
    clear: bool
    """Whether it is perspective, and not a turn of the head or single features out of place."""


def undone(back: Array, points: Array) -> Array:
    """(..., 2) points seen askew, brought back."""
    x, y = points[..., 0], points[..., 1]
    grown = back[6] * x + back[7] * y
    across = back[0] * x + back[1] * y + back[2] + grown * x
    down = back[3] * x + back[4] * y + back[5] + grown * y
    return np.asarray(np.stack([across, down], axis=-1))


def fit_askew(seen: Array, other: Array, weights: Array, groups: Sequence[str]) -> Askew | None:
    """How one face is seen askew against another, robustly, with the jackknife's uncertainty over groups.

    Args:
        seen: (N, 2) array.
        other: (N, 2) array, about the same place, size and turn.
        weights: (N,) array, positive.
        groups: the group each place belongs to.

    Returns:
        ``None`` where fewer than four groups or eight places are there.
    """
    kept = _one_left_out(groups, len(seen))
    if kept is None:
        return None
    whole, *others = _fit(seen, other, weights * kept, _WHOLE)
    (flat,) = _fit(seen, other, weights[None], _FLAT)
    spread = _jackknife(np.array([_told(fitted) for fitted in others]))
    long, shear, *lean = _told(whole)
    rest, before = (
        float((weights * np.linalg.norm(other - undone(back, seen), axis=1)).sum()) for back in (whole, flat)
    )
    size = float(np.hypot(lean[0], lean[1]))
    gain = 1 - rest / before if before > 0 else 0.0
    return Askew(
        back=whole,
        long=long,
        shear=shear,
        sigma=float(spread[:2].max()),
        # To first order lengths grow by one and a half times as much as places do, and back is the other way.
        side=150 * size,
        toward=(-lean[0] / size, -lean[1] / size) if size > 0 else (0.0, 0.0),
        clear=gain >= GAIN and size > CLEAR * float(spread[2:].max()),
    )


def fit_lean(seen: Array, other: Array, weights: Array, groups: Sequence[str]) -> tuple[float, float] | None:
    """What of a face's perspective is a camera's that stood a little beside the canvas; as :func:`fit_askew` else.

    Returns:
        The two parts of g, each as far as it is likely: times ``u^2 / (u^2 + s^2)``, with the lean u that photos
        usually have and the jackknife's uncertainty s.

    >>> rng = np.random.default_rng(1); face = rng.uniform(-1, 1, (40, 2)); groups = [str(k % 8) for k in range(40)]
    >>> leaning = undone(np.array([1, 0, 0, 0, 1, 0, 0.004, -0.002]), face)
    >>> [round(part, 4) for part in fit_lean(leaning, face, np.ones(40), groups)]
    [-0.0039, 0.002]
    """
    kept = _one_left_out(groups, len(seen))
    if kept is None:
        return None
    whole, *others = _fit(seen, other, weights * kept, _LEANING)
    doubt = np.hypot(_jackknife(np.array(others)[:, 6:]), _LEAST_DOUBT)
    across, down = whole[6:] * USUAL_LEAN**2 / (USUAL_LEAN**2 + doubt**2)
    return float(across), float(down)


def _one_left_out(groups: Sequence[str], count: int) -> NDArray[np.bool_] | None:
    """(K + 1, N) array: all places, then all without those of one group; ``None`` where too few would be left."""
    names = tuple(dict.fromkeys(groups))
    if len(names) < 4 or count < 8:
        return None
    member = np.array([names.index(group) for group in groups])
    return np.vstack([np.ones(count, dtype=bool), member[None] != np.arange(len(names))[:, None]])


def _jackknife(left: Array) -> Array:
    """One-sigma uncertainty from (K, M) figures, each without one of K groups (Tukey 1958); (M,) array."""
    return np.asarray(np.sqrt((len(left) - 1) / len(left) * ((left - left.mean(axis=0)) ** 2).sum(axis=0)))


def _told(back: Array) -> tuple[float, float, float, float]:
    linear = np.linalg.inv(np.array([[back[0], back[1]], [back[3], back[4]]]))
    return (*strain_of(linear), float(back[6]), float(back[7]))


def _fit(seen: Array, other: Array, weights: Array, free: Array) -> Array:
    """(K, 8) array: one robust fit for each row of (K, N) weights; a place of weight 0 is left out.

    ``free``: (8, M) array, what each of the M figures to be fitted makes of ``back``.
    """
    basis = np.zeros((len(seen), 2, 8))
    basis[:, 0, :2], basis[:, 1, 3:5] = seen, seen
    basis[:, 0, 2] = basis[:, 1, 5] = 1.0
    basis[:, :, 6], basis[:, :, 7] = seen[:, :1] * seen, seen[:, 1:] * seen
    # One row for each coordinate: all x, then all y.
    rows = np.ascontiguousarray(basis.transpose(1, 0, 2)).reshape(-1, 8) @ free
    wanted = other.T.reshape(-1, 1)

    def solved(kept: Array) -> Array:
        held = rows.T * np.concatenate([kept, kept], axis=1)[:, None]
        return np.asarray(np.linalg.solve(held @ rows + 1e-12 * np.eye(free.shape[1]), held @ wanted)[..., 0])

    def off(fitted: Array) -> Array:
        away = wanted[:, 0] - fitted @ rows.T
        return np.asarray(np.hypot(away[:, : len(seen)], away[:, len(seen) :]))

    floor = 1e-7 * float(np.ptp(other))
    fitted = solved(weights)
    for _ in range(ROUNDS):
        fitted = solved(weights / np.maximum(off(fitted), floor))
    for _ in range(ROUNDS):
        fitted = solved(biweights(off(fitted), weights, floor))
    return np.asarray(fitted @ free.T)
