"""One picture against the canons as JSON and as CSV: versioned, never NaN, keys always in the same order."""

from __future__ import annotations

import csv
import io
import json
from importlib import resources

from limner import __version__
from limner.compare.calibration import WIDE
from limner.compare.canons.declare import Canon, Ratio
from limner.compare.canons.observed import OBSERVED, SURVEYS
from limner.compare.canons.studies import HELD, REMARKS, STUDIES
from limner.compare.canons.table import CANONS
from limner.report.canonwords import CAUTION, meets
from limner.report.clean import clean
from limner.report.csvout import cell
from limner.report.jsonout import Value, number, picture, pose, quantity
from limner.result import CanonFinding, CanonResult

SCHEMA = "limner.canon/1"

COLUMNS = (
    "canon",
    "ratio",
    "school",
    "name",
    "definition",
    "book",
    "value",
    "sigma",
    "interval_low",
    "interval_high",
    "meets",
    "witness",
    "needed",
    "men_mean",
    "men_sd",
    "women_mean",
    "women_sd",
    "survey",
    "source",
)


def schema() -> dict[str, Value]:
    """Return the JSON Schema (draft 2020-12) of what :func:`to_dict` gives."""
    text = (resources.files("limner.report") / "schema" / "canon-1.json").read_text(encoding="utf-8")
    loaded: dict[str, Value] = json.loads(text)
    return loaded


def to_json(result: CanonResult) -> str:
    """Return the result as JSON text with a line end; ``schema/canon-1.json`` in this package describes it."""
    return json.dumps(to_dict(result), indent=2, allow_nan=False) + "\n"


def to_dict(result: CanonResult) -> dict[str, Value]:
    """Return the result as plain dicts, lists, texts and finite numbers, in a fixed order of keys."""
    found = {finding.id: finding for finding in result.findings}
    return {
        "schema": SCHEMA,
        "limner": __version__,
        "picture": picture(result.picture),
        "pose": pose(result.pose),
        "caution": CAUTION,
        "canons": [_canon(canon, found) for canon in CANONS],
        "studies": [
            {"id": s.id, "sample": s.sample, "cite": s.cite, "url": s.url, "note": s.note} for s in STUDIES.values()
        ],
        "surveys": [{"id": s.id, "cite": s.cite, "sample": s.sample} for s in SURVEYS.values()],
        "warnings": [{"code": notice.code, "text": clean(notice.text)} for notice in result.warnings],
    }


def to_csv(result: CanonResult) -> str:
    """Return one row a ratio, with one heading row; a cell is empty where there is no number."""
    found = {finding.id: finding for finding in result.findings}
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for canon in CANONS:
        for ratio in canon.ratios:
            if ratio.id in found:
                writer.writerow([cell(value) for value in _flat(canon, ratio, found[ratio.id])])
    return out.getvalue()


def _flat(canon: Canon, ratio: Ratio, finding: CanonFinding) -> list[Value]:
    low, high = _interval(finding) or (None, None)
    told = OBSERVED.get(ratio.id)
    observed = [None] * 5 if told is None else [*map(number, (*told.men, *told.women)), told.survey]
    return [
        canon.id,
        ratio.id,
        canon.school,
        ratio.name,
        ratio.definition,
        number(ratio.value),
        number(finding.value.value),
        number(finding.value.sigma),
        low,
        high,
        meets(ratio, finding.value),
        finding.witness,
        finding.reason,
        *observed,
        canon.source,
    ]


def _canon(canon: Canon, found: dict[str, CanonFinding]) -> dict[str, Value]:
    return {
        "id": canon.id,
        "name": canon.name,
        "school": canon.school,
        "definition": canon.definition,
        "source": canon.source,
        "note": canon.note,
        "ratios": [_ratio(ratio, found[ratio.id]) for ratio in canon.ratios],
        "held": [
            {
                "study": held.study,
                "group": held.group,
                "people": dict(STUDIES[held.study].groups)[held.group],
                "what": held.what,
                "percent": number(held.percent),
            }
            for held in HELD
            if held.canon == canon.id
        ],
        "remarks": [{"study": r.study, "text": r.text} for r in REMARKS if r.canon == canon.id],
    }


def _ratio(ratio: Ratio, finding: CanonFinding) -> dict[str, Value]:
    told = OBSERVED.get(ratio.id)
    return {
        "id": ratio.id,
        "name": ratio.name,
        "definition": ratio.definition,
        "canon": number(ratio.value),
        "unit": "degrees" if ratio.lie == "slopes" else "ratio",
        "value": quantity(finding.value),
        "interval": _interval(finding),
        "witness": finding.witness,
        "reason": finding.reason,
        "meets": meets(ratio, finding.value),
        "observed": None
        if told is None
        else {
            "survey": told.survey,
            "men": [number(v) for v in told.men],
            "women": [number(v) for v in told.women],
            "note": told.note,
        },
    }


def _interval(finding: CanonFinding) -> list[float | None] | None:
    """The 95 % interval; ``None`` where there is no value."""
    value, sigma = finding.value.value, finding.value.sigma
    if value is None or sigma is None:
        return None
    return [number(value - WIDE * sigma), number(value + WIDE * sigma)]
