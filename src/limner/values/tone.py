"""Munsell value of light, and the difference of two colours."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_D1535 = np.array([0.00081939, -0.020484, 0.23352, -0.22533, 1.1914, 0.0])
"""ASTM D1535-08e1: luminance factor in percent as a quintic in Munsell value, highest power first."""
_STEPS = 8192
"""Steps of the table that many values are read from."""


def luminance_of_value(value: Floats) -> Floats:
    """Relative luminance 0 to 1 of Munsell value 0 to 10 (ASTM D1535-08e1).

    >>> round(float(luminance_of_value(np.array(5.0))), 6)
    0.192718
    """
    return np.asarray(np.polyval(_D1535, np.asarray(value, dtype=np.float64)) / 100)


@cache
def _inverse() -> tuple[Floats, Floats]:
    """The inverse as a table, close where value runs steeply with light."""
    values = np.linspace(0, 11, 2201)
    return luminance_of_value(values), values


def munsell_value(y: NDArray[np.floating]) -> Floats:
    """Munsell value of relative luminance 0 to 1: the inverse of ASTM D1535-08e1, to 0.0001; 11 at most.

    >>> round(float(munsell_value(np.array(0.192718))), 3)
    5.0
    """
    return np.asarray(np.interp(y, *_inverse()))


@cache
def _by_root() -> tuple[float, NDArray[np.float32], NDArray[np.float32]]:
    """Values at even steps of the root of light, and what each step adds; and steps to a root of 1.

    Value runs steeply with light in the darks and evenly with its root, so that no step has to be looked for.
    """
    most = float(_inverse()[0][-1]) ** 0.5
    per_root = _STEPS / most
    values = munsell_value((np.arange(_STEPS + 2) / per_root) ** 2)
    return per_root, values[:-1].astype(np.float32), np.diff(values).astype(np.float32)


def munsell_values(y: NDArray[np.float32]) -> NDArray[np.float32]:
    """The same of many, to 0.00001.

    >>> munsell_values(np.array([0.192718, 0.0], np.float32)).round(3).tolist()
    [5.0, 0.0]
    """
    per_root, values, rises = _by_root()
    at = np.sqrt(np.maximum(y, 0)) * np.float32(per_root)
    step = np.minimum(at, np.float32(_STEPS)).astype(np.int32)
    share = np.minimum(at - step, 1)
    return np.asarray(np.take(values, step) + share * np.take(rises, step), dtype=np.float32)


def ciede2000(first: Floats, second: Floats) -> Floats:
    """Colour difference of (..., 3) arrays of CIE L*a*b*; (...) array out.

    Sharma, Wu, Dalal 2005, Color Res Appl 30(1):21-30, with kL = kC = kH = 1; their symbols, their order.
    """
    L1, a1, b1 = np.moveaxis(np.asarray(first, dtype=np.float64), -1, 0)
    L2, a2, b2 = np.moveaxis(np.asarray(second, dtype=np.float64), -1, 0)
    C_mean = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    G = 0.5 * (1 - np.sqrt(C_mean**7 / (C_mean**7 + 25.0**7)))
    a1, a2 = (1 + G) * a1, (1 + G) * a2
    C1, C2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = (np.degrees(np.arctan2(b, a)) % 360 for a, b in ((a1, b1), (a2, b2)))
    grey = C1 * C2 == 0
    turn = h2 - h1
    dh = np.where(grey, 0.0, turn - 360 * (turn > 180) + 360 * (turn < -180))
    dH = 2 * np.sqrt(C1 * C2) * np.sin(np.radians(dh) / 2)
    both = h1 + h2
    over = np.abs(turn) > 180
    h = np.where(grey, both, np.where(over, (both + np.where(both < 360, 360, -360)) / 2, both / 2))
    return _weighted(L2 - L1, C2 - C1, dH, ((L1 + L2) / 2, (C1 + C2) / 2, h))


def _weighted(dL: Floats, dC: Floats, dH: Floats, mean: tuple[Floats, Floats, Floats]) -> Floats:
    """Equations 15 to 22: the weights of the three differences, and their interplay in the blues."""
    L, C, h = mean
    T = (
        1
        - 0.17 * np.cos(np.radians(h - 30))
        + 0.24 * np.cos(np.radians(2 * h))
        + 0.32 * np.cos(np.radians(3 * h + 6))
        - 0.20 * np.cos(np.radians(4 * h - 63))
    )
    R_C = 2 * np.sqrt(C**7 / (C**7 + 25.0**7))
    R_T = -np.sin(np.radians(60 * np.exp(-(((h - 275) / 25) ** 2)))) * R_C
    S_L = 1 + 0.015 * (L - 50) ** 2 / np.sqrt(20 + (L - 50) ** 2)
    S_C, S_H = 1 + 0.045 * C, 1 + 0.015 * C * T
    terms = (dL / S_L) ** 2 + (dC / S_C) ** 2 + (dH / S_H) ** 2 + R_T * (dC / S_C) * (dH / S_H)
    return np.asarray(np.sqrt(np.maximum(terms, 0)))
