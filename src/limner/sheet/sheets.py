"""A sheet at 1:1: its drawing, what is written about it, and its pages."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from limner.errors import UsageError
from limner.sheet.keypage import Note, Section, key_pages, set_down
from limner.sheet.marks import Box, Drawing, Mark, Page, Pen, Window, Words, line, mirrored, rectangle
from limner.sheet.paper import (
    FINE,
    FOOT,
    LEFT,
    OVERLAP,
    PAPERS,
    TOP,
    bars,
    lay_out,
    tiled,
    whole,
)
from limner.sheet.pdf import to_pdf
from limner.sheet.svg import to_svg

Kind = Literal["pdf", "svg"]
EDGE = Pen(width=0.25, dash=(8.0, 2.0, 1.5, 2.0))
ROUND = 16.0
"""mm of the plane round the canvas that the drawing takes in, for its edges' rulers."""

MOST_PAGES = 150

TOUCH_DRY = "Lay paper or film on touch-dry paint only. On wet paint it lifts the paint."


@dataclass(frozen=True, kw_only=True, eq=False)
class OneToOne:
    """A drawing for a canvas, at exactly its size."""

    canvas: tuple[float, float]
    """Width and height, mm."""
    face: Box
    """Round the face's outlines, mm from the canvas's upper left corner."""
    marks: tuple[Mark, ...]
    """mm from the canvas's upper left corner; without the canvas's edges."""
    title: str
    sections: tuple[Section, ...]
    film: bool = False
    mirror: bool = False


def render(sheet: OneToOne, kind: Kind, *, paper: str = "a4", face: bool = False) -> tuple[bytes, int]:
    """The sheet as a file, and how many pages it has.

    A PDF is tiled over ``paper`` (a4, a3, letter, or whole for one page as large as the canvas), after a page that
    explains it. An SVG is one sheet as large as the canvas. With ``face`` it is one page with the face alone.

    Raises UsageError where the face is larger than the paper.
    """
    title = sheet.title
    sheet = _turned_over(sheet)
    drawing = _drawing(sheet)
    if face:
        pages: tuple[Page, ...] = (face_page(sheet, paper),)
    elif kind == "svg" or paper == "whole":
        pages = (_one_sheet(sheet, drawing),)
    else:
        layout = lay_out(drawing.box, paper)
        if len(layout.tiles) > MOST_PAGES:
            raise UsageError(
                f"A canvas of {sheet.canvas[0]:g} x {sheet.canvas[1]:g} mm takes {len(layout.tiles)} pages of {paper}, "
                f"more than {MOST_PAGES}; check its size, or use --paper whole or --face."
            )
        side = "right" if sheet.mirror else "left"
        first = key_pages(sheet.sections, paper, title=title, drawing=drawing, layout=layout)
        pages = (*first, *tiled(drawing, paper, title=title, side=side))
    data = to_svg(pages[0], title=title) if kind == "svg" else to_pdf(pages, title=title)
    return data, len(pages)


def _turned_over(sheet: OneToOne) -> OneToOne:
    """The sheet with its marks mirrored about the canvas's middle, if it is to be."""
    if not sheet.mirror:
        return sheet
    width = sheet.canvas[0]
    x, y, w, h = sheet.face
    return replace(sheet, marks=mirrored(sheet.marks, width / 2), face=(width - x - w, y, w, h))


def _drawing(sheet: OneToOne) -> Drawing:
    width, height = sheet.canvas
    box = (-ROUND, -ROUND, width + 2 * ROUND, height + 2 * ROUND)
    return Drawing(box=box, marks=(*edges(sheet), *sheet.marks))


def edges(sheet: OneToOne) -> list[Mark]:
    """The canvas's edges, their names, and a ruler outside of each that counts from its upper left corner.

    In a mirrored sheet it counts from the upper right one.
    """
    width, height = sheet.canvas
    names = ("right", "left") if sheet.mirror else ("left", "right")
    marks: list[Mark] = []
    for x in (0.0, width):
        for y in (0.0, height):  # from every corner to the middles, so that the corners are drawn whole
            marks += [line(x, y, width / 2, y, EDGE), line(x, y, x, height / 2, EDGE)]
    for at in np.arange(0.0, width + 1e-9, 10.0):
        long = at % 50 == 0
        for edge, way in ((0.0, -1), (height, 1)):
            marks.append(line(at, edge + way * 1.0, at, edge + way * (4.0 if long else 2.5), FINE))
            if long:
                marks.append(Words(text=f"{at:g}", at=(at + 0.8, edge + way * 3.2 + 0.8), size=2.0))
    for at in np.arange(0.0, height + 1e-9, 10.0):
        long = at % 50 == 0
        for edge, way in ((0.0, -1), (width, 1)):
            marks.append(line(edge + way * 1.0, at, edge + way * (4.0 if long else 2.5), at, FINE))
            if long:
                marks.append(Words(text=f"{at:g}", at=(edge + way * 3.4 + 0.8, at - 0.8), size=2.0, upward=True))
    said = f"canvas {width:g} x {height:g} mm"
    for text, at, upward in (
        (f"top edge, {said}", (width / 2, -7.0), False),
        (f"bottom edge, {said}", (width / 2, height + 9.0), False),
        (f"{names[0]} edge, {said}", (-7.0, height / 2), True),
        (f"{names[1]} edge, {said}", (width + 9.0, height / 2), True),
    ):
        marks.append(Words(text=text, at=at, size=2.6, anchor="middle", upward=upward))
    return marks


