"""What the edges beside a canvas may be: its own side, a shadow, a ledge, a bare margin, a frame."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.pictures.cielab import to_light
from limner.pictures.sides import Edge

Array = NDArray[np.float64]
Dark = Callable[[int, int, int], bool]

TOP, RIGHT, BOTTOM, LEFT = range(4)
MARGIN = 0.05
"""Of the canvas's shorter side: a border of one width all round that is narrower is bare canvas, a wider one a frame.
Common practice, no source."""
_DOUBTFUL = (0.042, 0.06)
_NARROWEST, _WIDEST = 0.004, 0.32
_THICKEST = 0.18
"""Of the shorter side: how thick a canvas may be."""
_SAME = 0.003
"""Of the shorter side: edges nearer together are one edge."""
_CLOSE, _FAR = 0.025, 0.07
"""Of the shorter side: an edge nearer than the first counts in full, since the corners hardly tell it from the canvas's
own; one farther than the second not at all, since the corners do."""

COUNTS = {
    "within": -6.5,
    "within_seen_side": -9.75,
    "outside": -5.2,
    "passing": -2.0,
    "shadow": -0.65,
    "side": -0.33,
    "no_side": 0.0,
    "margin": -0.65,
    "frame": -2.0,
    "missing": -2.0,
    "frame_within": -9.75,
    "margin_about": 0.0,
}
"""What each thing seen beside a would-be canvas counts."""
_WITHIN = ("within", "within_seen_side")


@dataclass(frozen=True, kw_only=True, eq=False)
class Parallel:
    """A strong edge about parallel to a side of the canvas, as it lies in the canvas's plane."""

    number: int
    """Which of the side's edges."""
    inward: float
    """Distance from a common line, toward the middle, in shorter sides of the canvas."""
    held: float
    """Share of its length on which it is seen."""
    runs_on: bool
    """Whether it goes on past both corners."""


@dataclass(frozen=True, kw_only=True)
class Standpoint:
    """Where the camera stands, in shorter sides of the canvas."""

    beyond: tuple[float, float, float, float]
    """How far past the top, right, bottom and left side; negative where it does not look at that side."""
    front: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Strips:
    """What was made of the edges beside a would-be canvas."""

    counts: Array
    """(len(COUNTS),) array, in the order of ``COUNTS``."""
    remarks: frozenset[str]

    @property
    def within(self) -> float:
        """By how much the score is less because other edges are seen just within the canvas's own."""
        return -float(
            sum(count * COUNTS[name] for name, count in zip(COUNTS, self.counts, strict=True) if name in _WITHIN)
        )


def standpoint(eye: Array, aspect: float) -> Standpoint:
    """From the camera's place ``eye``, in widths of the canvas from its top left: right, down, in front."""
    x, y, z = (float(v) * max(1.0, aspect) for v in eye)
    width, height = max(1.0, aspect), max(1.0, 1 / aspect)
    return Standpoint(beyond=(-y, x - width, y - height, -x), front=z)


def explain(chosen: tuple[Parallel, ...], strong: list[list[Parallel]], stand: Standpoint, dark: Dark) -> Strips:
    """Account for every strong edge that is not one of the four ``chosen`` (top, right, bottom, left)."""
    gaps = [[(p, p.inward - chosen[k].inward) for p in strong[k] if p.number != chosen[k].number] for k in range(4)]
    within = [[gap for _, gap in side if gap > 0] for side in gaps]
    about = [[-gap for _, gap in side if gap < 0] for side in gaps]
    margin, frame = _ring(within, _NARROWEST, MARGIN), _ring(about, MARGIN, _WIDEST)
    narrow_about = _ring(about, _NARROWEST, MARGIN)
    counts = dict.fromkeys(COUNTS, 0.0)
    remarks = {name for name, border in (("margin", margin), ("frame", frame)) if border is not None}
    borders = [border for border in (margin, frame) if border is not None]
    if narrow_about is not None or any(b.missing or _DOUBTFUL[0] < b.width < _DOUBTFUL[1] for b in borders):
        remarks.add("doubtful border")
    if chosen[BOTTOM].runs_on:
        remarks.add("ledge")
    counts["margin"], counts["frame"] = float(margin is not None), float(frame is not None)
    counts["missing"] = float(sum(border.missing for border in borders))
    counts["frame_within"] = float(_ring(within, MARGIN, _WIDEST) is not None)
    counts["margin_about"] = float(narrow_about is not None)
    for k in range(4):
        seen = dict.fromkeys(COUNTS, 0.0)
        for p, gap in gaps[k]:
            if gap > _SAME and not (margin is not None and margin.at(gap)):
                name = "within_seen_side" if stand.beyond[k] > 0.02 else "within"
                seen[name] = max(seen[name], p.held * _nearness(gap))
            elif gap < -_SAME and not (frame is not None and (-gap < frame.width or frame.at(-gap))):
                name, much = _outside(k, p, chosen[k], -gap, stand, dark)
                remarks.update({"ledge"} if (name, k) == ("passing", BOTTOM) else {name} & {"side", "shadow"})
                seen[name] = max(seen[name], much)
        seen["no_side"] = float(stand.beyond[k] > 0.1 and not seen["side"])
        for name, much in seen.items():
            counts[name] += much
    return Strips(counts=np.array(list(counts.values())), remarks=frozenset(remarks))


