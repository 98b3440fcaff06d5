"""The canons as text: one line or in full within an audit, and a picture of its own against them."""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping, Sequence

from rich.text import Text

from limner.compare.canons.declare import Canon
from limner.compare.canons.observed import OBSERVED, SURVEYS
from limner.compare.canons.studies import HELD, REMARKS, STUDIES
from limner.compare.canons.table import CANONS, RATIOS
from limner.compare.wording import degrees, rounded
from limner.report import canonwords as say
from limner.report.clean import clean
from limner.report.page import STACKED_BELOW, Page, bare_table, console_for, finished
from limner.result import AuditResult, CanonFinding, CanonResult, CanonRow, HabitRow, Pose, Quantity

SCHOOLS = {
    "Farkas": "Farkas's canons",
    "drawing manuals": "The drawing manuals' canons",
    "Leonardo": "Leonardo's canons",
    "measured in people": "Proportions that no canon speaks of",
}
_TAKE = "give or\ntake"
_UNITS = {"percent": "%", "percent of pupil distance": "% of eye distance", "degrees": "degrees"}


def in_one_line(result: AuditResult) -> str:
    """All that an audit says of the canons unless it is asked for more."""
    count = sum(1 for row in result.canons if row.canon is not None and row.reference.value is not None)
    return f"Canons are drawing aids, not errors: --canons sets {count} of them beside sitter and painting."


def told_in_full(page: Page, result: AuditResult, *, people: bool = False) -> None:
    """Canons beside both faces, drift, habits, and the caution once; with ``people`` also what was found in people."""
    page.heading("Classical canons")
    shown = [row for row in result.canons if row.reference.value is not None]
    if page.width >= STACKED_BELOW:
        table = bare_table()
        table.add_column("canon", ratio=1)
        for title in ("by the\nbook", "sitter", _TAKE, "painting", _TAKE):
            table.add_column(title, justify="right")
        for row in shown:
            cells = [*say.in_columns(row.reference), *say.in_columns(row.painting)]
            table.add_row(Text(clean(f"{row.name}: {row.definition}")), say.book(row.canon), *cells)
        page.console.print(table, width=page.width)
    else:
        for row in shown:
            sitter, painting = (say.of_quantity(found) for found in (row.reference, row.painting))
            page.line(f"{row.name}: book {say.book(row.canon)}, sitter {sitter}, painting {painting}")
    _needed(page, result.canons)
    _drift(page, result)
    _habits(page, result.habits)
    numbers = source_numbers()
    if people:
        _in_people(page, numbers)
        _observed(page, {row.id: row.reference for row in result.canons}, numbers)
    page.heading("Mind")
    page.line(say.CAUTION)
    page.line("Only a difference between sitter and painting says something about the painting.")
    if people:
        sources(page, numbers)
    else:
        page.line("How often each holds in people, and the sources: --all, or limner canon --list", style="dim")


def to_text(result: CanonResult, *, width: int = 80, colour: bool = False) -> str:
    """Return the report of one picture against the canons, at the given width in columns."""
    out = io.StringIO()
    page = Page(console_for(out, width, colour=colour))
    page.line(f"{result.picture.name} against the classical canons", style="bold")
    page.line("Sides are the sitter's own: sitter's left = picture right.")
    page.line(_turn(result.pose))
    for notice in result.warnings:
        page.item("!", notice.text)
    found = {finding.id: finding for finding in result.findings}
    for school, title in SCHOOLS.items():
        _school(page, title, [canon for canon in CANONS if canon.school == school], found)
    _marks(page, result.findings)
    _needed(page, result.findings)
    numbers = source_numbers()
    _in_people(page, numbers)
    _observed(page, {id_: finding.value for id_, finding in found.items()}, numbers)
    page.heading("Mind")
    page.line(say.CAUTION)
    if any(finding.witness == "mesh" for finding in result.findings):
        page.line(
            "From one picture the face finder sees every face as more ordinary than it is; what it may hide is in the "
            "give or take, and so is what its points lie otherwise than the canons' (limner canon --list). Points "
            "placed by hand (limner points) hide nothing."
        )
    sources(page, numbers)
    return finished(out)


def _turn(pose: Pose | None) -> str:
    if pose is None:
        return "How the head is turned cannot be told from these points."
    side = "picture right" if pose.yaw > 0 else "picture left"
    nod = "up" if pose.pitch > 0 else "down"
    turn, tip = (f"{amount} {degrees(amount)}" for amount in (f"{abs(pose.yaw):.0f}", f"{abs(pose.pitch):.0f}"))
    return (
        f"The head is turned {turn} to {side}, the chin {tip} {nod}, "
        "by a face of average build. Widths against heights are corrected for the turn."
    )


def _school(page: Page, title: str, canons: Sequence[Canon], found: Mapping[str, CanonFinding]) -> None:
    rows = [
        (ratio, found[ratio.id])
        for canon in canons
        for ratio in canon.ratios
        if ratio.id in found and found[ratio.id].value.value is not None
    ]
    if not rows:
        return
    page.heading(title)
    if page.width < STACKED_BELOW:
        for ratio, finding in rows:
            told = say.verdict(ratio, finding.value)
            page.line(f"{ratio.name}, {ratio.definition}: book {say.book(ratio.value)}, here")
            value = say.of_quantity(finding.value) + _mark(finding).rstrip()
            page.line(f"{value}, {told}" if told else value, indent=2)
        return
    table = bare_table()
    table.add_column("ratio", ratio=5)
    for head in ("by the\nbook", "this face", _TAKE):
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column("against the book", ratio=3)
    for ratio, finding in rows:
        told = say.verdict(ratio, finding.value)
        value, doubt = say.in_columns(finding.value)
        named = Text(clean(f"{ratio.name}: {ratio.definition}"))
        table.add_row(named, say.book(ratio.value), value + _mark(finding), doubt, Text(told))
    page.console.print(table, width=page.width)


