"""Frames a face for the landmarker: upright in a square crop, but for a chosen turn, zoom, shift and mirroring."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT
from limner.face.mirror import mirror_map
from limner.face.views import Tone, chain, from_centres, map_points, shrunk, turned_back

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

FOREHEAD, CHIN, MOUTH, NOSE = 10, 152, 13, 4
"""Mesh points: top and bottom of the face's outline, the upper lip's lower edge, the tip of the nose."""

FACE_HEIGHT = 2.62
"""Height of the mesh, forehead to chin, in pupil distances: the mean over 18 portraits seen from the front."""

REACH = 3.4
"""How far a patch reaches from the face's centre, in face sizes."""

PATCH_SIZE = 87.0
"""Size of the face in a patch at the most, px: what the largest crop of it wants."""


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


def face_centre(mesh: Array) -> Array:
    """Half way between the pupils' middle and the mouth, (2,) array, px."""
    return np.asarray((mesh[PUPIL_RIGHT] + mesh[PUPIL_LEFT]) / 4 + mesh[MOUTH] / 2)


def face_size(mesh: Array) -> float:
    """Size of a face, px: its height over 2.62, which on a face seen from the front is the distance of the pupils.

    The height holds still when the head turns aside, the distance of the pupils does not.
    """
    return float(np.linalg.norm(mesh[CHIN] - mesh[FOREHEAD])) / FACE_HEIGHT


def face_turn(mesh: Array) -> float:
    """Degrees by which the face's long axis is turned from upright, clockwise as seen."""
    down = mesh[CHIN] - mesh[FOREHEAD]
    return float(np.degrees(np.arctan2(down[1], down[0]))) - 90.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Patch:
    """The part of a picture round a face, no larger than crops of it need."""

    pixels: Pixels
    back: Array
    """(2, 3) array: affine map from px of the patch to px of the picture."""
    mesh: Array
    """(478, 2) array, px of the patch: where the face was taken to be."""

    def about(self, mesh: Array) -> Patch:
        """The same part, framed by another mesh of the face, (478, 2) array, px of the picture."""
        return replace(self, mesh=map_points(turned_back(self.back), mesh))

    def crop(self, look: Look, *, side: int, size: float, tone: Tone | None = None) -> Crop:
        """A square crop.

        Args:
            look: how to frame it.
            side: of the crop, px.
            size: of the face in the crop at zoom 1, px (see :func:`face_size`).
            tone: how to change its tones.
        """
        there = face_size(self.mesh)
        scale = size * look.zoom / there
        forward = np.asarray(
            cv2.getRotationMatrix2D((0.0, 0.0), face_turn(self.mesh) + look.turn, scale), dtype=np.float64
        )
        middle = face_centre(self.mesh) + np.array([look.right, look.down]) * there
        forward[:, 2] = side / 2 - forward[:, :2] @ middle
        how = cv2.INTER_LINEAR if scale < 0.8 else cv2.INTER_CUBIC
        out = cv2.warpAffine(
            self.pixels, from_centres(forward), (side, side), flags=how, borderMode=cv2.BORDER_REPLICATE
        )
        seen: Pixels = np.ascontiguousarray(out[:, ::-1] if look.mirror else out).astype(np.uint8, copy=False)
        back = chain(self.back, turned_back(forward))
        return Crop(pixels=tone(seen) if tone else seen, back=back, mirror=look.mirror)


@dataclass(frozen=True, kw_only=True, eq=False)
class Crop:
    """A square crop and the way back from it."""

    pixels: Pixels
    back: Array
    """(2, 3) array: affine map from px of the crop, mirrored back, to px of the picture."""
    mirror: bool

    @property
    def scale(self) -> float:
        """Px of the picture for one of the crop."""
        return float(np.sqrt(abs(np.linalg.det(self.back[:, :2]))))

    def to_picture(self, points: Array) -> Array:
        """Mesh points of the crop in px of the picture; in a mirrored crop right and left are changed back.

        Args:
            points: (478, 2) array, px of the crop.
        """
        points = self.in_order(points)
        if self.mirror:
            points = np.column_stack([self.pixels.shape[1] - points[:, 0], points[:, 1]])
        return map_points(self.back, points)

    def depths(self, points: Array) -> Array:
        """(478,) array, px of the picture: the depths of (478, 3) points of the crop."""
        return self.scale * self.in_order(points)[:, 2]

    def in_order(self, points: Array) -> Array:
        """The rows of a mesh of the crop, right and left changed back if it is mirrored."""
        return points[mirror_map()] if self.mirror else points


def patch_round(pixels: Pixels, mesh: Array, size: float = PATCH_SIZE) -> Patch:
    """The part of a picture round a face, brought down by averaging where the face is larger than needed.

    Args:
        pixels: the picture.
        mesh: (478, 2) array, px: where the face is taken to be.
        size: the largest face size any crop will want, px.
    """
    height, width = pixels.shape[:2]
    centre, reach = face_centre(mesh), REACH * face_size(mesh)
    left, top = np.clip(np.floor(centre - reach), 0, (width - 1, height - 1)).astype(int)
    right, bottom = np.clip(np.ceil(centre + reach), (left + 1, top + 1), (width, height)).astype(int)
    shrink = size / face_size(mesh)
    if shrink < 1:  # sides that can be halved as often as it takes, which is much faster
        fold = 2 ** int(np.log2(1 / shrink))
        right, bottom = (end - (end - start) % fold for start, end in ((left, right), (top, bottom)))
        right, bottom = max(right, left + 1), max(bottom, top + 1)
    part = pixels[top:bottom, left:right]
    zoom = np.ones(2)
    if shrink < 1:
        small = (max(1, round((right - left) * shrink)), max(1, round((bottom - top) * shrink)))
        zoom = np.array([(right - left) / small[0], (bottom - top) / small[1]])
        part = shrunk(part, small)
    back = np.column_stack([np.diag(zoom), np.array([left, top], dtype=np.float64)])
    return Patch(pixels=part, back=back, mesh=map_points(turned_back(back), mesh))
