"""Declared measures: axes, slants and the angles between axes. Degrees, positive clockwise as seen."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limner.measure.declare import EYES, PUPIL_FEATURES, SIDES, FrameName, Measure, Subject, at, ring, sided, slope
from limner.measure.geometry import line_angle, wrap
from limner.measure.limits import AXIS

Array = NDArray[np.float64]
Line = tuple[tuple[int, ...], tuple[int, ...], tuple[str, ...], str]

TURNED = ("turned clockwise", "turned anticlockwise")

LINES: dict[str, Line] = {
    "brows": (ring("brow_right"), ring("brow_left"), ("brow_right", "brow_left"), "middle of brow to middle of brow"),
    "eyes": (at("ex_right"), at("ex_left"), EYES, "ex_right to ex_left"),
    "pupils": (at("p_right"), at("p_left"), PUPIL_FEATURES, "p_right to p_left"),
    "nose base": (at("al_right"), at("al_left"), ("nose",), "al_right to al_left"),
    "mouth": (at("ch_right"), at("ch_left"), ("lips",), "ch_right to ch_left"),
    "jaw": (at("go_right"), at("go_left"), ("jaw",), "go_right to go_left"),
    "centre": (at("n"), at("gn"), ("nose", "chin"), "n to gn"),
    "nose": (at("n"), at("prn"), ("nose",), "n to prn"),
}
"""Lines of the face: ends (drawn toward picture right, or downward), features, abbreviation."""

_UPRIGHT = ("centre", "nose")


def _axis(
    id_: str,
    name: str,
    line: str,
    *,
    feature: str,
    level: int = 2,
    grade: str = "axis",
    frame: FrameName = "eyes",
) -> Measure:
    a, b, needs, abbr = LINES[line]
    against = "the eye line" if frame == "eyes" else "the head's own cross line, by the head fit"
    plumb = "the plumb line of " if line in _UPRIGHT else ""
    return Measure(
        id=id_,
        name=name,
        family="axis",
        kind="angle",
        about=Subject(feature=feature, noun=name, level=level, needs=needs),
        own_points=(*a, *b),
        formula=slope(a, b, 90.0 if plumb else 0.0),
        statement=f"angle of the line {abbr} against {plumb}{against}",
        limit=AXIS,
        grade=grade,
        words=TURNED,
        frame=frame,
    )


AXES: tuple[Measure, ...] = (
    _axis("eye_axis", "eye line in the head", "pupils", feature="eyes", grade="axis.upper", frame="head", level=1),
    _axis("brow_axis", "brow line", "brows", feature="brows", grade="axis.upper"),
    _axis("nose_base_axis", "line of the nose base", "nose base", feature="nose", grade="axis.nose_base"),
    _axis("mouth_axis", "mouth line", "mouth", feature="lips"),
    _axis("jaw_axis", "jaw line", "jaw", feature="jaw", grade="contour_axis"),
    _axis("centre_axis", "centre line", "centre", feature="chin", grade="contour_axis", level=1),
    _axis("nose_axis", "nose line", "nose", feature="nose", grade="axis.nose"),
)


def _slant(part: str, side: str) -> Measure:
    outer, inner = (f"ex_{side}", f"en_{side}") if part == "eye" else (f"bo_{side}", f"bi_{side}")
    first, second = (outer, inner) if side == "right" else (inner, outer)  # both drawn toward picture right
    a, b = at(first), at(second)
    return Measure(
        id=f"{part}_slant_{side}",
        name=sided(f"slant of the {part}", side),
        family="slant",
        kind="angle",
        about=Subject(feature=f"{part}_{side}", noun=part, plural=f"{part}s", level=4),
        own_points=(*a, *b),
        formula=slope(a, b),
        statement=f"angle of the line {first} to {second} against the eye line",
        limit=AXIS,
        grade=f"{part}_slant",
        words=TURNED,
    )


def _between(id_: str, first: str, second: str, *, feature: str, grade: str = "axis") -> Measure:
    """Angle from one line of the face to another, positive where the second is turned clockwise from the first."""
    a, b, ones, abbr = LINES[first]
    c, d, others, other_abbr = LINES[second]
    names = {"eyes": "line through the eye corners", "brows": "brow line", "nose base": "line of the nose base"}

    def angle(points: Array) -> Array:
        return wrap(line_angle(points, c, d) - line_angle(points, a, b))

    noun = " against the ".join(names.get(line, f"{line} line") for line in (second, first))
    return Measure(
        id=id_,
        name=noun,
        family="angle",
        kind="angle",
        about=Subject(feature=feature, noun=noun, level=3, needs=(*ones, *others)),
        own_points=(*a, *b, *c, *d),
        formula=angle,
        statement=f"angle from the line {abbr} to the line {other_abbr}",
        limit=AXIS,
        grade=grade,
        words=TURNED,
        placed=False,
    )


ANGLES: tuple[Measure, ...] = (
    _between("brows_eyes_angle", "brows", "eyes", feature="brows", grade="axis.upper"),
    _between("eyes_mouth_angle", "eyes", "mouth", feature="lips"),
    _between("brows_mouth_angle", "brows", "mouth", feature="lips"),
    _between("nose_base_mouth_angle", "nose base", "mouth", feature="lips", grade="axis.nose_base"),
    _between("mouth_jaw_angle", "mouth", "jaw", feature="jaw", grade="contour_axis"),
    _between("nose_centre_angle", "nose", "centre", feature="chin", grade="contour_axis"),
)

SLANTS: tuple[Measure, ...] = tuple(_slant(part, side) for part in ("eye", "brow") for side in SIDES)
