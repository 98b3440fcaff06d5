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

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT
from limner.face.mesh import EAGER, PLAIN, PLAIN_FACES, Mesh
from limner.face.mirror import mirror_map
from limner.face.views import (
    TONES,
    Tone,
    View,
    chain,
    looked_at,
    map_points,
    padded,
    tiles,
    toned,
    turned,
    turned_back,
)

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

FOREHEAD, CHIN, MOUTH, NOSE = 10, 152, 13, 4

AGREE = 0.15
"""Two readings are of one face when their points lie apart, root mean square, by at most this share of its size."""

CROP = 256
"""Side in px of a crop for a second look."""

CROP_SIZE = 60.0
"""Size of the face in it (see :func:`face_size`), px."""


class Look(NamedTuple):
    """How a crop is framed round a face."""

    zoom: float
    """Size of the face in the crop against the usual one."""
    turn: float
    """Degrees from upright, clockwise as seen."""
    right: float
    """How far the crop's centre lies beside the face's, in face sizes."""
    down: float
    """The same downwards."""
    mirror: bool
    """Whether the crop is mirrored."""


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
ENOUGH = 5
"""So many of the second looks have to agree."""

OFTEN = 3
"""A place that so many different looks pointed at needs one vote less."""

FEW = 3
"""A plain find is believed when so many first looks all agree."""

MOST_GROUPS = 8
"""So many places are looked at again in one stage."""

MOST_TONES = 3
"""So many ways of toning a place are tried."""


@dataclass(frozen=True, kw_only=True, eq=False)
class FoundFace:
    """A face found in a picture."""

    mesh: Array
    """(478, 2) array, px of the picture."""
    found_by: str
    """plain, padded, equalised, turned or tiled."""
    votes: int
    """How many second looks drew the same face."""

    @property
    def pupil_distance(self) -> float:
        """Distance between the pupils, px of the picture."""
        return float(np.linalg.norm(self.mesh[PUPIL_LEFT] - self.mesh[PUPIL_RIGHT]))

    @property
    def centre(self) -> Array:
        """(2,) array, px: half way between eyes and mouth."""
        return face_centre(self.mesh)


def face_centre(mesh: Array) -> Array:
    """Half way between the pupils' middle and the mouth, (2,) array, px."""
    return np.asarray((mesh[PUPIL_RIGHT] + mesh[PUPIL_LEFT]) / 4 + mesh[MOUTH] / 2)


def face_size(mesh: Array) -> float:
    """Size of a face, px: its height over 2.62, which on a face seen from the front is the distance of the pupils.

    The height holds still when the head turns aside, the distance of the pupils does not.
    """
    return float(np.linalg.norm(mesh[CHIN] - mesh[FOREHEAD])) / 2.62


def face_turn(mesh: Array) -> float:
    """Degrees by which the face's long axis is turned from upright, clockwise as seen."""
    down = mesh[CHIN] - mesh[FOREHEAD]
    return float(np.degrees(np.arctan2(down[1], down[0]))) - 90.0


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
    down = (mesh[CHIN] - mesh[FOREHEAD]) / (2.62 * size)
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
    yield [small, wide, *(toned(whole, tone) for tone in TONES), *(toned(small, tone) for tone in TONES)]
    yield [turned(view, by) for by in (45, -45, 90, -90, 135, -135, 180) for view in (whole, small)]
    yield [turned(toned(small, tone), by) for tone in TONES for by in (30, -30, 60, -60)]
    yield list(tiles(pixels))


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
    start = np.median([hint.mesh for hint in group], axis=0)
    tones = dict.fromkeys([None, *(hint.tone for hint in group)])
    needed = min(ENOUGH - (len(group) >= OFTEN), looks)
    for tone in list(tones)[:MOST_TONES]:
        votes, middle = _second_looks(pixels, mesh, start, looks, needed, tone)
        if votes >= needed and middle is not None and is_face_shaped(middle, width, height):
            return FoundFace(mesh=middle, found_by=group[0].kind, votes=votes)
    return None


def _second_looks(
    pixels: Pixels, mesh: Mesh, start: Array, looks: int, needed: int, tone: Tone | None
) -> tuple[int, Array | None]:
    """Votes and their median; ends early where the first ``looks`` all agree, or ``needed`` is out of reach."""
    drawn: list[Array] = []
    for number, look in enumerate(SECOND_LOOKS):
        if number == looks and _agreement(drawn)[0] == looks:
            break
        if number - len(drawn) > len(SECOND_LOOKS) - needed:
            break
        seen = second_look(pixels, mesh, start, look, tone)
        if seen is not None:
            drawn.append(seen)
    return _agreement(drawn)


