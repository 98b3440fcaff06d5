"""A series as CSV, tidy: one row for each photo and measure, one column a fact."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

from limner.report.csvout import cell
from limner.series.compare import Typical, drawing_error, values_error
from limner.series.jsonout import to_dict
from limner.series.record import Record, Series
from limner.series.say import ruler_of

COLUMNS = (
    "photo", "picture", "taken", "stage", "id", "name", "family", "unit", "deviation", "sigma", "interval_low",
    "interval_high", "threshold", "call", "reason", "witness",
)  # fmt: skip
_NUMBERS = (
    ("drawing_error", "typical error of the drawing"),
    ("values_error", "typical error of the values"),
)


def to_csv(series: Series) -> str:
    """Comma-separated text with one heading row; a cell is empty where there is no number.

    The two numbers are rows of their own (``drawing_error``, ``values_error``, family ``typical error``); a photo that
    was skipped has one row with its reason.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for photo, plain in zip(series.photos, to_dict(series)["photos"], strict=True):
        head = {"photo": plain["number"], "picture": plain["name"], "taken": plain.get("taken")}
        if not isinstance(photo, Record):
            _write(writer, {**head, "call": "skipped", "reason": plain["skipped"]["reason"]})
            continue
        head["stage"] = photo.stage
        for row in _numbers(series, photo):
            _write(writer, {**head, **row})
        for measure in plain["measures"]:
            low, high = measure["interval"] or (None, None)
            _write(writer, {**head, **measure, "interval_low": low, "interval_high": high})
    return out.getvalue()


def _write(writer: object, row: dict[str, object]) -> None:
    writer.writerow([cell(row.get(column)) for column in COLUMNS])  # type: ignore[attr-defined]


def _numbers(series: Series, record: Record) -> Iterator[dict[str, object]]:
    ruler = ruler_of(series)
    drawing = ruler.drawing(record, drawing_error(record))
    unit = "mm" if ruler.mm else "percent of pupil distance"
    found: tuple[tuple[Typical | None, str], ...] = ((drawing, unit), (values_error(record), "steps of value"))
    for (id_, name), (typical, of) in zip(_NUMBERS, found, strict=True):
        if typical is not None:
            yield {
                "id": id_,
                "name": name,
                "family": "typical error",
                "unit": of,
                "deviation": round(typical.value, 6),
                "interval_low": round(typical.low, 6),
                "interval_high": round(typical.high, 6),
            }
