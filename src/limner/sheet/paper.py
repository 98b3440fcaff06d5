"""A drawing at 1:1 on sheets of paper: tiles with overlap, crop marks, register crosses and bars to check the printer.

Every page has two bars of exactly 100 mm, one across and one upright, because a printer may be true one way and not
the other. What paper and printer do is common practice, no source: most cannot print the outer 4 mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from limner.sheet.letters import fitted
from limner.sheet.marks import (
    BLACK,
    GREY,
    Area,
    Box,
    Drawing,
    Mark,
    Page,
    Pen,
    Window,
    Words,
    corners_of,
    line,
    rectangle,
    touches,
)

PAPERS: dict[str, tuple[float, float]] = {"a4": (210.0, 297.0), "a3": (297.0, 420.0), "letter": (215.9, 279.4)}
"""Width and height, mm (ISO 216; US Letter is 8.5 by 11 in)."""
OVERLAP = 10.0
"""mm that two neighbouring tiles share."""
LEFT, TOP, RIGHT, FOOT = 14.0, 10.0, 10.0, 24.0
"""Margins round a tile, mm: room for the bars and the crop marks, outside what printers leave out."""
BAR = 100.0
FINE = Pen(width=0.15)
CHECK = "Print at 100 %, not fitted to the page; then check both bars with a ruler."


@dataclass(frozen=True, kw_only=True)
class Tile:
    """One sheet's part of a drawing."""

    row: int
    """From 1, from the top."""
    column: int
    """From 1, from the left."""
    box: Box
    """What of the drawing it shows, mm of the drawing."""


@dataclass(frozen=True, kw_only=True)
class Layout:
    """How a drawing is spread over sheets."""

    tiles: tuple[Tile, ...]
    rows: int
    columns: int
    size: tuple[float, float]
    """Width and height of one sheet as it is turned, mm."""


def lay_out(box: Box, paper: str) -> Layout:
    """Spread a drawing over as few sheets as can be, upright or turned; upright where both need as many.

    >>> layout = lay_out((0.0, 0.0, 300.0, 200.0), "a4")
    >>> layout.columns, layout.rows, layout.size
    (2, 1, (210.0, 297.0))
    """
    width, height = PAPERS[paper]
    both = [_spread(box, (width, height)), _spread(box, (height, width))]
    return min(both, key=lambda layout: len(layout.tiles))


def _spread(box: Box, size: tuple[float, float]) -> Layout:
    x, y, w, h = box
    room = (math.floor(size[0] - LEFT - RIGHT), math.floor(size[1] - TOP - FOOT))
    columns, rows = (
        max(1, math.ceil((side - OVERLAP) / (own - OVERLAP))) for side, own in zip((w, h), room, strict=True)
    )
    tiles = tuple(
        Tile(
            row=row + 1,
            column=column + 1,
            box=(x + column * (room[0] - OVERLAP), y + row * (room[1] - OVERLAP), float(room[0]), float(room[1])),
        )
        for row in range(rows)
        for column in range(columns)
    )
    return Layout(tiles=tiles, rows=rows, columns=columns, size=size)


def tiled(drawing: Drawing, paper: str, *, title: str, side: str = "left") -> tuple[Page, ...]:
    """The drawing over A4, A3 or Letter: one page a tile, row by row.

    ``side`` is the edge of the canvas that the register crosses say their distance from: ``right`` in a mirrored one.
    """
    layout = lay_out(drawing.box, paper)
    shown = (*drawing.marks, *(mark for place in cross_places(layout) for mark in cross(*place, side=side)))
    return tuple(_tile_page(tile, layout, shown, title) for tile in layout.tiles)


def whole(drawing: Drawing, *, title: str, below: float = 0.0) -> Page:
    """The drawing on one sheet as large as it is, with room of ``below`` mm under it."""
    x, y, w, h = drawing.box
    size = (max(w, BAR + 60.0) + LEFT + RIGHT, max(h, BAR + 10.0) + TOP + FOOT + below)
    shown = Window(box=(LEFT, TOP, w, h), origin=(x, y), marks=drawing.marks)
    return Page(width=size[0], height=size[1], marks=(shown, *bars(size), *_names(size, title, "one sheet")))


