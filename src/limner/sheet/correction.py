"""The correction sheet: where things belong on this canvas, how they are painted, and what to mend in which order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.errors import PictureError
from limner.notices import Notice
from limner.report.beside import HEADING, SAID, beside_the_plan
from limner.report.cautions import cautions
from limner.report.clean import clean
from limner.report.labels import of_steps
from limner.report.stands import inside_box, set_out, shapes_of, stands_at
from limner.result import AuditResult
from limner.sheet.keypage import Note, Section
from limner.sheet.marks import GREY, WHITE, Area, Mark, Pen, Stroke, Words, arrow, circle, hull
from limner.sheet.outlines import BELONGS, ON_FILM, PAINTED, outlines
from limner.sheet.sheets import EDGE, OneToOne, how_to, sides

Array = NDArray[np.float64]

ARROW = Pen(width=0.4)
LEADER = Pen(width=0.15, ink=GREY)
RING = 2.6
"""mm: radius of the ring round a number."""
ROOM = RING + 0.7
"""mm round the middle of a number that are kept free of lines."""
_GIVE_OR_TAKE = 1.96
_OF_CANVAS = "canvas"
"""How the code of a notice about the canvas begins."""
PLACE_FIRST = (
    "The lines leave the head where it stands on the canvas, and as large as it is: where you carry out step 1, "
    "photograph the canvas again and make a new sheet."
)


@dataclass(frozen=True, kw_only=True)
class OnCanvas:
    """What one px of the decoded painting is on the canvas, whose upper left corner is the picture's."""

    size: tuple[float, float]
    """Width and height, mm."""
    mm_per_px: float
    sigma: float | None
    """One-sigma uncertainty of ``mm_per_px``."""
    said: str
    """One sentence: what was taken for the canvas."""

    def place(self, points: Array) -> Array:
        """(..., 2) points, px of the decoded painting, in mm from the canvas's upper left corner."""
        return points * self.mm_per_px


def on_canvas(result: AuditResult) -> OnCanvas:
    """Return where the painting lies on the canvas.

    Raises PictureError where the canvas was not found in the photo, or not surely, or its size is not known: a sheet
    at 1:1 from a guess would only look true.
    """
    report = result.canvas
    if report is None or report.found_by == "nothing" or report.size_mm is None or report.mm_per_px.value is None:
        why = report.reason if report is not None else "The canvas was not looked for."
        raise PictureError(
            f"{why} A sheet at 1:1 needs the canvas and its size: photograph it whole, give its corners (--corners), "
            "or crop the photo to it."
        )
    if not report.sure:
        raise PictureError(f"{report.reason} A sheet at 1:1 cannot be made from a guess: give its corners (--corners).")
    return OnCanvas(
        size=report.size_mm, mm_per_px=report.mm_per_px.value, sigma=report.mm_per_px.sigma, said=report.reason
    )


def correction_sheet(result: AuditResult, *, film: bool = False, mirror: bool = False) -> OneToOne:
    """The sheet of one audit.

    On film the painted outlines are left out, because the paint itself is seen through it, and all lines are thin.
    """
    canvas = on_canvas(result)
    hidden = {m.feature for m in result.measures if m.call == "not painted yet"}
    should = outlines(result.should_be, result.more_should_be, canvas.place, ON_FILM if film else BELONGS)
    painted = outlines(result.painting_points, result.more_points, canvas.place, PAINTED, hidden)
    drawn = should if film else [*painted, *should]
    width, height = canvas.size
    return OneToOne(
        canvas=canvas.size,
        face=hull(
            [canvas.place(points) for points in (result.should_be, *(() if film else (result.painting_points,)))]
        ),
        marks=(*drawn, *_numbers(result, canvas, drawn, film=film)),
        title=f"limner correction sheet: {clean(result.painting.name)}, canvas {width:g} x {height:g} mm",
        sections=(
            how_to(film=film, mirror=mirror),
            _lines(film=film, mirror=mirror, placed=any(step.level == "placement" for step in result.corrections)),
            *_before(result),
            *_plan(result, canvas, film=film),
            Section(heading="How sure", notes=_doubts(result, canvas)),
        ),
        film=film,
        mirror=mirror,
    )