@dataclass(frozen=True, kw_only=True)
class _Border:
    """A border of one width all round, in shorter sides of the canvas."""

    width: float
    missing: int
    """On how many sides it was not seen."""

    def at(self, gap: float) -> bool:
        return abs(gap - self.width) < 0.005 + 0.08 * self.width


def _ring(gaps: list[list[float]], low: float, high: float) -> _Border | None:
    """The widest border that is seen at the same distance on at least three sides, if there is one."""
    for width in sorted({gap for side in gaps for gap in side if low < gap < high}, reverse=True):
        border = _Border(width=width, missing=0)
        missing = sum(not any(border.at(gap) for gap in side) for side in gaps)
        if missing <= 1:
            return _Border(width=width, missing=missing)
    return None


def _nearness(gap: float) -> float:
    return float(np.clip((_FAR - gap) / (_FAR - _CLOSE), 0.0, 1.0))


def _outside(side: int, edge: Parallel, own: Parallel, gap: float, stand: Standpoint, dark: Dark) -> tuple[str, float]:
    """What an edge ``gap`` (in shorter sides) outside the canvas's own could be, and how much of it is seen.

    The back edge of a canvas of thickness t, seen from ``beyond`` the side and ``front`` of the canvas, appears at
    gap = beyond t / (front + t) outside the front edge.
    """
    beyond = stand.beyond[side]
    if beyond > gap and gap * stand.front / (beyond - gap) < _THICKEST:
        return "side", 1.0
    if edge.runs_on:
        return "passing", _nearness(gap)
    if dark(side, edge.number, own.number):
        return "shadow", 1.0
    return "outside", edge.held * _nearness(gap)


class Shade:
    """Whether the strip between two edges is the wall beyond it, only darker."""

    def __init__(self, pixels: NDArray[np.uint8], edges: list[list[Edge]], corners: Array) -> None:
        self._pixels, self._edges, self._corners = pixels, edges, corners
        self._known: dict[tuple[int, int, int], bool] = {}

    def darker(self, side: int, outer: int, inner: int) -> bool:
        key = (side, outer, inner)
        if key not in self._known:
            self._known[key] = self._look(*key)
        return self._known[key]

    def _look(self, side: int, outer: int, inner: int) -> bool:
        one, two = self._edges[side][outer], self._edges[side][inner]
        u = np.linspace(0.08, 0.92, 60)[:, None]
        first, second = self._corners[side], self._corners[(side + 1) % 4]
        a, b = (e.point + (e.at(first) + u * (e.at(second) - e.at(first))) * e.along for e in (one, two))
        across = b - a
        wide = np.linalg.norm(across, axis=1, keepdims=True)
        beyond = a - across / wide * np.maximum(wide * 0.6, 4.0)
        strip, wall = (_light(self._pixels, spots) for spots in (a + 0.5 * across, beyond))
        ratio = np.log((strip + 0.004) / (wall + 0.004))
        middle = np.median(ratio, axis=0)
        steady = float(np.median(np.abs(ratio - middle)))
        return bool(np.all(middle < -0.04) and np.ptp(middle) < 0.12 and steady < 0.12)


def _light(pixels: NDArray[np.uint8], spots: Array) -> Any:
    """Linear light at spots, px: (n, 3) array, 0..1."""
    x, y = (np.ascontiguousarray(spots[:, k : k + 1], dtype=np.float32) for k in (0, 1))
    seen: Any = cv2.remap(pixels, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return to_light(seen[:, 0].astype(np.float64) / 255)
