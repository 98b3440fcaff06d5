"""Plants known drawing errors in a picture, so that the true change of every measure is known."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.errors import UsageError
from limner.proving.pulls import FoldError, Pull
from limner.proving.slips import Slip, pulls_of

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

_GRID = 2
_GENTLER = (1.0, 0.8, 0.65, 0.5, 0.4, 0.3, 0.2)
"""Shares of its amounts that a set of slips is planted with, in turn, until it does not fold the face."""


@dataclass(frozen=True, eq=False)
class Displacement:
    """A smooth map of the plane, made of pulls applied one after the other. Call it with (N, 2) points, px."""

    pulls: tuple[Pull, ...]

    def __call__(self, xy: Array) -> Array:
        """Where (N, 2) points go, px."""
        out = np.asarray(xy, dtype=np.float64)
        for pull in self.pulls:
            out = pull.forward(out)
        return out

    def inverse(self, xy: Array) -> Array:
        """Where (N, 2) points came from, px; right to 0.01 px a pull."""
        out = np.asarray(xy, dtype=np.float64)
        for pull in reversed(self.pulls):
            out = pull.inverse(out)
        return out


def displacement(slips: Slip | Iterable[Slip], points: Array) -> Displacement:
    """The forward map of one slip, or of several applied one after the other, on a face with (478, 2) ``points``, px.

    Each slip finds its centre on the points as the slips before it have left them, so that its amount is its own.
    """
    moved = np.asarray(points, dtype=np.float64)
    if moved.ndim != 2 or moved.shape[0] < 478 or moved.shape[1] != 2:
        raise UsageError(f"Planting needs (478, 2) points; got an array of shape {moved.shape}.")
    pulls: list[Pull] = []
    for slip in [slips] if isinstance(slips, Slip) else slips:
        new = pulls_of(slip, moved)
        moved = Displacement(new)(moved)
        pulls.extend(new)
    return Displacement(tuple(pulls))


def deform(pixels: Pixels, moves: Displacement) -> Pixels:
    """The (height, width, 3) picture with its content moved by the map; a new picture of the same size."""
    height, width = pixels.shape[:2]
    if not moves.pulls:
        return np.array(pixels, dtype=np.uint8)
    boxes = np.array([pull.box(2.0 * _GRID) for pull in moves.pulls])
    x0, y0 = np.floor(np.maximum(boxes[:, :2].min(axis=0), 0)).astype(int)
    x1, y1 = np.ceil(np.minimum(boxes[:, 2:].max(axis=0), [width, height])).astype(int)
    if x1 <= x0 or y1 <= y0:
        return np.array(pixels, dtype=np.uint8)
    # The inverse is smooth: found on every second pixel and interpolated, it takes a quarter of the time.
    gx, gy = np.arange(x0, x1 + _GRID, _GRID), np.arange(y0, y1 + _GRID, _GRID)
    grid = np.stack(np.meshgrid(gx, gy), axis=-1).reshape(-1, 2).astype(np.float64)
    off = (moves.inverse(grid) - grid).reshape(len(gy), len(gx), 2).astype(np.float32)
    mx, my = np.meshgrid(*(np.arange(n, dtype=np.float32) / np.float32(_GRID) for n in (x1 - x0, y1 - y0)))
    fine = cv2.remap(off, mx, my, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    source = fine + np.dstack([mx, my]) * np.float32(_GRID) + np.array([x0, y0], dtype=np.float32)
    out = np.array(pixels, dtype=np.uint8)
    out[y0:y1, x0:x1] = cv2.remap(
        pixels, source[..., 0], source[..., 1], cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REFLECT_101
    )
    return out


@dataclass(frozen=True, kw_only=True, eq=False)
class Planted:
    """A picture with slips in it and the truth about them."""

    pixels: Pixels
    points: Array
    """(478, 2) array, px: where the reference's points lie in the planted picture."""
    slips: tuple[Slip, ...]
    moves: Displacement


def plant(pixels: Pixels, points: Array, slips: Slip | Iterable[Slip]) -> Planted:
    """Deforms a copy of a (height, width, 3) picture whose face has the (478, 2) ``points``, px."""
    chosen = (slips,) if isinstance(slips, Slip) else tuple(slips)
    moves = displacement(chosen, points)
    return Planted(pixels=deform(pixels, moves), points=moves(points), slips=chosen, moves=moves)


def plant_gently(pixels: Pixels, points: Array, slips: tuple[Slip, ...]) -> Planted:
    """As :func:`plant`; amounts that would fold this face over itself are planted smaller, as small as need be.

    Narrow eyes have no room for a lid opened by a quarter. What was planted in the end is in ``slips``.
    """
    for gentler in _GENTLER:
        chosen = tuple(replace(slip, amount=gentler * slip.amount) for slip in slips)
        with suppress(FoldError):
            return plant(pixels, points, chosen)
    return plant(pixels, points, chosen)
