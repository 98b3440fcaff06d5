"""Where head and features come to lie on the canvas: the reference in small with level, plumb and axis lines."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limner.compare.wording import rounded
from limner.sheet.dividers import AXES, place
from limner.sheet.letters import fitted, wrapped
from limner.sheet.marks import GREY, Box, Mark, Page, Pen, Raster, Stroke, Window, Words, line, rectangle
from limner.sheet.outlines import outlines
from limner.sheet.placing import Placement, head_marks
from limner.sheet.reading import Sitter
from limner.sheet.tones import canvas_pixels

Array = NDArray[np.float64]

MARGIN = 14.0
LABEL = 26.0
"""mm left of the picture, for the names of the levels."""
TEXT, LEAD = 3.0, 4.3
OUTLINE = Pen(width=0.3)
EDGE = Pen(width=0.5)
THIN = Pen(width=0.12, ink=(0.1, 0.1, 0.1))
AXIS = Pen(width=0.3, dash=(3.0, 1.0), ink=(0.65, 0.1, 0.05))
GRID = Pen(width=0.1, dash=(0.4, 0.8), ink=(0.0, 0.0, 0.0))
PALE = 0.55
"""Share of white laid over the photograph, so that lines show."""

LEVELS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("top of head", ("v",)),
    ("hairline", ("tr",)),
    ("brows", ("bp_right", "bp_left")),
    ("eyes", ("p_right", "p_left")),
    ("nose base", ("sn",)),
    ("mouth", ("sto",)),
    ("chin", ("gn",)),
)
PLUMBS: tuple[tuple[str, ...], ...] = (("ho_9",), ("p_right",), ("sn",), ("p_left",), ("ho_3",))


def place_page(
    sitter: Sitter, placement: Placement, size: tuple[float, float], *, title: str, grid: float | None
) -> Page:
    """The page; ``size`` is the paper's."""
    width, height = placement.canvas
    words = [text for part in _sentences(sitter, placement) for text in wrapped(part, TEXT, size[0] - 2 * MARGIN)]
    foot = len(words) * LEAD + 8.0
    room = (size[0] - 2 * MARGIN - LABEL, size[1] - 2 * MARGIN - 18.0 - foot)
    factor = min(room[0] / width, room[1] / height)
    box = (MARGIN + LABEL, MARGIN + 10.0, width * factor, height * factor)
    marks: list[Mark] = [
        Words(text=fitted(title, 4.2, size[0] - 2 * MARGIN), at=(MARGIN, MARGIN), size=4.2, bold=True),
        _picture(sitter, placement, box, factor, grid),
        rectangle(box, EDGE),
        *_levels(sitter, placement, box, factor),
        *_plumbs(sitter, placement, box, factor),
        *grid_names(placement.canvas, box, factor, grid),
    ]
    top = size[1] - MARGIN - foot + 8.0
    marks += [Words(text=text, at=(MARGIN, top + k * LEAD), size=TEXT) for k, text in enumerate(words)]
    return Page(width=size[0], height=size[1], marks=tuple(marks))


def _picture(sitter: Sitter, placement: Placement, box: Box, factor: float, grid: float | None) -> Window:
    """The canvas in small: the pale photograph, outlines and axes."""
    width, height = placement.canvas
    pixels, reach = canvas_pixels(sitter, placement, 1100)
    pale = np.asarray(np.rint(pixels * (1 - PALE) + 255 * PALE), dtype=np.uint8)
    pale[~reach] = 255
    drawn = outlines(sitter.points.mean, sitter.more, placement.place, Pen(width=OUTLINE.width / factor))
    marks: list[Mark] = [Raster(pixels=pale, box=(0.0, 0.0, width, height), photo=True), *drawn]
    for _, ends, _ in AXES:
        a, b = (placement.place(place(sitter, keys)) for keys in ends)
        if np.isfinite((a, b)).all():
            reach_ = 0.3 * (b - a)
            pen = Pen(width=AXIS.width / factor, dash=tuple(part / factor for part in AXIS.dash), ink=AXIS.ink)
            marks.append(Stroke(points=np.vstack([a - reach_, b + reach_]), pen=pen))
    marks += grid_lines(placement.canvas, grid, factor)
    return Window(box=box, origin=(0.0, 0.0), factor=factor, marks=tuple(marks))


def grid_lines(canvas: tuple[float, float], step: float | None, factor: float) -> list[Mark]:
    """A grid counted from the canvas's upper left corner, mm of the canvas; drawn at ``factor``."""
    if step is None:
        return []
    pen = Pen(width=GRID.width / factor, dash=tuple(part / factor for part in GRID.dash))
    width, height = canvas
    return [
        *(line(float(x), 0.0, float(x), height, pen) for x in np.arange(step, width - 1e-6, step)),
        *(line(0.0, float(y), width, float(y), pen) for y in np.arange(step, height - 1e-6, step)),
    ]


