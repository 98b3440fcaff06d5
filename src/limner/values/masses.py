"""Masses of value: where the values of a face part, and a face brought to a few of them."""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.values.bring import UNIT

Array = NDArray[np.float64]
Plane = NDArray[np.float32]
Mask = NDArray[np.bool_]

COUNTS = (2, 3, 4, 5)
SIMPLE = 0.04
"""Gaussian, pupil distances, before a face is parted: masses, no details."""


def softened(plane: Plane, width: float) -> Plane:
    """A plane after a Gaussian of so many pupil distances."""
    return np.asarray(cv2.GaussianBlur(plane, (0, 0), width * UNIT), dtype=np.float32)


def thresholds(values: Array, count: int) -> tuple[float, ...]:
    """Where ``count`` masses part: half way between the centres of one-dimensional k-means (Lloyd 1982).

    >>> thresholds(np.array([1.0, 1.2, 5.0, 5.2]), 2)
    (3.1,)
    """
    some = np.sort(np.asarray(values, dtype=np.float64))[:: max(len(values) // 3000, 1)]
    centres = np.quantile(some, (np.arange(count) + 0.5) / count)
    for _ in range(40):
        cuts = np.searchsorted(some, (centres[1:] + centres[:-1]) / 2)
        parts = np.split(some, cuts)
        moved = np.array([part.mean() if len(part) else old for part, old in zip(parts, centres, strict=True)])
        if np.allclose(moved, centres, atol=1e-4):
            break
        centres = moved
    return tuple(float(round(v, 6)) for v in (centres[1:] + centres[:-1]) / 2)


def in_masses(seen: Plane, painted: Plane, inside: Mask) -> Plane:
    """The reference in two to five values, parted where this painter parted them: what a block-in is to be judged by.

    A regression tree of painted on seen values, grown leaf by leaf; its leaves have the middle of the seen values.
    """
    soft = softened(seen, SIMPLE)
    rows, columns = np.nonzero(inside)
    some = slice(None, None, max(len(rows) // 4000, 1))
    order = np.argsort(soft[rows[some], columns[some]])
    values = soft[rows[some], columns[some]][order].astype(np.float64)
    paint = painted[rows[some], columns[some]][order].astype(np.float64)
    cuts, left = [0, len(values)], _left([0, len(values)], paint)
    while len(cuts) - 1 < COUNTS[-1] and len(values) > 200:
        grown = min((sorted([*cuts, _split(paint, a, b)]) for a, b in pairwise(cuts)), key=lambda c: _left(c, paint))
        # One more value must earn its place: a fifth less of what is left unexplained.
        if len(cuts) > 2 and _left(grown, paint) > 0.8 * left:
            break
        cuts, left = grown, _left(grown, paint)
    edges = [float(values[min(cut, len(values) - 1)]) for cut in cuts[1:-1]]
    tones = np.array([values[a:b].mean() if b > a else 5.0 for a, b in pairwise(cuts)], dtype=np.float32)
    return softened(tones[np.digitize(soft, edges)], 0.02)


def _left(cuts: list[int], paint: Array) -> float:
    """What is left of the paint's variance, summed, when each part has its own mean."""
    return float(sum(paint[a:b].var() * (b - a) for a, b in pairwise(cuts) if b > a))


def _split(paint: Array, first: int, last: int) -> int:
    """Where to part a run of values sorted by the reference so that least is left; no part under a fiftieth of all."""
    least = max(len(paint) // 50, 2)
    if last - first < 2 * least:
        return last
    count = np.arange(1, last - first)
    summed = np.cumsum(paint[first:last])
    between = (summed[:-1] - summed[-1] * count / (last - first)) ** 2 / (count * (last - first - count))
    between[: least - 1] = between[len(between) - least + 1 :] = -1
    return first + 1 + int(between.argmax())
