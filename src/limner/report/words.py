"""Numbers in a painter's words: no digit finer than the uncertainty, which way it is off, who read it."""

from __future__ import annotations

import math

from limner.measure.catalogue import CATALOGUE
from limner.result import MeasureResult

WIDE = 1.96
"""Standard deviations each way that hold 95 % of a normal distribution: what "give or take" means."""

UNITS = {"percent": "%", "percent of pupil distance": "% of eye distance", "degrees": "degrees"}
"""Unit of a deviation -> what is printed. Eye distance: the distance between the pupils."""


def decimals(doubt: float) -> int:
    """Return to how many decimals a number with this give-or-take may be printed; negative means tens, hundreds.

    >>> decimals(0.3), decimals(2.1), decimals(23)
    (1, 0, -1)
    """
    if not doubt > 0 or not math.isfinite(doubt):
        return 1
    return min(1, -math.floor(math.log10(doubt) + 1e-9))


def rounded(value: float, doubt: float) -> str:
    """Return the value with no digit finer than its give-or-take.

    >>> rounded(12.34, 2.1), rounded(12.34, 0.3), rounded(17.0, 23.0)
    ('12', '12.3', '20')
    """
    places = decimals(doubt)
    return f"{round(value, places) + 0.0:.{max(places, 0)}f}"


def give_or_take(measure: MeasureResult) -> str:
    """Return the half width of the 95 % interval, rounded up at the digit it may be printed to."""
    if measure.sigma is None:
        return ""
    doubt = WIDE * measure.sigma
    places = decimals(doubt)
    step = 10.0**-places
    return f"{math.ceil(doubt / step - 1e-6) * step:.{max(places, 0)}f}"


def painted(measure: MeasureResult) -> str:
    """Return how the painting departs, for example ``12 % too wide``; empty where there is no number."""
    if measure.deviation is None:
        return ""
    doubt = WIDE * (measure.sigma or 0.0)
    amount = rounded(abs(measure.deviation), doubt)
    if float(amount) == 0:
        return "no difference"
    unit = UNITS.get(measure.unit, measure.unit)
    return f"{amount} {unit} {_way(measure.id, measure.deviation > 0)}"


def _way(measure_id: str, positive: bool) -> str:
    """Return the catalogue's words for the sign; a distance asked for with --between is too long or too short."""
    declared = CATALOGUE.get(measure_id)
    if declared is None:
        return "too long" if positive else "too short"
    if declared.kind == "overlap":
        return "not shared"
    if declared.kind == "gap":
        return "apart at most"
    return (declared.plus if positive else declared.minus).removeprefix("painted ")


def called(measure: MeasureResult) -> str:
    """Return the call as it is printed."""
    return {"off": "OFF", "slight": "slightly off"}.get(measure.call, measure.call)
