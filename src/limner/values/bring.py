"""Both faces in one upright frame, the painting's drawing taken out, so that values are compared place by place."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.face.points import FEATURES
from limner.pictures.cielab import light_table
from limner.pictures.once import Once, once_of

Array = NDArray[np.float64]
Light = NDArray[np.float32]
Pixels = NDArray[np.uint8]
Mask = NDArray[np.bool_]

UNIT = 110.0
"""px per pupil distance of the working frame."""
ROOM = (1.5, 1.45, 2.5)
"""Taken round the middle between the pupils: to each side, above, below; in pupil distances."""
BLUR = 0.02
"""Gaussian, pupil distances, that takes away the brush's hair and the sensor's noise."""
BURNT, BLOCKED = 252, 3
"""Levels of 255 from which on, and down to which, a channel holds nothing (our choice)."""
_FIELDS = (0.5, 0.25, 0.15)
"""Gaussians, pupil distances, of the field that carries the frame onto the painting, broad to fine."""
_EDGED = ("face", "brow_right", "brow_left", "eye_right", "eye_left", "iris_right", "iris_left", "lips", "nose_base")
_ANCHORS = tuple(sorted({i for name in _EDGED for i in FEATURES[name].indices} | {168, 49, 129, 279, 358}))
"""Points that hold the correspondence: those on edges of the drawing.

Out in the flesh the pixels have nothing but tone to go by, and a cheek painted too light drags its points along: the
very error that is looked for. With all points planted shifts of value were read at 0.84 of their size, with these at
0.96.
"""
_COARSE = 4
"""px of the frame per px of that field."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sitter:
    """The reference in the working frame, with what is made of it once for all its paintings."""

    points: Array
    """(478, 2) array, px of the frame."""
    light: Light
    """(h, w, 3) array, linear light."""
    lost: Mask
    """(h, w) array: burnt out or blocked up, or outside the picture."""
    back: Array
    """(3, 3) array: px of the frame to px of the decoded reference, homogeneous."""
    kept: Once = field(default_factory=Once, repr=False)

    @property
    def size(self) -> tuple[int, int]:
        """Height and width of the frame."""
        return self.lost.shape[0], self.lost.shape[1]

    def in_reference(self, places: Array) -> Array:
        """(..., 2) array: px of the decoded reference of places of the frame."""
        return _mapped(places, self.back)


@dataclass(frozen=True, kw_only=True, eq=False)
class Brought:
    """Both pictures in the working frame."""

    sitter: Sitter
    painting: Light
    """(h, w, 3) array, linear light, as photographed."""
    lost_painting: Mask
    """(h, w) array: burnt out or blocked up, or outside the picture."""
    partly: Mask
    """(h, w) array: the painting's red or blue light alone is burnt out: its value can be told, not its colour."""
    to_painting: NDArray[np.float32]
    """(h, w, 2) array: px of the decoded painting of each px of the frame."""

    @property
    def points(self) -> Array:
        """(478, 2) array, px of the frame: the reference's points."""
        return self.sitter.points

    @property
    def reference(self) -> Light:
        """(h, w, 3) array, linear light."""
        return self.sitter.light

    @property
    def lost_reference(self) -> Mask:
        """(h, w) array: burnt out or blocked up, or outside the picture."""
        return self.sitter.lost

    @property
    def size(self) -> tuple[int, int]:
        """Height and width of the frame."""
        return self.sitter.size


def bring(reference: Pixels, painting: Pixels, reference_points: Array, painting_points: Array) -> Brought | None:
    """Bring both faces into the frame; ``None`` where the points are too few to do so.

    Args:
        reference: (H, W, 3) array, sRGB.
        painting: the same, of another size.
        reference_points: (478, 2) array, px of the reference; NaN where a point is not there.
        painting_points: (478, 2) array, px of the painting: where the same places are in it.
    """
    known = np.asarray(np.isfinite(np.column_stack([reference_points, painting_points])).all(axis=1))
    outline_known = known[[10, 152, 234, 454, 468, 473]].all()
    if known.sum() < 400 or not outline_known:
        return None
    sitter = sitter_of(reference, reference_points)
    anchors = np.array([index for index in _ANCHORS if known[index]])
    to_painting = _carried(sitter.points[anchors], painting_points[anchors], sitter.size)
    light, lost, partly = sampled(painting, to_painting)
    return Brought(sitter=sitter, painting=light, lost_painting=lost, partly=partly & ~lost, to_painting=to_painting)


def sitter_of(reference: Pixels, points: Array) -> Sitter:
    """The reference in the frame, made once as long as the decoded picture is kept; arguments as in :func:`bring`."""
    return once_of(reference).made(("values", points.tobytes()), lambda: _drawn(reference, points))


def _drawn(reference: Pixels, points: Array) -> Sitter:
    turn = _upright(points)
    width, height = round(2 * ROOM[0] * UNIT), round((ROOM[1] + ROOM[2]) * UNIT)
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    back: Array = np.asarray(np.linalg.inv(turn), dtype=np.float64)
    to_reference = np.stack(
        [back[0, 0] * x + back[0, 1] * y + back[0, 2], back[1, 0] * x + back[1, 1] * y + back[1, 2]], axis=-1
    ).astype(np.float32)
    light, lost, _ = sampled(reference, to_reference)
    return Sitter(points=_mapped(points, turn), light=light, lost=lost, back=back)


def _upright(points: Array) -> Array:
    """(3, 3) array: px of the picture to px of the frame; the pupils level and :data:`UNIT` apart."""
    right, left = points[468], points[473]
    along = (left - right) / UNIT
    apart = float(along @ along)
    c, s = along / apart
    middle = (right + left) / 2
    turn = np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]])
    at = turn[:2, :2] @ middle
    turn[:2, 2] = np.array([ROOM[0] * UNIT, ROOM[1] * UNIT]) - at
    return turn


