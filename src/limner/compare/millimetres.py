"""What a measure departs by in millimetres on the canvas, where the size of the canvas is known."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from limner.compare.holding import sized_by_pupils
from limner.compare.ranking import mend_first
from limner.face.points import NAMED_POINTS
from limner.measure.catalogue import CATALOGUE, between
from limner.measure.declare import Measure
from limner.measure.heads import HEADS
from limner.result import AuditResult, MeasureResult, Quantity


def with_millimetres(result: AuditResult) -> AuditResult:
    """The result with its deviations in millimetres too, and what to mend first told in them."""
    pitch = result.canvas.mm_per_px if result.canvas else None
    if pitch is None or not pitch.value:
        return result
    own = {measure.id: measure for measure in (between(*ends) for ends in result.settings.between)}
    catalogue = {**CATALOGUE, **HEADS, **own}
    share = (pitch.sigma or 0.0) / pitch.value
    measures = tuple(
        _in_mm(m, catalogue[m.id], pitch.value * _unit(result, catalogue[m.id]), share) if m.id in catalogue else m
        for m in result.measures
    )
    return replace(result, measures=measures, mend_first=mend_first(measures, catalogue))


def pupils_apart(result: AuditResult) -> float:
    """The pupils' distance as it should be, px of the decoded painting; by n-gn where a pupil is missing."""
    if result.scale.by == "pupils":
        return result.reference.pupil_distance * result.scale.scale * result.painting.scale
    n, gn = (result.should_be[list(NAMED_POINTS[key].indices)].mean(axis=0) for key in ("n", "gn"))
    return float(np.linalg.norm(gn - n))


def _unit(result: AuditResult, measure: Measure) -> float:
    """What a measure's 1 is, px of the decoded painting: some are taken round the fit of the head, in its size."""
    by_head = measure.frame == "head" and sized_by_pupils(result.scale.hold)
    return pupils_apart(result) * (result.scale.head / result.scale.scale if by_head else 1.0)


def _in_mm(found: MeasureResult, measure: Measure, unit_mm: float, share: float) -> MeasureResult:
    """One measure with its deviation and threshold in mm.

    Args:
        found: as it was compared.
        measure: as it is declared.
        unit_mm: what its 1 is on the canvas.
        share: one-sigma uncertainty of a millimetre on the canvas, as a share of it.
    """
    factor = _lengths(found, measure)
    if factor is None or found.deviation is None or found.sigma is None or not math.isfinite(unit_mm):
        return found
    value, sigma = (part * factor * unit_mm for part in (found.deviation, found.sigma))
    limit = None if found.threshold is None else found.threshold * factor * unit_mm
    return replace(
        found, deviation_mm=Quantity(value=value, sigma=math.hypot(sigma, value * share)), threshold_mm=limit
    )


def _lengths(found: MeasureResult, measure: Measure) -> float | None:
    """What one of a deviation is in the unit of its values; ``None`` for an angle, an area, what outlines share."""
    if measure.unit == "percent of pupil distance":
        return 0.01
    if measure.kind == "length" and found.reference.value:
        return abs(found.reference.value) / 100
    if measure.kind == "gap" and found.deviation and found.painting.value:
        return found.painting.value / found.deviation
    return None
