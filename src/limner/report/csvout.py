"""The measures as CSV: one row a measure, one column a fact."""

from __future__ import annotations

import csv
import io
import unicodedata

from limner.report.clean import clean
from limner.report.jsonout import interval, measures, quantity
from limner.report.view import View
from limner.result import AuditResult

COLUMNS = (
    "id",
    "name",
    "family",
    "feature",
    "unit",
    "reference_value",
    "reference_sigma",
    "painting_value",
    "painting_sigma",
    "deviation",
    "sigma",
    "interval_low",
    "interval_high",
    "threshold",
    "call",
    "reason",
    "witness",
    "source",
    "deviation_mm",
    "sigma_mm",
    "threshold_mm",
)


def to_csv(result: AuditResult, view: View | None = None) -> str:
    """Return the measures as comma-separated text with one heading row; a cell is empty where there is no number."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    chosen = (view or View()).select(result)
    for measure, row in zip(chosen, measures(result, view), strict=True):
        flat = dict(row)
        for side, found in (("reference", measure.reference), ("painting", measure.painting)):
            flat.update({f"{side}_{key}": value for key, value in quantity(found).items()})
        flat["deviation_mm"], flat["sigma_mm"] = quantity(measure.deviation_mm).values()
        flat["interval_low"], flat["interval_high"] = interval(measure) or (None, None)
        writer.writerow([cell(flat[column]) for column in COLUMNS])
    return out.getvalue()


def cell(value: object) -> object:
    """Return a cell; a text that a spreadsheet would take for a formula gets an apostrophe in front.

    >>> cell("=1+1"), cell(-2.5), cell("eyes")
    ("'=1+1", -2.5, 'eyes')

    The wide forms of these signs count too: some spreadsheets take them for the same.
    """
    if not isinstance(value, str):
        return value
    text = clean(value)
    first = unicodedata.normalize("NFKC", text.lstrip()[:1])
    return f"'{text}" if first in {"=", "+", "-", "@"} else text
