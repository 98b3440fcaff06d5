"""The outlines of a face as strokes: where they belong, and as painted."""

from __future__ import annotations

from collections.abc import Callable, Collection

import numpy as np
from numpy.typing import NDArray

from limner.face.facepoints import POINT_COUNT, PUPIL_LEFT, PUPIL_RIGHT
from limner.face.placeable import BEYOND, OUTLINE
from limner.face.points import FEATURES
from limner.report.chalk import outline
from limner.report.layers import DRAWN
from limner.report.window import known_runs
from limner.sheet.marks import Pen, Stroke

Array = NDArray[np.float64]

BELONGS = Pen(width=0.45)
PAINTED = Pen(width=0.35, dash=(2.0, 1.4), ink=(0.72, 0.10, 0.05))
"""Dashed, so that it is told from the other without colour."""
ON_FILM = Pen(width=0.18)


def outlines(
    points: Array, more: Array, place: Callable[[Array], Array], pen: Pen, hidden: Collection[str] = ()
) -> list[Stroke]:
    """The outlines of a face.

    Args:
        points: (478, 2) array, px; features with a point that is not known are left out.
        more: (B, 2) array, px, in the order of :data:`limner.face.placeable.BEYOND`, or (0, 2): the head's outline and
            the hairline, as far as they are known.
        place: px to mm.
        pen: how they are drawn.
        hidden: features that are left out.
    """
    strokes = []
    for name in DRAWN:
        feature = FEATURES[name]
        there = place(points[list(feature.indices)])
        if name not in hidden and np.isfinite(there).all():
            strokes.append(_curve(there, pen, closed=feature.closed))
    if len(more):
        strokes += _big_shape(place(more), place(points[[PUPIL_RIGHT, PUPIL_LEFT]]), pen)
    return strokes


def _big_shape(more: Array, pupils: Array, pen: Pen) -> list[Stroke]:
    """The head's outline wherever it is known, and the hairline as a stroke across the forehead."""
    head = more[[BEYOND[key] - POINT_COUNT for key in OUTLINE]]
    strokes = [_curve(run, pen, closed=False) for run in known_runs(head)]
    middle = more[BEYOND["tr"] - POINT_COUNT]
    across = 0.25 * (pupils[1] - pupils[0])
    if np.isfinite(middle).all() and np.isfinite(across).all():
        strokes.append(Stroke(points=np.stack([middle - across, middle + across]), pen=pen))
    return strokes


def _curve(points: Array, pen: Pen, *, closed: bool) -> Stroke:
    curve = outline(points, closed=closed)
    return Stroke(points=curve[:-1] if closed else curve, pen=pen, closed=closed)
