"""Declared measures: where features stand, plumb and level alignments, the iris in its opening."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limner.measure.declare import EYE_LINE_NOTE, SIDES, Formula, FrameName, Limit, Measure, Subject, at, ring, sided
from limner.measure.geometry import mean_point
from limner.measure.limits import SHIFTS

Array = NDArray[np.float64]

RIGHTWARD = ("too far toward picture right", "too far toward picture left")
DOWNWARD = ("too low", "too high")
HEAD_NOTE = "in the head frame (from the head fit: place, turn and size of the whole face)"

NOSE_PLACE = at("prn", "sn", "al_right", "al_left")
MOUTH_PLACE = at("ch_right", "ch_left", "sto")


def apart(a: tuple[int, ...], b: tuple[int, ...], axis: int, sign: float = 1.0) -> Formula:
    """Formula: x or y of the mean of the points ``a`` less that of the points ``b``."""
    return lambda points: np.asarray(sign * (mean_point(points, a) - mean_point(points, b))[..., axis])


def _coordinate(indices: tuple[int, ...], axis: int) -> Formula:
    return lambda points: np.asarray(mean_point(points, indices)[..., axis])


def _place(
    id_: str,
    name: str,
    place: tuple[tuple[int, ...], int, str],
    about: Subject,
    *,
    limit: Limit,
    grade: str = "position",
    frame: FrameName = "eyes",
) -> Measure:
    indices, axis, what = place
    return Measure(
        id=id_,
        name=name,
        family="position",
        kind="position",
        about=about,
        own_points=indices,
        formula=_coordinate(indices, axis),
        statement=f"{'xy'[axis]} of {what}, {EYE_LINE_NOTE if frame == 'eyes' else HEAD_NOTE}",
        limit=limit,
        grade=grade,
        words=DOWNWARD if axis else RIGHTWARD,
        frame=frame,
    )


def _middles() -> tuple[Measure, ...]:
    nose, nose_of = Subject(feature="nose", noun="nose", level=2), "the mean of prn, sn and both al"
    mouth, mouth_of = Subject(feature="lips", noun="mouth", level=2), "the mean of both ch and sto"
    chin = Subject(feature="chin", noun="chin", level=1)
    tip, corner = SHIFTS["nose tip"], SHIFTS["mouth corner"]
    return (
        _place("nose_x", "nose, across", (NOSE_PLACE, 0, nose_of), nose, limit=tip),
        _place("nose_y", "nose, height", (NOSE_PLACE, 1, nose_of), nose, limit=tip),
        _place("mouth_x", "mouth, across", (MOUTH_PLACE, 0, mouth_of), mouth, limit=corner),
        _place("mouth_y", "mouth, height", (MOUTH_PLACE, 1, mouth_of), mouth, limit=corner),
        _place("chin_y", "chin, height", (at("gn"), 1, "gn"), chin, limit=SHIFTS["chin"], grade="contour_position"),
    )


def _sided_places(side: str) -> tuple[Measure, ...]:
    brow = Subject(feature=f"brow_{side}", noun="brow", plural="brows", level=2)
    eye = Subject(feature=f"eye_{side}", noun="eye", plural="eyes", level=1)
    outline, what = ring(f"eye_{side}"), "the mean of the eye's outline"
    lid = SHIFTS["eyelid"]
    return (
        _place(
            f"brow_{side}_y",
            sided("brow, height", side),
            (ring(f"brow_{side}"), 1, "the mean of the brow's outline"),
            brow,
            limit=SHIFTS["brow"],
            grade="position.brow",
        ),
        *(
            _place(
                f"eye_{side}_{'xy'[axis]}",
                sided(f"eye in the head, {where}", side),
                (outline, axis, what),
                eye,
                limit=lid,
                grade="position.eye",
                frame="head",
            )
            for axis, where in enumerate(("across", "height"))
        ),
    )


def _alignment(
    id_: str,
    name: str,
    ends: tuple[tuple[int, ...], tuple[int, ...], int],
    about: Subject,
    *,
    statement: str,
    limit: Limit,
    grade: str,
    words: tuple[str, str],
) -> Measure:
    one, other, axis = ends
    outward = -1.0 if "outside" in words[0] and id_.endswith("_right") else 1.0  # the sitter's right is picture left
    return Measure(
        id=id_,
        name=name,
        family="iris" if about.feature.startswith("iris") else "alignment",
        kind="position",
        about=about,
        own_points=tuple(dict.fromkeys((*one, *other))),
        formula=apart(one, other, axis, outward),
        statement=f"{statement}, {EYE_LINE_NOTE}",
        limit=limit,
        grade=grade,
        words=words,
    )


def _plumbs(side: str) -> tuple[Measure, ...]:
    mouth, wing = "plumb line of the pupil", "plumb line of the inner eye corner"
    return (
        _alignment(
            f"mouth_corner_pupil_{side}",
            sided("mouth corner against the plumb line of the pupil", side),
            (at(f"ch_{side}"), at(f"p_{side}"), 0),
            Subject(feature="lips", noun="mouth corner", plural="mouth corners", level=4),
            statement="how far ch stands outside the plumb line through p (negative: inside)",
            limit=SHIFTS["mouth corner"],
            grade="position.corner",
            words=(f"too far outside the {mouth}", f"too far inside the {mouth}"),
        ),
        _alignment(
            f"nose_wing_eye_corner_{side}",
            sided("wing of the nose against the plumb line of the inner eye corner", side),
            (at(f"al_{side}"), at(f"en_{side}"), 0),
            Subject(feature="nose", noun="wing of the nose", plural="wings of the nose", level=4),
            statement="how far al stands outside the plumb line through en (negative: inside)",
            limit=SHIFTS["nose tip"],
            grade="position.wing",
            words=(f"too far outside the {wing}", f"too far inside the {wing}"),
        ),
    )


def _levels() -> tuple[Measure, ...]:
    words = ("too low against the other", "too high against the other")
    return (
        _alignment(
            "mouth_corner_level",
            "mouth corner, sitter's left, level with the other",
            (at("ch_left"), at("ch_right"), 1),
            Subject(feature="lips", noun="sitter's left mouth corner", level=4),
            statement="y of the sitter's left ch less y of the right",
            limit=SHIFTS["mouth corner"],
            grade="position.corner",
            words=words,
        ),
        _alignment(
            "nose_wing_level",
            "wing of the nose, sitter's left, level with the other",
            (at("al_left"), at("al_right"), 1),
            Subject(feature="nose", noun="sitter's left wing of the nose", level=4),
            statement="y of the sitter's left al less y of the right",
            limit=SHIFTS["nose tip"],
            grade="position.corner",
            words=words,
        ),
    )


def _irises(side: str) -> tuple[Measure, ...]:
    iris = at(f"ii_{side}", f"io_{side}", f"it_{side}", f"ib_{side}")
    about = Subject(
        feature=f"iris_{side}", noun="iris", plural="irises", level=5, needs=(f"iris_{side}", f"eye_{side}")
    )
    lid = Subject(
        feature=f"iris_{side}", noun="upper lid", plural="upper lids", level=5, needs=(f"iris_{side}", f"eye_{side}")
    )
    return (
        _alignment(
            f"iris_place_x_{side}",
            sided("iris in its opening, across", side),
            (iris, at(f"ex_{side}", f"en_{side}"), 0),
            about,
            statement="x of the iris's centre less x of the middle between ex and en",
            limit=SHIFTS["eyelid"],
            grade="iris_place.across",
            words=RIGHTWARD,
        ),
        _alignment(
            f"iris_place_y_{side}",
            sided("iris in its opening, height", side),
            (iris, at(f"ps_{side}", f"pi_{side}"), 1),
            about,
            statement="y of the iris's centre less y of the middle between ps and pi",
            limit=SHIFTS["eyelid"],
            grade="iris_place",
            words=DOWNWARD,
        ),
        _alignment(
            f"lid_cover_{side}",
            sided("how much of the iris the upper lid covers", side),
            (at(f"ps_{side}"), at(f"it_{side}"), 1),
            lid,
            statement="y of ps less y of the top of the iris (negative: white shows above it)",
            limit=SHIFTS["eyelid"],
            grade="iris_place",
            words=("covering too much of the iris", "covering too little of the iris"),
        ),
    )


PLACES: tuple[Measure, ...] = (
    *_middles(),
    *(measure for side in SIDES for measure in _sided_places(side)),
    *(measure for side in SIDES for measure in _plumbs(side)),
    *_levels(),
    *(measure for side in SIDES for measure in _irises(side)),
)
