"""What scenes are built of: a pinhole camera, flat things in front of it, walls, light, lens and sensor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]


@dataclass(frozen=True, kw_only=True)
class Camera:
    """Looks from ``eye``; the world in mm: x to the right, y down, z away from the viewer, the canvas on z = 0."""

    eye: Array
    turn: Array
    """(3, 3) array: world to camera axes."""
    focal: float
    """px."""
    width: int
    height: int

    def see(self, points: Array) -> Array:
        """(N, 3) array, mm, to (N, 2) array, px, pixel centres at whole numbers."""
        p = (np.asarray(points, float) - self.eye) @ self.turn.T
        middle = [(self.width - 1) / 2, (self.height - 1) / 2]
        result: Array = p[:, :2] / p[:, 2:] * self.focal + middle
        return result

    def plane(self, z: float) -> Array:
        """(3, 3) homography from (x, y) mm on the plane at depth ``z`` to px."""
        corners = np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]]) * 100
        seen = self.see(np.column_stack([corners, np.full(4, z)]))
        return cv2.getPerspectiveTransform(corners.astype(np.float32), seen.astype(np.float32))


def camera(
    *,
    width: int,
    height: int,
    focal_35mm: float,
    distance: float,
    off_axis: float,
    around: float,
    roll: float,
    aim: Array,
) -> Camera:
    """``off_axis``, ``around``, ``roll`` in degrees; ``aim``: the point looked at, mm."""
    t, a, r = np.radians([off_axis, around, roll])
    eye = distance * np.array([np.sin(t) * np.cos(a), np.sin(t) * np.sin(a), -np.cos(t)])
    forward = (aim - eye) / np.linalg.norm(aim - eye)
    right = np.cross([0, 1, 0], forward)
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    axes = np.array([right * np.cos(r) + down * np.sin(r), down * np.cos(r) - right * np.sin(r), forward])
    focal = focal_35mm / 43.2666 * float(np.hypot(width, height))
    return Camera(eye=eye, turn=axes, focal=focal, width=width, height=height)


def cover(shape: tuple[int, int], corners: Array) -> Array:
    """How much of each pixel a convex polygon covers: (H, W) array, 0..1, from signed distances to its sides."""
    area = np.sum(corners[:, 0] * np.roll(corners[:, 1], -1) - np.roll(corners[:, 0], -1) * corners[:, 1])
    ring = corners if area > 0 else corners[::-1]
    low = np.clip(np.floor(ring.min(0)).astype(int) - 2, 0, [shape[1], shape[0]])
    high = np.clip(np.ceil(ring.max(0)).astype(int) + 3, 0, [shape[1], shape[0]])
    mask = np.zeros(shape, np.float32)
    if np.any(high <= low):
        return mask
    xs = np.arange(low[0], high[0], dtype=np.float32)
    ys = np.arange(low[1], high[1], dtype=np.float32)[:, None]
    inside = np.ones((len(ys), len(xs)), np.float32)
    for p, q in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        d = (q - p) / np.hypot(*(q - p))
        distance = d[0] * (ys - p[1]) - d[1] * (xs - p[0])
        inside = np.minimum(inside, np.clip(distance + 0.5, 0, 1))
    mask[low[1] : high[1], low[0] : high[0]] = inside
    return mask


def lay(picture: Array, mask: Array, colour: Array) -> None:
    """Paint ``colour`` ((3,) or (H, W, 3) array, linear light) into ``picture`` through ``mask``, in place."""
    ys, xs = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
    if not len(ys):
        return
    box = np.s_[ys[0] : ys[-1] + 1, xs[0] : xs[-1] + 1]
    part = mask[box][..., None]
    paint = colour if colour.ndim == 1 else colour[box]
    picture[box] = picture[box] * (1 - part) + paint * part


def lay_flat(picture: Array, view: Camera, corners: Array, colour: Any) -> Array:
    """A flat thing of one colour; ``corners``: (4, 3) array, mm. Gives its mask."""
    mask = cover(picture.shape[:2], view.see(corners))
    lay(picture, mask, np.asarray(colour, np.float32))
    return mask


def lay_textured(picture: Array, view: Camera, corners: Array, texture: Array) -> None:
    """A flat thing with a picture on it; ``corners`` in the order of the texture's own, from its top left clockwise."""
    seen = view.see(corners)
    height, width = texture.shape[:2]
    own = np.array([[-0.5, -0.5], [width - 0.5, -0.5], [width - 0.5, height - 0.5], [-0.5, height - 0.5]], np.float32)
    shrink = np.sqrt(cv2.contourArea(seen.astype(np.float32)) / (width * height))
    if shrink < 0.7:
        texture = cv2.GaussianBlur(texture, (0, 0), 0.45 / shrink, borderType=cv2.BORDER_REPLICATE)
    warp = cv2.getPerspectiveTransform(own, seen.astype(np.float32))
    size = (picture.shape[1], picture.shape[0])
    spread = cv2.warpPerspective(texture, warp, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    lay(picture, cover(picture.shape[:2], seen), spread)


def board(x0: float, y0: float, x1: float, y1: float, z: float) -> Array:
    """An upright rectangle facing the viewer: (4, 3) array, mm, from the top left clockwise."""
    return np.array([[x0, y0, z], [x1, y0, z], [x1, y1, z], [x0, y1, z]], float)


def lay_box(picture: Array, view: Camera, x: Any, y: Any, z: Any, colour: Any, rng: np.random.Generator) -> None:
    """A box with its visible sides in shades of ``colour``; ``x``, ``y``, ``z``: (low, high) in mm."""
    (x0, x1), (y0, y1), (z0, z1) = x, y, z
    colour = np.asarray(colour, np.float32)
    sides = [
        (view.eye[0] < x0, [[x0, y0, z1], [x0, y0, z0], [x0, y1, z0], [x0, y1, z1]]),
        (view.eye[0] > x1, [[x1, y0, z0], [x1, y0, z1], [x1, y1, z1], [x1, y1, z0]]),
        (view.eye[1] < y0, [[x0, y0, z1], [x1, y0, z1], [x1, y0, z0], [x0, y0, z0]]),
        (view.eye[1] > y1, [[x0, y1, z0], [x1, y1, z0], [x1, y1, z1], [x0, y1, z1]]),
    ]
    for visible, corners in sides:
        shade = rng.uniform(0.45, 1.05)
        if visible:
            lay_flat(picture, view, np.array(corners, float), colour * shade)
    lay_flat(picture, view, board(x0, y0, x1, y1, z0), colour)


def blurred(mask: Array, soft: float) -> Array:
    """A wide blur of a (H, W) array, done on a smaller copy."""
    by = max(1, int(soft / 3))
    if by == 1:
        return cv2.GaussianBlur(mask, (0, 0), soft)
    small = cv2.resize(mask, None, fx=1 / by, fy=1 / by, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), soft / by)
    return cv2.resize(small, (mask.shape[1], mask.shape[0]), interpolation=cv2.INTER_CUBIC).clip(0, 1)


