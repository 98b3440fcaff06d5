"""What was measured in people: two surveys, and the ratios within one of them. A ratio never takes from both."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from limner.compare.canons.declare import Observed

Pair = tuple[float, float]
"""Mean and standard deviation."""


@dataclass(frozen=True, kw_only=True)
class Survey:
    """One survey of people's faces."""

    id: str
    cite: str
    sample: str
    men: Mapping[str, Pair]
    """Length -> mean and standard deviation, mm."""
    women: Mapping[str, Pair]
    men_ratios: Mapping[str, Pair]
    """Ratios formed for each person -> mean and standard deviation."""
    women_ratios: Mapping[str, Pair]


def _survey(
    id_: str, cite: str, sample: str, lengths: Mapping[str, tuple[Pair, Pair]], ratios: Mapping[str, tuple[Pair, Pair]]
) -> Survey:
    def of(rows: Mapping[str, tuple[Pair, Pair]], sex: int) -> Mapping[str, Pair]:
        return MappingProxyType({key: row[sex] for key, row in rows.items()})

    return Survey(
        id=id_,
        cite=cite,
        sample=sample,
        men=of(lengths, 0),
        women=of(lengths, 1),
        men_ratios=of(ratios, 0),
        women_ratios=of(ratios, 1),
    )


NORMS = _survey(
    "3D Facial Norms",
    "3D Facial Norms, Weinberg et al. 2016, Cleft Palate Craniofac J 53(6):e185-e197, smoothed means at age 25",
    "people of European descent in the United States, about 950 men and 1500 women; "
    "cheekbones by calipers, the rest from photographs in three dimensions",
    {
        "en-en": ((32.74, 2.90), (31.46, 2.70)),
        "ex-ex": ((88.85, 4.05), (85.64, 3.82)),
        "ex-en": ((28.71, 1.95), (27.83, 1.97)),
        "al-al": ((35.91, 2.62), (32.67, 2.34)),
        "ch-ch": ((50.10, 3.84), (47.87, 3.54)),
        "n-gn": ((126.64, 6.64), (118.03, 5.84)),
        "n-sn": ((56.65, 3.93), (54.47, 3.56)),
        "sn-sto": ((22.63, 2.54), (20.25, 2.44)),
        "sn-ls": ((16.33, 2.49), (14.00, 2.35)),
        "ls-sto": ((7.59, 1.61), (7.39, 1.41)),
        "sto-li": ((8.72, 2.12), (8.58, 1.74)),
        "zy-zy": ((137.12, 6.27), (130.09, 5.30)),
        "go-go": ((103.69, 7.10), (96.96, 6.48)),
    },
    {},
)

ANSUR = _survey(
    "ANSUR II",
    "ANSUR II, Gordon et al. 2014, NATICK/TR-15/007, each person's ratio from the public tables",
    "the US Army of 2010 to 2012, 4082 men and 1986 women; menton to sellion stands for gn-n",
    {
        "p-p": ((64.02, 3.42), (61.71, 3.62)),
        "n-gn": ((122.6, 6.67), (113.1, 6.09)),
        "zy-zy": ((142.6, 6.22), (133.8, 5.56)),
        "ear": ((64.2, 4.51), (59.4, 3.88)),
    },
    {
        "n-gn / p-p": ((1.920, 0.134), (1.838, 0.130)),
        "zy-zy / p-p": ((2.232, 0.117), (2.173, 0.117)),
        "n-gn / zy-zy": ((0.861, 0.054), (0.847, 0.051)),
    },
)

SURVEYS: Mapping[str, Survey] = MappingProxyType({survey.id: survey for survey in (NORMS, ANSUR)})

_APART = "standard deviation as if the lengths were independent: an upper bound where they go together"
_ADDED = "; lengths along the face added as if on one line"
_CENTRES = "; between the middles of the eyes' openings instead of the pupils"


def ratio_in(survey: Survey, sex: str, above: Mapping[str, float], below: Mapping[str, float]) -> Pair:
    """Mean and standard deviation of a ratio of two sums of one survey's lengths, the lengths taken as independent.

    Args:
        survey: the survey; every length must be of it.
        sex: ``men`` or ``women``.
        above: length -> its factor in the sum above the line.
        below: the same below it.

    Raises:
        KeyError: if a length is not of this survey; two surveys are never mixed.

    >>> [round(v, 2) for v in ratio_in(NORMS, "men", {"al-al": 1}, {"en-en": 1})]
    [1.1, 0.13]
    """
    table = survey.men if sex == "men" else survey.women
    for name in (*above, *below):
        if name not in table:
            raise KeyError(f"{survey.id} has no length {name}; a ratio is never taken from two surveys")
    top = sum(factor * table[name][0] for name, factor in above.items())
    bottom = sum(factor * table[name][0] for name, factor in below.items())
    slopes = (
        (above.get(name, 0.0) / bottom - below.get(name, 0.0) * top / bottom**2, table[name][1])
        for name in dict.fromkeys((*above, *below))
    )
    return top / bottom, math.sqrt(sum((slope * spread) ** 2 for slope, spread in slopes))


def _norms(above: Mapping[str, float], below: Mapping[str, float], more: str = "") -> Observed:
    if len(above) + len(below) > 2 and not more:
        more = _ADDED
    return Observed(
        survey=NORMS.id,
        men=ratio_in(NORMS, "men", above, below),
        women=ratio_in(NORMS, "women", above, below),
        note=_APART + more,
    )


def _ansur(name: str) -> Observed:
    return Observed(survey=ANSUR.id, men=ANSUR.men_ratios[name], women=ANSUR.women_ratios[name])


_SN_GN = {"n-gn": 1.0, "n-sn": -1.0}
_STO_GN = {"n-gn": 1.0, "n-sn": -1.0, "sn-sto": -1.0}
_CENTRE = {"en-en": 0.5, "ex-ex": 0.5}

OBSERVED: Mapping[str, Observed] = MappingProxyType(
    {
        "orbital": _norms({"en-en": 1}, {"ex-en": 1}),
        "orbitonasal": _norms({"al-al": 1}, {"en-en": 1}),
        "naso_oral": _norms({"ch-ch": 1}, {"al-al": 1}),
        "nasofacial": _norms({"al-al": 1}, {"zy-zy": 1}),
        "five_eyes": _norms({"zy-zy": 1}, {"ex-en": 1}),
        "three_section_lower": _norms({"n-sn": 1}, _SN_GN),
        "mouth_under_pupils": _norms({"ch-ch": 1}, _CENTRE, _CENTRES),
        "lower_lip_half": _norms({"sn-sto": 1, "sto-li": 1}, _SN_GN),
        "leonardo_mouth": _norms({"ch-ch": 1}, _STO_GN),
        "face_height_width": _ansur("n-gn / zy-zy"),
        "face_width_pupils": _ansur("zy-zy / p-p"),
        "face_height_pupils": _ansur("n-gn / p-p"),
    }
)
"""Ratio -> what was observed, where one survey alone can tell. Ear against nose cannot: no survey here has both."""

ANY_SPREAD = 0.12
"""Relative standard deviation taken where no survey tells a ratio's: about the widest of those that are told (the
nose against the space between the eyes, 0.13 of 1.10). Limner's choice."""
