"""Reads a face many times over, framed a little differently each time, and takes the mean and the scatter.

One reading of the landmarker moves by about half a percent of the distance between the pupils when the frame does.
Small turns, zooms and shifts and the mirror image average that out, and their scatter says how far a point can be
relied on. What the landmarker gets wrong every time, its pull toward an ordinary face, no repeating shows.
"""

from __future__ import annotations

from contextlib import suppress

import numpy as np
from numpy.typing import NDArray

from limner.errors import FaceError
from limner.face.crops import Look, Patch, face_size, patch_round
from limner.face.facepoints import POINT_COUNT, FacePoints
from limner.face.mesh import PLAIN, Mesh
from limner.face.search import FoundFace
from limner.face.views import Tone

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

CROP = 256
"""Side of a crop, px."""

SIZE = 64.0
"""Size of the face in it, px: the landmark network sees about 50."""

GROSS = 3.0
"""A reading whose distance from the median is more than so many times the usual one is dropped..."""

SMALL = 0.03
"""...unless the distance is below this share of the face's size."""

FEWEST = 4
"""So many readings have to be left."""

STEADY = 0.035
"""Scatter of one reading, mean over the mesh, in face sizes, up to which a few looks are enough."""


def _looks(count: int) -> tuple[Look, ...]:
    """Framings spread evenly over small zooms, turns and shifts, every other one mirrored."""
    # Additive recurrence with the roots of x^5 = x + 1: evenly spread in four dimensions, the same every time.
    root = 1.1673039782614187
    steps = np.outer(np.arange(count // 2) + 0.5, root ** -np.arange(1.0, 5.0)) % 1.0
    return tuple(
        Look(1 + 0.12 * zoom, 9 * turn, 0.12 * right, 0.12 * down, mirror)
        for zoom, turn, right, down in (2 * steps - 1).tolist()
        for mirror in (False, True)
    )


LOOKS = _looks(16)
"""Half as many leave mirrored pictures further apart than the points scatter."""

FIRST = LOOKS[:2]
"""With what the search saw enough for a start: where the paint itself is read from there, the rest changes nothing that
is measured."""


def read_face(
    pixels: Pixels,
    start: Array,
    mesh: Mesh,
    *,
    found_by: str,
    tone: Tone | None = None,
    patch: Patch | None = None,
) -> FacePoints:
    """The points of one face, read repeatedly.

    Args:
        pixels: (height, width, 3) array, sRGB.
        start: (478, 2) array, px: where the search found the face.
        mesh: the landmarker.
        found_by: which search found it.
        tone: how the tones had to be changed to see it; used where most readings fail without.
        patch: the part of the picture round the face, where it is at hand.

    Raises:
        FaceError: if too few readings agree.
    """
    patch = patch_round(pixels, start) if patch is None else patch.about(start)
    readings = _agreeing(_readings(patch, mesh, LOOKS, None))
    if tone is not None and 2 * len(readings[0]) < len(LOOKS):
        toned = _agreeing(_readings(patch, mesh, LOOKS, tone))
        readings = max(readings, toned, key=lambda both: len(both[0]))
    return _face(*readings, asked=len(LOOKS), found_by=found_by)


def read_briefly(found: FoundFace, mesh: Mesh) -> FacePoints | None:
    """The points of a face by what the search saw of it and the :data:`FIRST` looks; ``None`` where these disagree."""
    if found.readings is None or found.patch is None:
        return None
    more = _readings(found.patch.about(found.mesh), mesh, FIRST, None)
    runs, depths = (np.concatenate(both) for both in zip(found.readings, more, strict=True))
    if len(more[0]) < len(FIRST) or not agreeing(runs).all():
        return None
    face = _face(runs, depths, asked=len(runs), found_by=found.found_by)
    return face if float(face.spread.mean()) <= STEADY * face_size(face.mean) else None


def read_on(pixels: Pixels, face: FacePoints, mesh: Mesh) -> FacePoints:
    """The points of a face that was read briefly, read with all looks; as they were where too few of these agree."""
    with suppress(FaceError):
        return read_face(pixels, face.mean, mesh, found_by=face.found_by)
    return face


def _face(runs: Array, depths: Array, *, asked: int, found_by: str) -> FacePoints:
    if len(runs) < FEWEST:
        raise FaceError(
            f"A face was found, but only {len(runs)} of {asked} readings of it agree, expected {FEWEST}: "
            "the picture is too unclear there. Place the points by hand: limner points PICTURE"
        )
    mean: Array = runs.mean(axis=0)
    (left, top), (right, bottom) = mean.min(axis=0).tolist(), mean.max(axis=0).tolist()
    return FacePoints(
        mean=mean,
        runs=runs,
        depth=depths.mean(axis=0),
        box=(left, top, right, bottom),
        found_by=found_by,
    )


def _readings(patch: Patch, mesh: Mesh, looks: tuple[Look, ...], tone: Tone | None) -> tuple[Array, Array]:
    """(K, 478, 2) and (K, 478) arrays, px of the picture: points and depths of the readings."""
    runs, depths = [], []
    for look in looks:
        crop = patch.crop(look, side=CROP, size=SIZE, tone=tone)
        for points in mesh.detect(crop.pixels, 1, PLAIN):
            runs.append(crop.to_picture(points[:, :2]))
            depths.append(crop.depths(points))
    return np.array(runs).reshape(-1, POINT_COUNT, 2), np.array(depths).reshape(-1, POINT_COUNT)


def _agreeing(readings: tuple[Array, Array]) -> tuple[Array, Array]:
    """Those that agree."""
    kept = agreeing(readings[0])
    return readings[0][kept], readings[1][kept]


def agreeing(runs: Array) -> NDArray[np.bool_]:
    """Which readings agree with the others.

    Args:
        runs: (K, 478, 2) array, px.

    Returns:
        (K,) array: false for a reading grossly apart from the median of all.
    """
    if len(runs) == 0:
        return np.zeros(0, dtype=np.bool_)
    middle = np.median(runs, axis=0)
    apart = np.sqrt(((runs - middle) ** 2).sum(axis=2).mean(axis=1))
    limit = max(GROSS * float(np.median(apart)), SMALL * face_size(middle))
    return np.asarray(apart <= limit)
