"""Pictures with and without faces, made from what scikit-image carries, for the tests of the search."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]
Array = NDArray[np.float64]

# Pupils (sitter's right, left) and the middle of the mouth in scikit-image's portrait, px, read off it at 0.5 px.
LANDMARKS = np.array([[203.5, 101.0], [246.5, 103.5], [223.2, 146.7]])
HEAD = (slice(0, 260), slice(110, 340))


def close_up(portrait: Pixels) -> tuple[Pixels, Array]:
    """The head and shoulders at three times the size."""
    head = portrait[HEAD]
    size = (head.shape[1] * 3, head.shape[0] * 3)
    return np.asarray(cv2.resize(head, size, interpolation=cv2.INTER_CUBIC)), (LANDMARKS - (110, 0)) * 3


def turned(pixels: Pixels, points: Array, degrees: float) -> tuple[Pixels, Array]:
    """Turned anticlockwise as seen, on grey."""
    height, width = pixels.shape[:2]
    side = int(np.hypot(height, width))
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), degrees, 1.0)
    turn[:, 2] += (side / 2 - width / 2, side / 2 - height / 2)
    out = cv2.warpAffine(pixels, turn, (side, side), borderValue=(120, 115, 110))
    return np.asarray(out), points @ turn[:, :2].T + turn[:, 2]


def full_length(
    pixels: Pixels, points: Array, pupils: float = 45.0, size: tuple[int, int] = (1500, 2600)
) -> tuple[Pixels, Array]:
    """The head small and high in a tall grained picture, as in a full-length portrait."""
    shrink = pupils / float(np.linalg.norm(points[1] - points[0]))
    head = cv2.resize(pixels, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    grain = np.random.default_rng(0).normal(0, 1, (size[1] // 4, size[0] // 4, 3)).astype(np.float32)
    ground = 90 + 12 * cv2.resize(grain, size, interpolation=cv2.INTER_CUBIC)
    out = np.clip(ground, 0, 255).astype(np.uint8)
    left, top = (size[0] - head.shape[1]) // 2 + 60, 140
    out[top : top + head.shape[0], left : left + head.shape[1]] = head
    return out, points * shrink + (left, top)


def half_in_shadow(pixels: Pixels, points: Array) -> tuple[Pixels, Array]:
    """Lit hard from one side in a dark room."""
    middle, unit = points[:, 0].mean(), float(np.linalg.norm(points[1] - points[0]))
    light = 1 / (1 + np.exp(-5 * (np.arange(pixels.shape[1]) - middle) / unit))
    return (pixels * light[None, :, None] * 0.35).astype(np.uint8), points


def grey(pixels: Pixels, points: Array) -> tuple[Pixels, Array]:
    """Without colour."""
    return np.asarray(cv2.cvtColor(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), cv2.COLOR_GRAY2RGB)), points


def dark(pixels: Pixels, points: Array) -> tuple[Pixels, Array]:
    """Several stops underexposed."""
    return (255 * (pixels / 255.0) ** 2.2 * 0.06).astype(np.uint8), points


def filling_the_frame(pixels: Pixels, points: Array) -> tuple[Pixels, Array]:
    """Cut through forehead and chin."""
    unit = float(np.linalg.norm(points[1] - points[0]))
    left, top = (points[:, 0].min() - 0.45 * unit, points[:, 1].min() - 0.5 * unit)
    right, bottom = (points[:, 0].max() + 0.45 * unit, points[:, 1].max() + 0.55 * unit)
    return pixels[int(top) : int(bottom), int(left) : int(right)].copy(), points - (int(left), int(top))


def broken_colour(pixels: Pixels, points: Array, seed: int) -> tuple[Pixels, Array]:
    """Half as large, in short strokes that cross each other, each a little off in colour."""
    pixels, points = np.asarray(cv2.resize(pixels, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)), points / 2
    rng, unit = np.random.default_rng(seed), float(np.linalg.norm(points[1] - points[0]))
    (height, width), length, thick = pixels.shape[:2], 0.12 * unit, max(1, round(0.04 * unit))
    out, count = pixels.copy(), int(3 * pixels.shape[0] * pixels.shape[1] / (0.12 * 0.04 * unit**2))
    across, down, angles = rng.integers(0, width, count), rng.integers(0, height, count), rng.uniform(0, np.pi, count)
    for x, y, angle in zip(across, down, angles, strict=True):
        colour = np.clip(pixels[y, x] + rng.normal(0, 15, 3), 0, 255)
        half = length / 2 * np.array([np.cos(angle), np.sin(angle)])
        start, end = (np.array([x, y]) - half).astype(int), (np.array([x, y]) + half).astype(int)
        cv2.line(out, start.tolist(), end.tolist(), tuple(int(v) for v in colour), thick, cv2.LINE_AA)
    return out, points


def noise(seed: int, grain: float) -> Pixels:
    """Blurred noise."""
    field = np.random.default_rng(seed).normal(0, 1, (400, 400, 3)).astype(np.float32)
    field = cv2.GaussianBlur(field, (0, 0), grain)
    return np.clip(128 + 50 * field / field.std(), 0, 255).astype(np.uint8)


def strokes(seed: int) -> Pixels:
    """Brush strokes of any colour, with nothing meant by them."""
    rng = np.random.default_rng(seed)
    out = np.full((500, 500, 3), rng.integers(0, 255, 3), dtype=np.uint8)
    for _ in range(500):
        colour = tuple(int(value) for value in rng.integers(0, 255, 3))
        start, angle, length = rng.integers(0, 500, 2), rng.uniform(0, 6.3), rng.uniform(10, 70)
        end = start + length * np.array([np.cos(angle), np.sin(angle)])
        cv2.line(out, start.tolist(), end.astype(int).tolist(), colour, int(rng.integers(2, 14)))
    return out
