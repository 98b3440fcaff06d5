"""What stands, hangs and lies in an invented room: easel, canvas, painting, brushes, rags."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from scene_parts import Array, Camera, board, clouds, lay, lay_box, lay_flat, lay_textured, tone

_WOOD = ((0.33, 0.18, 0.08), (0.55, 0.36, 0.18), (0.12, 0.07, 0.05), (0.62, 0.5, 0.35))


def to_light(painting: NDArray[np.uint8]) -> Array:
    v = painting.astype(np.float32) / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)


def easel_behind(rng: np.random.Generator, picture: Array, view: Camera, size: Any, thick: float, depth: float) -> None:
    w, h = size
    wood = np.array(_WOOD[rng.integers(len(_WOOD))]) * rng.uniform(0.7, 1.2)
    back = min(thick + 40, depth - 1)
    if rng.random() < 0.5:
        for x, lean in ((-0.25, -0.22), (0.25, 0.22)):
            top, foot = np.array([x * w * 0.3, -0.9 * h]), np.array([x * w + lean * 2 * w, 1.5 * h])
            across = np.array([18.0, 4.0])
            ring = np.array([top - across, top + across, foot + across, foot - across])
            lay_flat(picture, view, np.column_stack([ring, np.full(4, back)]), wood * rng.uniform(0.8, 1.1))
    x = rng.uniform(-0.08, 0.08) * w
    lay_box(picture, view, (x - 25, x + 25), (-h * rng.uniform(0.55, 1.0), 1.6 * h), (thick + 1, back), wood, rng)


def pinned_about(
    rng: np.random.Generator, picture: Array, view: Camera, size: Any, thick: float, portrait: NDArray[np.uint8]
) -> None:
    """The reference print or a palette held up beside the canvas."""
    w, h = size
    if rng.random() < 0.35:
        x, y, side = rng.choice([-1, 1]) * rng.uniform(0.68, 0.85) * w, rng.uniform(-0.3, 0.3) * h, 0.15 * w
        lay_flat(picture, view, board(x - side, y - side * 1.3, x + side, y + side * 1.3, thick), (0.85, 0.85, 0.85))
        inner = board(x - side * 0.9, y - side * 1.2, x + side * 0.9, y + side * 1.2, thick)
        lay_textured(picture, view, inner, to_light(cv2.resize(portrait, (180, 240), interpolation=cv2.INTER_AREA)))


def painting(rng: np.random.Generator, portrait: NDArray[np.uint8], size: Any, remarks: list[str]) -> NDArray[np.uint8]:
    """From the portrait: a likeness, a block-in, a toned ground with a drawing; with or without a bare margin."""
    w, h = size
    width, height = round(w * 1.6), round(h * 1.6)
    side = min(portrait.shape[:2])
    zoom = rng.uniform(0.55, 1.0)
    cut_w, cut_h = (zoom * side * min(1, w / h), zoom * side * min(1, h / w))
    x, y = rng.uniform(0, portrait.shape[1] - cut_w), rng.uniform(0, portrait.shape[0] - cut_h) * 0.3
    part = portrait[int(y) : int(y + cut_h), int(x) : int(x + cut_w)]
    art = cv2.resize(part, (width, height), interpolation=cv2.INTER_CUBIC)
    art = art[:, ::-1].copy() if rng.random() < 0.5 else art.copy()
    sort = str(rng.choice(["likeness", "block-in", "drawing", "scenery"], p=[0.45, 0.25, 0.15, 0.15]))
    remarks.append(sort)
    ground = np.array([rng.uniform(90, 235)] * 3) * rng.uniform(0.85, 1.0, 3)
    if sort == "block-in":
        art = cv2.medianBlur(cv2.GaussianBlur(art, (0, 0), 9), 31)
        art = (art // 52 * 52 + 26).astype(np.uint8)
    elif sort == "drawing":
        grey = cv2.cvtColor(art, cv2.COLOR_RGB2GRAY)
        lines = cv2.GaussianBlur(cv2.Canny(cv2.GaussianBlur(grey, (0, 0), 3), 30, 70), (0, 0), 1.2)[..., None] / 255
        art = (ground * (1 - np.minimum(lines * 1.3, 0.8))).astype(np.uint8)
    elif sort == "scenery":  # straight things parallel to the edges, as a window or a table behind the sitter
        x0, y0 = rng.uniform(0.03, 0.1) * width, rng.uniform(0.03, 0.2) * height
        x1, y1 = rng.uniform(0.2, 0.4) * width, rng.uniform(0.4, 0.7) * height
        if rng.random() < 0.5:
            x0, x1 = width - x1, width - x0
        cv2.rectangle(
            art, (int(x0), int(y0)), (int(x1), int(y1)), rng.uniform(0, 255, 3).tolist(), int(rng.choice([-1, 12]))
        )
        y = int(rng.uniform(0.7, 0.93) * height)
        art[y:] = (art[y:] * 0.3 + 0.7 * rng.uniform(0, 255, 3)).astype(np.uint8)
    tint = rng.uniform(0.8, 1.1, 3)
    art = np.clip(art * tint + 5 * clouds(rng, height, width, 5)[..., None], 0, 255)
    if rng.random() < 0.08:
        remarks.append("bare margin")
        edge = int(rng.uniform(0.01, 0.035) * min(width, height))
        bare = np.ones_like(art) * ground
        bare[edge:-edge, edge:-edge] = art[edge:-edge, edge:-edge]
        art = bare
    return art.astype(np.uint8)


def canvas(
    rng: np.random.Generator, picture: Array, view: Camera, size: Any, thick: float, art: Array, remarks: list[str]
) -> None:
    w, h = size
    frame = fixed = 0.0
    if rng.random() < 0.06:
        frame = rng.uniform(0.06, 0.16) * min(size)
        remarks.append("framed")
        wood = np.array(_WOOD[rng.integers(len(_WOOD))])
        lay_box(
            picture,
            view,
            (-w / 2 - frame, w / 2 + frame),
            (-h / 2 - frame, h / 2 + frame),
            (fixed, thick + 1),
            wood,
            rng,
        )
        for at in (0.3, 0.7):
            m = frame * at
            lay_flat(
                picture, view, board(-w / 2 - m, -h / 2 - m, w / 2 + m, h / 2 + m, 0), wood * rng.uniform(0.6, 1.4)
            )
    else:
        side = np.array([0.8, 0.77, 0.7]) if rng.random() < 0.6 else art.reshape(-1, 3)[::997].mean(0)
        lay_box(picture, view, (-w / 2, w / 2), (-h / 2, h / 2), (0, thick), side, rng)
        seen = max(abs(view.eye[0]) - w / 2, abs(view.eye[1]) - h / 2) * thick / abs(view.eye[2])
        if seen > 0.003 * np.hypot(w, h):
            remarks.append("side seen")
    lay_textured(picture, view, board(-w / 2, -h / 2, w / 2, h / 2, 0), art)


def easel_before(rng: np.random.Generator, picture: Array, view: Camera, size: Any, remarks: list[str]) -> None:
    """The ledge under the canvas, whose lip may hide part of the lower edge, and the clamp above."""
    w, h = size
    wood = np.array(_WOOD[rng.integers(len(_WOOD))]) * rng.uniform(0.7, 1.2)
    x = rng.uniform(-0.05, 0.05) * w
    kind = rng.random()
    if kind < 0.04:
        half, lip = rng.uniform(0.55, 0.8) * w, rng.uniform(4, 12)
        remarks.append("lower edge hidden")
    elif kind < 0.4:
        half, lip = rng.uniform(0.3, 0.8) * w, 0.0
    else:
        half, lip = rng.uniform(0.1, 0.38) * w, rng.uniform(0, 12)
    # Seen from below, a deep ledge would hide the edge that stands on it.
    front = -18 if view.eye[1] < h / 2 - 30 else -1
    lay_box(picture, view, (x - half, x + half), (h / 2 - lip, h / 2 + 35), (front, 0), wood, rng)
    if rng.random() < 0.6:
        half = rng.uniform(15, 45)
        lay_box(picture, view, (x - half, x + half), (-h / 2 - 40, -h / 2 + rng.uniform(3, 15)), (-10, 0), wood, rng)


def things_before(rng: np.random.Generator, picture: Array, view: Camera, size: Any, remarks: list[str]) -> None:
    """Brushes, a jar, a rag over an edge or a corner."""
    w, h = size
    if rng.random() < 0.35:
        remarks.append("rag")
        edge = rng.integers(3)
        at = [
            (rng.uniform(-0.5, 0.5) * w, -h / 2),
            (-w / 2, rng.uniform(-0.5, 0.5) * h),
            (w / 2, rng.uniform(-0.5, 0.5) * h),
        ][edge]
        angles = np.linspace(0, 2 * np.pi, 11)[:-1]
        radii = rng.uniform(0.5, 1.0, 10) * rng.uniform(0.05, 0.14) * w
        ring = np.array(at) + np.column_stack([np.cos(angles), np.sin(angles)]) * radii[:, None]
        seen = view.see(np.column_stack([ring, np.full(10, -6.0)]))
        mask = np.zeros(picture.shape[:2], np.uint8)
        cv2.fillPoly(mask, [np.round(seen).astype(np.int32)], 255)
        soft = cv2.GaussianBlur(mask.astype(np.float32) / 255, (0, 0), 1.0)
        lay(picture, soft, tone(rng, 0.05, 0.8))
    for _ in range(int(rng.integers(0, 4))):
        foot = np.array([rng.uniform(-0.7, 0.7) * w, h / 2 + rng.uniform(20, 80)])
        tip = foot + [rng.uniform(-60, 60), -rng.uniform(60, 220)]
        across = np.array([5.0, 1.0])
        ring = np.array([tip - across, tip + across, foot + across, foot - across])
        lay_flat(picture, view, np.column_stack([ring, np.full(4, -40.0)]), tone(rng, 0.02, 0.7))
    if rng.random() < 0.4:
        y = h / 2 + rng.uniform(60, 160)
        lay_flat(picture, view, board(-1500, y, 1500, y + 900, -30), tone(rng, 0.05, 0.5))
