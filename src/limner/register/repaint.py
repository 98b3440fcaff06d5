"""The shapes of a block-in as witness: the reference repainted in the painting's own few tones.

Where a form is two or three flat values, the edge of a shadow is the drawing, and the reference shows no edge there,
only a turn from light to dark. Repainted by the one rule that takes its lightness to what the painter made of it, the
reference has its edges where the block-in should have them: what is left between the two is the drawing.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.register.bring import PX_PER_PUPILS, Brought

Array = NDArray[np.float64]
Plane = NDArray[np.float32]

_BLUR = 0.02
"""Gaussian over both pictures before the rule is read off, pupil distances: hides strokes, keeps lids and lips."""
_BINS = 48
"""Of equally many px each: enough that the step between two values is steep."""


def repainted(brought: Brought, flow: Plane) -> Plane:
    """(h, w) array, L*: the reference in the painting's tones.

    Args:
        brought: both faces.
        flow: (h, w, 2) array, working px: from the reference to the painting, near enough that most px of a value
            fall on that value.

    The rule is the median of the painted lightness over the px of the face that are equally light in the reference,
    made to rise throughout.
    """
    height, width = brought.reference.shape[:2]
    x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    own = brought.sitter.kept.made("soft", lambda: _soft(brought.reference[..., 0]))
    there = x + flow[..., 0], y + flow[..., 1]
    soft = _soft(brought.painting[..., 0])
    painted = np.asarray(cv2.remap(soft, *there, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), dtype=np.float32)
    face = _face(brought)
    light, tones = rule(own[face], painted[face])
    return np.interp(own, light, tones).astype(np.float32)


def rule(own: Plane, painted: Plane) -> tuple[Array, Array]:
    """From the reference's lightness to the painting's, as (k,) arrays that both rise, k at most the bins.

    Args:
        own: (n,) array, L* of the reference.
        painted: (n,) array, L* of the same places in the painting.

    >>> own = np.linspace(0, 100, 1000, dtype=np.float32)
    >>> light, tones = rule(own, np.where(own < 60, 20, 70).astype(np.float32))
    >>> np.interp([10.0, 50.0, 70.0, 90.0], light, tones).tolist()
    [20.0, 20.0, 70.0, 70.0]
    """
    order = np.argsort(own, kind="stable")
    parts = [part for part in np.array_split(order, _BINS) if len(part)]
    light = np.array([own[part].mean() for part in parts], dtype=np.float64)
    tones = np.array([np.median(painted[part]) for part in parts], dtype=np.float64)
    rising = (np.maximum.accumulate(tones) + np.minimum.accumulate(tones[::-1])[::-1]) / 2
    return light, rising


def _soft(plane: Plane) -> Plane:
    return np.asarray(cv2.GaussianBlur(plane, (0, 0), _BLUR * PX_PER_PUPILS), dtype=np.float32)


def _face(brought: Brought) -> NDArray[np.bool_]:
    """(h, w) array: the px within the outermost points of the reference's face."""
    mask = np.zeros(brought.reference.shape[:2], dtype=np.uint8)
    cv2.fillConvexPoly(mask, cv2.convexHull(np.round(brought.places).astype(np.int32)), 1)
    return mask > 0
