"""Light, lightness and CIE L*a*b* of sRGB; never luma, which sums coded values instead of light.

OpenCV converts to L*a*b* too; it spends longer on its tables than a whole picture takes here, and interpolates in them
to within half a step of L*.
"""

from __future__ import annotations

from functools import cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Light = NDArray[np.float32]
T = TypeVar("T", np.float32, np.float64)

RGB_TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
"""Linear sRGB (D65) to CIE XYZ, 2 degrees (IEC 61966-2-1:1999); the rows sum to the white."""
WHITE = RGB_TO_XYZ.sum(axis=1)


def to_light(srgb: Floats) -> Floats:
    """Linear light of sRGB, both 0 to 1, any shape (IEC 61966-2-1:1999).

    >>> round(float(to_light(np.array(0.4613561))), 6)
    0.18
    """
    v = np.asarray(srgb, dtype=np.float64)
    return np.asarray(np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4))


@cache
def light_table() -> Light:
    """(256,) array: linear light of each 8-bit level."""
    return np.asarray(to_light(np.arange(256) / 255), dtype=np.float32)


def to_levels(light: NDArray[T]) -> NDArray[T]:
    """Coded sRGB from 0 to 1 of linear light, clipped to what sRGB holds (IEC 61966-2-1:1999)."""
    v = np.clip(light, 0, 1)
    return np.asarray(np.where(v <= 0.0031308, 12.92 * v, 1.055 * np.power(v, 1 / 2.4) - 0.055))


def luminance(light: NDArray[np.floating]) -> Floats:
    """Relative luminance Y, 1 for white; (..., 3) array of linear light in, (...) out."""
    return np.asarray(light @ RGB_TO_XYZ[1].astype(light.dtype))


def lightness(y: Floats) -> Floats:
    """CIE L* of relative luminance 0 to 1 (CIE 15, exact fractions).

    >>> [round(float(lightness(to_light(np.array(level / 255)))), 2) for level in (10, 128, 255)]
    [2.74, 53.59, 100.0]
    """
    return np.asarray(116 * _f(np.asarray(y, dtype=np.float64)) - 16)


def lab_of_light(light: NDArray[T]) -> NDArray[T]:
    """CIE L*a*b* (D65, 2 degrees; CIE 15:2004) of linear sRGB light; (..., 3) array in and out, of one precision."""
    f = _f(light.reshape(-1, 3) @ (RGB_TO_XYZ / WHITE[:, None]).T.astype(light.dtype))
    x, y, z = f.T
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=1).reshape(light.shape)


def lab_of_pixels(pixels: NDArray[np.uint8]) -> Light:
    """The same of sRGB bytes."""
    return lab_of_light(light_table()[pixels])


def lab_of(srgb: Floats) -> Floats:
    """The same of sRGB from 0 to 1.

    >>> [round(float(v), 1) + 0.0 for v in lab_of(np.array([1.0, 1.0, 1.0]))]  # white
    [100.0, 0.0, 0.0]
    """
    return lab_of_light(to_light(srgb))


def _f(t: NDArray[T]) -> NDArray[T]:
    out = np.cbrt(t)
    dark = t <= (24 / 116) ** 3
    return np.asarray(np.where(dark, (841 / 108) * t + 16 / 116, out))
