"""Declared measures: the shape of each feature, three numbers each."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limner.face.points import NAMED_POINTS
from limner.measure.declare import SIDES, Formula, Measure, PairFormula, Subject, at, ring
from limner.measure.geometry import area, greatest_gap, overlap
from limner.measure.limits import AREA, OVERLAP, SHIFTS

Array = NDArray[np.float64]

_SHAPES: dict[str, tuple[Subject, str, str]] = {
    "eye_right": (Subject(feature="eye_right", noun="eye", plural="eyes", level=4), "eyelid", "eye"),
    "eye_left": (Subject(feature="eye_left", noun="eye", plural="eyes", level=4), "eyelid", "eye"),
    "lips": (Subject(feature="lips", noun="mouth", level=4), "mouth corner", "lip"),
    "nose": (Subject(feature="nose", noun="nose", level=3), "nose tip", "nose"),
    "brow_right": (Subject(feature="brow_right", noun="brow", plural="brows", level=4), "brow", "brow"),
    "brow_left": (Subject(feature="brow_left", noun="brow", plural="brows", level=4), "brow", "brow"),
    "face": (Subject(feature="face", noun="outline of the face", level=1), "chin", "contour"),
}
"""Feature -> subject, whose published shift its gap is held against, calibration rows."""

_LAID = (
    "both outlines in the eye-line frame under the held scale, each about the middle of its own area, "
    "so that place has no part in it"
)
ENCLOSES = ("painted too large", "painted too small")
RESHAPED = ("painted in another shape", "painted in another shape")


def outline_area(outline: tuple[int, ...]) -> Formula:
    """Formula: area inside the outline, in the frame's unit squared."""
    return lambda points: area(points, outline)


def _centred(points: Array, outline: tuple[int, ...]) -> Array:
    """The outline alone, moved so that the middle of its area lies in the origin.

    Size and turn stay as the frame has them, so what differs between two such outlines is shape, size and slant, and
    not place.
    """
    shape = points[..., list(outline), :]
    shape = shape - shape.mean(axis=-2, keepdims=True)
    following = np.concatenate([shape[..., 1:, :], shape[..., :1, :]], axis=-2)
    cross = shape[..., 0] * following[..., 1] - following[..., 0] * shape[..., 1]
    total = cross.sum(axis=-1)[..., None]
    flat = np.abs(total) <= 1e-12
    middle = ((shape + following) * cross[..., None]).sum(axis=-2) / np.where(flat, 1.0, 3 * total)
    return np.asarray(shape - np.where(flat, 0.0, middle)[..., None, :])


def shared(outline: tuple[int, ...]) -> PairFormula:
    """Formula: intersection over union of the two outlines, each about its own middle."""
    return lambda first, second: overlap(_centred(first, outline), _centred(second, outline))


def farthest(outline: tuple[int, ...]) -> PairFormula:
    """Formula: greatest gap between the two outlines, each about its own middle, in the frame's unit."""
    return lambda first, second: greatest_gap(_centred(first, outline), _centred(second, outline))


def _three(feature: str) -> tuple[Measure, ...]:
    about, visible, grade = _SHAPES[feature]
    side = feature.rsplit("_", 1)[-1]
    of = f"{about.noun}, sitter's {side}" if about.plural else about.noun
    outline = ring(feature)
    return (
        Measure(
            id=f"{feature}_area",
            name=f"area of the {of}",
            family="shape",
            kind="area",
            about=about,
            own_points=outline,
            formula=outline_area(outline),
            statement="area inside the outline",
            limit=AREA,
            grade=f"{grade}_area",
            words=ENCLOSES,
            placed=False,
            outline=outline,
        ),
        Measure(
            id=f"{feature}_overlap",
            name=f"shape of the {of}: shared",
            family="shape",
            kind="overlap",
            about=about,
            own_points=outline,
            formula=None,
            pair=shared(outline),
            statement=f"shared area over joint area, {_LAID}",
            limit=OVERLAP,
            grade=f"{grade}_overlap",
            words=RESHAPED,
            outline=outline,
        ),
        Measure(
            id=f"{feature}_gap",
            name=f"shape of the {of}: greatest gap",
            family="shape",
            kind="gap",
            about=about,
            own_points=outline,
            formula=None,
            pair=farthest(outline),
            statement=f"greatest distance between the outlines, {_LAID}; percent of the reference outline's extent",
            limit=SHIFTS[visible],
            grade=f"{grade}_gap",
            words=RESHAPED,
            outline=outline,
        ),
    )


SHAPES: tuple[Measure, ...] = tuple(measure for feature in _SHAPES for measure in _three(feature))


def _negative(id_: str, noun: str, feature: str, keys: tuple[str, ...], *, grade: str, plural: str = "") -> Measure:
    outline = at(*keys)
    needs = {"eye": "eye_{}", "iris": "iris_{}", "mouth": "lips", "nose": "nose", "face": "face"}
    points = [NAMED_POINTS[key] for key in keys]
    about = Subject(
        feature=feature,
        noun=noun,
        plural=plural,
        level=2,
        needs=tuple(dict.fromkeys(needs[point.region].format(point.side) for point in points)),
    )
    side = id_.rsplit("_", 1)[-1]
    return Measure(
        id=id_,
        name=f"area of the {noun}, sitter's {side}" if plural else f"area of the {noun}",
        family="negative",
        kind="area",
        about=about,
        own_points=outline,
        formula=outline_area(outline),
        statement=f"area inside {', '.join(keys)}",
        limit=AREA,
        grade=grade,
        words=ENCLOSES,
        placed=False,
        outline=outline,
    )


NEGATIVES: tuple[Measure, ...] = (
    _negative(
        "negative_eyes_nose",
        "triangle of pupils and nose base",
        "nose",
        ("p_right", "p_left", "sn"),
        grade="triangle_area",
    ),
    _negative(
        "negative_eyes_mouth",
        "triangle of pupils and mouth",
        "lips",
        ("p_right", "p_left", "stu"),
        grade="triangle_area",
    ),
    *(
        _negative(
            f"negative_cheek_{side}",
            "cheek between eye, nose, mouth and jaw",
            "face",
            tuple(f"{key}_{side}" for key in ("ex", "zy", "go", "ch", "al", "en")),
            grade="cheek_area",
            plural="cheeks between eyes, nose, mouth and jaw",
        )
        for side in SIDES
    ),
)
"""Negative shapes: what lies between the features."""
