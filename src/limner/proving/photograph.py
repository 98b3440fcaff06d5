"""Photographs a painting as a phone would: exposure, white balance, blur, noise, a slight angle; the map is known."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.pictures.cielab import light_table, to_levels

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]


@dataclass(frozen=True, kw_only=True)
class Shot:
    """How the photograph is taken."""

    turn: float = 0.0
    """Degrees, positive clockwise as seen."""
    scale: float = 1.0
    """Photo px per painting px."""
    shift: tuple[float, float] = (0.0, 0.0)
    """To picture right and down, as a share of the painting's width."""
    lean: tuple[float, float] = (0.0, 0.0)
    """Oblique view: relative change of scale from edge to edge, across and down."""
    stops: float = 0.0
    """Exposure; 1 doubles the light."""
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    """Gain of red, green and blue light."""
    blur: float = 0.0
    """Standard deviation, photo px."""
    noise: float = 0.0
    """Standard deviation, grey levels of 255."""
    vignette: float = 0.0
    """Share of the light lost in the corners."""
    quality: int = 95
    """JPEG quality; 0 leaves the photograph uncompressed."""
    wall: tuple[int, int, int] = (148, 142, 134)
    """Colour round the canvas."""
    seed: int = 0

    @classmethod
    def random(cls, seed: int, *, turn: float = 6.0, scale: tuple[float, float] = (0.8, 1.2)) -> Shot:
        """An ordinary phone photograph, drawn from a seed; the same seed gives the same shot."""
        rng = np.random.default_rng([seed, 77])
        warm = rng.normal(0, 0.04)
        return cls(
            turn=float(rng.uniform(-turn, turn)),
            scale=float(rng.uniform(*scale)),
            shift=(float(rng.uniform(-0.05, 0.05)), float(rng.uniform(-0.05, 0.05))),
            lean=(float(rng.uniform(-0.02, 0.02)), float(rng.uniform(-0.02, 0.02))),
            stops=float(rng.uniform(-0.35, 0.35)),
            balance=(float(1 + warm), 1.0, float(1 - warm)),
            blur=float(rng.uniform(0.3, 1.0)),
            noise=float(rng.uniform(0.5, 3.0)),
            vignette=float(rng.uniform(0.0, 0.18)),
            quality=int(rng.integers(80, 96)),
            seed=seed,
        )

    def square_on(self) -> Shot:
        """The same shot taken exactly from the front."""
        return replace(self, lean=(0.0, 0.0))


@dataclass(frozen=True, kw_only=True, eq=False)
class Photo:
    """A photograph of a painting."""

    pixels: Pixels
    """(height, width, 3) array, sRGB."""
    matrix: Array
    """(3, 3) array: painting px to photo px, homogeneous."""
    shot: Shot

    def place(self, xy: Array) -> Array:
        """Photo px of (N, 2) painting px."""
        h = np.column_stack([xy, np.ones(len(xy))]) @ self.matrix.T
        return np.asarray(h[:, :2] / h[:, 2:])


def shot_matrix(shot: Shot, size: tuple[int, int]) -> Array:
    """(3, 3) array: painting px to photo px for a painting of width and height ``size``; both have the same frame."""
    width, height = size
    cx, cy = (width - 1) / 2, (height - 1) / 2
    c, s = np.cos(np.radians(shot.turn)) * shot.scale, np.sin(np.radians(shot.turn)) * shot.scale
    centre = np.array([[1, 0, -cx], [0, 1, -cy], [0, 0, 1.0]])
    lean = np.array([[1, 0, 0], [0, 1, 0], [shot.lean[0] / width, shot.lean[1] / height, 1.0]])
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
    k = max(1.0, shot.scale)
    back = np.array([[1, 0, cx * k + shot.shift[0] * width], [0, 1, cy * k + shot.shift[1] * width], [0, 0, 1.0]])
    return np.asarray(back @ turn @ lean @ centre)


def rephotograph(pixels: Pixels, shot: Shot | int) -> Photo:
    """Photographs a (height, width, 3) sRGB painting; an int is the seed of an ordinary shot."""
    shot = Shot.random(shot) if isinstance(shot, int) else shot
    height, width = pixels.shape[:2]
    matrix = shot_matrix(shot, (width, height))
    k = max(1.0, shot.scale)
    size = (round(width * k), round(height * k))
    # A gentle blur before shrinking keeps brush texture from aliasing.
    soften = 0.5 * np.sqrt(1 / shot.scale**2 - 0.6) if shot.scale < 1 else 0.0
    source = cv2.GaussianBlur(pixels, (0, 0), soften) if soften else pixels
    flat = cv2.warpPerspective(
        source, matrix, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_CONSTANT, borderValue=shot.wall
    )
    rng = np.random.default_rng([shot.seed, 78])
    light = (
        light_table()[flat.astype(np.uint8)] * np.float32(2.0**shot.stops) * np.asarray(shot.balance, dtype=np.float32)
    )
    if shot.vignette > 0:
        x, y = np.linspace(-1, 1, size[0], dtype=np.float32), np.linspace(-1, 1, size[1], dtype=np.float32)
        light = light * (1 - np.float32(shot.vignette) * (x[None, :] ** 2 + y[:, None] ** 2) / 2)[..., None]
    if shot.blur > 0:
        light = cv2.GaussianBlur(light, (0, 0), shot.blur)
    levels = 255 * to_levels(np.asarray(light, dtype=np.float32))
    if shot.noise > 0:
        levels = levels + rng.standard_normal(levels.shape, dtype=np.float32) * np.float32(shot.noise)
    out = np.clip(np.rint(levels), 0, 255).astype(np.uint8)
    if shot.quality > 0:
        _, data = cv2.imencode(".jpg", out[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, shot.quality])
        out = np.ascontiguousarray(np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), dtype=np.uint8)[..., ::-1])
    return Photo(pixels=out, matrix=matrix, shot=shot)
