"""What four corners say of the rectangle and of the camera that saw it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

DIAGONAL_35MM = 43.2666
"""mm: diagonal of the 24 x 36 mm frame that 35 mm equivalent focal lengths refer to."""
USUAL_35MM = 26.0
"""mm: what is assumed of a phone that does not say; common practice, no source."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Views:
    """Rectangles seen by a camera of known focal length, one for each of k sets of corners."""

    aspect: Array
    """(k,) array: width / height of the rectangle."""
    skew: Array
    """(k,) array: cosine of the angle between its sides as the corners would have it; 0 for a true rectangle."""
    eye: Array
    """(k, 3) array: where the camera stands, in widths of the rectangle from its top left: right, down, in front."""

    focal: Array
    """(k,) array, px: focal length of that camera."""

    @property
    def off_axis(self) -> Array:
        """(k,) array, degrees: between the rectangle's normal and the line from its middle to the camera."""
        x, y, z = self.eye.T
        return np.asarray(np.degrees(np.arctan2(np.hypot(x - 0.5, y - 0.5 / self.aspect), np.abs(z))))


def focal_px(size: tuple[int, int], focal_35mm: float | None) -> float:
    """Focal length in px of a picture of ``size`` (width, height), from the 35 mm equivalent (by the diagonal)."""
    return (focal_35mm or USUAL_35MM) / DIAGONAL_35MM * float(np.hypot(*size))


def square_to(corners: Array) -> Array:
    """(..., 3, 3) homographies from the unit square (0, 0), (1, 0), (1, 1), (0, 1) to (..., 4, 2) corners.

    Heckbert 1989, Fundamentals of Texture Mapping and Image Warping, section 2.2.3. Raises nothing: corners of which
    three lie on a line give infinities.
    """
    (x0, x1, x2, x3), (y0, y1, y2, y3) = (np.moveaxis(corners[..., k], -1, 0) for k in (0, 1))
    sx, sy = x0 - x1 + x2 - x3, y0 - y1 + y2 - y3
    with np.errstate(divide="ignore", invalid="ignore"):
        det = (x1 - x2) * (y3 - y2) - (x3 - x2) * (y1 - y2)
        g = (sx * (y3 - y2) - (x3 - x2) * sy) / det
        h = ((x1 - x2) * sy - sx * (y1 - y2)) / det
        rows = (
            (x1 - x0 + g * x1, x3 - x0 + h * x3, x0),
            (y1 - y0 + g * y1, y3 - y0 + h * y3, y0),
            (g, h, np.ones_like(g)),
        )
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)


def views_of(corners: Array, size: tuple[int, int], focal: float | Array) -> Views:
    """Rectangle and camera from (k, 4, 2) corners, px, for a pinhole whose axis meets the middle of the picture.

    ``focal``: px, one for all or (k,) array.

    With K the camera matrix and H the homography from the unit square, the columns of K^-1 H are, up to one factor, the
    rectangle's two sides and its first corner in camera coordinates (Zhang 2000, section 2.3).
    """
    middle = (np.array(size, float) - 1) / 2
    focals = np.broadcast_to(np.asarray(focal, dtype=np.float64), (len(corners),))
    sides = square_to((corners - middle) / focals[:, None, None])
    across, down, start = (sides[..., k] for k in range(3))
    width, height = np.linalg.norm(across, axis=-1), np.linalg.norm(down, axis=-1)
    r1, r2 = across / width[:, None], down / height[:, None]
    skew = np.sum(r1 * r2, axis=-1)
    r2 = r2 - skew[:, None] * r1
    r2 /= np.linalg.norm(r2, axis=-1)[:, None]
    turn = np.stack([r1, r2, np.cross(r1, r2)], axis=-2)
    eye = -np.einsum("kij,kj->ki", turn, start / width[:, None])
    return Views(aspect=width / height, skew=skew, eye=eye * [1, 1, -1], focal=focals)
