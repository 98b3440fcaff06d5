"""Declared measures: widths, openings, lips, heights and the distance between the pupils."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limner.errors import UsageError
from limner.face.placeable import PLACEABLE, nearest_name, rows_of
from limner.face.points import NamedPoint
from limner.measure.declare import EYE_LINE_NOTE, EYES, PUPIL_FEATURES, SIDES, Measure, Subject, at, length, ring, sided
from limner.measure.geometry import mean_point
from limner.measure.limits import SHIFTS, SIZE

Array = NDArray[np.float64]
Words = tuple[str, str]

WIDE = ("painted too wide", "painted too narrow")
LONG = ("painted too long", "painted too short")
OPEN = ("opened too far", "opened too little")
THICK = ("painted too thick", "painted too thin")


def _size(
    id_: str,
    name: str,
    ends: tuple[str, str],
    about: Subject,
    *,
    grade: str,
    words: Words = WIDE,
    family: str = "width",
) -> Measure:
    a, b = (rows_of(key) for key in ends)
    return Measure(
        id=id_,
        name=name,
        family=family,
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


def _of_each_side(side: str) -> tuple[Measure, ...]:
    def key(first: str, second: str) -> tuple[str, str]:
        return f"{first}_{side}", f"{second}_{side}"

    eye = Subject(feature=f"eye_{side}", noun="eye", plural="eyes", level=3)
    opening = Subject(feature=f"eye_{side}", noun="eye", plural="eyes", level=4)
    iris = Subject(feature=f"iris_{side}", noun="iris", plural="irises", level=5)
    brow = Subject(feature=f"brow_{side}", noun="brow", plural="brows", level=4)
    return (
        _size(f"eye_width_{side}", sided("eye width", side), key("ex", "en"), eye, grade="eye_width"),
        _size(
            f"eye_opening_{side}",
            sided("eye opening", side),
            key("ps", "pi"),
            opening,
            grade="eye_opening",
            words=OPEN,
            family="opening",
        ),
        _size(f"iris_width_{side}", sided("iris width", side), key("ii", "io"), iris, grade="iris_width"),
        _size(
            f"brow_length_{side}",
            sided("brow length", side),
            key("bo", "bi"),
            brow,
            grade="brow_length",
            words=LONG,
        ),
        _brow_height(side),
    )


def _brow_height(side: str) -> Measure:
    eye, brow = ring(f"eye_{side}"), ring(f"brow_{side}")

    def above(points: Array) -> Array:
        return np.asarray(mean_point(points, eye)[..., 1] - mean_point(points, brow)[..., 1])

    return Measure(
        id=f"brow_height_{side}",
        name=sided("brow above eye", side),
        family="height",
        kind="length",
        about=Subject(feature=f"brow_{side}", noun="brow", plural="brows", level=3),
        own_points=(*eye, *brow),
        formula=above,
        statement=f"y of the eye's outline less y of the brow's outline, means, {EYE_LINE_NOTE}",
        limit=SIZE,
        grade="brow_height",
        words=("too far above the eye", "too close to the eye"),
    )


def _lips() -> tuple[Measure, ...]:
    upper = Subject(feature="upper_lip", noun="upper lip", level=4)
    lower = Subject(feature="lower_lip", noun="lower lip", level=4)
    a, b = at("stu"), at("stl")
    return (
        _size(
            "upper_lip", "upper lip thickness", ("ls", "stu"), upper, grade="lip.upper", words=THICK, family="opening"
        ),
        _size(
            "lower_lip", "lower lip thickness", ("stl", "li"), lower, grade="lip.lower", words=THICK, family="opening"
        ),
        Measure(
            id="mouth_opening",
            name="mouth opening",
            family="opening",
            kind="gape",
            about=Subject(feature="mouth_opening", noun="mouth", level=4),
            own_points=(*a, *b),
            formula=length(a, b),
            statement="distance stu to stl; may be zero, so it deviates in percent of the pupil distance",
            limit=SHIFTS["mouth corner"],
            grade="mouth_opening",
            words=("opened too far", "closed too far"),
            placed=False,
        ),
    )


def _across() -> tuple[Measure, ...]:
    def key(abbr: str) -> tuple[str, str]:
        return f"{abbr}_right", f"{abbr}_left"

    space = Subject(feature="eyes", noun="space between the eyes", level=2, needs=EYES)
    span = Subject(feature="eyes", noun="span across both eyes", level=2, needs=EYES)
    nose = Subject(feature="nose", noun="nose", level=3)
    mouth = Subject(feature="lips", noun="mouth", level=3)
    face = Subject(feature="face", noun="face", level=1)
    jaw = Subject(feature="jaw", noun="jaw", level=1)
    return (
        _size("between_eyes", "between the eyes", key("en"), space, grade="between.inner"),
        _size("across_eyes", "across both eyes", key("ex"), span, grade="between.outer"),
        _size("nose_width", "nose width", key("al"), nose, grade="nose_width"),
        _size("mouth_width", "mouth width", key("ch"), mouth, grade="mouth_width"),
        _size("face_width", "face width at the cheekbones", key("zy"), face, grade="contour.cheeks"),
        _size("jaw_width", "jaw width", key("go"), jaw, grade="contour.jaw"),
    )


def _height(id_: str, name: str, ends: tuple[str, str], about: Subject, grade: str) -> Measure:
    return _size(id_, name, ends, about, grade=grade, words=LONG, family="height")


def _heights() -> tuple[Measure, ...]:
    nose = Subject(feature="nose", noun="nose", level=2)
    philtrum = Subject(feature="lips", noun="space between nose and upper lip", level=4, needs=("nose", "upper_lip"))
    lower = Subject(feature="chin", noun="lower face", level=1, needs=("nose", "chin"))
    chin = Subject(feature="chin", noun="chin", level=2, needs=("lips", "chin"))
    face = Subject(feature="face", noun="face", level=1, needs=("nose", "chin"))
    return (
        _height("nose_length", "nose length", ("n", "sn"), nose, "between.nose"),
        _height("philtrum", "between nose and upper lip", ("sn", "ls"), philtrum, "philtrum"),
        _height("lower_face", "lower face, nose base to chin", ("sn", "gn"), lower, "chin_length"),
        _height("chin_height", "chin, mouth line to chin", ("sto", "gn"), chin, "chin_length"),
        _height("face_height", "face height, root of the nose to chin", ("n", "gn"), face, "chin_length"),
    )


def _pupil_distance() -> Measure:
    right, left = at("p_right"), at("p_left")
    return Measure(
        id="pupil_distance",
        name="distance between the pupils",
        family="scale",
        kind="length",
        about=Subject(feature="eyes", noun="distance between the pupils", level=0, needs=PUPIL_FEATURES),
        own_points=(*right, *left),
        formula=length(right, left),
        statement="distance p_right to p_left, brought to size by the head fit whatever is held",
        limit=SIZE,
        grade="pupil_distance",
        words=("too wide for the head", "too narrow for the head"),
        frame="head",
    )


SIZES: tuple[Measure, ...] = (
    _pupil_distance(),
    *(measure for side in SIDES for measure in _of_each_side(side)),
    *_across(),
    *_lips(),
    *_heights(),
)


def find_point(name: str) -> NamedPoint:
    """The named point a painter means.

    Args:
        name: key such as ``ex_left`` or ``gn``; a hyphen or blank for the underscore is as good.

    Raises:
        UsageError: if there is no such point.

    >>> find_point("ex-left").name
    "outer eye corner, sitter's left"
    """
    key = name.strip().lower().replace("-", "_").replace(" ", "_")
    point = PLACEABLE.get(key)
    if point is None:
        nearest = nearest_name(key)
        todo = f"the nearest is {nearest}." if nearest else f"expected one of: {', '.join(PLACEABLE)}."
        raise UsageError(f"There is no point called {name!r}; {todo}")
    return point


def between(first: str, second: str) -> Measure:
    """A measure of the painter's own: the distance between two named points.

    Raises:
        UsageError: if a name is unknown, or both are the same point.

    >>> between("en_right", "ch_right").id
    'between_en_right_ch_right'
    """
    one, other = find_point(first), find_point(second)
    if one.key == other.key:
        raise UsageError(f"Expected two different points, came {first!r} twice.")
    regions = {"eye": "eye_{}", "iris": "eye_{}", "brow": "brow_{}", "mouth": "lips", "nose": "nose"}
    needs = tuple(dict.fromkeys(regions.get(point.region, "face").format(point.side) for point in (one, other)))
    noun = f"distance from {one.name} to {other.name}"
    about = Subject(feature=needs[-1], noun=noun, level=3, needs=needs)
    grade = "contour" if "face" in needs else "between"
    id_ = f"between_{one.key}_{other.key}"
    return _size(
        id_, f"{one.name} to {other.name}", (one.key, other.key), about, grade=grade, words=LONG, family="between"
    )
