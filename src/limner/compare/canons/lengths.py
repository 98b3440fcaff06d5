"""The lengths that the canons' ratios are made of: the catalogue's, and a few between points the catalogue lacks."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from limner.face.placeable import rows_of
from limner.measure.catalogue import CATALOGUE
from limner.measure.declare import SIDES, Measure, Subject, length, slope
from limner.measure.limits import AXIS, SIZE
from limner.measure.lines import TURNED
from limner.measure.sizes import LONG

_REUSED = (
    *(f"eye_width_{side}" for side in SIDES),
    *(f"iris_width_{side}" for side in SIDES),
    *("between_eyes", "nose_width", "mouth_width", "face_width"),
    *("nose_length", "lower_face", "chin_height", "face_height"),
)

Ends = tuple[tuple[str, ...], tuple[str, ...]]


def _span(
    id_: str, name: str, ends: Ends, needs: tuple[str, ...], grade: str = "contour", feature: str = ""
) -> Measure:
    """A length between two places, each the mean of some named points."""
    a, b = (tuple(row for key in keys for row in rows_of(key)) for keys in ends)
    said = " to ".join(" and ".join(keys) for keys in ends)
    return Measure(
        id=id_,
        name=name,
        family="canon",
        kind="length",
        about=Subject(feature=feature or needs[0], noun=name, level=2, needs=needs),
        own_points=(*a, *b),
        formula=length(a, b),
        statement=f"distance {said}",
        limit=SIZE,
        grade=grade,
        words=LONG,
        placed=False,
    )


def _slope(id_: str, name: str, ends: tuple[str, str], feature: str) -> Measure:
    a, b = (rows_of(key) for key in ends)
    return Measure(
        id=id_,
        name=name,
        family="canon",
        kind="angle",
        about=Subject(feature=feature, noun=name, level=4, needs=(feature,)),
        own_points=(*a, *b),
        formula=slope(a, b),
        statement="angle of the line " + " to ".join(ends),
        limit=AXIS,
        grade="contour_axis",
        words=TURNED,
        placed=False,
    )


_EN, _P = ("en_right", "en_left"), ("p_right", "p_left")
_EYES, _IRISES = ("eye_right", "eye_left"), ("iris_right", "iris_left")

_OWN = (
    _span("pupils", "between the pupils", (_P[:1], _P[1:]), _IRISES, "pupil_distance", "eyes"),
    _span("hairline_to_root", "hairline to root of the nose", (("tr",), ("n",)), ("nose",)),
    _span("hairline_to_brow", "hairline to brow", (("tr",), ("g",)), ("face",)),
    _span("hairline_to_chin", "hairline to chin", (("tr",), ("gn",)), ("chin",)),
    _span("top_to_hairline", "top of the head to hairline", (("v",), ("tr",)), ("face",)),
    _span("top_to_eyes", "top of the head to the inner eye corners", (("v",), _EN), _EYES),
    _span("top_to_chin", "top of the head to chin", (("v",), ("gn",)), ("chin",)),
    _span("eyes_to_chin", "inner eye corners to chin", (_EN, ("gn",)), ("chin", *_EYES), "chin_length"),
    _span("pupils_to_chin", "pupils to chin", (_P, ("gn",)), ("chin", *_IRISES), "chin_length"),
    _span("brow_to_base", "brow to nose base", (("g",), ("sn",)), ("nose",), "between"),
    _span("brow_to_chin", "brow to chin", (("g",), ("gn",)), ("chin",), "chin_length"),
    _span("base_to_mouth", "nose base to mouth line", (("sn",), ("sto",)), ("nose", "lips"), "between"),
    _span("base_to_lower_lip", "nose base to lower lip's edge", (("sn",), ("li",)), ("nose", "lower_lip"), "between"),
    *(
        _span(f"ear_{side}", f"ear length, sitter's {side}", ((f"sa_{side}",), (f"sba_{side}",)), ("face",))
        for side in SIDES
    ),
    _slope("bridge_slope", "slope of the bridge of the nose", ("n", "prn"), "nose"),
    *(
        _slope(f"ear_slope_{side}", f"slope of the ear, sitter's {side}", (f"sa_{side}", f"sba_{side}"), "face")
        for side in SIDES
    ),
)

LENGTHS: Mapping[str, Measure] = MappingProxyType(
    {**{id_: CATALOGUE[id_] for id_ in _REUSED}, **{measure.id: measure for measure in _OWN}}
)
"""Every length (and slope) a ratio may take, by its id."""
