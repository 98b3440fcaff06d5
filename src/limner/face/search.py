"""Finds the faces of a picture: looked for in many ways, believed only when several looks agree.

A plain look comes first, and where it finds a face that a second look confirms nothing more is done. Otherwise the
picture is padded, equalised, turned and tiled, cheap before dear. A find of any look is only a hint: it is believed
when the landmarker, shown the place again upright at other sizes, turns and shifts and mirrored, keeps drawing the same
face. A face made up in a texture moves with the frame; one that is there stays.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from limner.face.crops import (
    CHIN,
    FACE_HEIGHT,
    FOREHEAD,
    MOUTH,
    NOSE,
    Look,
    Patch,
    face_centre,
    face_size,
    patch_round,
)
from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT
from limner.face.mesh import EAGER, PLAIN, PLAIN_FACES, Mesh
from limner.face.points import FEATURES
from limner.face.views import TONES, Tone, View, looked_at, map_points, padded, smoothed, tiles, toned, turned

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

AGREE = 0.15
"""Two readings are of one face when their points lie apart, root mean square, by at most this share of its size."""

EYES_AGREE = 0.1
"""The same for the points of the eyes alone: a stylised face keeps its eyes where the rest is read differently."""

EYES = [*FEATURES["eye_right"].indices, *FEATURES["eye_left"].indices, PUPIL_RIGHT, PUPIL_LEFT]

CROP = 256
"""Side in px of a crop for a second look."""

CROP_SIZE = 60.0
"""Size of the face in it (see :func:`face_size`), px."""


SECOND_LOOKS = (
    Look(0.75, 12.0, 0.1, 0.0, False),
    Look(1.3, -12.0, -0.1, 0.1, True),
    Look(1.0, 0.0, 0.0, -0.15, False),
    Look(0.85, -20.0, 0.2, 0.1, True),
    Look(1.15, 20.0, -0.15, -0.1, False),
    Look(0.6, 0.0, 0.0, 0.2, True),
    Look(1.45, 5.0, 0.0, 0.0, False),
    Look(1.0, 0.0, 0.05, 0.0, True),
)
LARGEST_ZOOM = max(look.zoom for look in SECOND_LOOKS)

ENOUGH = 5
"""So many of the second looks have to agree."""

SURE = 0.75
"""With such a share of the second looks, more make no difference."""

ENOUGH_SMOOTHED = 6
"""The same where brush marks are blurred away: a blur leaves less to tell a face from a patch of paint by."""

ENOUGH_PLAIN = 4
"""The same where a plain look at its usual threshold found the face."""

FEW = 3
"""A plain find is believed at once when so many first looks all agree over the whole face."""

MOST_GROUPS = 8
"""So many places are looked at again in one stage."""


@dataclass(frozen=True, kw_only=True, eq=False)
class FoundFace:
    """A face found in a picture."""

    mesh: Array
    """(478, 2) array, px of the picture."""
    found_by: str
    """plain, padded, equalised, turned or tiled."""
    votes: int
    """How many second looks drew the same face..."""
    looks: int
    """...of so many."""
    tone: Tone | None = None
    """How the tones had to be changed for them to."""
    patch: Patch | None = None
    """The part of the picture round it."""
    readings: tuple[Array, Array] | None = None
    """(K, 478, 2) and (K, 478) arrays, px: points and depths of the second looks, where the first few all agreed."""

    @property
    def pupil_distance(self) -> float:
        """Distance between the pupils, px of the picture."""
        return float(np.linalg.norm(self.mesh[PUPIL_LEFT] - self.mesh[PUPIL_RIGHT]))

    @property
    def centre(self) -> Array:
        """(2,) array, px: half way between eyes and mouth."""
        return face_centre(self.mesh)


def same_face(first: Array, second: Array) -> bool:
    """Whether two meshes of one picture are of the same place and about the same size."""
    sizes = sorted((face_size(first), face_size(second)))
    near = float(np.linalg.norm(face_centre(first) - face_centre(second)))
    return near < 0.6 * sizes[1] and sizes[0] > 0.6 * sizes[1]


def is_face_shaped(mesh: Array, width: int, height: int) -> bool:
    """Whether a mesh could be a face in the picture at all: features in order, proportions human, mostly inside."""
    size = face_size(mesh)
    if not np.isfinite(mesh).all() or size < 4:
        return False
    down = (mesh[CHIN] - mesh[FOREHEAD]) / (FACE_HEIGHT * size)
    eyes, nose, mouth, chin = ((mesh[part] - mesh[FOREHEAD]).mean(axis=0) @ down for part in _ORDER)
    pupils = float(np.linalg.norm(mesh[PUPIL_LEFT] - mesh[PUPIL_RIGHT]))
    inside = ((mesh >= 0) & (mesh <= (width, height))).all(axis=1).mean()
    return bool(0 < eyes < nose < mouth < chin and 0.2 < pupils / size < 1.5 and inside > 0.6)


_ORDER = ([PUPIL_RIGHT, PUPIL_LEFT], [NOSE], [MOUTH], [CHIN])


@dataclass(frozen=True, kw_only=True, eq=False)
class _Hint:
    """What one look took for a face."""

    mesh: Array
    kind: str
    tone: Tone | None


def find_faces(pixels: Pixels, mesh: Mesh) -> list[FoundFace]:
    """The faces of a picture, from picture left to right.

    Args:
        pixels: (height, width, 3) array, sRGB.
        mesh: the landmarker.

    Returns:
        Those that were found and confirmed; empty where there is none.
    """
    whole = looked_at(pixels)
    faces = _confirmed(pixels, mesh, _hints(mesh, whole, PLAIN, pixels), FEW)
    if not faces:
        for stage in _stages(pixels, whole):
            hints = [hint for view in stage for hint in _hints(mesh, view, EAGER, pixels)]
            faces = _confirmed(pixels, mesh, hints, len(SECOND_LOOKS))
            if faces:
                break
    return sorted(faces, key=lambda face: float(face.centre[0]))


def _stages(pixels: Pixels, whole: View) -> Iterator[list[View]]:
    """Further ways to look, stage by stage, cheap before dear."""
    small, wide = padded(whole, 0.25), padded(whole, 0.6)
    # All ways up in one stage: the mouth and chin of a head upside down can pass for a small face the right way up.
    yield [
        *(small, wide, *(toned(whole, tone) for tone in TONES), *(toned(small, tone) for tone in TONES)),
        *(turned(view, by) for by in (45, -45, 90, -90, 135, -135, 180) for view in (whole, small)),
    ]
    yield [turned(toned(small, tone), by) for tone in TONES for by in (30, -30, 60, -60)]
    yield from tiles(pixels)


def _hints(mesh: Mesh, view: View, threshold: float, pixels: Pixels) -> list[_Hint]:
    height, width = pixels.shape[:2]
    found = (map_points(view.back, points[:, :2]) for points in mesh.detect(view.pixels, PLAIN_FACES, threshold))
    shaped = (points for points in found if is_face_shaped(points, width, height))
    return [_Hint(mesh=points, kind=view.kind, tone=view.tone) for points in shaped]


def _confirmed(pixels: Pixels, mesh: Mesh, hints: list[_Hint], looks: int) -> list[FoundFace]:
    """The hints that second looks bear out, each face once."""
    faces: list[FoundFace] = []
    for group in _grouped(hints)[:MOST_GROUPS]:
        face = _confirm(pixels, mesh, group, looks)
        if face is not None:
            faces = _merged(faces, face)
    return faces


def _grouped(hints: list[_Hint]) -> list[list[_Hint]]:
    """Hints of the same face together, the most often seen first."""
    groups: list[list[_Hint]] = []
    for hint in hints:
        for group in groups:
            if same_face(group[0].mesh, hint.mesh):
                group.append(hint)
                break
        else:
            groups.append([hint])
    return sorted(groups, key=len, reverse=True)


def _confirm(pixels: Pixels, mesh: Mesh, group: list[_Hint], looks: int) -> FoundFace | None:
    """Looks again at the place of a group of hints; the face they agree on, or ``None``."""
    height, width = pixels.shape[:2]
    start = np.asarray(np.median([hint.mesh for hint in group], axis=0))
    patch = patch_round(pixels, start)
    tones = dict.fromkeys([None, *(hint.tone for hint in group)])  # the last may be the only one that helps
    needed = ENOUGH if looks == len(SECOND_LOOKS) else ENOUGH_PLAIN
    for tone in tones:
        least = max(needed, ENOUGH_SMOOTHED) if tone is smoothed else needed
        seen = _second_looks(patch, mesh, looks, least, tone)
        if seen is not None and is_face_shaped(seen.mesh, width, height):
            return FoundFace(
                mesh=seen.mesh,
                found_by=group[0].kind,
                votes=seen.votes,
                looks=seen.looks,
                tone=tone,
                patch=patch,
                readings=seen.readings,
            )
    return None


class _Seen(NamedTuple):
    mesh: Array
    votes: int
    looks: int
    readings: tuple[Array, Array] | None = None


def _second_looks(patch: Patch, mesh: Mesh, looks: int, needed: int, tone: Tone | None) -> _Seen | None:
    """What enough second looks agree on; ends early where the first ``looks`` all do, or enough are out of reach."""
    drawn: list[Array] = []
    depths: list[Array] = []
    for number, look in enumerate(SECOND_LOOKS):
        if number == looks and len(drawn) == looks and _whole_agreement(drawn).all():
            return _Seen(np.asarray(np.median(drawn, axis=0)), looks, looks, (np.array(drawn), np.array(depths)))
        if number - len(drawn) > len(SECOND_LOOKS) - needed:
            return None
        crop = patch.crop(look, side=CROP, size=CROP_SIZE, tone=tone)
        for points in mesh.detect(crop.pixels, 1, PLAIN):
            drawn.append(crop.to_picture(points[:, :2]))
            depths.append(crop.depths(points))
    if len(drawn) < needed:
        return None
    whole, eyes = _whole_agreement(drawn), _agreement(drawn, EYES, EYES_AGREE)
    agree = whole if whole.sum() >= eyes.sum() else eyes
    if agree.sum() < needed:
        return None
    return _Seen(np.asarray(np.median(np.array(drawn)[agree], axis=0)), int(agree.sum()), len(SECOND_LOOKS))


def _whole_agreement(drawn: list[Array]) -> NDArray[np.bool_]:
    return _agreement(drawn, slice(None), AGREE)


def _agreement(drawn: list[Array], part: list[int] | slice, limit: float) -> NDArray[np.bool_]:
    """Which readings agree with the median of all over a part of the mesh, to a share of the face's size."""
    stack = np.array(drawn)
    middle = np.median(stack, axis=0)
    square = ((stack - middle) ** 2).sum(axis=2)[:, part].mean(axis=1)
    return np.asarray(np.sqrt(square) <= limit * face_size(middle))


def _merged(faces: list[FoundFace], face: FoundFace) -> list[FoundFace]:
    """Keeps one of two finds that overlap: the surer, and the larger of two sure ones."""
    rivals = [other for other in faces if _overlap(other.mesh, face.mesh)]
    if any(_rank(other) >= _rank(face) for other in rivals):
        return faces
    return [other for other in faces if other not in rivals] + [face]


def _rank(face: FoundFace) -> tuple[float, float]:
    return min(face.votes / face.looks, SURE), face_size(face.mesh)


def _overlap(first: Array, second: Array) -> bool:
    sizes = (face_size(first), face_size(second))
    return float(np.linalg.norm(face_centre(first) - face_centre(second))) < 1.2 * max(sizes)
