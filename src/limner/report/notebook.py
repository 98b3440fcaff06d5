"""The result as a small HTML table, for a notebook: self-contained, every text escaped."""

from __future__ import annotations

from html import escape

from limner.report import words
from limner.report.clean import clean
from limner.report.view import QUIET, View
from limner.result import AuditResult

ROWS = 15
_HEADS = ("call", "measure", "painted", "give or take")


def to_html(result: AuditResult) -> str:
    """Return one ``<div>``: which pictures, what to mend first, and the measures that depart from the sitter."""
    told = [m for m in View().select(result) if m.call not in QUIET]
    names = f"{result.painting.name} against {result.reference.name}"
    parts = [
        f"<p><strong>{_text(names)}</strong><br>Sides are the sitter's own: sitter's left = picture right.</p>",
        *(f"<p>{_text(notice.text)}</p>" for notice in result.warnings),
        "<ol>" + "".join(f"<li>{_text(line)}</li>" for line in result.mend_first) + "</ol>",
    ]
    if told:
        rows = ["".join(f"<th>{head}</th>" for head in _HEADS)]
        for m in told[:ROWS]:
            cells = (words.called(m), m.name, words.painted(m), words.give_or_take(m))
            rows.append("".join(f"<td>{_text(cell)}</td>" for cell in cells))
        parts.append("<table>" + "".join(f"<tr>{row}</tr>" for row in rows) + "</table>")
    if len(told) > ROWS:
        parts.append(f"<p>... and {len(told) - ROWS} more.</p>")
    return "<div>" + "".join(parts) + "</div>"


def _text(text: str) -> str:
    return escape(clean(text))
