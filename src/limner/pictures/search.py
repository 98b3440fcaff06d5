"""The way from a photograph to the likeliest readings of its edges as a canvas."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limner.pictures.layers import Reading, readings
from limner.pictures.quads import likely_quads
from limner.pictures.shape import Misfit, Seen, camera, misfit
from limner.pictures.sides import Edge, beside, follow
from limner.pictures.straight import faint_copy, find_lines, working_copy
from limner.pictures.weigh import Combinations, combinations

Array = NDArray[np.float64]

_GROUPS = 4
_APART = 0.035
"""Of the diagonal: quads whose corners differ by less are one and the same to start from."""
_REACH = 0.1
"""Of the diagonal: how far to either side of a first guess the edges beside it are looked at."""
_ROUGHLY = 0.2
"""Of the logarithm of width / height, and of the cosine between the sides: how far four lines to start from may be from
a canvas of the size given, as its thick sides, its frame and what stands before it lie within reach of them."""
_CLOSER = 0.6
"""Of the photo's width and height: the part about the canvas that is looked at more closely (limner's choice)."""
_PER_SIDE = 7
_ALONG = np.linspace(0.01, 0.99, 99)
_END, _AT_END = 0.36, 2.5
"""What lies farther than the first from the middle of a side, of its length, is its end, and counts so much more."""
_ONE_EDGE, _SHOWN = 1.5, 0.7
"""px: two edges nearer together are one there, and for the second of them it counts so much."""
_SAME = 0.002
_NEAR = 4
"""Of how many combinations, from the best on, the edges count however little of them is seen: chosen on 660 scenes,
3400000 to 3400219 and 3500000 to 3500439, with 10 the same are found. Where these were in a photo's first reading, nine
of 440 sure ones were so no more: what is little seen is mostly not there."""
_COMPARABLE = 6.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Found:
    """One group of readings that start from the same four lines."""

    base: Array
    """(4, 2) array, px: corners of the combination with the best score."""
    edges: list[list[Edge]]
    combinations: Combinations
    readings: list[Reading]
    wrong: Array
    """(k,) array: what each combination loses because the size given is of another shape."""

    @property
    def score(self) -> float:
        """Of the best combination, before anything is said of the edges beside it."""
        return float(self.combinations.score.max())


def search(
    pixels: NDArray[np.uint8],
    around: Array,
    focal_35mm: float | None,
    sides: tuple[float, float] | None = None,
    known: Sequence[Found] | None = None,
    *,
    faint: bool = False,
) -> list[Found]:
    """Groups of readings, the best first.

    ``around``: (x, y), px, a point that is on the canvas. ``sides``: the canvas's two sides, mm, in either order.
    ``known``: groups found before, to which a closer look at what lies about that point adds others, or, if ``faint``,
    a look at the whole for lines that are fainter than most.
    """
    size = (pixels.shape[1], pixels.shape[0])
    seen_by = camera(size, focal_35mm, sides)
    lost = misfit(size, focal_35mm, sides)

    out: list[Found] = list(known or ())
    closer = known is not None and not faint
    window = _window(size, around) if closer else (slice(None), slice(None))
    for corners in _starts(pixels, window, around, seen_by, sides if focal_35mm else None, faint=faint):
        found = _group(pixels, corners, seen_by, lost)
        if found and all(_apart(found.base, one.base) > _SAME for one in out):
            out.append(found)
    return _likeliest_first(out)


def widened(pixels: NDArray[np.uint8], groups: Sequence[Found]) -> list[Found]:
    """The same groups, read with all edges that the best combinations have, however little of them is seen."""
    return _likeliest_first(
        [replace(one, readings=readings(pixels, one.edges, one.combinations, one.wrong, near=_NEAR)) for one in groups]
    )


def _likeliest_first(groups: list[Found]) -> list[Found]:
    best_score = max((one.score for one in groups), default=0.0)
    return sorted(groups, key=lambda one: (one.score < best_score - _COMPARABLE, -one.readings[0].score))


def _group(pixels: NDArray[np.uint8], corners: Array, seen_by: Seen, lost: Misfit) -> Found | None:
    """The readings about four corners, or ``None`` where a side has no edge."""
    reach = _REACH * float(np.hypot(*(corners[2] - corners[0])))
    edges = [_sides(pixels, corners[k], corners[(k + 1) % 4], reach) for k in range(4)]
    if not min(len(side) for side in edges):
        return None
    found = combinations(edges, (pixels.shape[1], pixels.shape[0]), seen_by)
    wrong = lost(found.corners, found.views)
    base = found.corners[int(np.argmax(found.score - wrong))]
    return Found(
        base=base, edges=edges, combinations=found, readings=readings(pixels, edges, found, wrong), wrong=wrong
    )


def _apart(some: Array, corners: Array) -> float:
    """The farthest of four corners from those of another four, as share of the latter's diagonal."""
    return float(np.linalg.norm(some - corners, axis=1).max() / np.hypot(*(corners[2] - corners[0])))


