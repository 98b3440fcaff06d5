"""CIE L*a*b* of sRGB.

OpenCV has a conversion too; it spends longer on its tables than a whole picture takes here, and interpolates in them to
within half a step of L*.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

_TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
"""Linear sRGB to XYZ, D65 (IEC 61966-2-1:1999)."""
_WHITE = np.array([0.95047, 1.0, 1.08883])
_KNEE = (24 / 116) ** 3

T = TypeVar("T", np.float32, np.float64)


def linear(srgb: NDArray[np.float64]) -> NDArray[np.float64]:
    """Take the sRGB curve off; both from 0 to 1 (IEC 61966-2-1:1999)."""
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


_LINEAR = linear(np.arange(256) / 255).astype(np.float32)


def lab_of_pixels(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """CIE L*a*b* (D65, 2 degrees; CIE 15:2004): (..., 3) array of sRGB bytes to (..., 3) array."""
    return _lab(_LINEAR[pixels.reshape(-1, 3)]).reshape(pixels.shape)


def lab_of(srgb: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same for sRGB from 0 to 1.

    >>> [round(float(v), 1) + 0.0 for v in lab_of(np.array([1.0, 1.0, 1.0]))]  # white
    [100.0, 0.0, 0.0]
    """
    return _lab(linear(srgb.reshape(-1, 3))).reshape(srgb.shape)


def _lab(colours: NDArray[T]) -> NDArray[T]:
    t = colours @ (_TO_XYZ / _WHITE[:, None]).T.astype(colours.dtype)
    f = np.cbrt(t)
    dark = t < _KNEE
    f[dark] = (841 / 108) * t[dark] + 16 / 116
    x, y, z = f.T
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=1)
