"""The part of the frame that is needed: what is far from the face need not be worked on."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.values.bring import UNIT

Plane = NDArray[np.float32]
Mask = NDArray[np.bool_]
Box = tuple[slice, slice]
"""Rows and columns."""


def box_of(mask: Mask, margin: int) -> Box:
    """The px of a mask and so many to each side, inside the frame."""
    x, y, width, height = cv2.boundingRect(mask.view(np.uint8))
    return slice(max(y - margin, 0), y + height + margin), slice(max(x - margin, 0), x + width + margin)


def reach(width: float) -> int:
    """How many px to each side a Gaussian of so many pupil distances takes in; or one more."""
    return math.ceil(4 * width * UNIT) + 1


def softened_in(plane: Plane, width: float, box: Box) -> Plane:
    """A box of a plane after a Gaussian of so many pupil distances, as of the plane as a whole; (h, w) or (h, w, C)."""
    more = reach(width)
    above, before = (min(side.start, more) for side in box)
    part = plane[tuple(slice(max(side.start - more, 0), side.stop + more) for side in box)]
    soft = cv2.GaussianBlur(part, (0, 0), width * UNIT)
    height, across = plane[box].shape[:2]
    return np.asarray(soft[above : above + height, before : before + across], dtype=np.float32)