def _window(size: tuple[int, int], around: Array) -> tuple[slice, slice]:
    """Rows and columns of the part of a picture about a point that is looked at more closely."""
    columns, rows = (
        slice(int(np.clip(spot - _CLOSER * long / 2, 0, (1 - _CLOSER) * long)), int(spot + _CLOSER * long / 2))
        for spot, long in zip(around, size, strict=True)
    )
    return rows, columns


def _starts(
    pixels: NDArray[np.uint8],
    window: tuple[slice, slice],
    around: Array,
    seen_by: Seen,
    sides: tuple[float, float] | None,
    *,
    faint: bool,
) -> list[Array]:
    lab, scale = (faint_copy if faint else working_copy)(pixels[window])
    corner = np.array([window[1].start or 0, window[0].start or 0])

    def whole(quads: Array) -> Array:
        return np.asarray((quads + 0.5) / scale - 0.5 + corner)

    def may_be(quads: Array) -> NDArray[np.bool_]:
        return _hold(whole(quads), around) & (unlike(quads) < _ROUGHLY)

    def unlike(quads: Array) -> Array:
        return _unlike(whole(quads), seen_by, sides)

    across, upright = find_lines(lab)
    quads = whole(likely_quads(across, upright, (lab.shape[1], lab.shape[0]), may_be, unlike))
    known: dict[tuple[int, ...], Edge] = {}
    scores = np.array([_first_score(pixels, quad, 3.0 / scale, known, seen_by) for quad in quads])
    kept: list[Array] = []
    for k in np.argsort(-scores, kind="stable"):
        diagonal = float(np.hypot(*(quads[k][2] - quads[k][0])))
        if all(np.linalg.norm(quads[k] - one, axis=1).max() > _APART * diagonal for one in kept):
            kept.append(quads[k])
        if len(kept) == _GROUPS:
            break
    return kept


def _hold(quads: Array, spot: Array) -> NDArray[np.bool_]:
    """Which of (k, 4, 2) convex quads, corners clockwise, have a point inside."""
    side = np.roll(quads, -1, axis=1) - quads
    away = spot - quads
    return np.asarray(np.all(side[..., 0] * away[..., 1] - side[..., 1] * away[..., 0] > 0, axis=1))


def _unlike(quads: Array, seen_by: Seen, sides: tuple[float, float] | None) -> Array:
    """How far (k, 4, 2) quads are from the shape given, seen by a camera whose focal length is known; else nothing."""
    if sides is None:
        return np.zeros(len(quads))
    views = seen_by(quads)
    off = np.abs(np.log(views.aspect)) - abs(float(np.log(sides[0] / sides[1])))
    return np.maximum(np.abs(off), np.abs(views.skew))


def _first_score(
    pixels: NDArray[np.uint8], quad: Array, reach: float, known: dict[tuple[int, ...], Edge], seen_by: Seen
) -> float:
    edges = []
    for k in range(4):
        first, second = quad[k], quad[(k + 1) % 4]
        key = tuple(int(v) for v in np.round([*first, *second]))
        if key not in known:
            known[key] = follow(pixels, first, second, reach)
        edges.append([known[key]])
    size = (pixels.shape[1], pixels.shape[0])
    return float(combinations(edges, size, seen_by).score[0])


def _sides(pixels: NDArray[np.uint8], first: Array, second: Array, reach: float) -> list[Edge]:
    """The edges beside a side that are worth the most, each by what those before it have not shown already.

    An edge counts over the whole side, and more at both ends of it, where nothing hides it.
    """
    left = beside(pixels, first, second, reach, 8)
    if not left:
        return []
    held, lies = (np.stack(rows) for rows in zip(*(_sampled(edge, first, second) for edge in left), strict=True))
    worth = held * np.where(np.abs(_ALONG - 0.5) > _END, _AT_END, 1.0)
    order: list[int] = []
    while len(order) < min(_PER_SIDE, len(left)):
        sums = worth.sum(axis=1)
        sums[order] = -1.0
        best = int(np.argmax(sums))
        order.append(best)
        worth = np.where(held[best] & (np.abs(lies - lies[best]) < _ONE_EDGE), _SHOWN * worth, worth)
    return [left[k] for k in order]


def _sampled(edge: Edge, first: Array, second: Array) -> tuple[NDArray[np.bool_], Array]:
    """At places along a side: whether an edge is seen there, and how far beside the side it lies, px."""
    along = second - first
    length = float(np.hypot(*along))
    index = np.minimum(np.searchsorted(edge.where, _ALONG * length), len(edge.where) - 1)
    away = edge.point + edge.where[index][:, None] * edge.along - first
    return edge.held[index], (along[0] * away[:, 1] - along[1] * away[:, 0]) / length
