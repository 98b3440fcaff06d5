"""The result as JSON: versioned, never NaN, keys always in the same order."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict
from importlib import resources

from limner import __version__
from limner.compare.calibration import WIDE
from limner.report.clean import clean
from limner.report.view import View
from limner.result import (
    Apart,
    AuditResult,
    CanonRow,
    DriftVector,
    HabitRow,
    MeasureResult,
    PictureFacts,
    Pose,
    Quantity,
    WholeFinding,
)

SCHEMA = "limner.audit/1"
_DIGITS = 6

Value = object
"""Anything that JSON can hold."""


def to_json(result: AuditResult, view: View | None = None) -> str:
    """Return the result as JSON text with a line end; ``schema/audit-1.json`` in this package describes it."""
    return json.dumps(to_dict(result, view), indent=2, allow_nan=False) + "\n"


def schema() -> dict[str, Value]:
    """Return the JSON Schema (draft 2020-12) of what :func:`to_dict` gives."""
    text = (resources.files("limner.report") / "schema" / "audit-1.json").read_text(encoding="utf-8")
    loaded: dict[str, Value] = json.loads(text)
    return loaded


def to_dict(result: AuditResult, view: View | None = None) -> dict[str, Value]:
    """Return the result as plain dicts, lists, texts and finite numbers, in a fixed order of keys."""
    settings = result.settings
    return {
        "schema": SCHEMA,
        "limner": __version__,
        "pictures": {"reference": picture(result.reference), "painting": picture(result.painting)},
        "hold": result.scale.hold,
        "scale": {
            "used": number(result.scale.scale),
            "eyes": number(result.scale.eyes),
            "head": number(result.scale.head),
            "sigma": number(result.scale.sigma),
            "disagree": result.scale.disagree,
            "by": result.scale.by,
        },
        "stage": {"name": result.stage, "guessed": result.stage_guessed},
        "strict": number(settings.strict),
        "witness": settings.witness,
        "pose": {"reference": pose(result.pose_reference), "painting": pose(result.pose_painting)},
        "measures": measures(result, view),
        "canons": [_canon(row) for row in result.canons],
        "drift": [_vector(vector) for vector in result.drift],
        "habits": [_habit(row) for row in result.habits],
        "apart": [_apart(one) for one in result.apart],
        "mend_first": [clean(line) for line in result.mend_first],
        "points": {
            name: {side: [number(place[side][0]), number(place[side][1])] for side in sorted(place, reverse=True)}
            for name, place in result.points.items()
        },
        "spread": {
            name: {which: _spread(px, getattr(result, which)) for which, px in sorted(both.items(), reverse=True)}
            for name, both in result.spread.items()
        },
        "warnings": [{"code": notice.code, "text": clean(notice.text)} for notice in result.warnings],
        "canvas": None if result.canvas is None else _plain(asdict(result.canvas)),
        "corrections": [_plain(asdict(correction)) for correction in result.corrections],
        "values": None if result.values is None else _plain(asdict(result.values)),
        "whole": [_finding(finding) for finding in result.whole],
        "placement": None if result.placement is None else _plain(asdict(result.placement)),
    }


def _spread(px: float, facts: PictureFacts) -> dict[str, float | None]:
    return {"px": number(px), "pupil_distances": number(px / facts.pupil_distance)}


def measures(result: AuditResult, view: View | None = None) -> list[dict[str, Value]]:
    """Return the chosen measures as plain dicts."""
    return [_measure(m) for m in (view or View()).select(result)]


def _measure(measure: MeasureResult) -> dict[str, Value]:
    return {
        "id": measure.id,
        "name": measure.name,
        "family": measure.family,
        "feature": measure.feature,
        "unit": measure.unit,
        "reference": quantity(measure.reference),
        "painting": quantity(measure.painting),
        "deviation": number(measure.deviation),
        "sigma": number(measure.sigma),
        "interval": interval(measure),
        "threshold": number(measure.threshold),
        "call": measure.call,
        "reason": None if measure.reason is None else clean(measure.reason),
        "witness": measure.witness,
        "source": measure.source,
        "deviation_mm": quantity(measure.deviation_mm),
        "threshold_mm": number(measure.threshold_mm),
    }


def _finding(finding: WholeFinding) -> dict[str, Value]:
    plain = asdict(finding)
    del plain["explains"]
    ends = [round(finding.deviation + way * WIDE * finding.sigma, _DIGITS) for way in (-1, 1)]
    return {
        **{key: _plain(value) for key, value in plain.items()},
        "interval": ends,
        "explains": list(finding.explains),
    }


def interval(measure: MeasureResult) -> list[float] | None:
    """Return the 95 % interval of the deviation, in its unit; ``None`` where there is no number."""
    deviation, sigma = number(measure.deviation), number(measure.sigma)
    if deviation is None or sigma is None:
        return None
    return [round(deviation - WIDE * sigma, _DIGITS), round(deviation + WIDE * sigma, _DIGITS)]


def picture(facts: PictureFacts) -> dict[str, Value]:
    """Return what may be said of a picture."""
    return {
        "name": clean(facts.name),
        "digest": facts.digest,
        "width": facts.width,
        "height": facts.height,
        "scale": number(facts.scale),
        "pupil_distance": number(facts.pupil_distance),
        "found_by": facts.found_by,
    }


def pose(turn: Pose | None) -> dict[str, Value] | None:
    """Return the turn of a head as plain numbers."""
    if turn is None:
        return None
    return {name: number(getattr(turn, name)) for name in ("yaw", "pitch", "roll", "sigma")}


def _canon(row: CanonRow) -> dict[str, Value]:
    return {
        "id": row.id,
        "name": row.name,
        "definition": row.definition,
        "canon": number(row.canon),
        "reference": quantity(row.reference),
        "painting": quantity(row.painting),
        "source": row.source,
        "canon_id": row.canon_id,
        "reason": row.reason,
        "witness": row.witness,
        "drift": [
            {
                "target": drift.target,
                "goal": number(drift.goal),
                "gap": quantity(drift.gap),
                "share": quantity(drift.share),
                "reason": drift.reason,
            }
            for drift in row.drift
        ],
    }


def _vector(vector: DriftVector) -> dict[str, Value]:
    return {
        "target": vector.target,
        "share": quantity(vector.share),
        "ratios": list(vector.ratios),
        "reason": vector.reason,
    }


def _apart(one: Apart) -> dict[str, Value]:
    return {
        "kind": one.kind,
        "id": one.id,
        "name": clean(one.name),
        "reason": None if one.reason is None else clean(one.reason),
        "measures": list(one.measures),
        "values": [clean(text) for text in one.values],
    }


def _habit(row: HabitRow) -> dict[str, Value]:
    return {
        "id": row.id,
        "name": row.name,
        "deviation": quantity(row.deviation),
        "unit": row.unit,
        "call": row.call,
        "reason": row.reason,
        "measures": list(row.measures),
        "witnesses": list(row.witnesses),
        "source": row.source,
    }


def quantity(found: Quantity) -> dict[str, float | None]:
    """Return a quantity as plain numbers."""
    return {"value": number(found.value), "sigma": number(found.sigma)}


def number(value: float | None) -> float | None:
    """Return the number at six decimals, or ``None`` for one that JSON cannot say."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), _DIGITS) + 0.0


def _plain(value: Value) -> Value:
    """Return nested mappings and sequences as dicts and lists of plain values."""
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, bool | int | str) or value is None:
        return value
    return number(float(value)) if isinstance(value, float) else str(value)
