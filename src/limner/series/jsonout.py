"""A series as JSON: versioned, never NaN, keys always in one order; ``report/schema/series-1.json`` describes it."""

from __future__ import annotations

import json
from collections.abc import Iterable
from importlib import resources
from typing import Any

from limner import __version__
from limner.report.clean import clean
from limner.report.jsonout import number
from limner.series.compare import (
    Z95,
    Change,
    Compared,
    Typical,
    drawing_error,
    drawing_verdict,
    gone_back,
    left_by_family,
    since,
    since_best,
    values_error,
    values_verdict,
)
from limner.series.dries import before_it_dries
from limner.series.record import Amount, Reading, Record, Series, Skipped
from limner.series.say import ruler_of

SCHEMA = "limner.series/1"
Plain = dict[str, Any]


def to_json(series: Series) -> str:
    """The series as JSON text with a line end; every photo, step and remark on a line of its own."""
    parts = []
    for key, value in to_dict(series).items():
        if isinstance(value, list) and value:
            told = "[\n    " + ",\n    ".join(json.dumps(row, allow_nan=False) for row in value) + "\n  ]"
        else:
            told = json.dumps(value, allow_nan=False)
        parts.append(f"{json.dumps(key)}: {told}")
    return "{\n  " + ",\n  ".join(parts) + "\n}\n"


def schema() -> Plain:
    """The JSON Schema (draft 2020-12) of what :func:`to_dict` gives."""
    text = (resources.files("limner.report") / "schema" / "series-1.json").read_text(encoding="utf-8")
    loaded: Plain = json.loads(text)
    return loaded


def to_dict(series: Series) -> Plain:
    """The series as plain dicts, lists, texts and finite numbers."""
    records = series.records
    return {
        "schema": SCHEMA,
        "limner": __version__,
        "reference": clean(series.reference),
        "reference_by": clean(series.reference_by),
        "order": series.order,
        "photos": [_photo(series, photo) for photo in series.photos],
        "changes": [_step(series, k) for k in range(1, len(records))],
        "gone_back": _gone_back(series),
        "left_by_family": _left(records[-1]) if records else [],
        "before_it_dries": _dries(series),
        "remarks": [clean(text) for text in series.remarks],
    }


def _photo(series: Series, photo: Record | Skipped) -> Plain:
    shared: Plain = {"number": series.number(photo), "name": clean(photo.name), "note": series.notes.get(photo.name)}
    if isinstance(photo, Skipped):
        return {**shared, "skipped": {"reason": clean(photo.reason), "exit_code": photo.exit_code}}
    return {
        **shared,
        "skipped": None,
        "digest": photo.digest,
        "taken": photo.taken,
        "stage": {"name": photo.stage, "guessed": photo.stage_guessed},
        "pupil_distance_mm": _amount(photo.pupil_mm),
        "drawing": _drawing(series, photo),
        "values": _typical(values_error(photo), 1.0),
        "off": sum(r.call == "off" for r in photo.readings),
        "values_off": None if photo.values_off is None else [clean(text) for text in photo.values_off],
        "values_meant": [{"reason": clean(one.reason), "text": clean(one.text)} for one in photo.values_meant],
        "measures": [_reading(reading) for reading in photo.readings],
        "notices": [clean(text) for text in photo.notices],
    }


def _drawing(series: Series, photo: Record) -> Plain | None:
    found = drawing_error(photo)
    if found is None:
        return None
    mm = ruler_of(series).drawing(photo, found) if ruler_of(series).mm else None
    return {"percent_of_pupil_distance": _typical(found, 100.0), "mm": _typical(mm, 1.0)}


def _typical(found: Typical | None, factor: float) -> Plain | None:
    if found is None:
        return None
    low, high = number(factor * found.low), number(factor * found.high)
    return {"value": number(factor * found.value), "interval": [low, high], "over": found.over}


def _amount(found: Amount | None) -> Plain | None:
    return None if found is None else {"value": number(found.value), "sigma": number(found.sigma)}


def _reading(reading: Reading) -> Plain:
    return {
        "id": reading.id,
        "name": reading.name,
        "family": reading.family,
        "feature": reading.feature,
        "unit": reading.unit,
        "deviation": number(reading.deviation),
        "sigma": number(reading.sigma),
        "interval": _interval(reading),
        "threshold": number(reading.threshold),
        "call": reading.call,
        "reason": None if reading.reason is None else clean(reading.reason),
        "witness": reading.witness,
    }


def _interval(reading: Reading) -> list[float | None] | None:
    if reading.deviation is None or reading.sigma is None:
        return None
    return [number(reading.deviation - Z95 * reading.sigma), number(reading.deviation + Z95 * reading.sigma)]


def _step(series: Series, k: int) -> Plain:
    was, now = series.records[k - 1], series.records[k]
    compared = since(was, now, series.number(was))
    return {
        "from": series.number(was),
        "to": series.number(now),
        "drawing": drawing_verdict(was, now),
        "values": values_verdict(was, now),
        **_compared(compared),
        "since_best": _compared(since_best(_numbered(series, k), now)),
    }


def _numbered(series: Series, upto: int) -> list[tuple[int, Record]]:
    return [(series.number(record), record) for record in series.records[:upto]]


def _compared(compared: Compared) -> Plain:
    return {
        "better": _changes(compared.better),
        "worse": _changes(compared.worse),
        "now_visible": _changes(compared.visible),
        "no_change_seen": compared.unseen,
        "read_in_both": compared.read_in_both,
    }


def _changes(changes: Iterable[Change]) -> list[Plain]:
    return [
        {
            "id": change.now.id,
            "name": change.now.name,
            "unit": change.now.unit,
            "was": {"photo": change.since, "deviation": number(change.was.deviation), "call": change.was.call},
            "now": {"deviation": number(change.now.deviation), "call": change.now.call},
        }
        for change in changes
    ]


def _gone_back(series: Series) -> list[Plain]:
    if len(series.records) < 2:
        return []
    return _changes(gone_back(since_best(_numbered(series, len(series.records) - 1), series.records[-1])))


def _left(record: Record) -> list[Plain]:
    return [{"family": k, "off": off, "slight": slight} for k, (off, slight) in left_by_family(record).items()]


def _dries(series: Series) -> list[Plain]:
    if not series.records:
        return []
    asked = before_it_dries(series.records[-1], ruler_of(series))
    return [{"id": q.id, "question": q.text, "answer": q.answer, "why": clean(q.why)} for q in asked]
