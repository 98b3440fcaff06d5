"""Values and colour as plain text: a few lines unless everything is asked for."""

from __future__ import annotations

from rich.text import Text

from limner.report.page import Page, bare_table
from limner.result import AuditResult
from limner.valuesresult import RegionValue, ValueFinding, ValuePlan, ValuesReport

SHOWN = 3
"""Findings told in an ordinary audit."""


def values_told(page: Page, result: AuditResult, *, everything: bool) -> None:
    """Set the section on values and colour."""
    report = result.values
    if report is None:
        return
    if everything:
        page.heading("Values and colour")
        page.line(f"{report.match.said} {report.match.blind_to}")
        _all_of_it(page, report)
        return
    page.heading("Values and colour (0 black to 10 white; --all tells more)")
    worst = _worst(report)
    for finding in worst[:SHOWN]:
        page.item("-", finding.text if finding.call == "off" else f"Slight: {finding.text}")
    page.line(_closing(report, len(worst) - SHOWN), indent=2)


def _worst(report: ValuesReport) -> list[ValueFinding]:
    """What is off, and what is slight where fewer things are off than are told; one entry for each region."""
    out: list[ValueFinding] = []
    for finding in report.findings:
        again = finding.region is not None and any(f.region == finding.region for f in out)
        if finding.call in ("off", "slight") and not again:
            out.append(finding)
    off = [finding for finding in out if finding.call == "off"]
    return off if len(off) >= SHOWN else out


def _closing(report: ValuesReport, more: int) -> str:
    unsure = sum(region.call == "unsure" for region in report.regions)
    parts = [f"{more} more." if more > 0 else "" if report.off else "Nothing is off in the values."]
    parts.append(
        f"{report.match.said.rstrip('.')} ({report.match.blind_to[0].lower()}{report.match.blind_to[1:].rstrip('.')})."
    )
    if report.lamps is not None:
        moved = len(report.lamps.dropped)
        parts.append(f"Shine left out: {moved} small light{'' if moved == 1 else 's'} moved with the lamp.")
    if unsure:
        parts.append(f"Unsure: {unsure} of {len(report.regions)} regions.")
    if not report.match.tone_known:
        parts.append("The range is unsure without a value strip.")
    return " ".join(part for part in parts if part)


def _all_of_it(page: Page, report: ValuesReport) -> None:
    for note in report.notes:
        page.item("!", note)
    for call, title in (("off", "Off"), ("slight", "Slightly off"), ("unsure", "Unsure")):
        some = [f for f in report.findings if f.call == call and not (call == "unsure" and f.region in _ids(report))]
        if some:
            page.heading(title)
        for finding in some:
            mend = f" {finding.mend}" if finding.mend and call != "unsure" else ""
            page.item("-", f"{finding.text}{mend}")
    unsure = [region for region in report.regions if region.call == "unsure"]
    for why in dict.fromkeys(region.reason for region in unsure):
        names = "; ".join(region.name for region in unsure if region.reason == why)
        page.item("-", f"{names}: {why}.")
    page.heading("Values by region")
    _table(page, report.regions)
    page.heading("The value plan")
    for plan in report.plans:
        page.item("-", _plan(plan))
    page.line("Thresholds are our choice. What paint can mend is common practice, no source.", style="dim")


def _ids(report: ValuesReport) -> set[str]:
    return {region.id for region in report.regions}


def _table(page: Page, regions: tuple[RegionValue, ...]) -> None:
    table = bare_table()
    table.add_column("region", ratio=5)
    for head in ("sitter", "painted", "apart", "give or\ntake", "call"):
        table.add_column(head, justify="left" if head == "call" else "right", no_wrap=True)
    for r in regions:
        take = "-" if r.local.sigma is None else f"{1.96 * r.local.sigma:.1f}"
        apart = "-" if r.local.value is None else _signed(r.local.value)
        table.add_row(Text(r.name), f"{r.reference:.1f}", f"{r.painting:.1f}", apart, take, r.call)
    page.console.print(table, width=page.width)
    page.line("Apart: painted less sitter, without what the range as a whole explains.", style="dim")


def _signed(value: float) -> str:
    """A number with its sign; a rounded nothing has none.

    >>> _signed(0.26), _signed(-0.04)
    ('+0.3', '0.0')
    """
    text = f"{value:+.1f}"
    return text[1:] if float(text) == 0 else text


def _plan(plan: ValuePlan) -> str:
    shares = ", ".join(f"{m.name} {100 * m.reference_share:.0f} / {100 * m.painting_share:.0f} %" for m in plan.masses)
    differs = f" Other masses than the sitter's: {', '.join(plan.differs)}." if plan.differs else ""
    return (
        f"In {plan.count} values {100 * plan.agreement:.0f} % of the face agrees; share of the face, sitter / painted: "
        f"{shares}.{differs}"
    )
