"""The divider table, and what hangs and lies how, on as many pages as they need."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from limner.sheet.dividers import axes_said, hangs_said, lengths, rows
from limner.sheet.letters import fitted, wrapped
from limner.sheet.marks import GREY, Mark, Page, Pen, Stroke, Words, line
from limner.sheet.paper import FOOT, bars
from limner.sheet.placepage import LEAD, MARGIN, TEXT
from limner.sheet.placing import Placement
from limner.sheet.reading import Sitter

Band = tuple[list[Words | Stroke], float]
"""Marks with their baseline at 0 and the left margin at 0, and the room they take above, mm."""

RULE = Pen(width=0.12)
CAUTION = (
    "These lengths are from points the face finder or the edges in the picture give; where what you see on the print "
    "begins or ends elsewhere, measure the print with the dividers and go by the ratio."
)


def divider_pages(
    sitter: Sitter,
    placement: Placement,
    size: tuple[float, float],
    *,
    title: str,
    on_print: float | None,
    said: tuple[str, ...] = (),
    grid: float | None = None,
) -> tuple[Page, ...]:
    """The pages; ``on_print`` is mm on the print for each px of the decoded reference."""
    room = size[0] - 2 * MARGIN
    bands: list[Band] = [
        ([Words(text=fitted(title, 4.2, room), at=(0.0, 0.0), size=4.2, bold=True)], 0.0),
        *_ratio(placement, on_print, said, grid, room),
        *_table(sitter, placement, on_print, room),
        *_listed("Axes of this head", axes_said(sitter), room),
        *_listed("Plumb lines", hangs_said(sitter, placement.mm_per_px), room),
    ]
    pages: list[list[Mark]] = [[]]
    y = MARGIN
    for marks, above in bands:
        y += above
        if y > size[1] - FOOT - 4.0:
            pages.append([])
            y = MARGIN
        pages[-1] += _moved(marks, MARGIN, y)
    return tuple(Page(width=size[0], height=size[1], marks=(*marks, *bars(size))) for marks in pages)


def _ratio(
    placement: Placement, on_print: float | None, said: tuple[str, ...], grid: float | None, room: float
) -> Iterator[Band]:
    if on_print is None:
        text = "Give --print WxH, the size of your print of the reference, for its lengths and the dividers' ratio."
        yield from _paragraph(text, room, above=8.0)
    else:
        ratio = placement.mm_per_px / on_print
        text = f"Proportional dividers: 1 on the print is {ratio:.3f} on the canvas."
        yield [Words(text=text, at=(0.0, 0.0), size=3.8, bold=True)], 9.0
        for sentence in said:
            yield from _paragraph(sentence, room)
    if grid is not None:
        more = "" if on_print is None else f", {grid * on_print / placement.mm_per_px:.2f} mm on the print"
        yield from _paragraph(f"Grid: squares of {grid:g} mm on the canvas{more}, from the upper left corner.", room)


def _table(sitter: Sitter, placement: Placement, on_print: float | None, room: float) -> Iterator[Band]:
    factor = placement.mm_per_px
    found = rows(lengths(sitter), factor, on_print)
    ratio = "" if on_print is None else f"{factor / on_print:.3f}"
    stops = [92.0, 120.0, 146.0, room] if on_print is not None else [room, 92.0, room, 124.0]
    heads = ("on the print", "on the canvas", "ratio", "give or take")
    shown = (True, True, True, True) if on_print is not None else (False, True, False, True)
    yield _row(("measure", *heads), stops, shown, bold=True), 8.0
    yield [line(0.0, 0.0, room, 0.0, RULE)], 1.4
    for row in found:
        cells = (row.name, f"{row.on_print} mm", f"{row.on_canvas} mm", ratio, f"{row.give_or_take} mm")
        yield _row(cells, stops, shown), LEAD
    yield [line(0.0, 0.0, room, 0.0, RULE)], 1.6
    yield from _paragraph(f"Give or take: on the canvas, 95 times out of 100. {CAUTION}", room, ink_grey=True)


def _row(
    cells: tuple[str, ...], stops: list[float], shown: tuple[bool, ...], *, bold: bool = False
) -> list[Words | Stroke]:
    marks: list[Words | Stroke] = [Words(text=cells[0], at=(0.0, 0.0), size=TEXT, bold=bold)]
    for text, stop, there in zip(cells[1:], stops, shown, strict=True):
        if there:
            marks.append(Words(text=text, at=(stop, 0.0), size=TEXT, anchor="end", bold=bold))
    return marks


def _listed(heading: str, sentences: Iterable[str], room: float) -> Iterator[Band]:
    held = list(sentences)
    if not held:
        return
    yield [Words(text=heading, at=(0.0, 0.0), size=3.4, bold=True)], 8.0
    for sentence in held:
        yield from _paragraph(sentence, room)


def _paragraph(text: str, room: float, *, above: float = LEAD, ink_grey: bool = False) -> Iterator[Band]:
    for number, part in enumerate(wrapped(text, TEXT, room)):
        ink = GREY if ink_grey else (0.0, 0.0, 0.0)
        yield [Words(text=part, at=(0.0, 0.0), size=TEXT, ink=ink)], above if number == 0 else LEAD


def _moved(marks: Iterable[Words | Stroke], x: float, y: float) -> list[Mark]:
    return [
        replace(mark, at=(mark.at[0] + x, mark.at[1] + y))
        if isinstance(mark, Words)
        else replace(mark, points=mark.points + (x, y))
        for mark in marks
    ]
