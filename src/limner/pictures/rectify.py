"""From four corners to the canvas seen straight on, true to its proportions."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.errors import UsageError
from limner.notices import Notice
from limner.pictures.perspective import Views, focal_px, square_to, views_of
from limner.pictures.picture import Picture

Array = NDArray[np.float64]

_MOST_PX = 3000
_LEAST_SIDE = 8.0
_SQUARE = 0.03
"""Of the logarithm of width / height: nearer to a square than this, the photo cannot tell the two sides apart."""
_MISFIT = 0.06
"""Of the logarithm of width / height: how far the shape seen may be from the size given before it is said."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Rectified:
    """The canvas as if photographed from straight in front."""

    picture: Picture
    """The canvas alone, its edges on the picture's edges; ``full_size`` is its own, ``scale`` 1."""

    mm_per_px: float | None
    """The same across and down; ``None`` when the canvas size was not given."""

    size_mm: tuple[float, float] | None
    """Width and height as taken; ``None`` when not given."""

    homography: Array
    """(3, 3) array: px of the decoded photo, as (x, y, 1), to px of ``picture``."""

    off_axis: float
    """Degrees between the camera's line of sight to the canvas's middle and straight in front of it."""

    notices: tuple[Notice, ...]
    """What was taken for granted: which side is the width, how the proportions were got."""


def rectify(picture: Picture, corners: Any, size_mm: tuple[float, float] | None) -> Rectified:
    """Undo the perspective of a photographed canvas.

    ``corners``: (4, 2) array, px of the decoded picture, pixel centres at whole numbers; the four corners in any order.
    ``size_mm``: the canvas's two sides in either order, or ``None``. With a size the proportions are exact, and which
    side is the width is taken from the photo's shape. Without one they follow from the perspective and the focal length
    (EXIF's, or a usual phone's).

    Raises :class:`UsageError` when the corners are not four, not finite, or make no convex quadrilateral.
    """
    ring = ordered_corners(corners)
    size = (picture.pixels.shape[1], picture.pixels.shape[0])
    view = views_of(ring[None], size, focal_px(size, picture.focal_35mm))
    aspect = float(view.aspect[0])
    notices: tuple[Notice, ...]
    if size_mm is None:
        width, height, notices = aspect, 1.0, _without_size(picture, view)
    else:
        width, height, notices = _which_way(size_mm, aspect, known=picture.focal_35mm is not None)
    pitch = _pitch(ring, width, height)
    columns, rows = max(1, round(width / pitch)), max(1, round(height / pitch))
    to_px = np.array([[width / pitch, 0, -0.5], [0, height / pitch, -0.5], [0, 0, 1.0]])
    homography = to_px @ np.linalg.inv(square_to(ring))
    homography /= homography[2, 2]
    seen: Any = cv2.warpPerspective(
        picture.pixels, homography, (columns, rows), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    seen.flags.writeable = False
    flat = replace(picture, pixels=seen, full_size=(columns, rows), scale=1.0, focal_35mm=None)
    return Rectified(
        picture=flat,
        mm_per_px=pitch if size_mm is not None else None,
        size_mm=(width, height) if size_mm is not None else None,
        homography=homography,
        off_axis=float(view.off_axis[0]),
        notices=notices,
    )


def ordered_corners(corners: Any) -> Array:
    """Top left, top right, bottom right, bottom left of four points given in any order: (4, 2) array.

    Raises :class:`UsageError` when they make no convex quadrilateral with sides of some length.
    """
    given = np.asarray(corners, dtype=np.float64)
    if given.shape != (4, 2) or not np.all(np.isfinite(given)):
        raise UsageError(f"Expected four corners x,y, but got {given.size // 2} points; give each corner once.")
    away = given - given.mean(axis=0)
    ring = given[np.argsort(np.arctan2(away[:, 1], away[:, 0]), kind="stable")]
    # Clockwise as seen (y down); the top left corner is the one that leads to the side that most points right.
    side = np.roll(ring, -1, axis=0) - ring
    turn = side[:, 0] * np.roll(side, -1, axis=0)[:, 1] - side[:, 1] * np.roll(side, -1, axis=0)[:, 0]
    long = np.linalg.norm(side, axis=1)
    if np.any(long < _LEAST_SIDE) or np.any(turn <= 1e-3 * long * np.roll(long, -1)):
        raise UsageError(
            "Expected the four corners of a canvas, but they make no quadrilateral; check their order of x,y."
        )
    return np.roll(ring, -int(np.argmax(side[:, 0] / long)), axis=0)


def _which_way(size_mm: tuple[float, float], aspect: float, *, known: bool) -> tuple[float, float, tuple[Notice, ...]]:
    one, other = size_mm
    seen = np.log(aspect)
    misfit, turned = abs(np.log(one / other) - seen), abs(np.log(other / one) - seen)
    if abs(np.log(one / other)) < _SQUARE:
        why = "as written, since so nearly square a canvas looks alike either way"
    else:
        why = "as it stands in the photo"
        if turned < misfit:
            one, other, misfit = other, one, turned
    text = f"The canvas was taken as {one:g} mm wide and {other:g} mm high, {why}."
    notices = [Notice(code="canvas_side", text=text)]
    if misfit > _MISFIT * (1 if known else 2):
        text = (
            f"In the photo the canvas looks {aspect:.2f} times as wide as high, but {one:g} x {other:g} mm is "
            f"{one / other:.2f}; check the size and the corners."
        )
        notices.append(Notice(code="canvas_size_doubtful", text=text))
    return float(one), float(other), tuple(notices)


def _without_size(picture: Picture, view: Views) -> tuple[Notice, ...]:
    aspect, tilt = float(view.aspect[0]), float(view.off_axis[0])
    source = "its stated focal length" if picture.focal_35mm else "the focal length of a usual phone"
    text = (
        f"The canvas size was not given: its proportions, {aspect:.3f} times as wide as high, were worked out from the "
        f"perspective and {source}."
    )
    notices = [Notice(code="canvas_shape_from_perspective", text=text)]
    if tilt > 10 and not picture.focal_35mm:
        text = (
            f"The camera stood about {tilt:.0f} degrees to the side and its focal length is not stated, so the "
            "proportions may be off by some percent; give the canvas size."
        )
        notices.append(Notice(code="canvas_shape_rough", text=text))
    return tuple(notices)


def _pitch(ring: Array, width: float, height: float) -> float:
    """Units of ``width`` per px, so that no side of the canvas loses resolution, within a limit."""
    long = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
    density = max(max(long[0], long[2]) / width, max(long[1], long[3]) / height)
    return float(max(1 / density, max(width, height) / _MOST_PX))
