"""Photograph and paint made comparable: what is left is where it turns lighter or darker, warmer or cooler.

Paint differs from a photograph in range, key, colour and light. So each plane loses its local mean and is divided by
its local contrast, over a window much larger than a feature's edge and smaller than the face.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.register.bring import PX_PER_PUPILS, Brought, Sitter

Plane = NDArray[np.float32]

_LIGHT_SAY, _COLOUR_SAY = 0.63, 0.44
"""Say of lightness and of each of a* and b* where a painting has colour; alone, lightness has 1. A brush scatters in
lightness more than in hue, so edges of lids, lips and brows are told a twelfth nearer by all three: chosen on 72
paintings of nine faces, and so on 72 of nine others. The sum, 1.5, is what the limits of belief were set with."""
_COLOUR_CALM = 0.75
"""Calm of a* and b* against that of lightness."""
_COLOURLESS = 3.0
"""Half-range of a* or b* within a face, below which a painting is taken as done in one colour."""


@dataclass(frozen=True, kw_only=True)
class Look:
    """How the planes are made; lengths in pupil distances."""

    blur: float
    """Gaussian that takes away the brush's texture."""
    window: float
    """Gaussian over which mean and contrast are evened out."""
    calm: float = 2.0
    """Contrast in L* below which nothing is stretched any more."""


@dataclass(frozen=True, eq=False)
class Quality:
    """One quality of one picture, evened out."""

    plane: Plane
    """(h, w) array."""

    @cached_property
    def half_slopes(self) -> tuple[Plane, Plane]:
        """Half the slopes per px, to the right and down; (h, w) arrays."""
        across, down = (cv2.Sobel(self.plane, cv2.CV_32F, *way, scale=1 / 16) for way in ((1, 0), (0, 1)))
        return np.asarray(across, dtype=np.float32), np.asarray(down, dtype=np.float32)

    @cached_property
    def seen(self) -> dict[Hashable, tuple[Plane, Plane, Plane]]:
        """The plane and its slopes at places that are asked again and again, by what asks."""
        return {}


@dataclass(frozen=True, kw_only=True, eq=False)
class Planes:
    """One quality of both pictures."""

    reference: Quality
    painting: Quality
    weight: float
    """Its say against lightness."""


def evened(plane: Plane, look: Look) -> Plane:
    """Local mean taken away, divided by local contrast; (h, w) array in and out."""
    soft = np.asarray(cv2.GaussianBlur(plane, (0, 0), max(look.blur * PX_PER_PUPILS, 0.3)), dtype=np.float32)
    wide = look.window * PX_PER_PUPILS
    mean = _wide_blur(soft, wide)
    spread = _wide_blur(soft * soft, wide) - mean * mean
    return np.asarray((soft - mean) / np.sqrt(np.maximum(spread, 0) + look.calm**2), dtype=np.float32)


def evened_sitter(sitter: Sitter, look: Look, channel: int = 0) -> Quality:
    """A channel of the reference evened, once for all its paintings."""
    return sitter.kept.made((channel, look), lambda: Quality(evened(sitter.lab[..., channel], look)))


def planes(brought: Brought, look: Look) -> list[Planes]:
    """Lightness, and red against green and yellow against blue where the painting has colour."""
    asked = [(0, look, 1.0)]
    if has_colour(brought):
        colour = Look(blur=look.blur, window=look.window, calm=_COLOUR_CALM * look.calm)
        asked = [(0, look, _LIGHT_SAY), *((channel, colour, _COLOUR_SAY) for channel in (1, 2))]
    return [
        Planes(
            reference=evened_sitter(brought.sitter, how, channel),
            painting=Quality(evened(brought.painting[..., channel], how)),
            weight=weight,
        )
        for channel, how, weight in asked
    ]


def planes_of_shapes(brought: Brought, lightness: Plane, look: Look) -> list[Planes]:
    """The lightness alone, with (h, w) L* ``lightness`` in the reference's place."""
    own, painting = Quality(evened(lightness, look)), Quality(evened(brought.painting[..., 0], look))
    return [Planes(reference=own, painting=painting, weight=1.0)]


def has_colour(brought: Brought) -> bool:
    """Whether the painting's face holds more than one hue, so that colour can be compared at all."""
    middle = brought.found.mean(axis=0)
    reach = 0.9 * PX_PER_PUPILS
    x0, y0 = (max(int(n - reach), 0) for n in middle)
    x1, y1 = (int(n + reach) for n in middle)
    colour = cv2.blur(brought.painting[y0:y1, x0:x1, 1:], (9, 9))
    if colour.size == 0:
        return False
    low, high = np.percentile(colour[::4, ::4].reshape(-1, 2), (5, 95), axis=0)
    return bool(((high - low) / 2 > _COLOURLESS).any())


def _wide_blur(plane: Plane, sigma: float) -> Plane:
    """A wide Gaussian, made on a picture a quarter the size: the difference is far below the brush's noise."""
    height, width = plane.shape
    small = cv2.resize(plane, (max(width // 4, 1), max(height // 4, 1)), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), sigma / 4)
    return np.asarray(cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR), dtype=np.float32)