def grid_names(canvas: tuple[float, float], box: Box, factor: float, step: float | None) -> list[Mark]:
    """A letter over every column and a number right of every row."""
    if step is None:
        return []
    marks: list[Mark] = []
    letter = min(2.4, 0.6 * step * factor)
    for k, x in enumerate(np.arange(0.0, canvas[0] - 1e-6, step)):
        middle = min(x + step / 2, (x + canvas[0]) / 2)
        marks.append(Words(text=column(k), at=(box[0] + middle * factor, box[1] - 1.0), size=letter, anchor="middle"))
    for k, y in enumerate(np.arange(0.0, canvas[1] - 1e-6, step)):
        middle = min(y + step / 2, (y + canvas[1]) / 2)
        at = (box[0] + box[2] + 1.0, box[1] + middle * factor + 0.4 * letter)
        marks.append(Words(text=str(k + 1), at=at, size=letter))
    return marks


def column(number: int) -> str:
    """The letters of a column, from 0.

    >>> column(0), column(25), column(26)
    ('A', 'Z', 'AA')
    """
    name = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        name = chr(65 + rest) + name
    return name


def _levels(sitter: Sitter, placement: Placement, box: Box, factor: float) -> list[Mark]:
    """A level line for each height, with its name and its distance from the top edge of the canvas."""
    places = [(name, float(placement.place(place(sitter, keys))[1])) for name, keys in LEVELS]
    known = [(name, y) for name, y in places if 0 <= y <= placement.canvas[1]]
    marks: list[Mark] = []
    last = -np.inf
    for name, y in sorted(known, key=lambda pair: pair[1]):
        at = box[1] + y * factor
        marks.append(line(box[0] - 2.0, at, box[0] + box[2], at, THIN))
        last = max(at + 0.9, last + 3.0)
        marks.append(Words(text=f"{name} {y:.0f}", at=(box[0] - 3.0, last), size=2.4, anchor="end"))
    return marks


def _plumbs(sitter: Sitter, placement: Placement, box: Box, factor: float) -> list[Mark]:
    """A plumb line through each place, with its distance from the left edge of the canvas."""
    marks: list[Mark] = []
    low = box[1] + box[3]
    last = -np.inf
    for x in sorted(float(placement.place(place(sitter, keys))[0]) for keys in PLUMBS):
        if not 0 <= x <= placement.canvas[0]:  # also where it is not known
            continue
        at = box[0] + x * factor
        marks.append(line(at, box[1], at, low + 2.0, THIN))
        last = max(at, last + 7.0)
        marks.append(Words(text=f"{x:.0f}", at=(last, low + 4.6), size=2.4, anchor="middle"))
    marks.append(Words(text="mm from left", at=(box[0] - 3.0, low + 4.6), size=2.4, anchor="end", ink=GREY))
    marks.append(Words(text="mm from top", at=(box[0] - 3.0, box[1] - 1.0), size=2.4, anchor="end", ink=GREY))
    return marks


def _sentences(sitter: Sitter, placement: Placement) -> tuple[str, ...]:
    width, height = placement.canvas
    told = [f"Canvas {width:g} mm wide and {height:g} mm high, as written. " + " ".join(placement.said())]
    marks = {name: placement.place(at) for name, at in head_marks(sitter).items()}
    unit = sitter.points.pupil_distance * placement.mm_per_px
    sigma = 0.042 * unit if np.isfinite(unit) else 0.02 * height
    if "top" in marks and "chin" in marks:
        tall = float(np.linalg.norm(marks["chin"] - marks["top"]))
        amount, doubt = rounded(tall, sigma)
        share = 100 * tall / height
        told.append(f"Head, top to chin: {amount} mm, give or take {doubt}; {share:.0f} % of the canvas's height.")
        told.append(
            f"Above the head {marks['top'][1]:.0f} mm, below the chin {height - marks['chin'][1]:.0f} mm of canvas."
        )
    else:
        told.append(
            "Top of the head: not measured; its edge does not stand out, or it is cut. limner points places it."
        )
    if "left" in marks and "right" in marks:
        wide = float(marks["right"][0] - marks["left"][0])
        told.append(
            f"Head with its hair, across: {wide:.0f} mm; {marks['left'][0]:.0f} mm of canvas to picture left of it, "
            f"{width - marks['right'][0]:.0f} mm to picture right."
        )
    if "eyes" in marks and np.isfinite(unit):
        x, y = marks["eyes"]
        amount, doubt = rounded(unit, 0.03 * unit)
        told.append(
            f"Between the pupils {amount} mm, give or take {doubt}; their middle stands {x:.0f} mm from the left and "
            f"{y:.0f} mm from the top edge. To place it so again: --pupils {unit:.1f} --eyes {x:.0f},{y:.0f}"
        )
    told.append("Whole lines: outlines. Thin: level and plumb. Dashed: axes of brows, eyes, nose, mouth and centre.")
    return tuple(told)
