"""The picture across a side of a canvas: profiles at many places along it, and where each has an edge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.pictures.cielab import light_table

Array = NDArray[np.float64]

BIN = 4
"""px along the edge that are averaged into one place."""
STEP = 0.5
_PER_BIN = 2
"""Lines across the edge that are looked at in each place."""
_SMOOTH = 1.0
_FAINT = 0.7
"""CIELAB units per px: a weaker edge is none."""
_SHIFTED = 3
"""Steps: how far apart an edge in lightness and the same edge in light may lie."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Strip:
    """Profiles across a side: where the edges are at each place along it."""

    first: Array
    along: Array
    normal: Array
    length: float
    where: Array
    profile: Any
    offsets: Array
    peaks: Array
    strength: Array
    slopes: Any
    """(n, len(offsets), 3) array, CIELAB units per px: the derivative across, smoothed."""


def profiles(pixels: NDArray[np.uint8], first: Array, second: Array, reach: float, *, past: float, most: int) -> Strip:
    """Profiles ``reach`` px to both sides of the line between two corners, and ``past`` of its length beyond them."""
    length = float(np.hypot(*(second - first)))
    along = (second - first) / length
    normal = np.array([-along[1], along[0]])
    count = max(8, int(length * (1 + 2 * past) / BIN))
    t = -past * length + (np.arange(count * _PER_BIN) + 0.5) * (length * (1 + 2 * past) / (count * _PER_BIN))
    # Room on both sides for the smoothing and for the colour beside the outermost edge.
    offsets = np.arange(-reach - 8, reach + 8 + 1e-9, STEP)
    x, y = (np.add.outer(first[k] + t * along[k], offsets * normal[k]).astype(np.float32) for k in (0, 1))
    seen: Any = cv2.remap(pixels, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    lab: Any = cv2.cvtColor(seen.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    light_seen: Any = cv2.LUT(seen, light_table())
    profile, light = (_binned(full, count) for full in (lab, light_seen))
    slopes = _slopes(profile)
    peaks, strength = _peaks(slopes, light, offsets, reach, most)
    where = t.reshape(count, _PER_BIN).mean(axis=1)
    return Strip(
        first=first,
        along=along,
        normal=normal,
        length=length,
        where=where,
        profile=profile,
        offsets=offsets,
        peaks=peaks,
        strength=strength,
        slopes=slopes,
    )


def _binned(full: Any, count: int) -> Any:
    parts = full.reshape(count, _PER_BIN, *full.shape[1:])
    return sum((parts[:, k] for k in range(1, _PER_BIN)), parts[:, 0]) / _PER_BIN


def _peaks(slopes: Any, light: Any, offsets: Array, reach: float, most: int) -> tuple[Array, Array]:
    """The strongest edges at each place, at most ``most``: offsets, NaN where there is none, and strengths.

    Edges are found by lightness and colour, as they are seen, but placed by the light itself: blur is symmetrical in
    light, and in lightness draws an edge toward its dark side by up to a pixel.
    """
    slope, bright = _slope(slopes), _slope(_slopes(light))
    inner = slope[:, 1:-1]
    top = (inner > slope[:, :-2]) & (inner >= slope[:, 2:]) & (inner > _FAINT) & (np.abs(offsets[1:-1]) <= reach)
    ranked = np.where(top, inner, 0.0)
    best = np.argsort(-ranked, axis=1, kind="stable")[:, :most]
    strength = np.take_along_axis(ranked, best, axis=1)
    cells = np.clip(best[..., None] + 1 + np.arange(-_SHIFTED, _SHIFTED + 1), 1, len(offsets) - 2)
    near = np.take_along_axis(bright[:, None, :], cells, axis=2)
    top_cell = np.take_along_axis(cells, near.argmax(axis=2)[..., None], axis=2)[..., 0]
    before, here, after = (np.take_along_axis(bright, top_cell + k, axis=1) for k in (-1, 0, 1))
    bow = before - 2 * here + after
    safe = np.where(np.abs(bow) > 1e-12, bow, 1.0)
    fine = np.where(np.abs(bow) > 1e-12, 0.5 * (before - after) / safe, 0.0)
    place = offsets[top_cell] + np.clip(fine, -0.5, 0.5) * STEP
    return np.where(strength > 0, place, np.nan), strength


def _slopes(profile: Any) -> Any:
    """The derivative along each row, per px, smoothed."""
    half = round(3 * _SMOOTH / STEP)
    u = np.arange(-half, half + 1) * STEP
    kernel = (-u * np.exp(-(u**2) / (2 * _SMOOTH**2))) * STEP / (np.sqrt(2 * np.pi) * _SMOOTH**3)
    one = np.ones((1, 1), np.float32)
    return cv2.sepFilter2D(np.ascontiguousarray(profile), cv2.CV_32F, kernel[None].astype(np.float32), one)


def _slope(sloped: Any) -> Array:
    return np.asarray(np.sqrt(sloped[..., 0] ** 2 + sloped[..., 1] ** 2 + sloped[..., 2] ** 2))
