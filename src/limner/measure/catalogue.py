"""Every measure limner takes, each declared once. The table, every output and the documents come from here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from limner.face.points import HAND_POINTS
from limner.measure.declare import Measure
from limner.measure.lines import ANGLES, AXES, SLANTS
from limner.measure.places import PLACES
from limner.measure.shapes import NEGATIVES, SHAPES
from limner.measure.sizes import SIZES, between

__all__ = ["CATALOGUE", "FAMILIES", "NOT_SEEN", "Measure", "between", "measures_table"]

CATALOGUE: Mapping[str, Measure] = MappingProxyType(
    {measure.id: measure for measure in (*SIZES, *PLACES, *AXES, *SLANTS, *ANGLES, *SHAPES, *NEGATIVES)}
)
"""Every measure by its id."""

FAMILIES: tuple[str, ...] = tuple(dict.fromkeys(measure.family for measure in CATALOGUE.values()))
"""Every family, in the catalogue's order."""

_EARS = ", ".join(point.key for point in HAND_POINTS if point.region == "ear")

NOT_SEEN: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "hairline": ("hairline", "read only where its edge stands out in both pictures; else mark it by hand (tr)"),
        "head_top": (
            "top of the head",
            "read only where its edge stands out in both pictures; else mark it by hand (v)",
        ),
        "ears": (
            "ears",
            f"not looked for; mark them by hand, in the reference at least ({_EARS})",
        ),
    }
)
"""What is not guessed where it does not stand out: id -> plain name and the reason."""


def measures_table(measures: Iterable[Measure] = tuple(CATALOGUE.values())) -> list[dict[str, str]]:
    """One row for each measure: what it is, how it is formed, what a viewer notices and who says so.

    >>> row = measures_table()[0]
    >>> row["id"], row["unit"], row["threshold"]
    ('pupil_distance', 'percent', '8')
    """
    return [
        {
            "id": measure.id,
            "name": measure.name,
            "family": measure.family,
            "unit": measure.unit,
            "feature": measure.feature,
            "points": " ".join(str(index) for index in measure.points),
            "formula": measure.statement,
            "threshold": f"{measure.limit.value:g}" + (" % of pupil distance" if measure.kind == "gap" else ""),
            "source": measure.limit.source,
        }
        for measure in measures
    ]
