"""The painted face brought to the same place in every photo: what the contact sheet and the blink are made of."""

from __future__ import annotations

import io

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from limner.auditing import Examined
from limner.face.points import NAMED_POINTS
from limner.result import AuditResult
from limner.series.kept import FACE_SIZE

Array = NDArray[np.float64]

SIZE = FACE_SIZE
"""Width and height, px."""
EYES = (0.42, 0.34)
"""Height of the pupils and their distance apart, as shares of height and width."""


def face_of(found: Examined) -> bytes:
    """The painted face, JPEG, :data:`SIZE`: where the sitter's pupils belong comes to the same place every time."""
    pixels, to_px = found.painting.pixels, _place(found.result)
    height, width = pixels.shape[:2]
    corners = np.array([[0, 0], [SIZE[0], 0], [0, SIZE[1]], [SIZE[0], SIZE[1]]], dtype=float)
    at = corners @ to_px[:, :2].T + to_px[:, 2]
    low = np.clip(np.floor(at.min(axis=0)).astype(int) - 4, 0, [width - 1, height - 1])
    high = np.clip(np.ceil(at.max(axis=0)).astype(int) + 4, low + 1, [width, height])
    part = Image.fromarray(pixels[low[1] : high[1], low[0] : high[0]])
    step = max(int(np.linalg.norm(to_px[:, 0])), 1)  # brought down by area first, so that nothing flickers
    small = part.reduce(step) if step > 1 else part
    turn = to_px.copy()
    turn[:, 2] -= low
    turn /= step
    turn[:, 2] += turn[:, :2].sum(axis=1) / 2 - 0.5  # of the corners of px, to that of their middles
    how = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    grey = (128, 128, 128)
    brought = cv2.warpAffine(np.asarray(small), turn, SIZE, flags=how, borderMode=cv2.BORDER_CONSTANT, borderValue=grey)
    face = Image.fromarray(np.asarray(brought, dtype=np.uint8))
    held = io.BytesIO()
    face.save(held, "JPEG", quality=88)
    return held.getvalue()


def _place(result: AuditResult) -> Array:
    """(2, 3) array: px of the small face to px of the decoded painting."""
    points = result.should_be
    right, left = (points[list(NAMED_POINTS[key].indices)].mean(axis=0) for key in ("p_right", "p_left"))
    if not np.isfinite([right, left]).all():
        there = points[np.isfinite(points).all(axis=1)]
        low, high = there.min(axis=0), there.max(axis=0)
        scale = float((high - low).max()) / (0.6 * SIZE[1])
        return np.array([[scale, 0, (low + high)[0] / 2 - scale * SIZE[0] / 2],
                         [0, scale, (low + high)[1] / 2 - scale * SIZE[1] / 2]])  # fmt: skip
    across = (left - right) / (EYES[1] * SIZE[0])
    down = np.array([-across[1], across[0]])
    start = (left + right) / 2 - across * SIZE[0] / 2 - down * EYES[0] * SIZE[1]
    return np.stack([across, down, start], axis=1)
