"""A border too faint to be followed as edges, but of one width all round: bare canvas against a wall of its colour."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.pictures.perspective import square_to

Array = NDArray[np.float64]

CLEAR = 3.5
"""From here on there is a border. Of 18 invented square canvases taken without their bare margin the least is 5.9; of
57 taken rightly the greatest is 1.9."""
_STEP = 0.001
_NEAREST, _FARTHEST = 0.008, 0.05
"""Of the canvas's shorter side: distances outside at which a border may end, as those of a margin, and how finely they
are looked at."""
_WINDOW = 4
"""Steps to either side that are compared."""
_EVEN = 2
"""Steps by which the distance may differ from side to side."""
_BLOCKS, _PER_BLOCK = 20, 8
_NOISE = 0.15
"""CIELAB units: a change of colour this small is no sign of anything, however even it is."""


def faint_border(pixels: NDArray[np.uint8], corners: Array, aspect: float) -> float:
    """How clearly the colour changes at one distance outside at least three of the four sides, in standard errors.

    ``corners``: (4, 2) array, px; ``aspect``: width / height of the canvas. Each side is taken as a whole: what is too
    faint in any one place shows in their mean, and what shows at one distance round three sides is no chance.
    """
    unit = np.array([max(aspect, 1.0), max(1 / aspect, 1.0)])
    steps = np.arange(-_WINDOW, round(_FARTHEST / _STEP) + _WINDOW + _EVEN + 1, dtype=np.float64)
    clear = np.stack([_clear(_outside(pixels, corners, unit, side, _STEP * steps)) for side in range(4)])
    padded = np.pad(clear, ((0, 0), (_EVEN, _EVEN)))
    about = np.max([padded[:, k : k + clear.shape[1]] for k in range(2 * _EVEN + 1)], axis=0)
    third = np.sort(about, axis=0)[1]
    return float(third[round(_NEAREST / _STEP) : round(_FARTHEST / _STEP) + 1].max())


def _outside(pixels: NDArray[np.uint8], corners: Array, unit: Array, side: int, distances: Array) -> Any:
    """CIELAB along lines beside a side: (distances, places, 3) array; ``unit``: the canvas in its shorter sides."""
    along, out = np.meshgrid(np.linspace(0.04, 0.96, _BLOCKS * _PER_BLOCK), distances)
    away_x, away_y = out / unit[0], out / unit[1]
    x, y = ((along, -away_y), (1 + away_x, along), (along, 1 + away_y), (-away_x, along))[side]
    spots = np.stack([x, y, np.ones_like(x)], axis=-1) @ square_to(corners).T
    px, py = ((spots[..., k] / spots[..., 2]).astype(np.float32) for k in (0, 1))
    seen: Any = cv2.remap(pixels, px, py, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return cv2.cvtColor(seen.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)


def _clear(lab: Any) -> Array:
    """For each distance but the outermost few, by how many standard errors the colour changes there; 0 off a peak."""
    sums = np.cumsum(np.concatenate([np.zeros_like(lab[:1]), lab]), axis=0)
    means = (sums[_WINDOW:] - sums[:-_WINDOW]) / _WINDOW
    change = means[_WINDOW + 1 :] - means[: -_WINDOW - 1]
    blocks = change.reshape(len(change), _BLOCKS, _PER_BLOCK, 3).mean(axis=2)
    error = blocks.std(axis=1) / np.sqrt(_BLOCKS) + _NOISE
    clear = np.linalg.norm(np.median(blocks, axis=1) / error, axis=1)
    inner = clear[1:-1]
    peak = (inner >= clear[:-2]) & (inner >= clear[2:])
    return np.pad(np.where(peak, inner, 0.0), 1)
