"""How far the edge of a shadow is painted beside where it belongs, as one move."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.values.bring import UNIT
from limner.values.faces import Plane
from limner.values.medians import median, robust

Array = NDArray[np.float64]

REACH = 0.3
"""Pupil distances to either side of an edge in which the painted one is looked for."""
LAID, BROAD = 0.015, 0.04
"""Pupil distances of doubt every edge has, and in a block-in, whose brush is as wide (our choice)."""
FEWEST = 10
"""Places of an edge below which nothing is said of it."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Edge:
    """The shadows' edge in the reference, or a part of it."""

    at: Array
    """(N, 2) array, px of the frame."""
    normal: Array
    """(N, 2) array, toward the light."""
    steep: Array
    """(N,) array, steps per px of the frame: how steeply the sitter's values run across it."""
    cut: float

    def of(self, some: NDArray[np.intp]) -> Edge:
        """Some of its places."""
        return replace(self, at=self.at[some], normal=self.normal[some], steep=self.steep[some])

    def moved(self, painted: Plane, start: Array) -> Array:
        """(N,) array: px of the frame by which the painted edge lies along each normal, looked for round ``start``.

        ``start`` is a move of each place, (N, 2) array, px; NaN where the painting has no edge near.
        """
        offsets = np.linspace(-REACH, REACH, 41) * UNIT
        profile = _across(painted, self.at + start, self.normal, offsets)
        return np.asarray(_crossing(profile, self.cut, offsets) + (self.normal * start).sum(axis=1))


@dataclass(frozen=True, kw_only=True, eq=False)
class Part:
    """A run of an edge's places that is looked at as one."""

    name: str
    places: slice
    middle: Array
    """(2,) array, px of the frame."""
    steep: float
    """Steps per px: the middle of how steeply the sitter's values run across it."""


def onto_the_edge(at: Array, normal: Array, seen: Plane, cut: float) -> Array:
    """The places brought onto the very edge, between the px."""
    offsets = np.linspace(-3, 3, 13)
    profile = _across(seen, at, normal, offsets)
    return np.asarray(at + np.nan_to_num(_crossing(profile, cut, offsets))[:, None] * normal)


def _across(plane: Plane, at: Array, normal: Array, offsets: Array) -> Array:
    """(N, K) array: what a plane has at K offsets from each place along its normal."""
    x, y = ((at[:, k, None] + offsets * normal[:, k, None]).astype(np.float32) for k in (0, 1))
    return cv2.remap(plane, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float64)


def _crossing(profile: Array, cut: float, offsets: Array) -> Array:
    """Offset nearest to nothing at which each (N, K) profile rises through the cut; NaN where it does not."""
    over = profile - cut
    rises = np.flatnonzero((over[:, :-1] < 0) & (over[:, 1:] >= 0))
    row, step = np.divmod(rises, len(offsets) - 1)
    low, high = over[row, step], over[row, step + 1]
    where = offsets[step] - low / (high - low) * (offsets[1] - offsets[0])
    out = np.full(len(profile), np.nan)
    farthest_first = np.argsort(np.abs(where), kind="stable")[::-1]
    out[row[farthest_first]] = where[farthest_first]
    return out


@dataclass(frozen=True, kw_only=True, eq=False)
class Shift:
    """How far a shape lies off."""

    move: Array
    """(2,) array, px of the frame."""
    sigma: float
    lighter: bool
    """Whether there is too much shadow: the light has to be brought back."""


def shifts_of(
    edge: Edge, parts: Sequence[Part], painted: Plane, doubt: float, *, broad: bool = False
) -> list[Shift | None]:
    """The one move of each part that brings it onto the painted edge; ``None`` where too little of that is there.

    What the places say along their normals is solved for one move, and looked for again from there (as iterated closest
    points; Chen, Medioni 1992). An edge that runs all one way shows its move across itself only. ``doubt``, in steps,
    is how surely the painted values part where the sitter's do: the softer an edge, the farther that moves it.
    ``broad``: the brush is a block-in's.
    """
    counts = [part.places.stop - part.places.start for part in parts]
    enough = [count >= FEWEST for count in counts]
    moves, spreads, there, first = np.zeros((len(parts), 2)), [0.0] * len(parts), [0] * len(parts), np.zeros(0)
    for turn in range(4):
        moved = edge.moved(painted, np.repeat(moves, counts, axis=0))
        known = np.isfinite(moved)
        first = first if turn else moved
        for k, part in enumerate(parts):
            some = known[part.places]
            there[k] = int(some.sum())
            enough[k] = enough[k] and there[k] >= FEWEST
            if enough[k]:
                moves[k], spreads[k] = _solved(edge.normal[part.places][some], moved[part.places][some])
    out: list[Shift | None] = []
    for k, part in enumerate(parts):
        if not enough[k] or float(np.hypot(*moves[k])) > REACH * UNIT:  # farther than was looked: another edge's
            out.append(None)
            continue
        share = ((BROAD if broad else LAID) * UNIT, 1.8 * spreads[k] / np.sqrt(there[k] / 6), doubt / part.steep)
        lighter = float(np.nanmedian(first[part.places])) > 0
        out.append(Shift(move=moves[k], sigma=float(np.linalg.norm(share)), lighter=lighter))
    return out


def _solved(normal: Array, moved: Array) -> tuple[Array, float]:
    """(2,) array: the move that best explains how far each place lies off along its normal, and the spread about it."""
    x, y = np.ascontiguousarray(normal.T)
    sums = np.stack([x * x, x * y, y * y, x * moved, y * moved])
    xx, xy, yy = sums[:3].sum(axis=1).tolist()
    least = (xx + yy - math.hypot(xx - yy, 2 * xy)) / 2  # eigenvalue
    if least < 0.2 * len(moved):
        middle = median(moved)
        toward = normal.mean(axis=0)
        return np.asarray(middle * toward / max(float(np.hypot(*toward)), 1e-6)), 0.7 * robust(moved - middle)
    squared: Array = np.ones(len(moved))
    across = down = spread = 0.0
    for _ in range(5):
        xx, xy, yy, xm, ym = (sums @ squared).tolist()
        by = xx * yy - xy * xy
        across, down = (yy * xm - xy * ym) / by, (xx * ym - xy * xm) / by
        rest = np.abs(moved - across * x - down * y)
        spread = 1.4826 * median(rest)
        squared = np.square(1 / np.maximum(1, rest / max(1.5 * spread, 0.3)))
    return np.array([across, down]), spread
