"""Which of several parallel edges is the canvas's own: its side, a shadow, a ledge, a margin or a frame runs beside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from limner.pictures.perspective import square_to
from limner.pictures.sides import Edge
from limner.pictures.strips import BOTTOM, COUNTS, LEFT, RIGHT, TOP, Parallel, Shade, Strips, explain, standpoint
from limner.pictures.weigh import Combinations

Array = NDArray[np.float64]

_STRONG, _ENDS, _TILT = 0.45, 0.5, 0.014
_NEARLY = 6.0
"""How much less than the best a combination's score may be for its edges to count, however little of them is seen: as
much as a rival may matter to what is read with a bare margin (limner's choice)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Reading:
    """One way to read the edges: which are the canvas's own, and what the others then are."""

    corners: Array
    """(4, 2) array, px."""
    index: int
    """Row of the combinations."""
    score: float
    """Evidence, with what is seen beside the canvas, less what is lost by the shape."""
    lost: float
    """By how much the score is less because the size given is of another shape."""
    altered: float
    """By how much the score is less because the colour changes just within the edges."""
    strips: Strips

    @property
    def seen(self) -> float:
        """The score by the edges themselves, whatever the colour does within them."""
        return self.score + self.altered

    @property
    def remarks(self) -> frozenset[str]:
        """Of ``frame``, ``margin``, ``side``, ``shadow``, ``ledge``, ``doubtful border``."""
        return self.strips.remarks


@dataclass(frozen=True, kw_only=True, eq=False)
class Rivals:
    """All that could be read in a photo."""

    corners: Array
    """(k, 4, 2) array, px."""
    score: Array
    """(k,) array."""

    def lead(self, corners: Array, score: float, same: float) -> float:
        """By how much a score is more than the best of what means another canvas than the one with these corners.

        ``same``: share of the diagonal up to which corners are those of one canvas.
        """
        diagonal = float(np.hypot(*(corners[2] - corners[0])))
        others = np.linalg.norm(self.corners - corners, axis=2).max(axis=1) > same * diagonal
        return score - float(self.score[others].max(initial=-np.inf))


def rivals_of(seen: Sequence[Reading], before: Rivals | None = None) -> Rivals:
    """Of readings, and of what was seen ``before`` at another size of the photo, in px of this one."""
    corners = np.array([one.corners for one in seen]).reshape(-1, 4, 2)
    score = np.array([one.score for one in seen])
    if before is None:
        return Rivals(corners=corners, score=score)
    return Rivals(corners=np.concatenate([corners, before.corners]), score=np.concatenate([score, before.score]))


def readings(
    pixels: NDArray[np.uint8], edges: list[list[Edge]], found: Combinations, wrong: Array, *, near: int = 1
) -> list[Reading]:
    """All readings about the combination with the best score, the likeliest first.

    ``wrong``: (k,) array, what is taken off the score of each combination that has not the shape of the size given.
    ``near``: of how many combinations, the best and those near it, the edges count however little of them is seen.
    """
    base = int(np.argmax(found.score - wrong))
    likely = _likely(found.score - wrong, found.altered, near)
    corners = found.corners[base]
    aspect = float(found.views.aspect[base])
    plane = np.asarray(np.linalg.inv(square_to(corners)), dtype=np.float64)
    unit = np.array([max(aspect, 1.0), max(1 / aspect, 1.0)], dtype=np.float64)
    strong = [_parallels(edges[k], k, corners, plane, unit, set(found.pick[likely, k])) for k in range(4)]
    counts = [len(side) for side in edges]
    weights = np.array(list(COUNTS.values()))
    dark = Shade(pixels, edges, corners).darker
    out = []
    for chosen in product(*strong):
        index = int(np.ravel_multi_index(tuple(p.number for p in chosen), tuple(counts)))
        shape = float(found.views.aspect[index])
        strips = explain(chosen, strong, standpoint(found.views.eye[index], shape), dark)
        lost = float(wrong[index])
        # A bare margin explains a change of colour within the edge.
        altered = 0.0 if "margin" in strips.remarks else float(found.altered[index])
        score = float(found.score[index]) + float(strips.counts @ weights) - lost - altered
        out.append(
            Reading(corners=found.corners[index], index=index, score=score, lost=lost, altered=altered, strips=strips)
        )
    return sorted(out, key=lambda reading: -reading.score)


def _likely(score: Array, altered: Array, near: int) -> list[int]:
    """Combinations whose edges may be the canvas's own, however little of them is seen: the best, and those near it."""
    order = np.argsort(-score, kind="stable")[:near]
    return [int(np.argmax(score - altered)), *(int(k) for k in order if score[k] >= score[order[0]] - _NEARLY)]


def _parallels(
    edges: list[Edge], side: int, corners: Array, plane: Array, unit: Array, own: set[int]
) -> list[Parallel]:
    first, second = corners[side], corners[(side + 1) % 4]
    out = []
    for n, edge in enumerate(edges):
        low, high = sorted((edge.at(first), edge.at(second)))
        inward = [_inward(edge.point + t * edge.along, side, plane, unit) for t in (low, high)]
        # A rectangle further in has shorter sides, one further out longer ones.
        inset = float(np.mean(inward)) * (high - low) / (unit[0] if side in (TOP, BOTTOM) else unit[1])
        low, high = low + inset, high - inset
        long = high - low
        if long <= 0:
            continue
        ends = 0.5 * (edge.share(low, low + 0.12 * long) + edge.share(high - 0.12 * long, high))
        held = edge.share(low + 0.03 * long, high - 0.03 * long)
        parallel = abs(inward[1] - inward[0]) < _TILT
        if n in own or (held >= _STRONG and ends >= _ENDS and parallel):
            past = min(
                edge.share(low - 0.12 * long, low - 0.01 * long), edge.share(high + 0.01 * long, high + 0.12 * long)
            )
            out.append(Parallel(number=n, inward=float(np.mean(inward)), held=held, runs_on=past >= 0.5))
    return out


def _inward(spot: Array, side: int, plane: Array, unit: Array) -> float:
    x, y, w = plane @ np.array([spot[0], spot[1], 1.0])
    x, y = x / w * unit[0], y / w * unit[1]
    return float({TOP: y, RIGHT: unit[0] - x, BOTTOM: unit[1] - y, LEFT: x}[side])
