"""What the size given says of a would-be canvas: its proportions, its right angles, how surely a phone tells them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.pictures.perspective import Views, focal_px, views_of

Array = NDArray[np.float64]

_SIZE_MM = 1.0
"""One-sigma error of a side as sold, stretched and measured, mm (limner's choice)."""
_FOCAL, _MIDDLE = 0.006, 0.0025
"""One-sigma share by which a stated focal length is off, as phones round theirs, and share of the picture's longer side
by which its middle is not the lens's (limner's choice)."""
_PLACED = 0.0007
"""One-sigma error of the logarithm of width / height, and of the cosine between the sides, that edges leave which are
placed as well as they can be."""
_GUESSED = 0.05
"""One sigma of the logarithm of width / height with the focal length guessed."""
_MOST = 20.0
"""What a wrong shape costs at most: as much as any evidence."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Shape:
    """Of k sets of corners, how far they are from a canvas of the size given."""

    off: Array
    """(k,) array: of the logarithm of the longer over the shorter side, what was seen less what was given."""
    sigma: Array
    """(k,) array: one sigma of ``off`` of the right corners."""
    skew_sigma: Array
    """(k,) array: one sigma of the cosine between the sides of the right corners."""


def shape_of(
    corners: Array, views: Views, size: tuple[int, int], focal_35mm: float | None, sides: tuple[float, float]
) -> Shape:
    """``sides``: the two sides, mm, in either order; ``views``: what (k, 4, 2) ``corners`` look like to the camera."""
    seen = np.log(views.aspect)
    off = np.abs(seen) - abs(float(np.log(sides[0] / sides[1])))
    measured = float(np.hypot(_SIZE_MM / sides[0], _SIZE_MM / sides[1]))
    if focal_35mm is None:
        return Shape(off=off, sigma=np.full_like(off, _GUESSED), skew_sigma=np.full_like(off, np.inf))
    focal, away = focal_px(size, focal_35mm), _MIDDLE * max(size)
    moved = [
        views_of(corners + np.array(shift), size, (1 + longer) * focal)
        for shift, longer in (((0.0, 0.0), _FOCAL), ((away, 0.0), 0.0), ((0.0, away), 0.0))
    ]
    turned = sum((np.log(other.aspect) - seen) ** 2 for other in moved)
    skewed = sum((other.skew - views.skew) ** 2 for other in moved)
    return Shape(
        off=off,
        sigma=np.sqrt(turned + measured**2 + _PLACED**2),
        skew_sigma=np.sqrt(skewed + _PLACED**2),
    )


Misfit = Callable[[Array, Views], Array]


def misfit(size: tuple[int, int], focal_35mm: float | None, sides: tuple[float, float] | None) -> Misfit:
    """What corners lose, (k,) array, that are not those of a canvas of the size given; nothing without a size."""

    def lost(corners: Array, views: Views) -> Array:
        if sides is None:
            return np.zeros(len(corners))
        shape = shape_of(corners, views, size, focal_35mm, sides)
        wrong = 0.5 * (shape.off / shape.sigma) ** 2 + 0.5 * (views.skew / shape.skew_sigma) ** 2
        return np.asarray(np.minimum(np.nan_to_num(wrong, nan=_MOST), _MOST))

    return lost
