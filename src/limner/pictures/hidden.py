"""A lower edge that a ledge hides from end to end: placed by the three other edges and the size given."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.pictures.layers import Reading
from limner.pictures.perspective import focal_px, square_to, views_of
from limner.pictures.search import Found
from limner.pictures.shape import shape_of
from limner.pictures.sides import Edge
from limner.pictures.strips import BOTTOM, LEFT, RIGHT, TOP, standpoint

Array = NDArray[np.float64]

_LEAST, _MOST = 0.004, 0.06
"""Of the canvas's height: how much of it a lip may hide. Less needs no placing, and more is hardly a lip (limner's
choice)."""
_PAST = 0.05
"""Of a side: how far past both lower corners the ledge must be seen, and the canvas's sides must not."""
_SEEN, _UNSEEN = 0.5, 0.3
"""Shares of that stretch from which on the ledge is seen there, and below which a side is not (limner's choice)."""
_THICKEST = 0.18
"""Of the shorter side: how thick a canvas may be."""
_BY_SIDE = 0.5
"""Share of what is hidden that a thick side, seen from beside or above and taken for the front, must not come to
(limner's choice)."""
_SKEWED = 3.0
"""Standard errors by which the ledge may not be parallel to the upper edge."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Placed:
    """A canvas whose lower edge was placed, not seen."""

    group: Found
    reading: Reading
    corners: Array
    """(4, 2) array, px."""
    doubt: Array
    """(4,) array, px: one sigma that the size and the focal length leave in the corners that were placed."""
    score: float
    """Of what was seen, the ledge's edge in place of the lower one."""
    lead: float
    """By how much that is more than the score of whatever means another canvas."""


def behind_ledge(
    groups: list[Found], size: tuple[int, int], focal_35mm: float, sides: tuple[float, float], same: float
) -> Placed | None:
    """The likeliest canvas that ends behind a ledge wider than itself, if there is one.

    It must be too low for its width by what a lip hides, its sides must end where the ledge begins, and no thick side
    that the camera may see can be what makes it too wide. ``same``: share of the diagonal up to which corners are those
    of one canvas.
    """
    placed = [
        one
        for group in groups
        for reading in group.readings
        if (one := _placed(group, reading, size, focal_35mm, sides)) is not None
    ]
    if not placed:
        return None
    best = max(placed, key=lambda one: one.score)
    diagonal = float(np.hypot(*(best.corners[2] - best.corners[0])))

    def other(corners: Array) -> bool:
        return bool(np.linalg.norm(corners - best.corners, axis=1).max() > same * diagonal)

    own = {id(one.reading) for one in placed}
    rivals = [one.score for one in placed if other(one.corners)]
    rivals += [r.score for g in groups for r in g.readings if id(r) not in own and other(r.corners)]
    return Placed(
        group=best.group,
        reading=best.reading,
        corners=best.corners,
        doubt=best.doubt,
        score=best.score,
        lead=best.score - max(rivals, default=-np.inf),
    )


def runs_on(group: Found, reading: Reading) -> bool:
    """Whether the lower edge goes on past a lower corner, as a ledge's does that is wider than the canvas."""
    lower = group.edges[BOTTOM][group.combinations.pick[reading.index, BOTTOM]]
    return max(_past(lower, reading.corners[2], -1.0), _past(lower, reading.corners[3], 1.0)) >= _UNSEEN


def ledge_may_hide(group: Found, reading: Reading, sides: tuple[float, float]) -> bool:
    """Whether the lower edge runs on, and others with it, as clear, are too low for their width by what a lip hides.

    What is too narrow by as much has the canvas's shape again, and the shape tells nothing.
    """
    found = group.combinations
    if not runs_on(group, reading):
        return False
    seen, given = np.log(found.views.aspect), float(np.log(max(sides) / min(sides)))
    hidden = np.where(np.abs(seen - given) < np.abs(seen + given), seen - given, seen + given)
    same = found.pick[:, BOTTOM] == found.pick[reading.index, BOTTOM]
    clear = found.score >= found.score[reading.index]
    return bool(np.any(same & clear & (hidden > _LEAST) & (hidden < _MOST)))


def _placed(
    group: Found, reading: Reading, size: tuple[int, int], focal_35mm: float, sides: tuple[float, float]
) -> Placed | None:
    views = views_of(reading.corners[None], size, focal_px(size, focal_35mm))
    seen = float(np.log(views.aspect[0]))
    given = float(np.log(max(sides) / min(sides)))
    hidden = min((seen - given, seen + given), key=abs)
    if not _LEAST < hidden < _MOST or not _ends_at_ledge(group, reading):
        return None
    shape = shape_of(reading.corners[None], views, size, focal_35mm, sides)
    skewed = float(views.skew[0] / shape.skew_sigma[0])
    if abs(skewed) > _SKEWED or _thick(views.eye[0], float(views.aspect[0]), reading, hidden):
        return None
    corners = _lower(reading.corners, float(np.exp(hidden)))
    further = _lower(reading.corners, float(np.exp(hidden + shape.sigma[0])))
    return Placed(
        group=group,
        reading=reading,
        corners=corners,
        doubt=np.linalg.norm(further - corners, axis=1),
        score=reading.score + reading.lost - 0.5 * skewed**2,
        lead=0.0,
    )


def _lower(corners: Array, down: float) -> Array:
    """The corners with the lower ones so many times as far from the upper ones, as it is on the canvas."""
    spots = square_to(corners) @ np.array([[1.0, 0.0], [down, down], [1.0, 1.0]])
    return np.stack([corners[0], corners[1], *(spots[:2] / spots[2]).T])


def _ends_at_ledge(group: Found, reading: Reading) -> bool:
    """Whether the lowest edge runs on past both corners, and the sides do not."""
    edges = [group.edges[k][group.combinations.pick[reading.index, k]] for k in range(4)]
    right, left = reading.corners[2], reading.corners[3]
    ledge = min(_past(edges[BOTTOM], right, -1.0), _past(edges[BOTTOM], left, 1.0))
    return ledge >= _SEEN and max(_past(edges[RIGHT], right, 1.0), _past(edges[LEFT], left, -1.0)) < _UNSEEN


def _past(edge: Edge, corner: Array, sense: float) -> float:
    """Share of edge just past a corner, along the edge or against it."""
    near, far = (edge.at(corner) + sense * share * edge.length for share in (0.012, _PAST))
    return edge.share(min(near, far), max(near, far))


def _thick(eye: Array, aspect: float, reading: Reading, hidden: float) -> bool:
    """Whether the side of a thick canvas that the camera may see could come to much of what is said to be hidden."""
    stand = standpoint(eye, aspect)
    if "side" in reading.remarks:
        return False
    seen = max(stand.beyond[k] for k in (TOP, RIGHT, LEFT)) * _THICKEST / (stand.front + _THICKEST)
    return bool(seen > _BY_SIDE * hidden)
