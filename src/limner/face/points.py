"""The named anatomical points and the features of a face, as tables over the 478 mesh points.

Right and left are the sitter's own: in a picture seen from the front, the sitter's right is picture left. Standard
anthropometric abbreviations; the plain names are what a painter reads. Nothing heavy is imported here.

Where the mesh has no point of its own for a landmark the choice is stated beside it; "fits" figures are means over 18
generated portraits, in pupil distances, against the published means.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from limner.errors import UsageError
from limner.face.facepoints import POINT_COUNT

Array = NDArray[np.float64]
Side = Literal["right", "left", "middle"]


@dataclass(frozen=True, kw_only=True)
class NamedPoint:
    """One anatomical point: its standard abbreviation, plain name, and where it lies in the mesh."""

    key: str
    """Unique id: the abbreviation, with ``_right`` or ``_left`` for a paired point."""
    abbr: str
    """Standard anthropometric abbreviation."""
    name: str
    """Plain name, side said as the sitter's."""
    indices: tuple[int, ...]
    """Mesh points whose mean it is; empty where the mesh does not have it and only a hand can place it."""
    region: str
    """eye, iris, brow, nose, mouth, face, head or ear."""
    side: Side


@dataclass(frozen=True, kw_only=True)
class Feature:
    """One feature of the face: its outline, in drawing order."""

    id: str
    name: str
    """Plain name, side said as the sitter's."""
    indices: tuple[int, ...]
    """Mesh points along the outline; the last joins the first where ``closed``."""
    closed: bool
    region: str
    side: Side


def _pair(abbr: str, name: str, right: tuple[int, ...], left: tuple[int, ...], region: str) -> list[NamedPoint]:
    return [
        NamedPoint(
            key=f"{abbr}_right", abbr=abbr, name=f"{name}, sitter's right", indices=right, region=region, side="right"
        ),
        NamedPoint(
            key=f"{abbr}_left", abbr=abbr, name=f"{name}, sitter's left", indices=left, region=region, side="left"
        ),
    ]


def _single(abbr: str, name: str, indices: tuple[int, ...], region: str) -> NamedPoint:
    return NamedPoint(key=abbr, abbr=abbr, name=name, indices=indices, region=region, side="middle")


_POINTS: tuple[NamedPoint, ...] = (
    *_pair("ex", "outer eye corner", (33,), (263,), "eye"),
    *_pair("en", "inner eye corner", (133,), (362,), "eye"),
    *_pair("ps", "upper lid", (159,), (386,), "eye"),
    *_pair("pi", "lower lid", (145,), (374,), "eye"),
    *_pair("p", "pupil", (468,), (473,), "iris"),
    # No standard abbreviations for the iris's edges and the brow; these are limner's.
    *_pair("ii", "inner edge of the iris", (469,), (476,), "iris"),
    *_pair("io", "outer edge of the iris", (471,), (474,), "iris"),
    *_pair("it", "top of the iris", (470,), (475,), "iris"),
    *_pair("ib", "bottom of the iris", (472,), (477,), "iris"),
    # Ends of the brow: half way between its upper and its lower edge.
    *_pair("bi", "inner end of the brow", (107, 55), (336, 285), "brow"),
    *_pair("bp", "peak of the brow", (105,), (334,), "brow"),
    *_pair("bo", "outer end of the brow", (70, 46), (300, 276), "brow"),
    _single("g", "between the brows", (9,), "face"),
    # The mesh's 168 is the deepest point of the root (sellion): 168-152 fits 1.87, ANSUR II 1.84 women, 1.92 men.
    _single("n", "root of the nose", (168,), "nose"),
    # The mesh point furthest forward on a face seen from the front.
    _single("prn", "tip of the nose", (4,), "nose"),
    _single("sn", "base of the nose", (2,), "nose"),
    *_pair("al", "wing of the nose", (129,), (358,), "nose"),
    *_pair("ch", "mouth corner", (61,), (291,), "mouth"),
    _single("ls", "upper edge of the upper lip", (0,), "mouth"),
    _single("li", "lower edge of the lower lip", (17,), "mouth"),
    # Where the lips meet; half way between them in an open mouth.
    _single("sto", "where the lips meet", (13, 14), "mouth"),
    # The two edges of the mouth's opening, which coincide in a closed mouth; limner's abbreviations.
    _single("stu", "lower edge of the upper lip", (13,), "mouth"),
    _single("stl", "upper edge of the lower lip", (14,), "mouth"),
    _single("gn", "chin", (152,), "face"),
    # 172-397 fits 1.73; 3D Facial Norms go-go over the distance between the eyes' centres: 1.66 women, 1.71 men.
    *_pair("go", "jaw angle", (172,), (397,), "face"),
    # 234-454 fits 2.19; ANSUR II 2.17 women, 2.23 men.
    *_pair("zy", "cheekbone", (234,), (454,), "face"),
    # What the mesh does not have: only a hand can place these.
    _single("tr", "hairline", (), "head"),
    _single("v", "top of the head", (), "head"),
    *_pair("sa", "top of the ear", (), (), "ear"),
    *_pair("sba", "bottom of the ear", (), (), "ear"),
)

NAMED_POINTS = MappingProxyType({point.key: point for point in _POINTS})
"""Every named point by its key."""

MESH_POINTS = tuple(point for point in _POINTS if point.indices)
"""Those the mesh gives."""

HAND_POINTS = tuple(point for point in _POINTS if not point.indices)
"""Those only a hand can place."""


