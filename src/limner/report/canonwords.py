"""Canons, drift and habits in a painter's words and numbers: no digit finer than the doubt."""

from __future__ import annotations

import math

from limner.compare.calibration import WIDE
from limner.compare.canons.declare import Canon, Held, Ratio
from limner.compare.canons.studies import STUDIES
from limner.result import DriftVector, Quantity, Target

CAUTION = (
    "Canons are drawing aids of their time: most faces of every population depart from them, and they measure neither "
    "beauty nor health. How often they hold is told of the named samples only."
)

GOALS: dict[Target, str] = {"canon": "the canon's", "average": "the average face's"}
WHOLES: dict[Target, str] = {"canon": "the canons", "average": "the average face"}

STAYS = 1 / 3
"""A share that is less than this for certain, and may be none, is called staying (limner's choice)."""

_PERHAPS_PAST = 1.15
"""A share above this whose doubt reaches down to 1 is said to be perhaps past it (limner's choice)."""

_PARTS = (
    (0.1, "a tenth of the way"),
    (0.25, "a quarter of the way"),
    (1 / 3, "a third of the way"),
    (0.5, "half of the way"),
    (2 / 3, "two thirds of the way"),
    (0.75, "three quarters of the way"),
    (1.0, "all of the way"),
)


def plain(value: float, sigma: float) -> tuple[str, str]:
    """A ratio and its give or take (95 %), with no digit finer than that: a second one where it begins with 1, 2, 3.

    >>> plain(1.1403, 0.0806), plain(0.26189, 0.0086), plain(4.776, 1.1)
    (('1.14', '0.16'), ('0.262', '0.017'), ('4.8', '2.2'))
    """
    doubt = WIDE * sigma
    if not (doubt > 0 and math.isfinite(doubt)):
        return f"{value:.3f}", "0.000"
    places = -math.floor(math.log10(doubt) + 1e-9)
    places = min(max(places + (doubt * 10.0**places < 3.55), 0), 3)
    return f"{value:.{places}f}", f"{math.ceil(doubt * 10**places - 1e-6) / 10**places:.{places}f}"


def of_quantity(found: Quantity) -> str:
    """A ratio with its give or take; a dash where there is none."""
    if found.value is None:
        return "-"
    return "{} (give or take {})".format(*plain(found.value, found.sigma or 0.0))


def in_columns(found: Quantity) -> tuple[str, str]:
    """The same for two columns of a table."""
    return ("-", "-") if found.value is None else plain(found.value, found.sigma or 0.0)


def book(value: float | None) -> str:
    """What a canon gives, shortly.

    >>> book(1.0), book(0.25), book(1 / 3), book(None)
    ('1', '0.25', '0.333', '-')
    """
    return "-" if value is None else f"{value:.3g}"


def meets(ratio: Ratio, found: Quantity) -> bool | None:
    """Whether the canon lies within the doubt of what was found; ``None`` where there is no value or no canon."""
    if ratio.value is None or found.value is None:
        return None
    return abs(found.value - ratio.value) <= WIDE * (found.sigma or 0.0)


def verdict(ratio: Ratio, found: Quantity) -> str:
    """How a face stands to a canon: within the doubt, or which way off it and how far."""
    met = meets(ratio, found)
    if met is None or found.value is None or ratio.value is None:
        return ""
    if met:
        return "within the doubt"
    word = ratio.words[0 if found.value > ratio.value else 1]
    if ratio.lie == "slopes":
        return f"{abs(found.value):.0f} degrees {word}"
    return f"{100 * abs(found.value / ratio.value - 1):.0f} % {word}"


def way(share: Quantity, goal: str, start: str = "the sitter's") -> str:
    """How far a painting has moved, in words.

    >>> way(Quantity(value=0.65, sigma=0.05), "the canon's")
    "has moved two thirds of the way from the sitter's to the canon's (65 %, give or take 10)"
    >>> way(Quantity(value=-0.4, sigma=0.1), "the canon's")
    "has moved away from the canon's, toward caricature (40 % of the way between, give or take 20)"
    >>> way(Quantity(value=0.05, sigma=0.1), "the canon's")
    "has stayed with the sitter's (5 % of the way to the canon's, give or take 20)"
    """
    if share.value is None:
        return "is not told"
    value, doubt = share.value, WIDE * (share.sigma or 0.0)
    step = 10 if doubt >= 0.1 else 5 if doubt >= 0.05 else 1
    give = f"give or take {step * math.ceil(100 * doubt / step - 1e-6):.0f}"
    percent = f"{round(100 * value) + 0} %"
    if abs(value) <= doubt:
        sure = abs(value) + doubt < STAYS
        said = f"has stayed with {start}" if sure else f"may have left {start}, but not beyond the doubt"
        return f"{said} ({percent} of the way to {goal}, {give})"
    if value < 0:
        return f"has moved away from {goal}, toward caricature ({round(-100 * value)} % of the way between, {give})"
    if value - doubt > 1:
        return f"has moved past {goal} ({percent} of the way, {give})"
    part = min(_PARTS, key=lambda named: abs(named[0] - value))[1]
    if value > _PERHAPS_PAST:
        part += ", perhaps past it,"
    return f"has moved {part} from {start} to {goal} ({percent}, {give})"


def whole(vector: DriftVector) -> str:
    """One movement over several ratios, as a sentence."""
    goal = WHOLES[vector.target]
    if vector.share.value is None:
        return f"As a whole toward {goal}: not told, {vector.reason}."
    count = len(vector.ratios)
    said = way(vector.share, goal, "the sitter")
    return f"As a whole, over {count} ratio{'s' if count > 1 else ''}: the painting {said}."


def held(cell: Held, number: int) -> str:
    """One published percentage with whom it was found in; ``number`` points to the source.

    >>> held(Held(canon="orbital", study="porter_2001", percent=30.6, group="women", digits=1), 4)
    '30.6 % of 108 African-American women [4]'
    """
    study = STUDIES[cell.study]
    people = dict(study.groups)[cell.group]
    itself = cell.group in ("", study.sample.split()[-1])
    who = study.sample if itself else cell.group if " " in cell.group else f"{study.sample}, {cell.group}"
    count = "" if people is None else f"{people} "
    what = "" if cell.what == "holds" else f"{cell.what} in "
    return f"{what}{cell.percent:.{cell.digits}f} % of {count}{who} [{number}]"


def numbered(canon: Canon) -> str:
    """Name and definition of a canon."""
    return f"{canon.name} ({canon.definition})"
