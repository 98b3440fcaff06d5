"""What the size given says of a would-be canvas: its proportions, its right angles, how surely a phone tells them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.pictures.perspective import USUAL_35MM, Views, focal_px, views_of

Array = NDArray[np.float64]
Seen = Callable[[Array], Views]

_SIZE_MM = 1.0
"""One-sigma error of a side as sold, stretched and measured, mm (limner's choice)."""
_FOCAL, _MIDDLE = 0.006, 0.0025
"""One-sigma share by which a stated focal length is off, as phones round theirs, and share of the picture's longer side
by which its middle is not the lens's (limner's choice)."""
_PLACED = 0.0007
"""One-sigma error of the logarithm of width / height, and of the cosine between the sides, that edges leave which are
placed as well as they can be."""
_GUESSED_35MM = (26.0, 30.0, 23.0, 38.0, 50.0, 75.0)
"""mm: focal lengths to begin with where the photo tells none, as phones' lenses have them (limner's choice)."""
_USUAL, _SPREAD = USUAL_35MM, 0.4
"""mm, and one sigma of the logarithm: where the focal length of a photo that tells none is expected (limner's
choice)."""
_LENGTHS = (18.0, 90.0)
"""mm: focal lengths beyond these are none of a phone's (limner's choice)."""
FITTED_SKEW = 0.0014
"""One sigma of the cosine between the sides while a focal length is fitted: what edges and the lens's middle leave."""
ASPECT_OFF = 0.0045
"""Of the logarithm of width / height, from which what was found has not the shape of the size given: the thick side of
a canvas taken for its front, a shadow, an edge hidden by a ledge. At the least it is what a focal length does that is
off by two standard errors. Of 126 scenes of seeds 5000 to 5139 whose best reading has its corners one was off by more
than 0.004, of 13 others eight."""
_RULED_OUT = 6.0
"""What corners lose beside, that are farther off: they are never taken, and so hardly a rival of what may be; not all
evidence, since the size given may be wrong (limner's choice). Not where the focal length is fitted: with it 990018,
1.2 % off, was taken in silence."""
_ROUNDS, _STRIDE, _FARTHEST = 4, 0.01, 0.2
"""Rounds of the fit, and steps of the logarithm of the focal length: to take the derivative, and the most at once."""
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
    wrong: NDArray[np.bool_]
    """(k,) array: whether ``off`` is that of another shape, whatever a phone's rounded focal length leaves of it."""


def shape_of(
    corners: Array, views: Views, size: tuple[int, int], focal_35mm: float | None, sides: tuple[float, float]
) -> Shape:
    """``sides``: the two sides, mm, in either order; ``views``: what (k, 4, 2) ``corners`` look like to the camera."""
    seen = np.log(views.aspect)
    off = np.abs(seen) - abs(float(np.log(sides[0] / sides[1])))
    measured, away = _measured(sides), _MIDDLE * max(size)
    moved = [views_of(corners + np.array(shift), size, views.focal) for shift in ((away, 0.0), (0.0, away))]
    longer = views_of(corners, size, (1 + _FOCAL) * views.focal)
    if focal_35mm is not None:
        moved.append(longer)
    turned = sum((np.log(other.aspect) - seen) ** 2 for other in moved)
    skewed = sum((other.skew - views.skew) ** 2 for other in moved)
    return Shape(
        off=off,
        sigma=np.sqrt(turned + measured**2 + _PLACED**2),
        skew_sigma=np.sqrt(skewed + _PLACED**2),
        wrong=np.abs(off) > np.maximum(ASPECT_OFF, 2 * np.abs(np.log(longer.aspect) - seen)),
    )


def camera(size: tuple[int, int], focal_35mm: float | None, sides: tuple[float, float] | None) -> Seen:
    """What corners look like to the camera: of the focal length told, else the one that suits them the best."""

    def seen_by(corners: Array) -> Views:
        if focal_35mm is not None:
            return views_of(corners, size, focal_px(size, focal_35mm))
        return squarest(corners, size) if sides is None else fitted(corners, size, sides)

    return seen_by


def squarest(corners: Array, size: tuple[int, int]) -> Views:
    """For each of (k, 4, 2) corners the view, among usual focal lengths, in which its sides are nearest to square."""
    seen = [views_of(corners, size, focal_px(size, focal)) for focal in _GUESSED_35MM]
    best = np.argmin(np.abs([views.skew for views in seen]), axis=0)
    return views_of(corners, size, np.array([focal_px(size, focal) for focal in _GUESSED_35MM])[best])


def fitted(corners: Array, size: tuple[int, int], sides: tuple[float, float]) -> Views:
    """What (k, 4, 2) corners look like to the camera whose focal length suits them and the size given the best.

    A photo taken from beside the canvas and above it tells its focal length by the right angles; one taken from beside
    it alone tells none, and there the shape is made to fit.
    """
    seen = [views_of(corners, size, focal_px(size, focal)) for focal in _GUESSED_35MM]
    wrong = np.stack([np.sum(_residuals(views, size, sides) ** 2, axis=0) for views in seen])
    best = np.argmin(np.nan_to_num(wrong, nan=np.inf), axis=0)
    log = np.log([focal_px(size, focal) for focal in _GUESSED_35MM])[best]
    low, high = (np.log(focal_px(size, focal)) for focal in _LENGTHS)
    for _ in range(_ROUNDS):
        here = _residuals(views_of(corners, size, np.exp(log)), size, sides)
        slope = (_residuals(views_of(corners, size, np.exp(log + _STRIDE)), size, sides) - here) / _STRIDE
        step = -np.sum(slope * here, axis=0) / np.sum(slope**2, axis=0)
        log = np.clip(log + np.clip(np.nan_to_num(step), -_FARTHEST, _FARTHEST), low, high)
    return views_of(corners, size, np.exp(log))


def looseness(corners: Array, views: Views, size: tuple[int, int]) -> Array:
    """(k,) array: one sigma of the logarithm of width / height that a focal length leaves which was fitted."""
    other = views_of(corners, size, np.exp(_STRIDE) * views.focal)
    turned, skewed = (np.log(other.aspect / views.aspect)) / _STRIDE, (other.skew - views.skew) / _STRIDE
    return np.asarray(np.abs(turned) / np.hypot(skewed / FITTED_SKEW, 1 / _SPREAD))


def _residuals(views: Views, size: tuple[int, int], sides: tuple[float, float]) -> Array:
    """(3, k) array, in standard errors: of the shape, of the right angles, of the focal length."""
    off = np.abs(np.log(views.aspect)) - abs(float(np.log(sides[0] / sides[1])))
    unusual = np.log(views.focal / focal_px(size, _USUAL)) / _SPREAD
    return np.stack([off / np.hypot(_measured(sides), _PLACED), views.skew / FITTED_SKEW, unusual])


def _measured(sides: tuple[float, float]) -> float:
    """One-sigma error of the logarithm of width / height of the size given."""
    return float(np.hypot(_SIZE_MM / sides[0], _SIZE_MM / sides[1]))


Misfit = Callable[[Array, Views], Array]


def misfit(size: tuple[int, int], focal_35mm: float | None, sides: tuple[float, float] | None) -> Misfit:
    """What corners lose, (k,) array, that are not those of a canvas of the size given; nothing without a size."""

    def lost(corners: Array, views: Views) -> Array:
        if sides is None:
            return np.zeros(len(corners))
        shape = shape_of(corners, views, size, focal_35mm, sides)
        wrong = 0.5 * (shape.off / shape.sigma) ** 2 + 0.5 * (views.skew / shape.skew_sigma) ** 2
        if focal_35mm is not None:
            wrong += _RULED_OUT * shape.wrong
        else:
            wrong += 0.5 * (np.log(views.focal / focal_px(size, _USUAL)) / _SPREAD) ** 2
        return np.asarray(np.minimum(np.nan_to_num(wrong, nan=_MOST), _MOST))

    return lost