def _mark(finding: CanonFinding) -> str:
    return " +" if finding.witness == "hand" else "  "


def _marks(page: Page, findings: Iterable[CanonFinding]) -> None:
    witnesses = {finding.witness for finding in findings}
    if "hand" in witnesses:
        page.line("+  from points placed by hand.", style="dim")


def _needed(page: Page, rows: Iterable[CanonFinding | CanonRow]) -> None:
    """What could not be taken, by what it needs."""
    groups: dict[str, list[str]] = {}
    for row in rows:
        if row.reason:
            groups.setdefault(row.reason, []).append(RATIOS[row.id][1].definition if row.id in RATIOS else row.id)
    if groups:
        page.heading("Not measured here")
    for reason, names in groups.items():
        page.item("-", f"{'; '.join(dict.fromkeys(names))}: {reason}.")


def _drift(page: Page, result: AuditResult) -> None:
    if not result.drift:
        return
    page.heading("Drift: does the painting leave the sitter for a type")
    for vector in result.drift:
        page.line(say.whole(vector), indent=2)
    for row in result.canons:
        for drift in row.drift:
            if drift.share.value is not None:
                page.item("-", f"{row.name} {say.way(drift.share, say.GOALS[drift.target])}.")
    near = [row.name for row in result.canons if row.drift and all(d.share.value is None for d in row.drift)]
    if near:
        page.item("-", f"Too near to tell, for what is known of the sitter: {'; '.join(near)}.")
    if any(row.witness == "mesh" for row in result.canons):
        page.line("Points placed by hand on the reference (limner points) make the sitter better known.", indent=2)


def _habits(page: Page, rows: Sequence[HabitRow]) -> None:
    if not rows:
        return
    page.heading("Known habits of portrait drawing, and whether this painting shows them")
    for row in rows:
        said: str = row.call
        if row.deviation.value is not None:
            value, doubt = rounded(abs(row.deviation.value), row.deviation.sigma or 0.0)
            sign = "-" if row.deviation.value < 0 and float(value) else ""
            said += f", {sign}{value} {_UNITS.get(row.unit, row.unit)}, give or take {doubt}"
        elif row.reason:
            said += f" ({row.reason})"
        page.item("-", f"{row.name}: {said}. {row.source}.")


def source_numbers() -> dict[str, int]:
    """Number of each study and survey among the sources."""
    cited = dict.fromkeys((*(cell.study for cell in HELD), *(remark.study for remark in REMARKS), *SURVEYS))
    return {id_: number for number, id_ in enumerate(cited, start=1)}


def _in_people(page: Page, numbers: Mapping[str, int]) -> None:
    page.heading("How often they were found in people")
    for canon in CANONS:
        cells = [say.held(cell, numbers[cell.study]) for cell in HELD if cell.canon == canon.id]
        cells += [f"{r.text} [{numbers[r.study]}]" for r in REMARKS if r.canon == canon.id]
        if cells:
            page.item("-", f"{canon.definition}: {'; '.join(cells)}.")


def _observed(page: Page, found: Mapping[str, Quantity], numbers: Mapping[str, int]) -> None:
    """This face beside what was measured in people; no ratio takes from two surveys."""
    page.heading("Measured in people: mean and standard deviation")
    wide = page.width >= STACKED_BELOW
    table = bare_table()
    table.add_column("ratio", ratio=1)
    for head in ("this face", "men", "women", "source"):
        table.add_column(head, justify="right", no_wrap=True)
    for id_, told in OBSERVED.items():
        here = say.of_quantity(found[id_]) if id_ in found else "-"
        men, women = (f"{mean:.2f} SD {spread:.2f}" for mean, spread in (told.men, told.women))
        if RATIOS[id_][1].value == 0.25:
            men, women = (f"{mean:.3f} SD {spread:.3f}" for mean, spread in (told.men, told.women))
        source = f"[{numbers[told.survey]}]"
        if wide:
            table.add_row(Text(RATIOS[id_][1].definition), here, men, women, source)
        else:
            page.line(f"{RATIOS[id_][1].definition}: here {here}, men {men}, women {women} {source}")
    if wide:
        page.console.print(table, width=page.width)
    for note in dict.fromkeys(told.note for told in OBSERVED.values() if told.note):
        which = ", ".join(RATIOS[id_][1].definition for id_, told in OBSERVED.items() if told.note == note)
        page.line(f"{which}: {note}.", style="dim")


def sources(page: Page, numbers: Mapping[str, int]) -> None:
    """The studies and surveys by number."""
    page.heading("Sources")
    for id_, number in numbers.items():
        if id_ in STUDIES:
            study = STUDIES[id_]
            note = f" ({study.note})" if study.note else ""
            page.item(f"[{number}]", f"{study.cite}: {study.sample}{note}. {study.url}")
        else:
            page.item(f"[{number}]", f"{SURVEYS[id_].cite}: {SURVEYS[id_].sample}.")