def tone(rng: np.random.Generator, low: float, high: float) -> Array:
    """A colour as things in a room have it: some value, not much chroma."""
    return (rng.uniform(low, high) * rng.uniform(0.55, 1.25, 3)).clip(0, 1).astype(np.float32)


def clouds(rng: np.random.Generator, height: int, width: int, size: float) -> Array:
    """Smooth noise, zero mean, unit spread: (height, width) array."""
    small = rng.normal(size=(max(2, round(height / size) + 3), max(2, round(width / size) + 3))).astype(np.float32)
    out: Array = cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC)
    return (out - out.mean()) / (out.std() + 1e-6)


def wall(rng: np.random.Generator, sort: str, colour: Array) -> Array:
    """A wall of 4000 x 3000 mm at 2.5 mm per px, linear light."""
    height, width = 1200, 1600
    base = np.ones((height, width, 3), np.float32) * np.asarray(colour, np.float32)
    ys, xs = np.mgrid[:height, :width].astype(np.float32)
    if sort == "stripes":
        period = rng.uniform(24, 70)
        base *= np.where((xs % period) < period * rng.uniform(0.3, 0.6), rng.uniform(0.7, 0.92), 1.0)[..., None]
    elif sort == "bricks":
        row = ys // 30
        joint = ((ys % 30) < 4) | (((xs + 45 * (row % 2)) % 90) < 4)
        tint = rng.uniform(0.75, 1.2, (60, 60))[row.astype(int), ((xs + 45 * (row % 2)) // 90).astype(int)]
        base = np.where(joint[..., None], base * 1.35, base * tint[..., None].astype(np.float32))
    elif sort == "planks":
        base *= rng.uniform(0.75, 1.15, 40)[(xs // 44).astype(int)][..., None].astype(np.float32)
        base[(xs % 44) < 2] *= 0.45
        base *= 1 + 0.06 * clouds(rng, height, width, 9)[..., None] * np.float32(1)
    elif sort == "panels":
        for x in range(60, width, 330):
            for y in range(80, height, 470):
                cv2.rectangle(base, (x, y), (x + 270, y + 400), tuple(float(c) * 0.72 for c in colour), 5)
                cv2.rectangle(base, (x + 8, y + 8), (x + 262, y + 392), tuple(float(c) * 1.12 for c in colour), 3)
    base *= 1 + rng.uniform(0.01, 0.05) * clouds(rng, height, width, 4)[..., None]
    base *= 1 + rng.uniform(0.02, 0.06) * clouds(rng, height, width, 120)[..., None]
    return np.clip(base, 0.01, 1)


def through_lens(rng: np.random.Generator, picture: Array, bend: float, blur: float, noise: float) -> Array:
    """Linear light to an sRGB photograph: lens bend, blur, sensor noise, JPEG."""
    height, width = picture.shape[:2]
    if bend:
        ys, xs = np.mgrid[:height, :width].astype(np.float32)
        u, v = xs - (width - 1) / 2, ys - (height - 1) / 2
        gain = undo_bend(np.hypot(u, v), bend, float(np.hypot(width, height)) / 2)
        middle = ((width - 1) / 2, (height - 1) / 2)
        xs, ys = (u * gain + middle[0]).astype(np.float32), (v * gain + middle[1]).astype(np.float32)
        picture = cv2.remap(picture, xs, ys, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    picture = np.clip(cv2.GaussianBlur(picture, (0, 0), blur), 0, 1)
    grain = rng.normal(size=picture.shape).astype(np.float32)
    grain = 0.6 * cv2.GaussianBlur(grain, (0, 0), 0.6) * 2 + 0.4 * grain
    coded = np.where(picture <= 0.0031308, 12.92 * picture, 1.055 * np.maximum(picture, 1e-9) ** (1 / 2.4) - 0.055)
    coded = coded * 255 + grain * noise
    quality = int(rng.integers(80, 96))
    _, data = cv2.imencode(
        ".jpg", np.clip(coded[..., ::-1], 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, quality]
    )
    return cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1].copy()


def undo_bend(radius: Array, bend: float, corner: float) -> Array:
    """Factor from a seen radius to the straight one, r = s (1 + bend (s / corner)^2), by fixed-point iteration."""
    straight = radius.copy()
    for _ in range(6):
        straight = radius / (1 + bend * (straight / corner) ** 2)
    return np.where(radius > 0, straight / np.maximum(radius, 1e-6), 1.0)


def bent(points: Array, bend: float, width: int, height: int) -> Array:
    """Where straight-lens points land under the same bend: (N, 2) array, px."""
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    away = points - middle
    r = np.hypot(away[:, 0], away[:, 1])[:, None] / (np.hypot(width, height) / 2)
    return middle + away * (1 + bend * r**2)
