"""Findings in a painter's words: no digit finer than the doubt, sides the sitter's, moves the picture's."""

from __future__ import annotations

import math

from limner.compare.calibration import WIDE
from limner.measure.declare import Measure
from limner.result import MeasureResult, Quantity

EYE_DISTANCE = "% of the distance between the pupils"


def rounded(value: float, sigma: float) -> tuple[str, str]:
    """A number and its "give or take", with no digit finer than that.

    The give or take holds 95 times out of 100 (1.96 sigma), rounded up at its first digit; at its second where it
    begins with 1, 2 or 3 and tens would be all that is left of a number (the rule of the Review of Particle Physics).

    A number that is more than its doubt is never printed as less: its "give or take" is then rounded up no further
    than to the number itself.

    >>> rounded(14.2, 1.1), rounded(2.54, 0.15), rounded(17.0, 11.7), rounded(57.0, 31.0)
    (('14', '3'), ('2.5', '0.3'), ('17', '23'), ('60', '70'))
    >>> rounded(8.4, 4.2), rounded(8.1, 4.2)
    (('8', '8'), ('8', '9'))
    """
    doubt = WIDE * sigma
    if not doubt > 0 or not math.isfinite(doubt):
        return f"{value:.1f}", "0.0"
    places = min(1, -math.floor(math.log10(doubt) + 1e-9))
    if places < 0 and doubt * 10.0**places < 3.55:
        places += 1
    step = 10.0**-places
    shown = max(places, 0)
    near, up = round(value, places) + 0.0, math.ceil(doubt / step - 1e-6) * step
    if abs(value) > doubt:
        up = min(up, max(abs(near), step))
    return f"{near:.{shown}f}", f"{up:.{shown}f}"


def in_mm(value: float, sigma: float) -> tuple[str, str]:
    """The same of millimetres, which are few: one digit more where a number would else be printed as its own doubt.

    >>> in_mm(6.2, 2.9), in_mm(6.2, 1.2), in_mm(2.0, 2.9), in_mm(0.84, 0.35)
    (('6.2', '5.7'), ('6', '3'), ('2', '6'), ('0.8', '0.7'))
    """
    number, doubt = rounded(value, sigma)
    if "." in doubt or abs(float(number)) > float(doubt) or not abs(value) > WIDE * sigma:
        return number, doubt
    return f"{value:.1f}", f"{min(math.ceil(10 * WIDE * sigma - 1e-6) / 10, abs(round(value, 1))):.1f}"


def degrees(value: str) -> str:
    """The word for so many of them."""
    return "degree" if value in ("1", "1.0") else "degrees"


def amount(measure: Measure, far: Quantity, mm: Quantity) -> str:
    """How far: ``about 14 % (give or take 3)``; on a known canvas ``about 6 mm (give or take 2), or 14 %``.

    Args:
        measure: as it is declared.
        far: the deviation, in the measure's unit.
        mm: the same in millimetres on the canvas; no value where they are not known.
    """
    value, doubt = rounded(abs(far.value or 0.0), far.sigma or 0.0)
    give = f"(give or take {doubt})"
    if measure.kind == "angle":
        return f"about {value} {degrees(value)} {give}"
    if measure.kind == "overlap":
        return f"about {value} % of it is not shared {give}"
    unit = "%" if measure.unit == "percent" else EYE_DISTANCE
    if mm.value is not None and mm.sigma is not None:
        told, doubt = in_mm(abs(mm.value), mm.sigma)
        lie, apart, of = (
            ("the outlines lie up to ", "apart ", " of its size") if measure.kind == "gap" else ("", "", "")
        )
        return f"{lie}about {told} mm {apart}(give or take {doubt}), or {value} {unit}{of}"
    if measure.kind == "gap":
        return f"the outlines lie up to about {value} % of its size apart {give}"
    return f"about {value} {unit} {give}"


def finding(measure: Measure, result: MeasureResult) -> str:
    """One sentence for one measure; empty where there is no number."""
    if result.deviation is None or result.sigma is None:
        return ""
    return f"{_subject(measure)} is {_way(measure, result.deviation)}: {_amount_of(measure, result)}."


def finding_of_both(measure: Measure, right: MeasureResult, left: MeasureResult) -> str:
    """One sentence for the same error on both sides."""
    if right.deviation is None or left.deviation is None or right.sigma is None or left.sigma is None:
        return ""
    start = f"Both {measure.about.plural} are {_way(measure, right.deviation)}: "
    sigma = math.hypot(right.sigma, left.sigma)
    if abs(right.deviation - left.deviation) > WIDE * sigma:
        first, second = _amount_of(measure, right), _amount_of(measure, left)
        return f"{start}the sitter's right {first}, the sitter's left {second}."
    # The two share most of what makes them wrong, so their mean is taken to be no surer than the surer of the two.
    both = (_far(right), _far(left)), (right.deviation_mm, left.deviation_mm)
    return start + amount(measure, *(_mean(*pair) for pair in both)) + "."


def _far(result: MeasureResult) -> Quantity:
    return Quantity(value=result.deviation, sigma=result.sigma)


def _amount_of(measure: Measure, result: MeasureResult) -> str:
    return amount(measure, _far(result), result.deviation_mm)


def _mean(one: Quantity, other: Quantity) -> Quantity:
    """The mean of two, with the larger doubt; no value where one has none."""
    if one.value is None or other.value is None:
        return Quantity(value=None, sigma=None)
    return Quantity(value=(one.value + other.value) / 2, sigma=max(one.sigma or 0.0, other.sigma or 0.0))


def _subject(measure: Measure) -> str:
    noun = measure.about.noun
    if measure.side:
        return f"The sitter's {measure.side} {noun}"
    return f"The {noun}"


def _way(measure: Measure, deviation: float) -> str:
    return measure.words[0] if deviation > 0 else measure.words[1]
