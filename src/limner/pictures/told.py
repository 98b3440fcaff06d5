"""What the size given says of what was found, and whether the photo lets it say anything."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.pictures.perspective import views_of
from limner.pictures.picture import Picture
from limner.pictures.shape import ASPECT_OFF, FITTED_SKEW, camera, looseness

Array = NDArray[np.float64]

_LOOSE = 0.003
"""Of the logarithm of width / height: a focal length that was fitted must leave no more, one sigma, for the shape to
tell: as much as what fits may be off."""
_FOCAL = 0.012
"""By what share of itself a focal length may be off, as phones round theirs, for the shape to be another."""
_ASPECT_FITS = 0.003
"""Within so much the shape speaks for what was found, whose edges may then be fainter, and which may have a border. Of
400 scenes, seeds 20000 to 20099, 21000 to 21149 and 30000 to 30149, none of the 325 found to 0.1 % is off by more, and
of 19 found 0.3 % and more off four by less: two are squares with a margin, the others' edges score 9.3 at most. A bare
margin of a hundredth of the shorter side, taken for the wall, leaves 0.004 and more in their oblong sizes."""
_SKEWED = 2.0
"""One-sigma skews from which on no focal length makes a canvas of the size given of what was found. Of 188 found right
without their focal length (910000 to 910059, 920000 to 920039, 930000 to 930059 and 50 of another maker of scenes) the
greatest is 1.4; of 950059, whose thick side of the front's own colour was taken into it, 2.6, with the shape right."""


@dataclass(frozen=True, kw_only=True)
class Told:
    """What the size given says of what was found."""

    aspect: float
    """Width / height of what was found."""
    skew: float
    """Cosine of the angle between its sides."""
    wrong: bool
    """It has another shape, and is no canvas of that size."""
    fits: bool
    """It has that shape, as nearly as can be told."""
    told: bool
    """The size is known, and the focal length too: from the photo, or because the right angles give it."""
    doubtful: bool
    """It has neither that shape nor clearly another."""
    oblong: float
    """One less the shorter side over the longer."""


def told_by(picture: Picture, corners: Array, size_mm: tuple[float, float] | None) -> Told:
    """``corners``: (4, 2) array, px of the picture; ``size_mm``: the canvas's two sides in either order, if known."""
    size = (picture.pixels.shape[1], picture.pixels.shape[0])
    view = camera(size, picture.focal_35mm, size_mm)(corners[None])
    aspect, skew = float(view.aspect[0]), float(view.skew[0])
    if size_mm is None:
        return Told(aspect=aspect, skew=skew, wrong=False, fits=False, told=False, doubtful=False, oblong=0.0)
    longer = views_of(corners[None], size, (1 + _FOCAL) * view.focal)
    limit = max(ASPECT_OFF, abs(float(np.log(longer.aspect[0] / aspect))))
    off = abs(abs(float(np.log(aspect))) - abs(float(np.log(size_mm[0] / size_mm[1]))))
    skewed = picture.focal_35mm is None and abs(skew) > _SKEWED * FITTED_SKEW
    told = picture.focal_35mm is not None or bool(looseness(corners[None], view, size)[0] < _LOOSE)
    return Told(
        aspect=aspect,
        skew=skew,
        wrong=off > limit or skewed,
        fits=told and off <= _ASPECT_FITS and not skewed,
        told=told,
        doubtful=told and off > _ASPECT_FITS,
        oblong=1 - min(size_mm) / max(size_mm),
    )