def bars(size: tuple[float, float]) -> list[Mark]:
    """The two bars of 100 mm on a page of this size, between the middles of their end ticks, and how to use them."""
    marks: list[Mark] = []
    x, y = across_bar(size)
    pen = Pen(width=0.2)
    marks.append(line(x, y, x + BAR, y, pen))
    for at in range(0, 101, 10):
        tick = 3.0 if at % 50 == 0 else 1.6
        marks.append(line(x + at, y - tick, x + at, y, pen))
    marks.append(Words(text="100 mm", at=(x + BAR + 2.0, y), size=2.6, bold=True))
    marks.append(Words(text=CHECK, at=(x, y + 4.2), size=2.4))
    x, y = upright_bar()
    marks.append(line(x, y, x, y + BAR, pen))
    for at in range(0, 101, 10):
        tick = 3.0 if at % 50 == 0 else 1.6
        marks.append(line(x, y + at, x - tick, y + at, pen))
    marks.append(Words(text="100 mm", at=(x, y + BAR + 12.0), size=2.6, bold=True, upward=True))
    return marks


def across_bar(size: tuple[float, float]) -> tuple[float, float]:
    """Left end of the bar across, mm of the page."""
    return LEFT, size[1] - FOOT + 11.0


def upright_bar() -> tuple[float, float]:
    """Upper end of the upright bar, mm of the page."""
    return 9.0, TOP + 8.0


def _tile_page(tile: Tile, layout: Layout, shown: tuple[Mark, ...], title: str) -> Page:
    w, h = tile.box[2:]
    window = Window(box=(LEFT, TOP, w, h), origin=tile.box[:2], marks=tuple(m for m in shown if touches(m, tile.box)))
    name = f"row {tile.row} of {layout.rows}, column {tile.column} of {layout.columns}"
    marks = (window, *_crops((LEFT, TOP, w, h)), *bars(layout.size), *_names(layout.size, title, name))
    return Page(width=layout.size[0], height=layout.size[1], marks=(*marks, *_small_map(tile, layout)))


def _names(size: tuple[float, float], title: str, name: str) -> list[Mark]:
    y = size[1] - FOOT
    return [
        Words(text=name, at=(LEFT + 2.0, y + 5.6), size=3.2, bold=True),
        Words(text=fitted(title, 2.4, size[0] - LEFT - RIGHT), at=(LEFT, y + 19.2), size=2.4, ink=GREY),
    ]


def _small_map(tile: Tile, layout: Layout) -> list[Mark]:
    """Which tile this is, in a grid at the lower right."""
    cell = min(4.0, 24.0 / layout.columns, 10.0 / layout.rows)
    x0 = layout.size[0] - RIGHT - 2.0 - cell * layout.columns
    y0 = layout.size[1] - FOOT + 3.0
    marks: list[Mark] = []
    for row in range(layout.rows):
        for column in range(layout.columns):
            box = (x0 + column * cell, y0 + row * cell, cell, cell)
            if (row + 1, column + 1) == (tile.row, tile.column):
                marks.append(Area(points=corners_of(box), ink=BLACK))
            marks.append(rectangle(box, FINE))
    return marks


def _crops(box: Box) -> list[Mark]:
    """Crop marks: short lines outside the tile's corners, in line with its edges."""
    x, y, w, h = box
    near, far = 1.0, 5.0
    marks: list[Mark] = []
    for cx, way_x in ((x, -1), (x + w, 1)):
        for cy, way_y in ((y, -1), (y + h, 1)):
            marks.append(line(cx, cy + way_y * near, cx, cy + way_y * far, FINE))
            marks.append(line(cx + way_x * near, cy, cx + way_x * far, cy, FINE))
    return marks


def cross_places(layout: Layout) -> list[tuple[float, float]]:
    """Where the register crosses are, mm of the drawing: in the middle of every overlap, two on each side of a tile."""
    places: set[tuple[float, float]] = set()
    half = OVERLAP / 2
    for tile in layout.tiles:
        x, y, w, h = tile.box
        if tile.column < layout.columns:
            places |= {(x + w - half, round(y + share * h)) for share in (0.2, 0.8)}
        if tile.row < layout.rows:
            places |= {(round(x + share * w), y + h - half) for share in (0.2, 0.8)}
    return sorted(places)


def cross(x: float, y: float, *, side: str = "left", arm: float = 3.0) -> list[Mark]:
    """A register cross, and how far it lies from the canvas's left (or right) and top edge."""
    label = f"{x:g} from {side}, {y:g} from top"
    return [
        line(x - arm, y, x + arm, y, FINE),
        line(x, y - arm, x, y + arm, FINE),
        Words(text=label, at=(x + 0.8, y - 0.8), size=1.6, ink=GREY),
    ]
