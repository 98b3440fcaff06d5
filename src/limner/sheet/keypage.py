"""The pages in front of the tiles: what the lines mean, how to use the sheet, what to mend, and how the tiles lie."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from limner.sheet.letters import width_of, wrapped
from limner.sheet.marks import WHITE, Area, Drawing, Mark, Page, Pen, Window, Words, corners_of, line, rectangle
from limner.sheet.paper import FOOT, LEFT, PAPERS, RIGHT, TOP, Layout, bars

SIZE, LEAD = 3.2, 4.6
"""mm: height of the letters, and from line to line."""
INDENT = 7.0
SAMPLE = 22.0


@dataclass(frozen=True, kw_only=True)
class Note:
    """One paragraph."""

    text: str
    mark: str = ""
    """Number or sign that stands before it."""
    pen: Pen | None = None
    """A line of this kind is shown before it."""
    tiled: bool = False
    """Whether it only makes sense of a sheet in several pages."""


@dataclass(frozen=True, kw_only=True)
class Section:
    """A heading and its paragraphs."""

    heading: str
    notes: tuple[Note, ...]


def set_down(sections: Sequence[Section], width: float) -> list[tuple[tuple[Mark, ...], float]]:
    """The text in lines: for each its marks, baseline at 0 and left edge at 0, and the room it takes above, mm."""
    return [row for section in sections for row in _section(section, width)]


def _section(section: Section, width: float) -> Iterator[tuple[tuple[Mark, ...], float]]:
    yield (Words(text=section.heading, at=(0.0, 0.0), size=1.15 * SIZE, bold=True),), 2.0 * LEAD
    for note in section.notes:
        left = SAMPLE if note.pen else INDENT if note.mark else 0.0
        for number, text in enumerate(wrapped(note.text, SIZE, width - left)):
            marks: list[Mark] = [Words(text=text, at=(left, 0.0), size=SIZE)]
            if number == 0 and note.pen:
                marks.append(line(0.0, -0.35 * SIZE, SAMPLE - 4.0, -0.35 * SIZE, note.pen))
            if number == 0 and note.mark:
                marks.append(Words(text=note.mark, at=(0.0, 0.0), size=SIZE, bold=True))
            yield tuple(marks), LEAD + (1.2 if number == 0 else 0.0)


def key_pages(
    sections: Sequence[Section], paper: str, *, title: str, drawing: Drawing | None = None, layout: Layout | None = None
) -> tuple[Page, ...]:
    """The text on as many pages as it needs, and after it the whole drawing in small with the tiles numbered."""
    width, height = PAPERS[paper]
    room, bottom = width - LEFT - RIGHT, height - FOOT - 2.0
    pages: list[list[Mark]] = [[]]
    y = TOP - 2.0
    for marks, above in [*_title(title, room), *set_down(sections, room)]:
        y += above
        if y > bottom:
            pages.append([])
            y = TOP + above
        pages[-1].append(Window(box=(LEFT, y - above, room, above + 2.0), origin=(0.0, -above), marks=marks))
    if drawing is not None and layout is not None:
        if bottom - y < 70.0:
            pages.append([])
            y = TOP
        pages[-1] += _overview(drawing, layout, (LEFT, y + 8.0, room, bottom - y - 8.0))
    return tuple(Page(width=width, height=height, marks=(*marks, *bars((width, height)))) for marks in pages)


def _title(title: str, width: float) -> list[tuple[tuple[Mark, ...], float]]:
    size = 4.6
    return [
        ((Words(text=text, at=(0.0, 0.0), size=size, bold=True),), 1.4 * size if number else 1.1 * size)
        for number, text in enumerate(wrapped(title, size, width, bold=True))
    ]


def _overview(drawing: Drawing, layout: Layout, box: tuple[float, float, float, float]) -> list[Mark]:
    """The drawing in small, with the outline and the name of every tile."""
    x, y, w, h = box
    right = max(tile.box[0] + tile.box[2] for tile in layout.tiles)
    low = max(tile.box[1] + tile.box[3] for tile in layout.tiles)
    left, top = drawing.box[0], drawing.box[1]
    factor = min(w / (right - left), h / (low - top), 0.5)
    shown = Window(
        box=(x, y, (right - left) * factor, (low - top) * factor),
        origin=(left, top),
        factor=factor,
        marks=tuple(mark for mark in drawing.marks if not isinstance(mark, Words)),
    )
    marks: list[Mark] = [shown]
    for tile in layout.tiles:
        tx, ty, tw, th = tile.box
        at = (x + (tx - left) * factor, y + (ty - top) * factor)
        marks.append(rectangle((*at, tw * factor, th * factor), Pen(width=0.2, dash=(0.8, 0.8))))
        name = f"row {tile.row}, column {tile.column}"
        size = min(2.6, 0.09 * tw * factor)
        label = (at[0] + 3.0, at[1] + 2.5, width_of(name, size) + 1.0, 1.5 * size)
        marks.append(Area(points=corners_of(label), ink=WHITE))
        marks.append(Words(text=name, at=(label[0] + 0.5, label[1] + 1.1 * size), size=size))
    return marks
