"""Invented phone photographs of a canvas in four rooms, with the true corners beside them.

Every scene is made from one number: room, light, camera, painting, what stands about and what covers an edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.pictures.canvas import CanvasFind, find_canvas
from limner.pictures.picture import Picture
from scene_parts import Array, Camera, bent, blurred, board, camera, cover, lay_flat, through_lens, tone, wall
from scene_things import canvas, easel_before, easel_behind, painting, pinned_about, things_before, to_light

ROOMS = ("studio", "parlour", "loft", "hall")
_SIZES = ((400, 500), (500, 400), (300, 400), (500, 700), (600, 600), (240, 300), (800, 600), (406, 508))
_WALLS = {
    "studio": ((0.75, 0.73, 0.68), (0.45, 0.45, 0.44), (0.62, 0.66, 0.68)),
    "parlour": ((0.35, 0.42, 0.3), (0.5, 0.2, 0.16), (0.7, 0.6, 0.42), (0.16, 0.22, 0.32)),
    "loft": ((0.4, 0.16, 0.1), (0.55, 0.5, 0.46), (0.3, 0.2, 0.15)),
    "hall": ((0.8, 0.8, 0.78), (0.5, 0.56, 0.5), (0.25, 0.25, 0.27)),
}
_SORTS = {
    "studio": ("plaster", "planks"),
    "parlour": ("stripes", "plaster"),
    "loft": ("bricks", "planks"),
    "hall": ("panels", "plaster"),
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Scene:
    """One photograph and what is true of it."""

    pixels: NDArray[np.uint8]
    corners: Array
    """(4, 2) array, px: top left, top right, bottom right, bottom left of the canvas's front."""
    size_mm: tuple[float, float]
    focal_35mm: float
    off_axis: float
    room: str
    remarks: tuple[str, ...]


def make_scene(
    seed: int,
    portrait: NDArray[np.uint8],
    *,
    room: str | None = None,
    width: int = 2016,
    height: int = 1512,
    **fixed: Any,
) -> Scene:
    """``portrait``: any (H, W, 3) uint8 picture to paint from. ``fixed`` sets ``off_axis``, ``size_mm``, ``painting``.

    By default as large as a 12-megapixel photograph is read: half scale.
    """
    rng = np.random.default_rng(seed)
    room = room or ROOMS[seed % len(ROOMS)]
    w, h = size = fixed.get("size_mm") or _SIZES[rng.integers(len(_SIZES))]
    if rng.random() < 0.4:
        width, height = min(width, height), max(width, height)
    focal = float(rng.choice([24, 26, 28, 48]))
    off_axis = fixed.get("off_axis", float(rng.uniform(0, 35)))
    view = _viewpoint(rng, width, height, focal, off_axis, size)
    remarks: list[str] = []
    picture = np.zeros((height, width, 3), np.float32)
    thick = float(rng.choice([4, 18, 22, 38]))
    depth = thick + (2 if room == "hall" or rng.random() < 0.2 else float(rng.uniform(60, 900)))
    _room(rng, picture, view, room, depth, size)
    hung = depth < thick + 5
    _shadow(rng, picture, view, size, thick, depth)
    if not hung:
        easel_behind(rng, picture, view, size, thick, depth)
    pinned_about(rng, picture, view, size, thick, portrait)
    art = fixed.get("painting")
    art = painting(rng, portrait, size, remarks) if art is None else art
    canvas(rng, picture, view, size, thick, to_light(art), remarks)
    if not hung:
        easel_before(rng, picture, view, size, remarks)
    things_before(rng, picture, view, size, remarks)
    _lighting(rng, picture, view, size, remarks)
    bend = float(rng.uniform(-0.004, 0.004))
    pixels = through_lens(rng, picture, bend, float(rng.uniform(0.5, 1.5)), float(rng.uniform(0.8, 5)))
    corners = bent(view.see(board(-w / 2, -h / 2, w / 2, h / 2, 0)), bend, width, height)
    return Scene(
        pixels=pixels,
        corners=corners,
        size_mm=size,
        focal_35mm=focal,
        off_axis=off_axis,
        room=room,
        remarks=tuple(remarks),
    )


def _viewpoint(
    rng: np.random.Generator, width: int, height: int, focal: float, off_axis: float, size: tuple[float, float]
) -> Camera:
    """Near enough that the canvas fills 42 to 80 % of the picture's tighter side, all of it inside."""
    w, h = size
    around, roll = float(rng.uniform(0, 360)), float(rng.uniform(-4, 4))
    front = board(-w / 2, -h / 2, w / 2, h / 2, 0)
    fill = float(rng.uniform(0.42, 0.8))
    aim = np.array([rng.uniform(-0.12, 0.12) * w, rng.uniform(-0.12, 0.12) * h, 0])
    distance = 300.0
    while True:
        view = camera(
            width=width,
            height=height,
            focal_35mm=focal,
            distance=distance,
            off_axis=off_axis,
            around=around,
            roll=roll,
            aim=aim,
        )
        seen = view.see(front)
        span = (seen.max(0) - seen.min(0)) / [width, height]
        inside = np.all(seen > 0.02 * width) and np.all(seen < np.array([width, height]) - 0.02 * width)
        if span.max() <= fill and inside:
            return view
        distance *= 1.04


