"""What the page says: the steps of the plan, the measures, the canons, in the words the terminal has for them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from limner.compare.canons.table import RATIOS
from limner.report import canonwords as say
from limner.report import words
from limner.report.auditpage.stage import outlines, rounded
from limner.report.clean import clean
from limner.report.moves import Move, find_moves, told_in
from limner.report.stands import inside_box, set_out, shapes_of, stands_at
from limner.report.window import Window
from limner.result import AuditResult, Correction, MeasureResult

Array = NDArray[np.float64]

STEPS = 12
"""At most so many steps beside the picture."""
ROOM = 0.02
"""Share of the frame's width round the middle of a number that is kept free of lines: its half height on a phone."""
OUTSIDE = "It lies outside the picture, and has no number in it."
LOWEST = 0.92
"""Share of the frame's height below which the curtain's handle and the names of the pictures stand."""


def steps(result: AuditResult, window: Window) -> list[dict[str, object]]:
    """What to move: the plan, or where there is none the moves of the overlay; places in px of the frame.

    ``at`` holds for what moves, or each of a pair, start and end of its arrow and where its number stands, and whether
    a line leads to that.
    """
    planned = result.corrections[:STEPS]
    moves = [] if planned else find_moves(result, most=STEPS)
    told = [_of_plan(step, result) for step in planned] + [_of_move(n, move, result) for n, move in enumerate(moves, 1)]
    arrows = [(step.step, *ends) for step in planned for ends in _arrows(step, result)]
    arrows += [(number, move.start, move.end) for number, move in enumerate(moves, 1)]
    placed = [(number, window.place(start), window.place(end)) for number, start, end in arrows]
    drawn = [np.array(part["line"]) for painted in (False, True) for part in outlines(result, window, painted=painted)]
    size = np.array(window.picture.size, dtype=np.float64)
    shapes = [window.place(shape) for shape in shapes_of(result)]
    seen = [one for one in placed if inside_box(one[1], (np.zeros(2), size))]
    marks = set_out(seen, drawn, shapes, size=ROOM * size[0], box=(np.zeros(2), size * (1.0, LOWEST)))
    for step in told:
        own = [mark for mark in marks if mark.step == step["number"]]
        if not own and any(number == step["number"] for number, _, _ in placed):
            step["unit"] = f"{step['unit']} {OUTSIDE}"
        step["at"] = [[*rounded(np.array([m.start, m.end, m.number])), m.leader] for m in own]
    return told


def _arrows(step: Correction, result: AuditResult) -> list[tuple[Array, Array]]:
    """Start and end of what the step shifts, px of the decoded painting."""
    unit = result.reference.pupil_distance * result.scale.scale * result.painting.scale
    way = np.array([part.value or 0.0 for part in (step.dx, step.dy)]) * unit
    return [(at, at + way) for at in stands_at(result, step)]


def _of_move(number: int, move: Move, result: AuditResult) -> dict[str, object]:
    return {
        "number": number,
        "text": f"{_capital(move.name)}: {', '.join(move.words)} (give or take {move.doubt:.1f}).",
        "unit": told_in(result),
        "rows": [],
    }


def _of_plan(step: Correction, result: AuditResult) -> dict[str, object]:
    by_id = {m.id: m for m in result.measures}
    left = step.left_off
    after = "nothing is off any more" if left == 0 else f"{left} measure{'s' if left > 1 else ''} off"
    return {
        "number": step.step,
        "text": clean(step.text),
        "unit": f"After it, foreseen: {after}.",
        "rows": [row(by_id[id_]) for id_ in step.mends if id_ in by_id],
    }


def row(measure: MeasureResult) -> dict[str, str]:
    """One line of the table of measures."""
    return {
        "name": clean(measure.name),
        "call": words.called(measure),
        "kind": measure.call.replace(" ", "-"),
        "painted": words.painted(measure),
        "doubt": words.give_or_take(measure),
        "noticed": words.noticed_from(measure),
        "reason": clean(measure.reason or ""),
        "by": {"pixels": "the paint", "mesh": "the face finder alone", "hand": "points placed by hand"}.get(
            measure.witness or "", ""
        ),
    }


def apart(result: AuditResult) -> list[dict[str, object]]:
    """What is held or meant so, each once, with how it departs."""
    by_id = {m.id: m for m in result.measures}
    return [
        {
            "kind": one.kind,
            "name": clean(one.name),
            "reason": clean(one.reason or ""),
            "rows": [row(by_id[id_]) for id_ in one.measures if id_ in by_id]
            + [{"name": f.name, "painted": words.painted_whole(f)} for f in result.whole if f.id in one.measures],
            "tones": [clean(text) for text in one.values],
            "nothing": words.nothing_apart(one, result),
        }
        for one in result.apart
    ]


def canons(result: AuditResult) -> list[dict[str, object]]:
    """Every ratio of a canon beside both faces, with where it comes from and whether the painting drifts to it."""
    told: list[dict[str, object]] = []
    for one in result.canons:
        known = RATIOS.get(one.id)
        moved = [d for d in one.drift if d.share.value is not None]
        drift = [f"The painting {say.way(d.share, say.GOALS[d.target])}." for d in moved]
        told.append(
            {
                "name": one.name,
                "definition": one.definition,
                "canon": say.book(one.canon),
                "sitter": say.of_quantity(one.reference),
                "painting": say.of_quantity(one.painting),
                "sitter_stands": say.verdict(known[1], one.reference) if known else "",
                "reason": one.reason or "",
                "drift": drift,
                "source": one.source,
            }
        )
    return told


def drift(result: AuditResult) -> list[str]:
    """Whether the painting as a whole drifts to the canons, and to the average face."""
    return [say.whole(vector) for vector in result.drift]


def habits(result: AuditResult) -> list[Mapping[str, str]]:
    """The known habits of portrait drawing, and which of them this painting shows."""
    return [{"name": habit.name, "call": habit.call, "source": habit.source} for habit in result.habits]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
