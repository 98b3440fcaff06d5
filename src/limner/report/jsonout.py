"""The result as JSON: versioned, never NaN, keys always in the same order."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from importlib import resources

from limner import __version__
from limner.compare.calibration import WIDE
from limner.report.clean import clean
from limner.report.view import View
from limner.result import AuditResult, CanonRow, MeasureResult, PictureFacts, Pose, Quantity

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
        "pictures": {"reference": _picture(result.reference), "painting": _picture(result.painting)},
        "hold": result.scale.hold,
        "scale": {
            "used": _number(result.scale.scale),
            "eyes": _number(result.scale.eyes),
            "head": _number(result.scale.head),
            "sigma": _number(result.scale.sigma),
            "disagree": result.scale.disagree,
            "by": result.scale.by,
        },
        "stage": {"name": result.stage, "guessed": result.stage_guessed},
        "strict": _number(settings.strict),
        "witness": settings.witness,
        "pose": {"reference": _pose(result.pose_reference), "painting": _pose(result.pose_painting)},
        "measures": measures(result, view),
        "canons": [_canon(row) for row in result.canons],
        "mend_first": [clean(line) for line in result.mend_first],
        "points": {
            name: {side: [_number(place[side][0]), _number(place[side][1])] for side in sorted(place, reverse=True)}
            for name, place in result.points.items()
        },
        "warnings": [{"code": notice.code, "text": clean(notice.text)} for notice in result.warnings],
        "corrections": [_plain(correction) for correction in result.corrections],
    }


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
        "deviation": _number(measure.deviation),
        "sigma": _number(measure.sigma),
        "interval": interval(measure),
        "threshold": _number(measure.threshold),
        "call": measure.call,
        "reason": measure.reason,
        "witness": measure.witness,
        "source": measure.source,
    }


def interval(measure: MeasureResult) -> list[float] | None:
    """Return the 95 % interval of the deviation, in its unit; ``None`` where there is no number."""
    deviation, sigma = _number(measure.deviation), _number(measure.sigma)
    if deviation is None or sigma is None:
        return None
    return [round(deviation - WIDE * sigma, _DIGITS), round(deviation + WIDE * sigma, _DIGITS)]


def _picture(facts: PictureFacts) -> dict[str, Value]:
    return {
        "name": clean(facts.name),
        "digest": facts.digest,
        "width": facts.width,
        "height": facts.height,
        "scale": _number(facts.scale),
        "pupil_distance": _number(facts.pupil_distance),
        "found_by": facts.found_by,
    }


def _pose(pose: Pose | None) -> dict[str, Value] | None:
    if pose is None:
        return None
    return {name: _number(getattr(pose, name)) for name in ("yaw", "pitch", "roll", "sigma")}


def _canon(row: CanonRow) -> dict[str, Value]:
    return {
        "id": row.id,
        "name": row.name,
        "definition": row.definition,
        "canon": _number(row.canon),
        "reference": quantity(row.reference),
        "painting": quantity(row.painting),
        "source": row.source,
    }


def quantity(found: Quantity) -> dict[str, float | None]:
    """Return a quantity as plain numbers."""
    return {"value": _number(found.value), "sigma": _number(found.sigma)}


def _number(value: float | None) -> float | None:
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
    return _number(float(value)) if isinstance(value, float) else str(value)
