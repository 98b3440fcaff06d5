"""A face seen with half-closed eyes: the darks merged, the big edges kept."""

from __future__ import annotations

import cv2
import numpy as np

from limner.values.bring import UNIT
from limner.values.faces import Plane


def squinted(plane: Plane, dark: float) -> Plane:
    """Values of an (h, w) face without details; what is darker than ``dark`` becomes one mass of its own middle.

    Edge-keeping smoothing (bilateral, four passes) over 0.06 pupil distances and about a step of value.
    """
    out = plane
    for _ in range(4):
        out = np.asarray(cv2.bilateralFilter(out, 0, 0.9, 0.06 * UNIT), dtype=np.float32)
    below = out < dark
    if below.any():
        out = np.where(below, np.float32(np.median(out[below])), out)
    return np.asarray(out, dtype=np.float32)
