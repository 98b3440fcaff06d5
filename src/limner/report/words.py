"""Numbers of one measure in a painter's words: no digit finer than the doubt, which way it is off."""

from __future__ import annotations

from limner.compare.wording import degrees, rounded
from limner.measure.catalogue import CATALOGUE
from limner.measure.heads import HEADS
from limner.result import MeasureResult, ScaleReport

UNITS = {"percent": "%", "percent of pupil distance": "% of eye distance", "degrees": "degrees"}
"""Unit of a deviation -> what is printed. Eye distance: the distance between the pupils."""


UNIT_LENGTHS = {
    "pupils": "the distance between the pupils",
    "n-gn": "the distance from the root of the nose to the chin",
}
"""What sizes are set against, in words."""


def held(scale: ScaleReport) -> str:
    """Return what was held, in words."""
    return "the whole head" if scale.hold == "head" else UNIT_LENGTHS[scale.by]


def give_or_take(measure: MeasureResult) -> str:
    """Return the half width of the 95 % interval; empty where there is no number."""
    if measure.deviation is None or measure.sigma is None:
        return ""
    return rounded(measure.deviation, measure.sigma)[1]


def noticed_from(measure: MeasureResult) -> str:
    """Return from what on a viewer notices it, to the digit its deviation is told to; empty where there is none."""
    if measure.threshold is None:
        return ""
    places = 1 if not give_or_take(measure) or "." in give_or_take(measure) else 0
    shown = f"{measure.threshold:.{places}f}"
    return shown if float(shown) else f"{measure.threshold:.1g}"


def painted(measure: MeasureResult) -> str:
    """Return how the painting departs, for example ``12 % too wide``; empty where there is no number."""
    if measure.deviation is None:
        return ""
    amount, _ = rounded(abs(measure.deviation), measure.sigma or 0.0)
    if float(amount) == 0:
        return "no difference"
    unit = degrees(amount) if measure.unit == "degrees" else UNITS.get(measure.unit, measure.unit)
    return f"{amount} {unit} {_way(measure.id, measure.deviation > 0)}"


def _way(measure_id: str, positive: bool) -> str:
    """Return the catalogue's words for the sign; a distance asked for with --between is too long or too short."""
    declared = CATALOGUE.get(measure_id) or HEADS.get(measure_id)
    if declared is None:
        return "too long" if positive else "too short"
    if declared.kind == "overlap":
        return "not shared"
    if declared.kind == "gap":
        return "apart at most"
    return declared.words[0 if positive else 1].removeprefix("painted ")


def called(measure: MeasureResult) -> str:
    """Return the call as it is printed."""
    return {"off": "OFF", "slight": "slightly off"}.get(measure.call, measure.call)
