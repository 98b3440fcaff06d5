"""Frames of reference: the eye line and the head.

Points in a frame have its unit as their unit, x runs along it toward picture right and y down, so a measure is written
once and is the same for a picture of any size and turn.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.face.points import FEATURES, NAMED_POINTS
from limner.measure.geometry import mean_point
from limner.measure.similarity import NoFit, Similarity, fit_robust

Array = NDArray[np.float64]

PUPIL_RIGHT = NAMED_POINTS["p_right"].indices
PUPIL_LEFT = NAMED_POINTS["p_left"].indices

HEAD_FEATURES: Mapping[str, tuple[tuple[tuple[int, ...], ...], float]] = {
    **{name: ((FEATURES[name].indices,), 0.5) for name in ("brow_right", "brow_left", "eye_right", "eye_left")},
    "nose": ((FEATURES["nose"].indices,), 0.5),
    "lips": ((FEATURES["lips"].indices,), 0.5),
    "nose_bridge": (((168,), (6,)), 0.5),
    "cheeks": (((50,), (101,), (118,), (205,), (187,), (280,), (330,), (347,), (425,), (411,)), 0.2),
    "forehead": (((9,), (8,), (151,), (108,), (337,), (69,), (299,)), 0.25),
    "face": (tuple((index,) for index in FEATURES["face"].indices), 0.08),
}
"""What the head fit is made of: places, each the mean of some mesh points, and what one place weighs.

They lie across the whole face, so that no one feature can carry the fit away. A feature counts with its middle alone:
drawn too large or too small about its place, it has no say in the head's size. Each slip limner can plant (15 %, 6 % of
the pupil distance, 6 degrees; six faces, points known to 0.3 %) moved the fitted scale by 0.2 % at most, four of them
at once by 1.2 %; with all points of every feature it was 1.7 % and 3.6 %.
"""

_PAIRS = (
    *(("ex_right", "ex_left"), ("en_right", "en_left"), ("bi_right", "bi_left"), ("bo_right", "bo_left")),
    *(("al_right", "al_left"), ("ch_right", "ch_left"), ("zy_right", "zy_left"), ("go_right", "go_left")),
)
_LEAST_FEATURES = 3


@dataclass(frozen=True, kw_only=True, eq=False)
class Frame:
    """Where a frame lies in the picture; arrays where many frames are meant."""

    origin: Array
    """(..., 2) array, px."""
    across: Array
    """(..., 2) array: unit vector along x, toward picture right."""
    unit: Array
    """(...) array, px: the length that is 1 in the frame."""

    def take(self, points: Array) -> Array:
        """The points in this frame.

        Args:
            points: (..., N, 2) array, px.

        Returns:
            (..., N, 2) array in units of the frame, y down.
        """
        moved = points - self.origin[..., None, :]
        x, y = moved[..., 0], moved[..., 1]
        along, aside = self.across[..., :1], self.across[..., 1:]
        turned = np.stack([x * along + y * aside, y * along - x * aside], axis=-1)
        return np.asarray(turned / self.unit[..., None, None])


def eye_line_frame(points: Array, unit: Array | None = None) -> Frame | NoFit:
    """Origin half way between the pupils, x along the line through them.

    Args:
        points: (..., 478, 2) array, px.
        unit: (...) array, px; ``None`` takes the distance between the pupils.

    Returns:
        The frame, or a :class:`NoFit` where a pupil is not there or the two coincide.

    >>> face = np.zeros((478, 2)); face[468] = [10.0, 5.0]; face[473] = [30.0, 5.0]; face[4] = [20.0, 15.0]
    >>> eye_line_frame(face).take(face)[4].tolist()
    [0.0, 0.5]
    >>> eye_line_frame(np.zeros((478, 2)))
    NoFit(reason='the two pupils lie in one place')
    """
    right, left = mean_point(points, PUPIL_RIGHT), mean_point(points, PUPIL_LEFT)
    line = left - right
    apart = np.asarray(np.linalg.norm(line, axis=-1))
    if not np.isfinite(apart).all():
        return NoFit("both pupils are needed, and one is not there")
    if (apart <= 0).any():
        return NoFit("the two pupils lie in one place")
    across = line / apart[..., None]
    return Frame(origin=(right + left) / 2, across=across, unit=apart if unit is None else unit)


def head_frame(points: Array, unit: Array) -> Frame | NoFit:
    """Origin at the mean of the head's points, x across the head.

    Across is the mean direction of the lines that join the paired points of the sitter's right and left half, so it
    does not hang on the eyes alone.

    Args:
        points: (..., 478, 2) array, px.
        unit: (...) array, px.

    Returns:
        The frame, or a :class:`NoFit` where too little of the head is there.
    """
    places = np.stack([mean_point(points, place) for group, _ in HEAD_FEATURES.values() for place in group], axis=-2)
    known = np.isfinite(places).all(axis=-1)
    if (known.sum(axis=-1) < 2).any():
        return NoFit("too little of the head is there")
    origin = np.asarray(np.nanmean(places, axis=-2))
    lines = np.stack(
        [
            mean_point(points, NAMED_POINTS[left].indices) - mean_point(points, NAMED_POINTS[right].indices)
            for right, left in _PAIRS
        ],
        axis=-2,
    )
    if not np.isfinite(lines).all(axis=-1).any(axis=-1).all():
        return NoFit("no two paired points of the head are there")
    across = np.asarray(np.nansum(lines, axis=-2))
    length = np.linalg.norm(across, axis=-1, keepdims=True)
    if (length <= 0).any():
        return NoFit("the two halves of the head lie in one place")
    return Frame(origin=origin, across=across / length, unit=unit)


def fit_head(source: Array, target: Array, without: frozenset[str] = frozenset()) -> Similarity | NoFit:
    """The robust similarity that brings one head onto another.

    Args:
        source: (..., 478, 2) array, px.
        target: (..., 478, 2) array, px.
        without: features of :data:`HEAD_FEATURES` that are left out, for example because they are not painted yet.

    Returns:
        The fit, or a :class:`NoFit` where fewer than three features are there in both.
    """
    first: list[Array] = []
    second: list[Array] = []
    weights: list[float] = []
    used = 0
    for feature, (places, weight) in HEAD_FEATURES.items():
        ends = [(mean_point(source, place), mean_point(target, place)) for place in places]
        there = [(a, b) for a, b in ends if np.isfinite(a).all() and np.isfinite(b).all()]
        if feature in without or not there:
            continue
        used += 1
        first += [a for a, _ in there]
        second += [b for _, b in there]
        weights += [weight] * len(there)
    if used < _LEAST_FEATURES:
        return NoFit(f"expected at least {_LEAST_FEATURES} features in both pictures, came {used}")
    return fit_robust(np.stack(first, axis=-2), np.stack(second, axis=-2), np.array(weights))
