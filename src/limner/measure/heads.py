"""Declared measures of the big shape: hairline, top of the head, ears, neck, the head's outline with its hair.

No face finder has points for them: they need edges that stand out in both pictures, or points placed by hand. Their
formulas take an array that goes on past the mesh's 478 points, in the order of :data:`limner.face.placeable.BEYOND`.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from limner.face.placeable import OUTLINE, rows_of
from limner.measure.declare import SIDES, Kind, Measure, Subject, length, sided, slope
from limner.measure.limits import AREA, AXIS, OVERLAP, SHIFTS, SIZE
from limner.measure.lines import TURNED
from limner.measure.shapes import ENCLOSES, RESHAPED, farthest, outline_area, shared
from limner.measure.sizes import LONG, WIDE


def _length(
    id_: str, name: str, ends: tuple[str, str], about: Subject, words: tuple[str, str] = LONG, grade: str = "head"
) -> Measure:
    a, b = (rows_of(key) for key in ends)
    return Measure(
        id=id_,
        name=name,
        family="head",
        kind="length",
        about=about,
        own_points=(*a, *b),
        formula=length(a, b),
        statement="distance " + " to ".join(ends),
        limit=SIZE,
        grade=grade,
        words=words,
        placed=False,
    )


def _lengths() -> tuple[Measure, ...]:
    forehead = Subject(feature="hairline", noun="forehead", level=1, needs=("nose",))
    skull = Subject(feature="head_top", noun="head above the root of the nose", level=1, needs=("nose",))
    head = Subject(feature="head_top", noun="head", level=1, needs=("chin",))
    whole = Subject(feature="head", noun="head with its hair", level=1)
    neck = Subject(feature="neck", noun="neck", level=2, needs=())
    return (
        _length(
            "head_shape_width", "head width with its hair at the eyes", ("ho_9", "ho_3"), whole, WIDE, "head_width"
        ),
        _length(
            "hairline",
            "forehead, root of the nose to hairline",
            ("n", "tr"),
            forehead,
            ("too high", "too low"),
            "hairline",
        ),
        _length("head_top", "root of the nose to top of the head", ("n", "v"), skull, ("too high", "too low")),
        _length("head_height", "head height, top to chin", ("v", "gn"), head),
        *(_ear(side) for side in SIDES),
        _length("neck_width", "neck width under the jaw", ("nt_right", "nt_left"), neck, WIDE, "neck_width"),
    )


def _ear(side: str) -> Measure:
    ear = Subject(feature="ears", noun="ear", plural="ears", level=4)
    return _length(f"ear_length_{side}", sided("ear length", side), (f"sa_{side}", f"sba_{side}"), ear)


def _neck_axis() -> Measure:
    low, high = ((*rows_of(f"{abbr}_right"), *rows_of(f"{abbr}_left")) for abbr in ("nb", "nt"))
    return Measure(
        id="neck_axis",
        name="neck line",
        family="head",
        kind="angle",
        about=Subject(feature="neck", noun="neck line", level=1),
        own_points=(*high, *low),
        formula=slope(high, low, 90.0),
        statement="angle of the line from the middle of nt_right, nt_left to the middle of nb_right, nb_left against "
        "the plumb line of the eye line: the tilt of the head on the neck",
        limit=AXIS,
        grade="neck_axis",
        words=TURNED,
    )


def _head_shape() -> tuple[Measure, ...]:
    outline = tuple(row for key in (*OUTLINE, "gn") for row in rows_of(key))
    about = Subject(feature="head", noun="head with its hair", level=1, needs=("chin",))
    ring = f"outline {OUTLINE[0]} to {OUTLINE[-1]} and gn"

    def measure(part: str, name: str, kind: Kind, statement: str) -> Measure:
        return Measure(
            id=f"head_shape_{part}",
            name=name,
            family="head",
            kind=kind,
            about=about,
            own_points=outline,
            formula=outline_area(outline) if kind == "area" else None,
            pair={"overlap": shared, "gap": farthest}[kind](outline) if kind in ("overlap", "gap") else None,
            statement=f"{statement}, {ring}",
            limit={"area": AREA, "overlap": OVERLAP}.get(kind, SHIFTS["chin"]),
            grade=f"head_{part}",
            words=ENCLOSES if kind == "area" else RESHAPED,
            placed=kind != "area",
            outline=outline,
        )

    return (
        measure("area", "area of the head with its hair", "area", "area inside the outline"),
        measure("overlap", "shape of the head with its hair: shared", "overlap", "shared area over joint area"),
        measure("gap", "shape of the head with its hair: greatest gap", "gap", "greatest distance between outlines"),
    )


HEADS: Mapping[str, Measure] = MappingProxyType(
    {measure.id: measure for measure in (*_head_shape(), *_lengths(), _neck_axis())}
)
"""Every measure of what the mesh does not have, by its id."""
