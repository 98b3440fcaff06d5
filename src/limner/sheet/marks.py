"""What stands on a sheet: strokes, areas, words and pictures, in millimetres, x to the right and y down.

Nothing here knows of a file format; :mod:`limner.sheet.pdf` and :mod:`limner.sheet.svg` render the same marks.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Ink = tuple[float, float, float]
Box = tuple[float, float, float, float]
"""x, y of the upper left corner, width, height, mm."""
Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]

BLACK: Ink = (0.0, 0.0, 0.0)
GREY: Ink = (0.45, 0.45, 0.45)
WHITE: Ink = (1.0, 1.0, 1.0)


@dataclass(frozen=True, kw_only=True)
class Pen:
    """How a stroke is drawn."""

    width: float
    """mm."""
    dash: tuple[float, ...] = ()
    """Lengths of dash and gap in turn, mm; empty for a line without gaps."""
    ink: Ink = BLACK


@dataclass(frozen=True, kw_only=True, eq=False)
class Stroke:
    """A line through points."""

    points: Array
    """(N, 2) array, mm."""
    pen: Pen
    closed: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class Area:
    """A filled polygon."""

    points: Array
    """(N, 2) array, mm."""
    ink: Ink = BLACK


@dataclass(frozen=True, kw_only=True)
class Words:
    """One line of text on its baseline."""

    text: str
    at: Point
    size: float
    """Height of the letters' square, mm."""
    anchor: Anchor = "start"
    upward: bool = False
    """Whether it runs up the page."""
    bold: bool = False
    ink: Ink = BLACK


@dataclass(frozen=True, kw_only=True, eq=False)
class Raster:
    """A picture."""

    pixels: NDArray[np.uint8]
    """(H, W) or (H, W, 3) array, sRGB."""
    box: Box
    photo: bool = False
    """Whether it has the fine gradations of a photograph, which a PDF then keeps in less room."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Window:
    """Part of another drawing, clipped to a box."""

    box: Box
    origin: Point
    """The place of the other drawing that lies at the box's upper left corner, mm."""
    marks: tuple[Mark, ...]
    factor: float = 1.0
    """mm on this sheet for each mm of the other drawing."""


Mark = Stroke | Area | Words | Raster | Window


@dataclass(frozen=True, kw_only=True, eq=False)
class Drawing:
    """A drawing that may be larger than a sheet of paper, in mm from the canvas's upper left corner."""

    box: Box
    """What of the plane belongs to it."""
    marks: tuple[Mark, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Page:
    """One sheet of paper, mm from its upper left corner."""

    width: float
    height: float
    marks: tuple[Mark, ...]


def line(x0: float, y0: float, x1: float, y1: float, pen: Pen) -> Stroke:
    """A straight stroke."""
    return Stroke(points=np.array([[x0, y0], [x1, y1]], dtype=np.float64), pen=pen)


def rectangle(box: Box, pen: Pen) -> Stroke:
    """The outline of a box."""
    return Stroke(points=corners_of(box), pen=pen, closed=True)


def corners_of(box: Box) -> Array:
    """(4, 2) array: upper left, upper right, lower right, lower left."""
    x, y, w, h = box
    return np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]], dtype=np.float64)


def circle(at: Point, radius: float, steps: int = 48) -> Array:
    """(steps, 2) array of points on a circle."""
    turn = np.linspace(0.0, 2 * np.pi, steps, endpoint=False)
    return np.column_stack([at[0] + radius * np.cos(turn), at[1] + radius * np.sin(turn)])


def arrow(start: Point, end: Point, pen: Pen, head: float = 2.2) -> list[Mark]:
    """An arrow that ends exactly at ``end``; its head is never longer than itself. Nothing where it has no length."""
    a, b = np.array(start), np.array(end)
    length = float(np.hypot(*(b - a)))
    if length < 1e-6:
        return []
    along = (b - a) / length
    head = min(head, length)
    neck = b - head * along
    across = 0.38 * head * np.array([-along[1], along[0]])
    tip = Area(points=np.array([b, neck + across, neck - across]), ink=pen.ink)
    return [Stroke(points=np.array([a, neck]), pen=pen), tip] if length > head else [tip]


def mirrored(marks: Iterable[Mark], axis: float) -> tuple[Mark, ...]:
    """The marks seen in a mirror, about the upright line x = ``axis``; words stay readable.

    >>> mirrored([Words(text="left", at=(10.0, 0.0), size=3.0)], 50.0)[0].at
    (90.0, 0.0)
    """
    return tuple(_mirrored(mark, axis) for mark in marks)


_OTHER: dict[Anchor, Anchor] = {"start": "end", "middle": "middle", "end": "start"}


def _mirrored(mark: Mark, axis: float) -> Mark:
    if isinstance(mark, Words):
        x, y = mark.at
        anchor = mark.anchor if mark.upward else _OTHER[mark.anchor]
        return replace(mark, at=(2 * axis - x, y), anchor=anchor)
    if isinstance(mark, Raster):
        x, y, w, h = mark.box
        return replace(mark, pixels=np.ascontiguousarray(mark.pixels[:, ::-1]), box=(2 * axis - x - w, y, w, h))
    if isinstance(mark, Window):
        raise TypeError("a window is not mirrored: mirror what it shows")
    return replace(mark, points=mark.points * (-1.0, 1.0) + (2 * axis, 0.0))


def touches(mark: Mark, box: Box, near: float = 3.0) -> bool:
    """Whether anything of a stroke or an area may lie in a box, or within ``near`` mm of it; True for the others."""
    if not isinstance(mark, Stroke | Area):
        return True
    low, high = mark.points.min(axis=0) - near, mark.points.max(axis=0) + near
    corner = np.array(box[:2])
    return bool((high >= corner).all() and (low <= corner + box[2:]).all())


def hull(points: Sequence[Array]) -> Box:
    """The box round all points, whose coordinates that are not numbers are left out."""
    every = np.vstack(points)
    low, high = np.nanmin(every, axis=0), np.nanmax(every, axis=0)
    return (float(low[0]), float(low[1]), float(high[0] - low[0]), float(high[1] - low[1]))
