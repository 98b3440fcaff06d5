"""What the page says: the steps of the plan, the measures, the canons, in the words the terminal has for them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from limner.compare.canons.table import RATIOS
from limner.report import canonwords as say
from limner.report import words
from limner.report.clean import clean
from limner.report.moves import find_moves, told_in
from limner.report.window import Window
from limner.result import AuditResult, Correction, MeasureResult

STEPS = 12
"""At most so many steps beside the picture."""


def steps(result: AuditResult, window: Window) -> list[dict[str, object]]:
    """What to move: the plan, or where there is none the moves of the overlay; places in px of the frame."""
    if result.corrections:
        return [_of_plan(correction, result, window) for correction in result.corrections[:STEPS]]
    told = []
    for number, move in enumerate(find_moves(result, most=STEPS), start=1):
        start, end = window.place(move.start), window.place(move.end)
        told.append(
            {
                "number": number,
                "text": f"{_capital(move.name)}: {', '.join(move.words)} (give or take {move.doubt:.1f}).",
                "unit": told_in(result),
                "start": [round(float(v), 1) for v in start],
                "end": [round(float(v), 1) for v in end],
                "rows": [],
            }
        )
    return told


def _of_plan(correction: Correction, result: AuditResult, window: Window) -> dict[str, object]:
    unit = result.reference.pupil_distance * result.scale.scale * result.painting.scale
    dx, dy = (part.value or 0.0 for part in (correction.dx, correction.dy))
    x, y = correction.centre
    start, end = (window.place(np.array(at)) for at in ([x, y], [x + dx * unit, y + dy * unit]))
    by_id = {m.id: m for m in result.measures}
    left = correction.left_off
    after = "nothing is off any more" if left == 0 else f"{left} measure{'s' if left > 1 else ''} off"
    return {
        "number": correction.step,
        "text": clean(correction.text),
        "unit": f"After it, foreseen: {after}.",
        "start": [round(float(v), 1) for v in start],
        "end": [round(float(v), 1) for v in end],
        "rows": [row(by_id[id_]) for id_ in correction.mends if id_ in by_id],
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
