"""A photo brought to the size in which canvases are looked for, and places found there brought back."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.pictures.picture import Picture

Array = NDArray[np.float64]

USUAL_PX = 2016
"""px: longer side of a 12-megapixel photo as it is read. What is looked at beside an edge, and how far an edge may be
from a line, is told in its pixels."""
_SMALLER = 2 / 3
"""Of that size: a photo that tells too little is searched again so. There noise is less, and an edge that is broken up
by texture is whole again; what lies two or three px beside it is lost (limner's choice)."""
_NEAR = 1.15
"""A photo whose longer side is within this factor of that is searched as it is (limner's choice)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Usual:
    """A photo at the usual size."""

    picture: Picture
    factor: Array
    """(2,) array: its px per px of the photo as decoded, across and down; 1 where it is searched as it is."""

    def there(self, spots: Array) -> Array:
        """(..., 2) array, px of the decoded photo, to px of the copy."""
        return np.asarray((spots + 0.5) * self.factor - 0.5)

    def back(self, spots: Array) -> Array:
        """(..., 2) array, px of the copy, to px of the decoded photo."""
        return np.asarray((spots + 0.5) / self.factor - 0.5)

    def doubt(self, sigma: Array) -> Array:
        """What sigma, px of the copy, comes to in the decoded photo.

        Neighbouring places of an enlarged edge share its pixels, so that fewer of them count.
        """
        enlarged = float(np.sqrt(np.prod(self.factor)))
        return np.asarray(sigma / enlarged * np.sqrt(max(1.0, enlarged)))


def usual(picture: Picture) -> Usual:
    """The photo itself, or a copy that is enlarged or reduced."""
    height, width = picture.pixels.shape[:2]
    factor = USUAL_PX / max(width, height)
    if 1 / _NEAR <= factor <= _NEAR:
        return Usual(picture=picture, factor=np.ones(2))
    return _copy(picture, factor)


def smaller(photo: Usual) -> Usual:
    """A smaller copy of the copy, or of the photo; its places are brought back to the decoded photo at once."""
    again = _copy(photo.picture, _SMALLER)
    return Usual(picture=again.picture, factor=again.factor * photo.factor)


def _copy(picture: Picture, factor: float) -> Usual:
    height, width = picture.pixels.shape[:2]
    size = (max(1, round(factor * width)), max(1, round(factor * height)))
    how = cv2.INTER_CUBIC if factor > 1 else cv2.INTER_AREA
    pixels: Any = cv2.resize(picture.pixels, size, interpolation=how)
    return Usual(picture=replace(picture, pixels=pixels), factor=np.array(size) / [width, height])