def _agreement(drawn: list[Array]) -> tuple[int, Array | None]:
    """How many readings agree with their median, and that median."""
    if len(drawn) < 2:
        return len(drawn), drawn[0] if drawn else None
    stack = np.array(drawn)
    middle = np.median(stack, axis=0)
    apart = np.sqrt(((stack - middle) ** 2).sum(axis=2).mean(axis=1)) / face_size(middle)
    agree = apart <= AGREE
    return int(agree.sum()), np.asarray(np.median(stack[agree], axis=0)) if agree.any() else None


def second_look(pixels: Pixels, mesh: Mesh, points: Array, look: Look, tone: Tone | None = None) -> Array | None:
    """Shows the landmarker the place of a face again, upright but for the look's turn, in a small crop.

    Args:
        pixels: the picture.
        mesh: the landmarker.
        points: (478, 2) array, px: where the face may be.
        look: how to frame it.
        tone: how to change the crop's tones.

    Returns:
        (478, 2) array, px of the picture, or ``None`` where no face is seen.
    """
    size = face_size(points)
    shift = np.array([look.right, look.down]) * size
    forward = crop_map(points, CROP_SIZE * look.zoom / size, look.turn, shift, CROP)
    crop = cropped(pixels, forward, CROP, look.mirror)
    found = mesh.detect(tone(crop) if tone else crop, 1, PLAIN)
    if not found:
        return None
    return uncropped(found[0][:, :2], forward, CROP, look.mirror)


def crop_map(points: Array, scale: float, turn: float, shift: Array, side: int) -> Array:
    """The affine map from the picture to a square crop in which the face stands upright, but for ``turn`` degrees.

    Returns:
        (2, 3) array.
    """
    forward = cv2.getRotationMatrix2D((0.0, 0.0), face_turn(points) + turn, scale)
    forward[:, 2] = side / 2 - forward[:, :2] @ (face_centre(points) + shift)
    return np.asarray(forward, dtype=np.float64)


def cropped(pixels: Pixels, forward: Array, side: int, mirror: bool) -> Pixels:
    """The crop, made without aliasing where it is smaller than the picture."""
    scale = float(np.sqrt(abs(np.linalg.det(forward[:, :2]))))
    source, forward = _roughly_scaled(pixels, forward, scale, side)
    out = cv2.warpAffine(
        source,
        forward,
        (side, side),
        flags=cv2.INTER_LINEAR if scale < 1 else cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.ascontiguousarray(out[:, ::-1] if mirror else out)


def _roughly_scaled(pixels: Pixels, forward: Array, scale: float, side: int) -> tuple[Pixels, Array]:
    """The part of the picture a crop needs, brought near the crop's scale by averaging."""
    height, width = pixels.shape[:2]
    corners = map_points(turned_back(forward), np.array([[0, 0], [side, 0], [0, side], [side, side]], dtype=float))
    left, top = np.clip(np.floor(corners.min(axis=0)) - 2, 0, (width - 1, height - 1)).astype(int)
    right, bottom = np.clip(np.ceil(corners.max(axis=0)) + 2, (left + 1, top + 1), (width, height)).astype(int)
    part, shift = pixels[top:bottom, left:right], np.array([[1.0, 0.0, left], [0.0, 1.0, top]])
    if scale < 0.6:
        size = (max(1, round((right - left) * scale * 1.2)), max(1, round((bottom - top) * scale * 1.2)))
        zoom = np.diag([(right - left) / size[0], (bottom - top) / size[1]])
        part = np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
        shift = np.column_stack([zoom, shift[:, 2]])
    return part, chain(forward, shift)


def uncropped(points: Array, forward: Array, side: int, mirror: bool) -> Array:
    """Points of a crop in px of the picture; in a mirrored crop right and left are changed back."""
    if mirror:
        points = np.column_stack([side - points[:, 0], points[:, 1]])[mirror_map()]
    return map_points(turned_back(forward), points)


def _merged(faces: list[FoundFace], face: FoundFace) -> list[FoundFace]:
    """Keeps one of two finds that overlap: the one with more votes, then the larger."""
    rivals = [other for other in faces if _overlap(other.mesh, face.mesh)]
    if any((other.votes, face_size(other.mesh)) >= (face.votes, face_size(face.mesh)) for other in rivals):
        return faces
    return [other for other in faces if other not in rivals] + [face]


def _overlap(first: Array, second: Array) -> bool:
    sizes = (face_size(first), face_size(second))
    return float(np.linalg.norm(face_centre(first) - face_centre(second))) < 0.9 * max(sizes)