def _numbers(result: AuditResult, canvas: OnCanvas, drawn: Sequence[Stroke], *, film: bool) -> list[Mark]:
    """The number of every step beside its arrow, which goes from the painted middle to where it has to be."""
    pen = ON_FILM if film else ARROW
    arrows = []
    for step in result.corrections:
        way = np.array([step.dx_mm.value or 0.0, step.dy_mm.value or 0.0])
        starts = [canvas.place(at) for at in stands_at(result, step)]
        arrows += [(step.step, start, start + way) for start in starts]
    lines = [np.vstack([one.points, one.points[:1]]) if one.closed else one.points for one in drawn]
    shapes = [canvas.place(shape) for shape in shapes_of(result)]
    marks: list[Mark] = []
    box = (np.zeros(2), np.array(canvas.size))
    on_it = [one for one in arrows if inside_box(one[1], box)]
    for one in set_out(on_it, lines, shapes, size=ROOM, box=box):
        marks += arrow(_pair(one.start), _pair(one.end), pen)
        marks.append(Area(points=circle(_pair(one.start), 0.5)))
        if one.leader:
            marks.append(Stroke(points=np.array([one.start, one.number]), pen=LEADER))
        marks += _number(str(one.step), _pair(one.number), pen, film=film)
    return marks


def _number(text: str, at: tuple[float, float], pen: Pen, *, film: bool) -> list[Mark]:
    ring = circle(at, RING)
    return [
        *([] if film else [Area(points=ring, ink=WHITE)]),
        Stroke(points=ring, pen=Pen(width=min(pen.width, 0.25)), closed=True),
        Words(text=text, at=(at[0], at[1] + 1.1), size=3.0, anchor="middle", bold=True),
    ]


_NUMBERS = (
    "Numbers: the steps below, for a pair at each of the two. An arrow goes from where it is painted to where it has "
    "to be; a dot without one is the middle of what only changes its size or turn. A thin grey line leads to a number "
    "that stands further off."
)


def _lines(*, film: bool, mirror: bool, placed: bool) -> Section:
    rows = [Note(text="where the sitter's features belong", pen=ON_FILM if film else BELONGS)]
    if not film:
        rows.append(Note(text="as painted", pen=PAINTED))
    rows.append(Note(text="edge of the canvas", pen=EDGE))
    rows.append(Note(text=_NUMBERS))
    rows.append(Note(text=sides(mirror=mirror)))
    if placed:
        rows.append(Note(text=PLACE_FIRST))
    return Section(heading="The lines", notes=tuple(rows))


def _before(result: AuditResult) -> list[Section]:
    """What limits the numbers, above them; what concerns the canvas stands with how sure its size is."""
    notes = tuple(
        Note(text=_printed(one), mark="!") for one in cautions(result.warnings) if not one.code.startswith(_OF_CANVAS)
    )
    return [Section(heading="Know before you read on", notes=notes)] if notes else []


def _printed(notice: Notice) -> str:
    """Its words as they stand on paper, where what is to be typed needs no marks round it."""
    return clean(notice.text).replace("`", "")


def _plan(result: AuditResult, canvas: OnCanvas, *, film: bool) -> list[Section]:
    if result.corrections:
        notes = [Note(text=clean(step.text), mark=f"{step.step}.") for step in result.corrections]
    elif result.mend_first:
        notes = [Note(text=text, mark="-") for text in result.mend_first]
    else:
        notes = [Note(text="Nothing departs by more than the uncertainty and what a viewer notices.")]
    box = (np.zeros(2), np.array(canvas.size))
    stand = {step.step: [canvas.place(at) for at in stands_at(result, step)] for step in result.corrections}
    off = [step for step, places in stand.items() if places and not any(inside_box(at, box) for at in places)]
    if off:
        notes.append(Note(text=f"Outside the canvas, and without a number on it: {of_steps(off)}."))
    if film:
        notes.append(Note(text="The painted outlines are left out on film: the paint shows them."))
    plan = Section(heading="What to mend, in this order", notes=tuple(notes))
    beside = tuple(Note(text=clean(text), mark="-") for text in beside_the_plan(result))
    return [plan, Section(heading=HEADING, notes=(Note(text=SAID), *beside))] if beside else [plan]


def _doubts(result: AuditResult, canvas: OnCanvas) -> tuple[Note, ...]:
    rows = [Note(text=canvas.said)]
    rows += [Note(text=_printed(notice)) for notice in result.warnings if notice.code.startswith(_OF_CANVAS)]
    if canvas.sigma is not None:
        share = _GIVE_OR_TAKE * canvas.sigma / canvas.mm_per_px
        known = f"give or take {100 * share:.1f} %: {200 * share:.1f} mm over 200 mm"
        rows.append(Note(text=f"The size on the canvas is known {known}."))
    sigma = result.point_sigma[np.isfinite(result.point_sigma)]
    if sigma.size:
        middle = _GIVE_OR_TAKE * float(np.median(sigma)) * canvas.mm_per_px
        rows.append(Note(text=f"A typical point of the face is known give or take {middle:.1f} mm."))
    return tuple(rows)


def _pair(point: Array) -> tuple[float, float]:
    return float(point[0]), float(point[1])
