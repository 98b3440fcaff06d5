"""The result as plain text for a terminal: what to mend first, the table, what cannot be told and why."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import replace

from rich.table import Table
from rich.text import Text

from limner.compare.calibration import WIDE
from limner.compare.ranking import outlines_told_plainer
from limner.measure.catalogue import CATALOGUE
from limner.measure.heads import HEADS
from limner.report import words
from limner.report.canontext import in_one_line, told_in_full
from limner.report.cautions import cautions, remarks
from limner.report.clean import clean
from limner.report.page import STACKED_BELOW, Page, bare_table, console_for, finished
from limner.report.valuestext import values_told
from limner.report.view import View
from limner.result import AuditResult, CanvasReport, MeasureResult

ROWS = 15
"""Rows of the table unless more are asked for."""
STEPS = 5
"""Steps of the plan unless more are asked for."""
_NAMES = 6
"""At most so many names in a list that only says what is not the trouble."""
_FIT = " (a fit that no single feature can drag)"
_CALL_STYLES = {"off": "bold red", "slight": "yellow", "unsure": "dim", "true": "green"}


def to_text(result: AuditResult, view: View | None = None, *, width: int = 80, colour: bool = False) -> str:
    """Return the report at the given width in columns; colours only repeat what the words say."""
    view = view or View()
    out = io.StringIO()
    page = Page(console_for(out, width, colour=colour))
    for part in (
        _heading,
        _notices,
        _mend_first,
        _plan,
        _whole,
        _table,
        _apart,
        _unsure,
        _rest,
        _values,
        _canons,
        _remarks,
        _closing,
    ):
        part(page, result, view)
    return finished(out)


def _heading(page: Page, result: AuditResult, view: View) -> None:
    page.line(f"{result.painting.name} (photo of the canvas) against {result.reference.name} (reference)", style="bold")
    page.line("Sides are the sitter's own: sitter's left = picture right.")
    guessed = " (guessed; --stage sets it)" if result.stage_guessed else ""
    fit = _FIT if result.scale.hold == "head" else ""
    page.line(f"Stage: {result.stage}{guessed}. Held: {words.held(result.scale)}{fit}.")
    if result.canvas is not None:
        page.line(_canvas(result.canvas))
    if result.placement is not None:
        page.line(words.of_placement(result.placement))
    if view.only is not None:
        page.line(f"Only the family '{view.only}' is shown.")


def _canvas(canvas: CanvasReport) -> str:
    """What was taken for the canvas, how it was seen, and what is known of lengths on it."""
    told = [canvas.reason]
    if canvas.size_mm is not None:
        told.append(f"{canvas.size_mm[0]:g} mm wide and {canvas.size_mm[1]:g} mm high.")
    if canvas.off_axis is not None:
        told.append(f"Seen from {canvas.off_axis:.0f} degrees off its front, and straightened.")
    pitch = canvas.mm_per_px
    if pitch.value is not None and pitch.sigma is not None:
        told.append(f"One px is {pitch.value:.3g} mm, give or take {100 * WIDE * pitch.sigma / pitch.value:.1f} %.")
    return "Canvas: " + " ".join(told)


def _notices(page: Page, result: AuditResult, _view: View) -> None:
    first = cautions(result.warnings)
    if first:
        page.heading("Know before you read on")
    for notice in first:
        page.item("!", notice.text)


def _remarks(page: Page, result: AuditResult, _view: View) -> None:
    last = remarks(result.warnings)
    if last:
        page.heading("Remarks")
    for notice in last:
        page.item("-", notice.text)


def _mend_first(page: Page, result: AuditResult, view: View) -> None:
    if view.only is not None or not result.mend_first:
        return
    if not view.anything_off(result):
        page.heading("What to mend")
        for sentence in result.mend_first:
            page.line(sentence, indent=2)
        return
    page.heading("Mend first")
    for number, sentence in enumerate(result.mend_first, start=1):
        page.item(f"{number}.", sentence)


def _plan(page: Page, result: AuditResult, view: View) -> None:
    """The moves, large to small; each is meant after those before it."""
    if view.only is not None or not result.corrections:
        return
    page.heading("How to move it, each after the one before")
    shown = result.corrections if view.everything else result.corrections[:STEPS]
    for correction in shown:
        left = correction.left_off
        after = "then nothing is off" if left == 0 else f"then {left} off"
        page.item(f"{correction.step}.", f"{correction.text} Foreseen: {after}.")
    if len(shown) < len(result.corrections):
        page.line(f"... and {len(result.corrections) - len(shown)} more: --all lists every step.", indent=2)


def _whole(page: Page, result: AuditResult, view: View) -> None:
    """What concerns the whole, with its figures: what is off, what cannot be told, and with --all the rest."""
    if view.only is not None:
        return
    shown = [f for f in result.whole if view.everything or f.call == "off"]
    unsure = [f for f in result.whole if f.call == "unsure" and f not in shown]
    if shown or unsure:
        page.heading("The whole, before its parts")
    for finding in shown:
        page.item("-", words.of_whole(finding))
    if unsure:
        page.item("-", "Cannot be told: " + "; ".join(words.doubt_of_whole(f) for f in unsure) + ".")


def _table(page: Page, result: AuditResult, view: View) -> None:
    chosen, folded = view.select(result), 0
    if not view.everything:
        departing = tuple(m for m in replace(view, top=None).select(result) if m.call in ("off", "slight"))
        again = outlines_told_plainer(departing, {**CATALOGUE, **HEADS}) if view.only is None else frozenset()
        chosen = tuple(m for m in departing if m.id not in again)[: view.top]
        folded = len(again)
    limit = len(chosen) if view.everything or view.top is not None else ROWS
    shown = chosen[:limit]
    if not shown:
        return
    page.heading("The measures" if view.everything else "What departs from the sitter")
    if page.width < STACKED_BELOW:
        _stacked(page, shown)
    else:
        page.console.print(_as_table(shown), width=page.width)
    if len(chosen) > limit:
        page.line(f"... and {len(chosen) - limit} more: --all lists everything.", indent=2)
    if folded:
        page.line(f"Left to --all: areas and outlines that tell the same over again ({folded}).", indent=2)
    _footnotes(page, shown)


def _as_table(shown: Sequence[MeasureResult]) -> Table:
    table = bare_table()
    table.add_column("call", no_wrap=True)
    table.add_column("measure", ratio=5)
    table.add_column("painted", ratio=4)
    table.add_column("give or\ntake", justify="right", no_wrap=True)
    table.add_column("noticed\nfrom", justify="right", no_wrap=True)
    for m in shown:
        table.add_row(
            Text(words.called(m) + _mark(m), style=_CALL_STYLES.get(m.call, "")),
            Text(clean(m.name)),
            Text(words.painted(m) or "-"),
            Text(words.give_or_take(m) or "-"),
            Text(words.noticed_from(m) or "-"),
        )
    return table


def _stacked(page: Page, shown: Sequence[MeasureResult]) -> None:
    for m in shown:
        page.line(f"{m.name}: {words.called(m)}{_mark(m)}")
        if m.deviation is not None:
            page.line(f"{words.painted(m)}, give or take {words.give_or_take(m)}", indent=2)


def _mark(measure: MeasureResult) -> str:
    return {"mesh": " *", "hand": " +"}.get(measure.witness or "", "")


def _footnotes(page: Page, shown: Sequence[MeasureResult]) -> None:
    witnesses = {m.witness for m in shown}
    if "pixels" in witnesses:
        page.line("Unmarked: read from the paint itself.", style="dim")
    if "mesh" in witnesses:
        page.line("*  read by the face finder alone: sizes read small.", style="dim")
    if "hand" in witnesses:
        page.line("+  from points placed by hand.", style="dim")
    if any(m.deviation_mm.value is not None for m in shown):
        page.line("mm: on the canvas; give or take and noticed from are then mm too.", style="dim")
    if any(m.unit == "percent of pupil distance" for m in shown):
        page.line("Eye distance: the distance between the pupils.", style="dim")


def _unsure(page: Page, result: AuditResult, view: View) -> None:
    unsure = [m for m in view.family(result) if m.call == "unsure"]
    if not unsure:
        return
    page.heading("Unsure: the doubt is larger than what a viewer notices")
    _by_reason(page, unsure, view, "the readings scatter too much")


def _apart(page: Page, result: AuditResult, view: View) -> None:
    """What is held or meant so, once, with how it departs."""
    by_id = {m.id: m for m in view.family(result)}
    for kind, title in (("intended", "Meant so, and not ranked"), ("held", "Held, and not ranked")):
        rows = [one for one in result.apart if one.kind == kind]
        if not rows or view.only is not None:
            continue
        page.heading(title)
        for one in rows:
            departs = [f"{m.name} {words.painted(m)}" for id_ in one.measures if (m := by_id.get(id_)) is not None]
            departs += [words.painted_whole(f) for f in result.whole if f.id in one.measures]
            told = words.set_apart(one, _joined(departs, view) if departs else "", result)
            why = f" ({one.reason})" if one.reason and kind == "intended" else ""
            page.item("-", f"{one.name}{why}: {told}")


def _rest(page: Page, result: AuditResult, view: View) -> None:
    family = view.family(result)
    true = [m.name for m in family if m.call == "true"]
    if true and not view.everything:
        page.heading("True")
        page.line(_joined(true, view) + ".", indent=2)
    for call, title in (("not painted yet", "Not painted yet"), ("not measured", "Not measured here")):
        missing = [m for m in family if m.call == call]
        if missing:
            page.heading(title)
            _by_reason(page, missing, view, "no reason given")


def _by_reason(page: Page, measures: Iterable[MeasureResult], view: View, otherwise: str) -> None:
    groups: dict[str, list[str]] = {}
    for m in measures:
        groups.setdefault(m.reason or otherwise, []).append(m.name)
    for why, names in groups.items():
        page.item("-", f"{_joined(names, view)}: {why.rstrip('.')}.")


def _joined(names: Sequence[str], view: View) -> str:
    shown = names if view.everything or len(names) <= _NAMES + 1 else names[:_NAMES]
    more = len(names) - len(shown)
    return "; ".join(shown) + (f"; and {more} more" if more else "")


def _values(page: Page, result: AuditResult, view: View) -> None:
    if view.only is None:
        values_told(page, result, everything=view.everything)


def _canons(page: Page, result: AuditResult, view: View) -> None:
    if view.only is not None or not result.canons:
        return
    if view.canons or view.everything:
        told_in_full(page, result, people=view.everything)
    else:
        page.heading("Classical canons")
        page.line(in_one_line(result))


def _closing(page: Page, result: AuditResult, view: View) -> None:
    if view.only is not None and not view.anything_off(result):
        page.heading(f"Nothing in the family '{view.only}' is off.")