def _one_sheet(sheet: OneToOne, drawing: Drawing) -> Page:
    """The whole drawing on one sheet, what is written about it below."""
    width = max(drawing.box[2], 160.0)
    sections = [
        replace(section, notes=tuple(note for note in section.notes if not note.tiled)) for section in sheet.sections
    ]
    rows = set_down(sections, width)
    below = sum(above for _, above in rows) + 8.0
    page = whole(drawing, title=sheet.title, below=below)
    y = TOP + drawing.box[3] + 2.0
    marks: list[Mark] = []
    for row, above in rows:
        y += above
        marks.append(Window(box=(LEFT, y - above, width, above + 2.0), origin=(0.0, -above), marks=row))
    return replace(page, marks=(*page.marks, *marks))


def face_page(sheet: OneToOne, paper: str) -> Page:
    """The face alone in the middle of one page, located from the canvas's edges.

    Four corner crosses stand at whole millimetres of the canvas; their distances from all four edges are written.
    """
    if paper == "whole":
        raise UsageError("--face makes one page of a usual size: expected --paper a4, a3 or letter, got whole.")
    x, y, w, h = sheet.face
    left, top = math.floor(x - 1), math.floor(y - 1)
    width, height = math.ceil(x + w + 1) - left, math.ceil(y + h + 1) - top
    size = PAPERS[paper]
    room = (size[0] - 26.0, size[1] - TOP - FOOT - 24.0)
    if width > room[0] or height > room[1]:
        larger = "--paper a3, or " if paper != "a3" else ""
        raise UsageError(
            f"The face needs {width} x {height} mm on this canvas, and one page of {paper} has room for "
            f"{room[0]:.0f} x {room[1]:.0f} mm; use {larger}leave --face out: the sheet is then tiled."
        )
    at = (16.0 + (room[0] - width) / 2, TOP + 12.0 + (room[1] - height) / 2)
    box = (at[0], at[1], float(width), float(height))
    origin = (float(left), float(top))
    window = Window(box=box, origin=origin, marks=sheet.marks)
    marks: list[Mark] = [window, *_corner_marks(box), *_distances(sheet, box, origin)]
    return Page(width=size[0], height=size[1], marks=(*marks, *bars(size), *_face_words(sheet, size)))


def _corner_marks(box: Box) -> list[Mark]:
    x, y, w, h = box
    marks: list[Mark] = [rectangle(box, Pen(width=0.1, dash=(0.6, 1.8)))]
    for cx in (x, x + w):
        for cy in (y, y + h):
            marks += [line(cx - 4.0, cy, cx + 4.0, cy, FINE), line(cx, cy - 4.0, cx, cy + 4.0, FINE)]
    return marks


def _distances(sheet: OneToOne, box: Box, origin: tuple[float, float]) -> list[Mark]:
    """How far each side of the box lies from the edge of the canvas it looks to."""
    x, y, w, h = box
    width, height = sheet.canvas
    names = ("right", "left") if sheet.mirror else ("left", "right")
    far = (width - origin[0] - w, height - origin[1] - h)
    said = "{:g} mm to the {} edge of the canvas"
    rows = (
        (said.format(origin[0], names[0]), (x - 1.8, y + h / 2), True),
        (said.format(far[0], names[1]), (x + w + 4.5, y + h / 2), True),
        (said.format(origin[1], "top"), (x + w / 2, y - 2.0), False),
        (said.format(far[1], "bottom"), (x + w / 2, y + h + 4.6), False),
    )
    return [Words(text=text, at=at, size=3.0, anchor="middle", upward=upward, bold=True) for text, at, upward in rows]


def _face_words(sheet: OneToOne, size: tuple[float, float]) -> list[Mark]:
    width, height = sheet.canvas
    turned = ", mirrored" if sheet.mirror else ""
    return [
        Words(text=sheet.title, at=(LEFT, TOP), size=3.2, bold=True),
        Words(
            text=f"The face alone{turned}, 1:1, for a canvas of {width:g} x {height:g} mm. Touch-dry paint only.",
            at=(LEFT, TOP + 4.4),
            size=2.8,
        ),
        Words(
            text="Measure the four distances from the canvas's edges, mark the crosses lightly, lay the sheet on them.",
            at=(LEFT, size[1] - FOOT + 1.0),
            size=2.8,
        ),
    ]


def how_to(*, film: bool, mirror: bool) -> Section:
    """How the sheet is put together and laid on the canvas."""
    thing = "clear film" if film else "paper"
    rows = [
        Note(text=TOUCH_DRY),
        Note(text=CHECKED),
        Note(
            text=f"Print the pages on {thing}. Neighbours share {OVERLAP:g} mm: cut one along its crop marks, lay it "
            "over the other until the crosses meet, and tape it.",
            tiled=True,
        ),
        Note(text="Lay the printed edges of the canvas on its real edges; the rulers outside count millimetres."),
    ]
    if mirror:
        rows.append(Note(text="Mirrored: the drawing lies the right way round when the sheet is turned face down."))
    return Section(heading="How to use it", notes=tuple(rows))


def sides(*, mirror: bool) -> str:
    """Whose sides are meant, and where they lie: on a mirrored sheet only once it is turned face down."""
    lies = ", once the sheet lies face down" if mirror else ""
    return f"Sides are the sitter's own: sitter's left = picture right{lies}."


CHECKED = "Print at 100 %. Check both bars of every page with a ruler: 100 mm, across and upright."