def _room(rng: np.random.Generator, picture: Array, view: Camera, room: str, depth: float, size: Any) -> None:
    colour = np.array(_WALLS[room][rng.integers(len(_WALLS[room]))]) * rng.uniform(0.8, 1.15)
    texture = wall(rng, str(rng.choice(_SORTS[room])), np.clip(colour, 0, 0.9))
    far = view.plane(depth) @ np.array(
        [[2.5, 0, -2000 + rng.uniform(-150, 150)], [0, 2.5, -1500 + rng.uniform(-150, 150)], [0, 0, 1]]
    )
    cv2.warpPerspective(
        texture,
        far,
        (picture.shape[1], picture.shape[0]),
        dst=picture,
        flags=cv2.INTER_AREA,
        borderMode=cv2.BORDER_REFLECT,
    )
    w, h = size
    if rng.random() < 0.5:  # a rail or skirting across the whole wall
        y = rng.uniform(-0.9, 0.9) * h
        lay_flat(
            picture, view, board(-1900, y, 1900, y + rng.uniform(10, 90), depth - 4), colour * rng.uniform(0.5, 1.2)
        )
    if rng.random() < 0.35:  # a door frame or window frame
        x = rng.choice([-1, 1]) * rng.uniform(0.7, 1.3) * w
        lay_flat(picture, view, board(x - 40, -1500, x + 40, 1500, depth - 6), colour * rng.uniform(0.6, 1.3))
    for _ in range(int(rng.integers(0, 4)) if room in ("parlour", "hall") else int(rng.integers(0, 2))):
        x, y = rng.choice([-1, 1]) * rng.uniform(0.75, 1.5) * w, rng.uniform(-0.8, 0.8) * h
        a, b = rng.uniform(0.12, 0.3) * w, rng.uniform(0.15, 0.3) * h
        lay_flat(picture, view, board(x - a, y - b, x + a, y + b, depth - 10), tone(rng, 0.03, 0.5))
        lay_flat(
            picture, view, board(x - a * 0.8, y - b * 0.8, x + a * 0.8, y + b * 0.8, depth - 8), tone(rng, 0.1, 0.8)
        )


def _shadow(rng: np.random.Generator, picture: Array, view: Camera, size: Any, thick: float, depth: float) -> None:
    w, h = size
    gap = depth - thick + 0.5 * thick
    dx, dy = gap * rng.uniform(-0.7, 0.7), gap * rng.uniform(-0.2, 0.8)
    mask = cover(picture.shape[:2], view.see(board(-w / 2 + dx, -h / 2 + dy, w / 2 + dx, h / 2 + dy, depth)))
    soft = max(1.0, gap * rng.uniform(0.04, 0.2) * view.focal / float(np.linalg.norm(view.eye)))
    picture *= (1 - blurred(mask, soft) * rng.uniform(0.1, 0.6))[..., None]


def _lighting(rng: np.random.Generator, picture: Array, view: Camera, size: Any, remarks: list[str]) -> None:
    height, width = picture.shape[:2]
    ys, xs = np.mgrid[:height, :width].astype(np.float32)
    u, v = xs / width - 0.5, ys / height - 0.5
    a = rng.uniform(0, 2 * np.pi)
    light = 1 + rng.uniform(0, 1.1) * (u * np.cos(a) + v * np.sin(a))
    light *= 1 - rng.uniform(0, 0.5) * (u**2 + v**2)
    if rng.random() < 0.25:  # the shadow of a window bar or of the painter
        remarks.append("shadow across")
        b, at = rng.uniform(0, np.pi), rng.uniform(-0.25, 0.25)
        distance = (u * np.cos(b) + v * np.sin(b) - at) / rng.uniform(0.004, 0.05)
        light *= 1 - rng.uniform(0.2, 0.55) / (1 + np.exp(-np.clip(distance, -30, 30)))
    picture *= (light * rng.uniform(0.55, 1.15))[..., None] * rng.uniform(0.85, 1.1, 3).astype(np.float32)
    if rng.random() < 0.25:
        remarks.append("glare")
        w, h = size
        spot = view.see(np.array([[rng.uniform(-0.45, 0.45) * w, rng.uniform(-0.45, 0.45) * h, 0]]))[0]
        spread = rng.uniform(0.03, 0.1) * width
        glow = np.exp(-((xs - spot[0]) ** 2 + (ys - spot[1]) ** 2) / (2 * spread**2))
        picture += (glow * rng.uniform(0.2, 0.8))[..., None]
    np.clip(picture, 0, 1, out=picture)


def searched(scene: Scene, size_mm: Any = None, *, told: bool = True) -> tuple[CanvasFind, float]:
    """What was found in a scene, and how far its worst corner is off, as share of the diagonal.

    ``told``: whether the phone wrote its focal length into the photo.
    """
    height, width = scene.pixels.shape[:2]
    focal = scene.focal_35mm if told else None
    photo = Picture(pixels=scene.pixels, name="scene", digest=None, full_size=(width, height), focal_35mm=focal)
    found = find_canvas(photo, size_mm=size_mm or scene.size_mm)
    assert found.corners is not None
    off = np.linalg.norm(found.corners - scene.corners, axis=1).max()
    return found, float(off / np.linalg.norm(scene.corners[2] - scene.corners[0]))
