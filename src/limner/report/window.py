"""The part of a picture that an output shows, and where its points lie there."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from limner.pictures.picture import Picture

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Window:
    """The part of a picture that is shown, and how large."""

    picture: Image.Image
    """What is shown, already at its size on the sheet."""
    origin: Array
    """(2,) array, px of the decoded picture: what lies at the upper left corner."""
    factor: float
    """px of the sheet per px of the decoded picture."""

    def place(self, points: Array) -> Array:
        """Return where points of the decoded picture, (..., 2) px, lie in the window, px."""
        return (points - self.origin) * self.factor


def look_at(picture: Picture, points: Array, *, height: int, most: float = 4.0) -> Window:
    """Return the window round the (N, 2) points of a face, with room for the hair, about ``height`` px high."""
    low, high = np.nanmin(points, axis=0), np.nanmax(points, axis=0)
    size = high - low
    low = low - size * (0.35, 0.4)
    high = high + size * (0.35, 0.2)
    full = np.array([picture.pixels.shape[1], picture.pixels.shape[0]], dtype=np.float64)
    x0, y0 = np.floor(np.clip(low, 0, full - 1)).astype(int)
    x1, y1 = np.ceil(np.clip(high, 1, full)).astype(int)
    crop = Image.fromarray(picture.pixels[y0:y1, x0:x1])
    factor = min(height / crop.height, most)
    shown = crop.resize(
        (max(1, round(crop.width * factor)), max(1, round(crop.height * factor))), Image.Resampling.LANCZOS
    )
    return Window(picture=shown, origin=np.array([x0, y0], dtype=np.float64), factor=factor)


def known_runs(line: Array) -> list[Array]:
    """Return the stretches of an (N, 2) line without gaps, of two points and more.

    >>> [len(run) for run in known_runs(np.array([[0, 0], [1, 0], [np.nan, 0], [3, 0], [4, 0], [5, 0]]))]
    [2, 3]
    """
    there = np.atleast_1d(np.isfinite(line).all(axis=1))
    starts = np.flatnonzero(there & ~np.concatenate([[False], there[:-1]]))
    ends = np.flatnonzero(there & ~np.concatenate([there[1:], [False]])) + 1
    return [line[a:b] for a, b in zip(starts, ends, strict=True) if b - a > 1]


def inside(line: Array, low: Array, high: Array) -> list[Array]:
    """Return the stretches of an (N, 2) line that lie in a box, cut at its edges; ``low`` and ``high`` are its corners.

    >>> line = np.array([[-5.0, 1.0], [5.0, 1.0], [5.0, 20.0]])
    >>> [run.tolist() for run in inside(line, np.zeros(2), np.array([10.0, 10.0]))]
    [[[0.0, 1.0], [5.0, 1.0], [5.0, 10.0]]]
    """
    runs: list[list[Array]] = []
    for start, end in pairwise(line):
        piece = _cut(start, end, low, high)
        if piece is None:
            continue
        if runs and (runs[-1][-1] == piece[0]).all():
            runs[-1].append(piece[1])
        else:
            runs.append([piece[0], piece[1]])
    return [np.array(run) for run in runs]


def _cut(start: Array, end: Array, low: Array, high: Array) -> tuple[Array, Array] | None:
    """The part of one stroke that lies in the box; ``None`` where there is none, or an end is not known."""
    way = end - start
    if not np.isfinite(way).all():
        return None
    first, last = 0.0, 1.0
    for axis in (0, 1):
        if way[axis] == 0.0:
            if not low[axis] <= start[axis] <= high[axis]:
                return None
            continue
        near, far = sorted(((low[axis] - start[axis]) / way[axis], (high[axis] - start[axis]) / way[axis]))
        first, last = max(first, near), min(last, far)
    if first >= last:
        return None
    return (start if first == 0.0 else start + first * way), (end if last == 1.0 else start + last * way)
