"""Which edges make the canvas: every combination of four, weighed by what is seen at corners and along sides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.pictures.perspective import Views
from limner.pictures.quads import area
from limner.pictures.shape import Seen
from limner.pictures.sides import Edge

Array = NDArray[np.float64]

WEIGHTS = {
    "held": 4.05,
    "ends": 5.62,
    "tips": 5.32,
    "both": 7.83,
    "past": -3.86,
    "over": -4.07,
    "running": -5.15,
    "ledge": -1.5,
    "step": 4.64,
    "least": 3.57,
    "size": -0.49,
    "skew": -6.4,
}
"""What each feature counts. Fitted (softmax over all combinations of one photo) to 145 invented scenes, those of
``tests/scenes.py`` with seeds 3000 to 3239 whose canvas shows neither a side nor a margin nor a frame. What is only
hinted at counted for nothing then; with it the right reading's score is higher by 2 on the mean of 1032 scenes."""
_SKEW = 0.02
ALTERED = 0.6
"""What each CIELAB unit counts by which, on the mean of a side, the colour changes more just within it than further in,
beyond what is usual there. Of 392 right sides of 60 scenes (seeds 20000 to 30067) one in twenty is above 1.8 and one in
a hundred above 3.9, of those with the right one 3 to 12 px within them every second is above 0.9, every fourth 5."""
_USUAL_CHANGE, _MOST_CHANGE = 1.5, 8.0
_LIP = 0.06
"""Of a side: how far in the edge of what stands before it may be (limner's choice)."""
_TAKEN_OVER = 0.7
"""Share of the stretch it hides on which its edge must be seen (limner's choice)."""
_END, _BARE_END, _END_HELD, _END_OTHER = 0.15, 0.05, 0.7, 0.4
"""Of a side: how much of it beside each corner is looked at, and how much must be left there beside what hides it; and
shares of these ends on which the side must be seen, and on which the edge of what hides it may be (limner's choice)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Combinations:
    """All ways to take one edge for each side (top, right, bottom, left)."""

    pick: NDArray[np.intp]
    """(k, 4) array: which edge of each side."""
    corners: Array
    """(k, 4, 2) array, px: top left, top right, bottom right, bottom left."""
    seen: Array
    """(k, len(WEIGHTS)) array: the features, in the order of ``WEIGHTS``."""
    altered: Array
    """(k,) array: what speaks against each because the colour changes just within its sides."""
    views: Views
    """Rectangle and camera of each."""

    @property
    def score(self) -> Array:
        """(k,) array: weighed sum of the features."""
        return np.asarray(self.seen @ np.array(list(WEIGHTS.values())))


def combinations(edges: list[list[Edge]], size: tuple[int, int], seen_by: Seen) -> Combinations:
    """Corners and features of every combination of ``edges``: four lists, top, right, bottom, left.

    ``size``: width and height of the picture; ``seen_by``: what corners look like to its camera.
    """
    counts = [len(side) for side in edges]
    pick = np.stack([axis.ravel() for axis in np.meshgrid(*(np.arange(n) for n in counts), indexing="ij")], axis=1)
    meets = [_meetings(edges[(k - 1) % 4], edges[k]) for k in range(4)]
    corners = np.stack([meets[k][pick[:, (k - 1) % 4], pick[:, k]] for k in range(4)], axis=1)
    about = [_about_corner(edges[(k - 1) % 4], edges[k], meets[k]) for k in range(4)]
    tips, ends, over, past = (
        np.stack([about[k][n][:, pick[:, (k - 1) % 4], pick[:, k]] for k in range(4)], axis=2) for n in range(4)
    )
    along = [_along_side(edges, k, pick[:, k], corners[:, k], corners[:, (k + 1) % 4]) for k in range(4)]
    held, step, altered = (np.stack([side[n] for side in along], axis=1) for n in range(3))
    share = np.sqrt(area(corners) / (size[0] * size[1]))
    # A canvas may stand on a ledge wider than itself: only that its lower edge runs on is no evidence against it.
    ledge = np.minimum(past[0, :, 3], past[1, :, 2])
    for passing in (past, over):
        passing[0, :, 3] = 0
        passing[1, :, 2] = 0
    views = seen_by(corners)
    seen = np.stack(
        [
            held.mean(1),
            ends.mean(axis=(0, 2)),
            tips.mean(axis=(0, 2)),
            tips.min(axis=0).mean(axis=1),
            past.mean(axis=(0, 2)),
            over.mean(axis=(0, 2)),
            past.max(axis=(0, 2)),
            ledge,
            step.mean(1),
            held.min(1),
            share,
            np.minimum(np.abs(views.skew) / _SKEW, 4.0),
        ],
        axis=1,
    )
    altered = np.clip(altered - _USUAL_CHANGE, 0.0, _MOST_CHANGE).sum(axis=1)
    return Combinations(pick=pick, corners=corners, seen=seen, altered=ALTERED * altered, views=views)


def _meetings(before: list[Edge], after: list[Edge]) -> Array:
    """(m, n, 2) array, px: where each edge of one side meets each of the next."""
    p, d = np.array([e.point for e in before]), np.array([e.along for e in before])
    q, f = np.array([e.point for e in after]), np.array([e.along for e in after])
    gap = q[None] - p[:, None]
    cross = d[:, None, 0] * f[None, :, 1] - d[:, None, 1] * f[None, :, 0]
    t = (gap[..., 0] * f[None, :, 1] - gap[..., 1] * f[None, :, 0]) / cross
    return np.asarray(p[:, None] + t[..., None] * d[:, None])


def _about_corner(before: list[Edge], after: list[Edge], meet: Array) -> Array:
    """Shares of edge near each corner two edges would make: (4, 2, m, n), tips, ends, over, past; before and after."""
    out = np.zeros((4, 2, len(before), len(after)))
    for which, (edges, sense) in enumerate(((before, -1.0), (after, 1.0))):
        for i, edge in enumerate(edges):
            spots = meet[i] if which == 0 else meet[:, i]
            t, unit = (spots - edge.point) @ edge.along, sense * edge.length
            for n, (near, far) in enumerate(((0.003, 0.045), (0.005, 0.12), (-0.006, -0.05), (-0.01, -0.12))):
                a, b = t + near * unit, t + far * unit
                share = (edge.hints if n < 2 else edge.shares)(np.minimum(a, b), np.maximum(a, b))
                out[(n, which, i) if which == 0 else (n, which, slice(None), i)] = share
    return out


def _along_side(
    edges: list[list[Edge]], side: int, pick: NDArray[np.intp], first: Array, second: Array
) -> tuple[Array, Array, Array]:
    """For each combination, share of the side that is edge, share where the colour changes across it, change within."""
    held, step, altered = np.zeros((3, len(pick)))
    for n, edge in enumerate(edges[side]):
        of = pick == n
        low, high = (first[of] - edge.point) @ edge.along, (second[of] - edge.point) @ edge.along
        inset = 0.03 * (high - low)
        hidden = _hidden(edge, [e for m, e in enumerate(edges[side]) if m != n])
        held[of] = edge.hints(low + inset, high - inset, hidden)
        step[of] = edge.stepped(low + inset, high - inset, hidden)
        altered[of] = edge.altered(low + inset, high - inset, hidden)
    return held, step, altered


def _hidden(edge: Edge, others: list[Edge]) -> NDArray[np.bool_]:
    """Where a ledge or clamp hides the edge: it is there on both sides of a stretch where another, further in, is."""
    length = edge.length
    covered = np.zeros(len(edge.where), bool)
    normal = np.array([-edge.along[1], edge.along[0]])
    side = (edge.where > 0.01 * length) & (edge.where < 0.99 * length)
    for other in others:
        # Sides run clockwise, so that the inside lies toward the normal.
        inward = float((other.point + 0.5 * length * other.along - edge.point - 0.5 * length * edge.along) @ normal)
        if not 1.0 < inward < _LIP * length:
            continue
        first, last = _taken_over(edge.held & side, other.held & side)
        first_end = (0.01 * length, min(float(edge.where[first]), _END * length))
        last_end = (max(float(edge.where[last]), (1 - _END) * length), 0.99 * length)
        stretch = (float(edge.where[first]), float(edge.where[last]))
        if other.share(*stretch) >= _TAKEN_OVER and all(
            end[1] - end[0] > _BARE_END * length and edge.share(*end) >= _END_HELD and other.share(*end) < _END_OTHER
            for end in (first_end, last_end)
        ):
            covered[first : last + 1] |= ~edge.held[first : last + 1]
    return covered


def _taken_over(held: NDArray[np.bool_], other: NDArray[np.bool_]) -> tuple[int, int]:
    """First and last place of the stretch on which the other edge is seen, and this one is not, the most."""
    sums = np.concatenate([[0.0], np.cumsum(np.where(other, 1.0, -0.1) - held)])
    lowest = np.minimum.accumulate(sums)
    last = int(np.argmax(sums - lowest))
    return int(np.argmin(sums[: last + 1])), max(last - 1, 0)
