"""A copy of the picture in which a feature has not been painted yet, or nothing has."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.errors import UsageError

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

_PLACES: dict[str, tuple[tuple[int, ...], float]] = {
    "eye_right": ((33, 133, 159, 145, 157, 154, 246, 7), 0.13),
    "eye_left": ((263, 362, 386, 374, 384, 381, 466, 249), 0.13),
    "brow_right": ((70, 63, 105, 66, 107, 46, 53, 52, 65, 55), 0.06),
    "brow_left": ((300, 293, 334, 296, 336, 276, 283, 282, 295, 285), 0.06),
    "nose": ((6, 129, 358, 2, 98, 327, 94, 64, 294), 0.08),
    "mouth": ((61, 291, 0, 17, 37, 267, 84, 314), 0.10),
}
FEATURES = tuple(_PLACES)
"""What can be left out: mesh points round each feature, and a margin in pupil distances."""


def leave_out(pixels: Pixels, points: Array, features: tuple[str, ...]) -> Pixels:
    """The (height, width, 3) picture with bare flesh where the features were; ``points`` are (478, 2), px."""
    height, width = pixels.shape[:2]
    ipd = float(np.linalg.norm(points[473] - points[468]))
    mask = np.zeros((height, width), np.uint8)
    for name in features:
        if name not in _PLACES:
            raise UsageError(f"Expected a feature out of {', '.join(FEATURES)}; got {name!r}.")
        index, margin = _PLACES[name]
        one = np.zeros_like(mask)
        cv2.fillConvexPoly(one, cv2.convexHull(np.rint(points[list(index)]).astype(np.int32)), 255)
        r = 2 * round(margin * ipd) + 1
        grown = cv2.dilate(one, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (r, r)))
        mask = np.maximum(mask, np.asarray(grown, dtype=np.uint8))
    # Filled at a quarter of the size: the flesh between is smooth, and this is quick.
    small = (max(1, width // 4), max(1, height // 4))
    coarse = cv2.resize(pixels, small, interpolation=cv2.INTER_AREA)
    hole = (cv2.resize(mask, small, interpolation=cv2.INTER_AREA) > 0).astype(np.uint8)
    filled = cv2.GaussianBlur(cv2.inpaint(coarse, hole, 5, cv2.INPAINT_TELEA), (0, 0), 1.5)
    flesh = cv2.resize(filled, (width, height), interpolation=cv2.INTER_CUBIC).astype(np.float32)
    soft = cv2.GaussianBlur(mask.astype(np.float32) / 255, (0, 0), 0.02 * ipd)[..., None]
    return np.asarray(np.clip(np.rint(pixels * (1 - soft) + flesh * soft), 0, 255), dtype=np.uint8)


def toned_blank(size: tuple[int, int], tone: tuple[int, int, int] = (176, 148, 116), seed: int = 0) -> Pixels:
    """A toned canvas of ``size`` (width, height) with nothing on it but the unevenness of the ground."""
    rng = np.random.default_rng([seed, 43])
    cloud = cv2.resize(rng.standard_normal((9, 9)).astype(np.float32), size, interpolation=cv2.INTER_CUBIC)
    grain = rng.standard_normal((size[1], size[0])).astype(np.float32)
    uneven = (5 * cloud + 3 * cv2.GaussianBlur(grain, (0, 0), 1.0))[..., None]
    return np.asarray(np.clip(np.asarray(tone, np.float32) + uneven, 0, 255), dtype=np.uint8)
