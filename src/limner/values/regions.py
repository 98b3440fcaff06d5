"""The regions of a face in which values are compared, as tables over the mesh points.

Right and left are the sitter's own. A region is the convex hull or the outline of the points named; the edges of the
features lie between regions, and every region is drawn in a little, so that an edge drawn a little off does not leak.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.face.points import FEATURES

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Kind = Literal["flesh", "eye", "lip", "hair"]
"""Hair is brows; lips and eyes have a colour of their own and are no part of the flesh's colour."""

MARGIN = 0.03
"""Pupil distances by which a region is drawn in at its edge (our choice: what a careful drawing is off by)."""
FEWEST = 24
"""px of the working picture a region needs to be read."""


@dataclass(frozen=True, kw_only=True)
class Region:
    """One region of the face."""

    id: str
    name: str
    """Plain name, side said as the sitter's."""
    indices: tuple[int, ...]
    """Mesh points of its outline, in order."""
    kind: Kind = "flesh"
    near: tuple[str, ...] = ()
    """Ids of the zones round it, against which its colour is judged."""


# Mesh points of the sitter's right, each with the point that mirrors it on the sitter's left.
_MIRROR = {
    54: 284, 68: 298, 71: 301, 139: 368, 34: 264, 127: 356, 162: 389, 21: 251,
    46: 276, 53: 283, 52: 282, 65: 295, 55: 285, 70: 300, 63: 293, 105: 334, 66: 296, 107: 336,
    221: 441, 222: 442, 223: 443, 224: 444, 225: 445, 113: 342, 189: 413,
    247: 467, 30: 260, 29: 259, 27: 257, 28: 258, 56: 286, 190: 414,
    33: 263, 246: 466, 161: 388, 160: 387, 159: 386, 158: 385, 157: 384, 173: 398, 133: 362,
    25: 255, 110: 339, 24: 254, 23: 253, 22: 252, 26: 256, 112: 341,
    117: 346, 118: 347, 119: 348, 120: 349, 121: 350, 116: 345, 100: 329, 36: 266, 205: 425, 206: 426, 207: 427,
    187: 411, 147: 376, 123: 352, 227: 447, 213: 433, 192: 416, 138: 367, 215: 435, 58: 288, 132: 361, 93: 323,
    234: 454,
    135: 364, 169: 394, 170: 395, 140: 369, 176: 400, 149: 378, 150: 379, 136: 365, 172: 397,
    216: 436, 212: 432, 202: 422, 210: 430, 214: 434,
    98: 327, 97: 326, 167: 393, 37: 267, 39: 269, 40: 270, 185: 409, 57: 287, 129: 358, 49: 279, 64: 294, 48: 278,
    115: 344, 131: 360, 219: 439, 102: 331,
    196: 419, 188: 412, 114: 343, 217: 437, 198: 420, 134: 363, 51: 281, 3: 248, 122: 351, 45: 275, 44: 274,
    103: 332, 67: 297, 109: 338, 104: 333, 69: 299, 108: 337,
    7: 249, 163: 390, 144: 373, 145: 374, 153: 380, 154: 381, 155: 382,
}  # fmt: skip


def _both(
    id_: str, name: str, right: tuple[int, ...], kind: Kind = "flesh", near: tuple[str, ...] = ()
) -> tuple[Region, Region]:
    """A region on either side; ``near`` names zones, those with sides ending in a star."""

    def one(side: str, indices: tuple[int, ...]) -> Region:
        round_it = tuple(zone.replace("*", side) for zone in near)
        return Region(id=f"{id_}_{side}", name=f"sitter's {side} {name}", indices=indices, kind=kind, near=round_it)

    return one("right", right), one("left", tuple(_MIRROR[i] for i in right))


_REGIONS: tuple[Region, ...] = (
    Region(
        id="forehead_top",
        name="upper forehead",
        indices=(103, 67, 109, 10, 338, 297, 332, 333, 299, 337, 151, 108, 69, 104),
        near=("forehead",),
    ),
    Region(
        id="forehead",
        name="forehead",
        indices=(104, 69, 108, 151, 337, 299, 333, 334, 296, 336, 9, 107, 66, 105),
        near=("temple_right", "temple_left"),
    ),
    *_both("temple", "temple", (54, 68, 71, 139, 34, 127, 162, 21), near=("forehead", "cheek_*")),
    Region(
        id="between_brows",
        name="brow ridge between the brows",
        indices=(9, 107, 55, 8, 285, 336),
        near=("forehead",),
    ),
    *_both("brow", "brow", FEATURES["brow_right"].indices, "hair"),
    *_both("socket", "eye socket", (53, 52, 65, 55, 221, 222, 223, 224, 225), near=("forehead",)),
    *_both(
        "upper_lid", "upper lid", (247, 30, 29, 27, 28, 56, 190, 173, 157, 158, 159, 160, 161, 246), near=("socket_*",)
    ),
    *_both("eye_white", "white of the eye", FEATURES["eye_right"].indices, "eye"),
    *_both("under_eye", "under-eye", (110, 24, 23, 22, 26, 121, 120, 119, 118, 117), near=("cheek_*",)),
    Region(
        id="nose_bridge",
        name="bridge of the nose",
        indices=(122, 196, 3, 51, 281, 248, 419, 351),
        near=("nose_side_right", "nose_side_left"),
    ),
    *_both("nose_side", "side of the nose", (188, 114, 217, 198, 134, 51, 3, 196), near=("cheek_*",)),
    Region(
        id="nose_ball",
        name="ball of the nose",
        indices=(51, 45, 44, 1, 274, 275, 281, 5),
        near=("nose_bridge", "nose_side_right", "nose_side_left"),
    ),
    *_both("nose_wing", "wing of the nose", (131, 115, 48, 64, 102, 129, 49), near=("nose_side_*", "cheek_*")),
    Region(id="nose_underside", name="underside of the nose", indices=(98, 97, 2, 326, 327, 274, 1, 44)),
    *_both(
        "cheek", "cheek", (117, 118, 119, 100, 36, 206, 207, 187, 147, 123, 116), near=("under_eye_*", "mouth_side_*")
    ),
    *_both("face_side", "side of the face", (227, 123, 147, 213, 192, 138, 215, 58, 132, 93, 234), near=("cheek_*",)),
    Region(
        id="philtrum",
        name="middle of the upper-lip area",
        indices=(97, 2, 326, 393, 267, 0, 37, 167),
        near=("lip_area_right", "lip_area_left"),
    ),
    *_both("lip_area", "upper-lip area", (98, 97, 167, 37, 39, 40, 185, 57, 216, 206), near=("cheek_*", "chin")),
    Region(id="upper_lip", name="upper lip", indices=FEATURES["upper_lip"].indices, kind="lip"),
    Region(id="lower_lip", name="lower lip", indices=FEATURES["lower_lip"].indices, kind="lip"),
    Region(
        id="under_lip",
        name="hollow under the lower lip",
        indices=(182, 83, 18, 313, 406, 421, 200, 201),
        near=("mouth_side_right", "mouth_side_left"),
    ),
    Region(
        id="chin",
        name="chin",
        indices=(201, 200, 421, 428, 396, 175, 171, 208),
        near=("mouth_side_right", "mouth_side_left"),
    ),
    *_both(
        "mouth_side",
        "cheek beside the mouth",
        (207, 216, 212, 202, 210, 169, 135, 214, 192, 147, 187),
        near=("cheek_*",),
    ),
    *_both("jaw", "jaw", (138, 135, 169, 170, 140, 176, 149, 150, 136, 172), near=("mouth_side_*",)),
    Region(id="neck", name="neck", indices=(), near=("jaw_right", "jaw_left")),
)