_EYE_RIGHT = (33, 7, 163, 144, 145, 153, 154, 155, 133, 173, 157, 158, 159, 160, 161, 246)
_EYE_LEFT = (263, 249, 390, 373, 374, 380, 381, 382, 362, 398, 384, 385, 386, 387, 388, 466)
_BROW_RIGHT = (70, 63, 105, 66, 107, 55, 65, 52, 53, 46)
_BROW_LEFT = (300, 293, 334, 296, 336, 285, 295, 282, 283, 276)
_LIP_TOP = (61, 185, 40, 39, 37, 0, 267, 269, 270, 409, 291)
_LIP_BOTTOM = (61, 146, 91, 181, 84, 17, 314, 405, 321, 375, 291)
_OPENING_TOP = (78, 191, 80, 81, 82, 13, 312, 311, 310, 415, 308)
_OPENING_BOTTOM = (78, 95, 88, 178, 87, 14, 317, 402, 318, 324, 308)
_OVAL = (
    *(10, 338, 297, 332, 284, 251, 389, 356, 454, 323, 361, 288, 397, 365, 379, 378, 400, 377, 152),
    *(148, 176, 149, 150, 136, 172, 58, 132, 93, 234, 127, 162, 21, 54, 103, 67, 109),
)
_JAW = (172, 136, 150, 149, 176, 148, 152, 377, 400, 378, 379, 365, 397)
_NOSE = (
    *(168, 122, 188, 114, 217, 198, 209, 49, 129, 64, 98, 97, 2),
    *(326, 327, 294, 358, 279, 429, 420, 437, 343, 412, 351),
)


def _feature(id_: str, name: str, indices: tuple[int, ...], region: str, *, closed: bool = True) -> Feature:
    end = id_.rsplit("_", 1)[-1]
    side: Side = "right" if end == "right" else "left" if end == "left" else "middle"
    full = name if side == "middle" else f"{name}, sitter's {side}"
    return Feature(id=id_, name=full, indices=indices, closed=closed, region=region, side=side)


_FEATURES: tuple[Feature, ...] = (
    _feature("face", "face outline", _OVAL, "face"),
    _feature("jaw", "jaw line", _JAW, "face", closed=False),
    _feature("chin", "chin", _JAW[4:9], "face", closed=False),
    _feature("brow_right", "brow", _BROW_RIGHT, "brow"),
    _feature("brow_left", "brow", _BROW_LEFT, "brow"),
    _feature("eye_right", "eye", _EYE_RIGHT, "eye"),
    _feature("eye_left", "eye", _EYE_LEFT, "eye"),
    _feature("iris_right", "iris", (469, 470, 471, 472), "iris"),
    _feature("iris_left", "iris", (474, 475, 476, 477), "iris"),
    _feature("nose", "nose", _NOSE, "nose"),
    _feature("nose_bridge", "bridge of the nose", (168, 6, 197, 195, 5, 4), "nose", closed=False),
    _feature("nose_base", "base of the nose", _NOSE[8:17], "nose", closed=False),
    _feature("lips", "lips", (*_LIP_TOP, *_LIP_BOTTOM[-2:0:-1]), "mouth"),
    _feature("mouth_opening", "opening of the mouth", (*_OPENING_TOP, *_OPENING_BOTTOM[-2:0:-1]), "mouth"),
    _feature("upper_lip", "upper lip", (*_LIP_TOP, *_OPENING_TOP[::-1]), "mouth"),
    _feature("lower_lip", "lower lip", (*_LIP_BOTTOM, *_OPENING_BOTTOM[::-1]), "mouth"),
)

FEATURES = MappingProxyType({feature.id: feature for feature in _FEATURES})
"""Every feature by its id."""


def check_points(points: Array) -> None:
    """Refuses anything but a whole set of mesh points.

    Raises:
        UsageError: if the array is not (478, 2) or (478, 3).
    """
    if points.ndim != 2 or points.shape[0] != POINT_COUNT or points.shape[1] not in (2, 3):
        shape = " x ".join(str(side) for side in points.shape)
        raise UsageError(f"Expected {POINT_COUNT} mesh points with x and y, came an array of {shape}.")


def named_point_positions(points: Array) -> dict[str, Array]:
    """Where each named point the mesh has lies.

    Args:
        points: (478, 2) array, px.

    Returns:
        Key (``ex_right``, ``sn`` and so on) -> (2,) array, px.

    Raises:
        UsageError: if it is not a whole set of mesh points.

    >>> import numpy as np
    >>> places = named_point_positions(np.arange(956.0).reshape(478, 2))
    >>> [float(v) for v in places["sto"]]
    [27.0, 28.0]
    """
    check_points(points)
    return {point.key: points[list(point.indices), :2].mean(axis=0) for point in MESH_POINTS}


def feature_outline(points: Array, feature: str) -> Array:
    """The outline of one feature.

    Args:
        points: (478, 2) array, px.
        feature: id from :data:`FEATURES`.

    Returns:
        (N, 2) array, px, in drawing order; the first point is not repeated at the end of a closed outline.

    Raises:
        UsageError: if there is no such feature or it is not a whole set of mesh points.
    """
    check_points(points)
    if feature not in FEATURES:
        raise UsageError(f"There is no feature {feature!r}; expected one of: {', '.join(FEATURES)}.")
    return np.asarray(points[list(FEATURES[feature].indices), :2], dtype=np.float64)