def _mapped(points: Array, turn: Array) -> Array:
    return np.asarray(points @ turn[:2, :2].T + turn[:2, 2])


def _carried(points: Array, there: Array, size: tuple[int, int]) -> NDArray[np.float32]:
    """(h, w, 2) array: where each px of the frame lies in the painting.

    An affine map of all points, then what it leaves over, spread from the points by ever narrower Gaussians: smooth,
    close to every point, and plain outside them.
    """
    height, width = size
    design = np.column_stack([points, np.ones(len(points))])
    affine = np.linalg.lstsq(design, there, rcond=None)[0]
    rest = there - design @ affine
    rows, columns = -(-height // _COARSE) + 1, -(-width // _COARSE) + 1
    field = np.zeros((rows, columns, 2), np.float32)
    at = points / _COARSE
    cell = np.clip(np.rint(at).astype(int), 0, [columns - 1, rows - 1])
    for spread in _FIELDS:
        field = field + _spread(cell, rest, (rows, columns), spread * UNIT / _COARSE)
        read = read_at(field, at[:, None])
        rest = there - design @ affine - read[:, 0]
    y, x = np.arange(height)[:, None], np.arange(width)
    fine = cv2.remap(field, *_grid(size), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    out = np.empty((height, width, 2), np.float32)
    for k in (0, 1):
        out[..., k] = affine[0, k] * x + (affine[1, k] * y + affine[2, k]) + fine[..., k]
    return out


@cache
def _grid(size: tuple[int, int]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """(h, w) arrays: x and y, in the field that carries the frame, of each px of a frame of this size."""
    y, x = np.indices(size, dtype=np.float32) / np.float32(_COARSE)
    return x, y


def read_at(plane: NDArray[np.generic], places: NDArray[np.floating]) -> NDArray[np.float32]:
    """An (h, w) or (h, w, C) array read between its px at (M, N, 2) places; beyond its edge as at its edge."""
    x, y = (np.ascontiguousarray(places[..., k], dtype=np.float32) for k in (0, 1))
    return np.asarray(cv2.remap(np.asarray(plane), x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))


def _spread(cell: NDArray[np.int_], rest: Array, size: tuple[int, int], sigma: float) -> NDArray[np.float32]:
    """What is left over at the points, averaged about every place; nothing far from all points."""
    layers = np.zeros((*size, 3), np.float32)
    np.add.at(layers, (cell[:, 1], cell[:, 0]), np.column_stack([rest, np.ones(len(rest))]).astype(np.float32))
    soft = cv2.GaussianBlur(layers, (0, 0), sigma, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(soft[..., :2] / (soft[..., 2:] + np.float32(0.02 / (2 * np.pi * sigma**2))), dtype=np.float32)


def sampled(pixels: Pixels, places: NDArray[np.float32]) -> tuple[Light, Mask, Mask]:
    """Linear light at the places, softened by :data:`BLUR`; where there is none; where red or blue alone are burnt out.

    Averages are taken of light. Green carries most of the luminance: without it, or without both others, a place holds
    nothing.
    """
    height, width = pixels.shape[:2]
    across, down = cv2.split(places)
    low = np.floor([across.min(), down.min()]).astype(int) - 4
    high = np.ceil([across.max(), down.max()]).astype(int) + 5
    x0, y0 = np.clip(low, 0, [width - 1, height - 1])
    x1, y1 = np.clip(high, [x0 + 1, y0 + 1], [width, height])
    part = np.ascontiguousarray(pixels[y0:y1, x0:x1])  # quicker to go through
    step = float(np.hypot(*(places[-1, -1] - places[0, 0]))) / float(np.hypot(*places.shape[:2]))
    shrunk = (max(1, round(part.shape[1] / step)), max(1, round(part.shape[0] / step)))
    size = shrunk if step > 1.5 else (part.shape[1], part.shape[0])
    shrink = np.array([size[0] / part.shape[1], size[1] / part.shape[0]], np.float32)
    half = np.float32(0.5)
    x, y = (across - np.float32(x0) + half) * shrink[0] - half, (down - np.float32(y0) + half) * shrink[1] - half

    def read(layer: NDArray[Any]) -> NDArray[Any]:
        small = cv2.resize(layer, size, interpolation=cv2.INTER_AREA) if step > 1.5 else layer
        there = cv2.remap(small, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(cv2.GaussianBlur(there, (0, 0), BLUR * UNIT))

    light = np.asarray(read(cv2.LUT(part, light_table())), dtype=np.float32)
    empty = _empty(part)
    lost, partly = np.zeros((2, *across.shape), bool)
    if empty.any():
        lost, partly = np.moveaxis(read(empty) > 0.3 * 255, -1, 0)
    outside = (across < x0 - 0.5) | (across > x1 - 0.5) | (down < y0 - 0.5) | (down > y1 - 0.5)
    return light, np.asarray(lost | outside), np.ascontiguousarray(partly)


def _empty(part: Pixels) -> Pixels:
    """(h, w, 2) array, 255 where a px holds nothing, and where its red or blue are burnt out."""
    red, green, blue = cv2.split(part)
    either, both = cv2.max(red, blue), cv2.min(red, blue)
    burnt, partly = (
        cv2.threshold(plane, BURNT - 1, 255, cv2.THRESH_BINARY)[1] for plane in (cv2.max(green, both), either)
    )
    blocked = cv2.threshold(cv2.max(either, green), BLOCKED, 255, cv2.THRESH_BINARY_INV)[1]
    return np.asarray(cv2.merge([cv2.max(burnt, blocked), partly]), dtype=np.uint8)
