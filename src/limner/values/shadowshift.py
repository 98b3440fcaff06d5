"""How far the edge of a shadow is painted beside where it belongs, as one move."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limner.values.bring import UNIT, read_at
from limner.values.faces import Plane

Array = NDArray[np.float64]

REACH = 0.3
"""Pupil distances to either side of an edge in which the painted one is looked for."""
LAID, BROAD = 0.015, 0.04
"""Pupil distances of doubt every edge has, and in a block-in, whose brush is as wide (our choice)."""
FEWEST = 10
"""Places of an edge below which nothing is said of it."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Edge:
    """The shadows' edge in the reference, or a part of it, and the painting it is looked for in."""

    at: Array
    """(N, 2) array, px of the frame."""
    normal: Array
    """(N, 2) array, toward the light."""
    steep: Array
    """(N,) array, steps per px of the frame: how steeply the sitter's values run across it."""
    painted: Plane
    """(h, w) values."""
    cut: float

    def part(self, some: NDArray[np.bool_]) -> Edge:
        """Some of its places."""
        return replace(self, at=self.at[some], normal=self.normal[some], steep=self.steep[some])

    def moved(self, start: Array) -> Array:
        """(N,) array: px of the frame by which the painted edge lies along each normal, looked for round ``start``.

        ``start`` is a move of the whole, px; NaN where the painting has no edge near.
        """
        offsets = np.linspace(-REACH, REACH, 41) * UNIT
        places = (self.at + start)[:, None] + offsets[:, None] * self.normal[:, None]
        profile = np.asarray(read_at(self.painted, places), dtype=np.float64)
        return np.asarray(_crossing(profile, self.cut, offsets) + self.normal @ start)


def onto_the_edge(at: Array, normal: Array, seen: Plane, cut: float) -> Array:
    """The places brought onto the very edge, between the px."""
    offsets = np.linspace(-3, 3, 13)
    profile = np.asarray(read_at(seen, at[:, None] + offsets[:, None] * normal[:, None]), dtype=np.float64)
    return np.asarray(at + np.nan_to_num(_crossing(profile, cut, offsets))[:, None] * normal)


def _crossing(profile: Array, cut: float, offsets: Array) -> Array:
    """Offset nearest to nothing at which each (N, K) profile rises through the cut; NaN where it does not."""
    low, high = profile[:, :-1] - cut, profile[:, 1:] - cut
    rises = (low < 0) & (high >= 0)
    share = np.where(rises, -low / np.where(rises, high - low, 1), 0)
    where = offsets[:-1] + share * (offsets[1] - offsets[0])
    apart = np.where(rises, np.abs(where), np.inf)
    best = apart.argmin(axis=1)
    rows = np.arange(len(profile))
    return np.where(np.isfinite(apart[rows, best]), where[rows, best], np.nan)


@dataclass(frozen=True, kw_only=True, eq=False)
class Shift:
    """How far a shape lies off."""

    move: Array
    """(2,) array, px of the frame."""
    sigma: float
    lighter: bool
    """Whether there is too much shadow: the light has to be brought back."""


def shift_of(edge: Edge, doubt: float, *, broad: bool = False) -> Shift | None:
    """The one move that brings the sitter's edge onto the painted one; ``None`` where too little of it is there.

    What the places say along their normals is solved for one move, and looked for again from there (as iterated closest
    points; Chen, Medioni 1992). An edge that runs all one way shows its move across itself only. ``doubt``, in steps,
    is how surely the painted values part where the sitter's do: the softer an edge, the farther that moves it.
    ``broad``: the brush is a block-in's.
    """
    if len(edge.at) < FEWEST:
        return None
    move, first, spread, there = np.zeros(2), None, 0.0, np.zeros(0, bool)
    for _ in range(4):
        moved = edge.moved(move)
        there = np.isfinite(moved)
        if there.sum() < FEWEST:
            return None
        first = moved if first is None else first
        move, spread = _solved(edge.normal[there], moved[there])
    if float(np.hypot(*move)) > REACH * UNIT:
        return None  # farther than was looked: another edge was followed
    parts = (
        (BROAD if broad else LAID) * UNIT,
        1.8 * spread / np.sqrt(there.sum() / 6),
        doubt / float(np.median(edge.steep)),
    )
    sigma = float(np.linalg.norm(parts))
    return Shift(move=move, sigma=sigma, lighter=first is not None and float(np.nanmedian(first)) > 0)


def _solved(normal: Array, moved: Array) -> tuple[Array, float]:
    """(2,) array: the move that best explains how far each place lies off along its normal, and the spread about it."""
    middle = float(np.median(moved))
    if np.linalg.svd(normal, compute_uv=False)[1] ** 2 < 0.2 * len(normal):
        toward = normal.mean(axis=0)
        spread = 1.4826 * float(np.median(np.abs(moved - middle)))
        return np.asarray(middle * toward / max(float(np.hypot(*toward)), 1e-6)), 0.7 * spread
    weight: Array = np.ones(len(moved))
    move: Array = np.zeros(2)
    spread = 0.0
    for _ in range(5):
        move = np.asarray(np.linalg.lstsq(normal * weight[:, None], moved * weight, rcond=None)[0], dtype=np.float64)
        rest = np.abs(moved - normal @ move)
        spread = 1.4826 * float(np.median(rest))
        weight = 1 / np.maximum(1, rest / max(1.5 * spread, 0.3))
    return np.asarray(move), spread
