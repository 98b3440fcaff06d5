"""One side of a canvas, followed along its edge to a fraction of a pixel, with the edges that run beside it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from limner.pictures.hints import hinted_at
from limner.pictures.profiles import STEP, Strip, profiles

Array = NDArray[np.float64]

_CLOSE = 0.8
"""px: how near the fitted line an edge must be to belong to it."""
_STIFF = 4.0
"""How many places a sag is held back by."""
_STRAIGHT_ROUNDS = 2
_CLEAR_STEP = 8.0
"""CIELAB units: a colour difference across an edge that counts in full."""
_WITHIN = (3.0, 8.0, 13.0)
"""px within an edge, past its blur. What is painted runs up to the canvas's edge and changes no more there than further
in; within the outer edge of a side, a shadow or a frame it begins."""
_MOST_CHANGE = 16.0
"""CIELAB units: a greater change at one place says no more."""
_BEGUN = 0.25
"""Share of the side on which an edge must be seen place by place before the mean of neighbouring places counts as well
(limner's choice): chance alone hints at one place in five along any line in a painting."""
_SLOPES = np.arange(-8.0, 8.5, 1.0)
"""px that a parallel may lean over the whole side against the line it is looked for beside."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Edge:
    """What was seen along one straight edge."""

    point: Array
    """(2,) array, px: a point of the fitted line."""
    along: Array
    """(2,) array: unit direction."""
    where: Array
    """(n,) array, px along the line from ``point``: the places looked at."""
    held: NDArray[np.bool_]
    """(n,) array: whether the edge was seen there, on the line."""
    hinted: NDArray[np.bool_]
    """(n,) array: whether it was seen there, or in the mean of the places about it."""
    strength: Array
    """(n,) array, CIELAB units per px: how steep it is there; 0 where it is not held."""
    step: Array
    """(n,) array, CIELAB units: colour difference between a little to one side and a little to the other."""
    change: Array
    """(n,) array, CIELAB units: by how much more the colour changes just within it than further in."""
    scatter: float
    """px: one-sigma scatter of the places about the line."""
    length: float
    """px: length of the side it was looked for along."""

    def share(self, low: float, high: float) -> float:
        """Share of the places between two distances (px, as ``where``) at which the edge was seen."""
        return float(self.shares(np.array([low]), np.array([high]))[0])

    def shares(self, low: Array, high: Array) -> Array:
        """The same for many stretches at once."""
        first, last = np.searchsorted(self.where, low), np.searchsorted(self.where, high, side="right")
        return np.asarray((self._seen[last] - self._seen[first]) / np.maximum(last - first, 1))

    def hints(self, low: Array, high: Array, but: NDArray[np.bool_] | None = None) -> Array:
        """Share of the places of each stretch at which it was at least hinted, leaving out the places ``but``."""
        return self._mean(self.hinted.astype(np.float64), low, high, but)

    @cached_property
    def _seen(self) -> Array:
        """(n + 1,) array: at how many places before each the edge was seen."""
        return np.concatenate([[0.0], np.cumsum(self.held, dtype=np.float64)])

    def stepped(self, low: Array, high: Array, but: NDArray[np.bool_] | None = None) -> Array:
        """Share of the places at which the edge was seen and the colour differs from one side of it to the other."""
        return self._mean(np.where(self.hinted, np.minimum(self.step / _CLEAR_STEP, 1.0), 0.0), low, high, but)

    def altered(self, low: Array, high: Array, but: NDArray[np.bool_] | None = None) -> Array:
        """Mean of ``change`` over each stretch, in CIELAB units."""
        return self._mean(self.change, low, high, but)

    def _mean(self, values: Array, low: Array, high: Array, but: NDArray[np.bool_] | None) -> Array:
        counted = np.ones(len(values)) if but is None else (~but).astype(np.float64)
        sums, counts = (np.concatenate([[0.0], np.cumsum(v)]) for v in (values * counted, counted))
        first, last = np.searchsorted(self.where, low), np.searchsorted(self.where, high, side="right")
        count = counts[last] - counts[first]
        return np.asarray(np.where(count > 0, (sums[last] - sums[first]) / np.maximum(count, 1), 0.0))

    def at(self, spot: Array) -> float:
        """Distance along the line of the point nearest to ``spot``, px."""
        return float((spot - self.point) @ self.along)

    def sigma_at(self, spot: Array, first: float, second: float) -> float:
        """px: one-sigma uncertainty of the line across itself at ``spot``, from the places between two distances."""
        used = self.where[self.held & (self.where >= min(first, second)) & (self.where <= max(first, second))]
        if len(used) < 6:
            return float("inf")
        spread = float(((used - used.mean()) ** 2).sum())
        # Neighbouring places share pixels, so that half of them count.
        return float(self.scatter * np.sqrt(2 * (1 / len(used) + (self.at(spot) - used.mean()) ** 2 / spread)))


@dataclass(frozen=True, kw_only=True)
class _Curve:
    """A nearly straight line across a strip, px beside its axis."""

    first: float
    """At the first corner."""
    second: float
    """At the second corner."""
    sag: float = 0.0
    """In the middle, beyond the chord between the two."""

    def at(self, u: Array) -> Array:
        """At shares of the side, 0 at the first corner and 1 at the second."""
        return np.asarray(self.first + (self.second - self.first) * u + self.sag * 4 * u * (1 - u))


def follow(pixels: NDArray[np.uint8], first: Array, second: Array, reach: float) -> Edge:
    """The edge nearest to the line between two corners, at most ``reach`` px beside it, and 12 % past both."""
    strip = profiles(pixels, first, second, reach, past=0.12, most=2)
    return _edge(strip, _fit(strip, _Curve(first=0.0, second=0.0), (4.0, 3.0, 2.2, 1.6, 1.2, 1.0, 1.0)))


def beside(pixels: NDArray[np.uint8], first: Array, second: Array, reach: float, most: int) -> list[Edge]:
    """The straight edges that run about parallel to the line between two corners, within ``reach`` px of it.

    Found by a vote of all places over shift and slope, those near the two ends counting once more, since there nothing
    covers an edge that a ledge or a clamp hides in its middle.
    """
    strip = profiles(pixels, first, second, reach, past=0.16, most=6)
    u = strip.where / strip.length
    core = (u > 0) & (u < 1)
    ends = core & ((u < 0.16) | (u > 0.84))
    found: list[_Curve] = []
    for counted in (core, ends):
        found += _vote(strip, counted.astype(np.float64), reach, most)
    edges: list[Edge] = []
    taken: list[_Curve] = []
    for start in found:
        line = _fit(strip, start, (2.0, 1.5, 1.2, 1.0, 1.0))
        new = all(max(abs(line.first - one.first), abs(line.second - one.second)) > 1.2 for one in taken)
        if new and max(abs(line.first), abs(line.second)) <= 1.3 * reach:
            taken.append(line)
            edges.append(_edge(strip, line))
    return edges


def _vote(strip: Strip, weight: Array, reach: float, most: int) -> list[_Curve]:
    """Lines on which more places have an edge than on the lines about them, best first."""
    u = strip.where / strip.length - 0.5
    known = ~np.isnan(strip.peaks)
    cells = int(2 * (reach + 6)) + 1
    votes = np.zeros((len(_SLOPES), cells))
    weights = np.broadcast_to(weight[:, None], known.shape)[known]
    for k, lean in enumerate(_SLOPES):
        off = (strip.peaks - lean * u[:, None])[known]
        cell = np.clip(np.round((off + reach + 6) * 1.0).astype(int), 0, cells - 1)
        votes[k] = np.bincount(cell, weights, minlength=cells)[:cells]
    votes = votes + 0.7 * (np.roll(votes, 1, axis=1) + np.roll(votes, -1, axis=1))
    found = []
    for _ in range(most):
        k, cell = divmod(int(np.argmax(votes)), cells)
        if votes[k, cell] < 0.2 * weight.sum():
            break
        lean, middle = float(_SLOPES[k]), float(cell) - reach - 6
        found.append(_Curve(first=middle - 0.5 * lean, second=middle + 0.5 * lean))
        votes[:, max(0, cell - 2) : cell + 3] = 0
    return found


def _edge(strip: Strip, curve: _Curve) -> Edge:
    line = curve.at(strip.where / strip.length)
    off, which = _nearest(strip.peaks, line)
    # Past the corners the line is only a continuation, and may be further off.
    past = np.maximum(0.0, np.abs(strip.where / strip.length - 0.5) - 0.5)
    held = _runs(np.abs(off) < _CLOSE + 4.0 * past)
    inner = (strip.where > 0) & (strip.where < strip.length)
    hinted = _runs(held | hinted_at(strip, line)) if held[inner].mean() >= _BEGUN else held
    picked = np.take_along_axis(strip.strength, which[:, None], axis=1)[:, 0]
    good = held & (np.abs(off) < 1.5) & inner
    rows = np.arange(len(line))
    cell = np.round((line - strip.offsets[0]) / STEP).astype(int)

    def beside_it(away: float) -> Array:
        return np.asarray(strip.profile[rows, np.clip(cell + round(away / STEP), 0, len(strip.offsets) - 1)])

    # Sides run clockwise, so that the inside lies toward the normal.
    within = [beside_it(away) for away in _WITHIN]
    change = [np.minimum(np.linalg.norm(b - a, axis=1), _MOST_CHANGE) for a, b in pairwise(within)]
    turned = strip.along + (curve.second - curve.first) / strip.length * strip.normal
    stretch = float(np.hypot(*turned))
    return Edge(
        point=strip.first + curve.first * strip.normal,
        along=turned / stretch,
        where=strip.where * stretch,
        held=held,
        hinted=hinted,
        strength=np.where(held, picked, 0.0),
        step=np.linalg.norm(beside_it(-6.0) + beside_it(-4.5) - beside_it(4.5) - beside_it(6.0), axis=1) / 2,
        change=change[0] - change[1],
        scatter=float(np.sqrt(np.mean(off[good] ** 2))) if good.sum() > 4 else float("inf"),
        length=strip.length,
    )


def _runs(hits: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """At least three of any five neighbours: texture hits a line here and there, an edge stays on it."""
    padded = np.pad(hits.astype(int), 2, mode="edge")
    return np.asarray(np.convolve(padded, np.ones(5, int), mode="valid") >= 3)


def _nearest(peaks: Array, line: Array) -> tuple[Array, NDArray[np.intp]]:
    """Distance of the nearest edge from the line at each place (infinite where there is none), and which it is."""
    off = np.where(np.isnan(peaks), np.inf, peaks - line[:, None])
    which = np.argmin(np.abs(off), axis=1)
    return np.take_along_axis(off, which[:, None], axis=1)[:, 0], which


def _fit(strip: Strip, line: _Curve, windows: tuple[float, ...]) -> _Curve:
    """The line most places agree on: re-weighted least squares with a narrowing window, px.

    A lens bends long edges by a pixel or two; the last rounds allow for it. What a lens does is little, so that the sag
    is held back to where the places ask for it.
    """
    u = strip.where / strip.length
    core = (u > 0) & (u < 1)
    bow = 4 * u * (1 - u)
    for round_, window in enumerate(windows):
        off, _ = _nearest(strip.peaks, line.at(u))
        near = core & (np.abs(off) < window)
        if near.sum() < 6:
            break
        weight = (1 - (off[near] / window) ** 2) ** 2
        basis = np.stack([1 - u[near], u[near], bow[near]])
        held_back = np.diag([1e-6, 1e-6, _STIFF if round_ >= _STRAIGHT_ROUNDS else 1e9])
        normal = (basis * weight) @ basis.T + held_back
        first, second, sag = np.linalg.solve(normal, (basis * weight) @ off[near] - held_back @ [0, 0, line.sag])
        line = _Curve(first=line.first + first, second=line.second + second, sag=line.sag + sag)
    return line
