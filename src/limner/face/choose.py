"""Which of the faces found is the sitter's, and whether it is large enough to measure."""

from __future__ import annotations

from collections.abc import Sequence

from limner.errors import FaceError
from limner.face.crops import face_size
from limner.face.search import FoundFace

SMALLEST = 40.0
"""Distance between the pupils, px of the stored picture, below which a face is not measured.

Measured on ten faces made smaller, against the full picture, RMS: at 40 px widths err by 0.8 to 1.7 %, eye openings by
6 %, lips by 2.5 %; at 24 px by up to 4, 13 and 11 %, past the 8 % a viewer notices.
"""

CHOOSE = "Choose one with --face-{} NUMBER."
"""What can be done about several faces, but where photos are many."""
CLEARLY = 2.0
"""A face so many times as large as the next is taken for the sitter's without asking."""


def choose(faces: Sequence[FoundFace], which: int | None, label: str, *, scale: float = 1.0) -> FoundFace:
    """The sitter's face.

    Args:
        faces: those found, from picture left to right.
        which: the painter's choice, counted from picture left, 1-based; ``None`` takes the only one, or the largest if
            it is at least twice the next.
        label: ``reference`` or ``painting``: which picture, and what the option that chooses is called after.
        scale: decoded px per stored px.

    Raises:
        FaceError: no face, several without a choice, a number that is not there, or a face too small to measure.
    """
    if not faces:
        raise FaceError(
            f"Expected a face in the {label}, but none was found: it was looked for as it is, with a border round it, "
            "with its tones evened, lightened, without colour and smoothed, turned, and in parts. If there is one, "
            "crop the picture to the head, or place the points by hand: limner points PICTURE"
        )
    face = _picked(faces, which, label, scale)
    distance = face.pupil_distance / scale
    if max(distance, face_size(face.mesh) / scale) < SMALLEST:
        raise FaceError(
            f"The face in the {label} is too small to measure: {distance:.0f} px between the pupils, "
            f"{SMALLEST:.0f} are needed. Use a picture with more pixels on the head."
        )
    return face


def _picked(faces: Sequence[FoundFace], which: int | None, label: str, scale: float) -> FoundFace:
    if which is not None:
        if not 1 <= which <= len(faces):
            raise FaceError(f"--face-{label} {which}: there {_are(len(faces))} in the {label}. {_listed(faces, scale)}")
        return faces[which - 1]
    ranked = sorted(faces, key=lambda face: face_size(face.mesh), reverse=True)
    if len(ranked) > 1 and face_size(ranked[0].mesh) < CLEARLY * face_size(ranked[1].mesh):
        raise FaceError(
            f"Expected one face in the {label}, or one twice as large as any other; there {_are(len(faces))}. "
            f"{_listed(faces, scale)} {CHOOSE.format(label)}"
        )
    return ranked[0]


def _are(count: int) -> str:
    return "is 1 face" if count == 1 else f"are {count} faces"


def _listed(faces: Sequence[FoundFace], scale: float) -> str:
    sizes = "; ".join(f"{place}: {face.pupil_distance / scale:.0f} px" for place, face in enumerate(faces, start=1))
    return f"From picture left, with the distance between the pupils: {sizes}."
