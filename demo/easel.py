"""The same canvases as a phone sees them: on an easel before a wall, from the side, in uneven light."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.pictures.cielab import light_table, to_levels

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

CANVAS_MM = (440.0, 500.0)
"""Width and height of the invented canvas; the paintings have its proportions."""
DEEP_MM = 18.0
"""How thick the stretcher is."""
SIZE = (2016, 2688)
"""px of the photograph."""
FOCAL_35MM = 26
_FOCAL = FOCAL_35MM / 43.2666 * float(np.hypot(*SIZE))
WALL_MM = 350.0
"""How far the wall is behind the canvas."""


@dataclass(frozen=True, kw_only=True)
class Stand:
    """Where the phone is held."""

    side: float
    """Degrees to picture right of straight in front."""
    above: float
    roll: float
    away: float
    """mm."""


STANDS = (
    Stand(side=14, above=3, roll=1.5, away=760),
    Stand(side=-12, above=6, roll=-2.0, away=800),
    Stand(side=-16, above=4, roll=1.0, away=790),
    Stand(side=-9, above=8, roll=-1.0, away=770),
    Stand(side=17, above=2, roll=0.5, away=780),
)
"""One for each session."""


def easel_photo(painting: Pixels, stand: Stand, seed: int) -> tuple[Pixels, Array]:
    """The photograph, and the four corners of the canvas's front in it: (4, 2) array, px, clockwise from top left."""
    rng = np.random.default_rng(seed)
    width, height = SIZE
    light = _wall(rng)
    half_w, half_h = CANVAS_MM[0] / 2, CANVAS_MM[1] / 2
    wood = np.array([0.30, 0.19, 0.10])
    _board(light, stand, (-35, -half_h - 260, 35, half_h + 420), DEEP_MM + 20, wood * 0.8)
    _shadow(light, stand, half_w, half_h)
    for x0, x1 in ((-half_w, -half_w), (half_w, half_w)):
        ring = np.array([[x0, -half_h, 0], [x1, -half_h, DEEP_MM], [x1, half_h, DEEP_MM], [x0, half_h, 0]])
        _fill(light, _seen(ring, stand), np.array([0.30, 0.27, 0.22]))
    front = np.array([[-half_w, -half_h, 0], [half_w, -half_h, 0], [half_w, half_h, 0], [-half_w, half_h, 0.0]])
    corners = _seen(front, stand)
    _paint(light, painting, corners)
    _board(light, stand, (-half_w - 60, half_h, half_w + 60, half_h + 30), -25, wood)
    falls = _uneven(rng)
    seen = cv2.GaussianBlur((light * falls[..., None]).astype(np.float32), (0, 0), 0.8)
    noisy = 255 * to_levels(seen) + rng.normal(0, 1.6, (height, width, 3))
    return np.clip(np.rint(noisy), 0, 255).astype(np.uint8), corners


def _seen(points: Array, stand: Stand) -> Array:
    """(N, 2) px of (N, 3) mm: x to the right, y down, z away from the phone, from the middle of the canvas."""
    side, above, roll = np.radians([stand.side, stand.above, stand.roll])
    eye = stand.away * np.array([np.sin(side) * np.cos(above), -np.sin(above), -np.cos(side) * np.cos(above)])
    ahead = -eye / np.linalg.norm(eye)
    right = np.cross([0.0, 1.0, 0.0], ahead)
    right /= np.linalg.norm(right)
    down = np.cross(ahead, right)
    turned = np.stack([np.cos(roll) * right + np.sin(roll) * down, np.cos(roll) * down - np.sin(roll) * right, ahead])
    x, y, z = turned @ (points - eye).T
    return np.stack([_FOCAL * x / z + (SIZE[0] - 1) / 2, _FOCAL * y / z + (SIZE[1] - 1) / 2], axis=1)


def _wall(rng: np.random.Generator) -> Array:
    """Plaster: one colour with broad clouds and a fine grain, linear light."""
    width, height = SIZE
    clouds = cv2.resize(rng.normal(0, 1, (7, 5)), (width, height), interpolation=cv2.INTER_CUBIC)
    grain = cv2.GaussianBlur(rng.normal(0, 1, (height, width)), (0, 0), 1.5)
    return np.array([0.10, 0.14, 0.17]) * (1 + 0.03 * clouds + 0.02 * grain)[..., None]


def _fill(light: Array, ring: Array, colour: Array) -> None:
    mask = np.zeros(light.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(16 * ring).astype(np.int32)], 255, lineType=cv2.LINE_AA, shift=4)
    x, y, width, height = cv2.boundingRect(mask)
    box = np.s_[y : y + height, x : x + width]
    light[box] += mask[box][..., None] / 255 * (colour - light[box])


def _board(light: Array, stand: Stand, box: tuple[float, float, float, float], z: float, colour: Array) -> None:
    x0, y0, x1, y1 = box
    _fill(light, _seen(np.array([[x0, y0, z], [x1, y0, z], [x1, y1, z], [x0, y1, z]]), stand), colour)


def _shadow(light: Array, stand: Stand, half_w: float, half_h: float) -> None:
    """What the canvas casts on the wall, from a lamp to the upper left."""
    ring = np.array([[-half_w, -half_h], [half_w, -half_h], [half_w, half_h], [-half_w, half_h]]) + (90, 110)
    there = _seen(np.column_stack([ring, np.full(4, WALL_MM)]), stand)
    mask = np.zeros(light.shape[:2], np.float32)
    cv2.fillPoly(mask, [np.round(there).astype(np.int32)], 1.0)
    light *= 1 - 0.35 * cv2.GaussianBlur(mask, (0, 0), 45)[..., None]


def _paint(light: Array, painting: Pixels, corners: Array) -> None:
    """The painting on the canvas's front, without aliasing."""
    height, width = painting.shape[:2]
    own = np.array([[-0.5, -0.5], [width - 0.5, -0.5], [width - 0.5, height - 0.5], [-0.5, height - 0.5]], np.float32)
    to_photo = cv2.getPerspectiveTransform(own, corners.astype(np.float32))
    linear = light_table()[painting]
    drawn = cv2.warpPerspective(linear, to_photo, SIZE, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    mask = np.zeros(light.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(16 * corners).astype(np.int32)], 255, lineType=cv2.LINE_AA, shift=4)
    light += mask[..., None] / 255 * (np.clip(drawn, 0, 1) - light)


def _uneven(rng: np.random.Generator) -> Array:
    """Light that falls off across the photograph, by a quarter at the most."""
    width, height = SIZE
    x, y = np.meshgrid(np.linspace(-1, 1, width), np.linspace(-1, 1, height))
    way = rng.uniform(0, 2 * np.pi)
    return 0.92 - 0.12 * (np.cos(way) * x + np.sin(way) * y)
