"""The canons as a list with their sources, whatever the picture."""

from __future__ import annotations

import io
from itertools import groupby

from limner.compare.canons.beside import spread_among_people
from limner.compare.canons.finder import said
from limner.compare.canons.habits import HABITS
from limner.compare.canons.observed import OBSERVED
from limner.compare.canons.studies import HELD, REMARKS
from limner.compare.canons.table import CANONS, RATIOS
from limner.compare.canons.taking import OUTLINE_YAW, WIDEST_PITCH, WIDEST_YAW
from limner.report import canonwords as say
from limner.report.canontext import SCHOOLS, source_numbers, sources
from limner.report.page import Page, console_for, finished

_LIMITS = (
    f"Widths are taken up to a turn of {WIDEST_YAW:.0f} degrees ({OUTLINE_YAW:.0f} where they end at the outline), "
    f"heights up to a nod of {WIDEST_PITCH:.0f}. A width against a height is corrected by the cosine of the turn; two "
    "widths, and two heights, shorten alike and are not."
)


def canons_text(*, width: int = 80) -> str:
    """Return every canon with its definition, value, source and what was found in people; then habits and sources."""
    out = io.StringIO()
    page = Page(console_for(out, width, colour=False))
    page.line(f"{len(CANONS)} canons and proportions, {len(RATIOS)} ratios.")
    page.line(_LIMITS)
    page.line(said())
    numbers = source_numbers()
    for school, canons in groupby(CANONS, key=lambda canon: canon.school):
        page.heading(SCHOOLS[school])
        for canon in canons:
            page.line(f"{canon.id}: {say.numbered(canon)}")
            for ratio in canon.ratios:
                gives = "" if ratio.value is None else f" = {say.book(ratio.value)}"
                page.line(f"{ratio.id}: {ratio.name}, {ratio.definition}{gives}", indent=4)
                if ratio.id in OBSERVED:
                    page.line(_observed(ratio.id, numbers), indent=4)
            page.line(f"source: {canon.source}", indent=4)
            if canon.note:
                page.line(f"note: {canon.note}", indent=4)
            cells = [say.held(cell, numbers[cell.study]) for cell in HELD if cell.canon == canon.id]
            cells += [f"{remark.text} [{numbers[remark.study]}]" for remark in REMARKS if remark.canon == canon.id]
            if cells:
                page.line("in people: " + "; ".join(cells), indent=4)
    page.heading("Habits of portrait drawing that an audit looks for")
    for habit in HABITS:
        against = f" less {', '.join(habit.against)}" if habit.against else ""
        better = f"; by {habit.ratio} where it can be taken" if habit.ratio else ""
        sign = "+" if habit.way > 0 else "-"
        page.line(f"{habit.id}: {habit.name} ({sign} mean of {', '.join(habit.measures)}{against}{better})")
        page.line(f"source: {habit.source}", indent=4)
    sources(page, numbers)
    page.heading("Mind")
    page.line(say.CAUTION)
    return finished(out)


def _observed(id_: str, numbers: dict[str, int]) -> str:
    told = OBSERVED[id_]
    digits = 3 if told.mean < 0.5 or not told.note else 2
    (m, sm), (w, sw) = told.men, told.women
    note = f"; {told.note}" if told.note else ""
    return (
        f"measured in people: men {m:.{digits}f} SD {sm:.{digits}f}, women {w:.{digits}f} SD {sw:.{digits}f} "
        f"[{numbers[told.survey]}]{note}; one SD is {100 * spread_among_people(RATIOS[id_][1]):.0f} % of it"
    )