REGIONS = MappingProxyType({region.id: region for region in _REGIONS})
"""Every region by its id, from hair to neck."""


def region_masks(points: Array, size: tuple[int, int], unit: float) -> dict[str, Mask]:
    """Where each region lies in an upright working picture; regions too small or outside are left out.

    Args:
        points: (478, 2) array, px of the working picture.
        size: its height and width.
        unit: px per pupil distance in it.

    Returns:
        Id -> (height, width) array.
    """
    masks: dict[str, Mask] = {}
    for region in _REGIONS:
        outline = _neck(points, unit) if region.id == "neck" else points[list(region.indices)]
        if not np.isfinite(outline).all():
            continue
        mask = _filled([outline], size)
        if region.kind == "eye":
            mask &= ~_iris(points, region.id, size)
        drawn_in = _drawn_in(mask, MARGIN * unit)
        if drawn_in.sum() >= FEWEST:
            masks[region.id] = drawn_in
    return masks


def face_mask(points: Array, size: tuple[int, int], unit: float) -> Mask:
    """The face without brows, eyes and mouth, drawn in at its outline; (height, width) array."""
    face = _drawn_in(_filled([points[list(FEATURES["face"].indices)]], size), 2 * MARGIN * unit)
    holes = [
        points[list(FEATURES[name].indices)] for name in ("brow_right", "brow_left", "eye_right", "eye_left", "lips")
    ]
    inside = np.asarray(_filled([hole for hole in holes if np.isfinite(hole).all()], size), dtype=np.uint8)
    width = 2 * round(MARGIN * unit) + 1
    return np.asarray(face & (cv2.dilate(inside, np.ones((width, width), np.uint8)) == 0))


def outline_mask(points: Array, size: tuple[int, int]) -> Mask:
    """Everything inside the face outline; (height, width) array."""
    return _filled([points[list(FEATURES["face"].indices)]], size)


def _filled(outlines: list[Array], size: tuple[int, int]) -> Mask:
    mask = np.zeros(size, np.uint8)
    cv2.fillPoly(mask, [np.rint(outline * 16).astype(np.int32) for outline in outlines], 1, cv2.LINE_8, 4)
    return np.asarray(mask > 0)


def _drawn_in(mask: Mask, by: float) -> Mask:
    """The mask without its edge; a small region keeps at least its middle third."""
    if not mask.any():
        return mask
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    y0, y1, x0, x1 = rows[0], rows[-1] + 1, columns[0], columns[-1] + 1
    inside = np.pad(mask[y0:y1, x0:x1].astype(np.uint8), 1)
    depth = cv2.distanceTransform(inside, cv2.DIST_L2, 3)[1:-1, 1:-1]
    out = np.zeros_like(mask)
    out[y0:y1, x0:x1] = depth > min(by, 0.4 * float(depth.max()))
    return out


def _iris(points: Array, eye: str, size: tuple[int, int]) -> Mask:
    first = 468 if eye.endswith("right") else 473
    centre, ring = points[first], points[first + 1 : first + 5]
    radius = 1.15 * float(np.linalg.norm(ring - centre, axis=1).mean())
    y, x = np.mgrid[0 : size[0], 0 : size[1]]
    return np.asarray(np.hypot(x - centre[0], y - centre[1]) <= radius)


def _neck(points: Array, unit: float) -> Array:
    """A patch under the chin, inside the width of the mouth."""
    chin, right, left = points[152], points[61], points[291]
    along = left - right
    down = np.array([-along[1], along[0]]) / max(float(np.hypot(*along)), 1e-6) * unit
    return np.array([chin + down * d + along * a for d, a in ((0.14, -0.45), (0.14, 0.45), (0.34, 0.4), (0.34, -0.4))])
