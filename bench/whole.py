"""What is said of the whole face on paintings with a known stretch, a known turn of the head, one slip, or none.

``python bench/whole.py FOLDER [--faces N] [--copies N] [--seed N]``: portraits of a folder are stretched, or turned by
their own depths as the face finder gives them, painted, photographed from in front and audited without a canvas.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator

from limner import audit
from limner.errors import LimnerError
from limner.face.bundle import ensure_model
from limner.face.mesh import open_mesh
from limner.pictures.load import load_picture
from limner.proving.photograph import Shot, rephotograph
from limner.proving.plant import plant
from limner.proving.render import Brush, Kind, paint
from limner.proving.slips import Slip
from limner.proving.trials import crop_to_face
from limner.result import WholeFinding
from limner.settings import Settings

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

KINDS: tuple[Kind, ...] = ("strokes", "glazes", "knife")
SLIPS = (("nose_width", 0.25), ("eye_width_left", 0.17), ("mouth_y", 0.06), ("chin", 0.08))
STRETCHES = ((0.0, 3.0), (0.0, 5.0), (0.0, 8.0), (0.0, -5.0), (45.0, 5.0), (90.0, 5.0))
TURNS = ((4.0, 0.0), (-8.0, 0.0), (12.0, 0.0), (0.0, 4.0), (0.0, -8.0))
FAR = 24.0
"""Pupil distances between the camera and the head that is turned."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Case:
    """One painting to be made."""

    name: str
    planted: float
    """Percent of stretch, or degrees; 0 where nothing of that kind is planted."""
    axis: str
    """``stretch``, ``turn`` or ``tip``."""
    pixels: Pixels


def stretched(pixels: Pixels, lean: float, percent: float) -> Pixels:
    """Longer by so much along a line whose top leans so many degrees to picture right."""
    height, width = pixels.shape[:2]
    t, middle = np.radians(lean), np.array([width, height]) / 2
    along = np.array([np.sin(t), -np.cos(t)])
    linear = np.eye(2) + percent / 100 * np.outer(along, along)
    matrix = np.column_stack([linear, middle - linear @ middle])
    return cv2.warpAffine(pixels, matrix, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)


def turned(pixels: Pixels, mesh: Array, yaw: float, pitch: float) -> Pixels:
    """The head turned to picture right and tipped chin up, by its (478, 3) points with their depths."""
    height, width = pixels.shape[:2]
    apart = float(np.linalg.norm(mesh[473, :2] - mesh[468, :2]))
    gx, gy = np.meshgrid(np.arange(0, width, 6), np.arange(0, height, 6))
    spots = np.column_stack([gx.ravel(), gy.ravel()])
    depth = LinearNDInterpolator(mesh[:, :2], mesh[:, 2])(spots)
    depth = np.where(np.isnan(depth), NearestNDInterpolator(mesh[:, :2], mesh[:, 2])(spots), depth).reshape(gx.shape)
    smooth = cv2.GaussianBlur(depth.astype(np.float32), (0, 0), apart * 0.04 / 6)
    z = (
        cv2.resize(smooth, (width, height), interpolation=cv2.INTER_CUBIC)
        - np.median(mesh[[234, 454], 2])
        - 0.4 * apart
    )
    middle, far = mesh[[234, 454], :2].mean(axis=0), FAR * apart
    a, b = np.radians(yaw), np.radians(pitch)
    to_x, to_y = np.meshgrid(np.arange(width, dtype=np.float64), np.arange(height, dtype=np.float64))
    fade = np.clip(1.6 - np.hypot((to_x - middle[0]) / (1.7 * apart), (to_y - middle[1]) / (2.2 * apart)), 0, 1)
    x, y = to_x.copy(), to_y.copy()
    for _ in range(12):  # where each px comes from
        near = cv2.remap(
            z, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        x0, y0 = x - middle[0], y - middle[1]
        x1, z1 = x0 * np.cos(a) - near * np.sin(a), x0 * np.sin(a) + near * np.cos(a)
        y1, z2 = y0 * np.cos(b) + z1 * np.sin(b), z1 * np.cos(b) - y0 * np.sin(b)
        size = (far + near) / (far + z2)
        x -= 0.9 * (x + (x1 * size + middle[0] - x) * fade - to_x)
        y -= 0.9 * (y + (y1 * size + middle[1] - y) * fade - to_y)
    places = (x.astype(np.float32), y.astype(np.float32))
    return cv2.remap(pixels, *places, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)


def cases(pixels: Pixels, mesh: Array, copies: int) -> Iterator[Case]:
    """Everything that is planted in one portrait."""
    for _ in range(copies):
        yield Case(name="copies", planted=0.0, axis="stretch", pixels=pixels)
    for kind, amount in SLIPS:
        try:
            one = plant(pixels, mesh[:, :2], Slip(kind=kind, amount=amount)).pixels
        except LimnerError:
            continue
        yield Case(name="one slip", planted=0.0, axis="stretch", pixels=one)
    for lean, percent in STRETCHES:
        amount = percent if percent > 0 else 100 * (1 / (1 + percent / 100) - 1)
        yield Case(name="stretched", planted=amount, axis="stretch", pixels=stretched(pixels, lean, percent))
    for yaw, pitch in TURNS:
        axis = "turn" if yaw else "tip"
        name = "turned" if yaw else "tipped"
        yield Case(name=name, planted=yaw or pitch, axis=axis, pixels=turned(pixels, mesh, yaw, pitch))


def main() -> int:
    """Print the table; return how often a copy or a single slip was called stretched or turned."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--faces", type=int, default=6)
    parser.add_argument("--copies", type=int, default=3)
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    settings = Settings(values=False, stage="finish")
    mesh = open_mesh(ensure_model(None))
    told: dict[str, list[tuple[float, dict[str, WholeFinding], str]]] = {}
    paths = sorted(path for path in asked.folder.iterdir() if path.suffix in (".jpg", ".png"))[: asked.faces]
    for face, path in enumerate(paths):
        whole = load_picture(path, label="reference").pixels
        reference = crop_to_face(whole, mesh.detect(whole, 1)[0][:, :2])
        points = mesh.detect(reference, 1)[0]
        for number, case in enumerate(cases(reference, points, asked.copies)):
            seed = 1000 * asked.seed + 100 * face + number
            shot = Shot.random(seed).square_on()
            photo = rephotograph(paint(case.pixels, Brush.random(KINDS[(face + number) % 3], seed)), shot).pixels
            try:
                result = audit(reference, photo, settings=settings)
            except LimnerError as error:
                print(f"{path.name}: {error}", file=sys.stderr)
                continue
            told.setdefault(case.name, []).append((case.planted, {f.id: f for f in result.whole}, case.axis))
    return tell(told)


def tell(told: dict[str, list[tuple[float, dict[str, WholeFinding], str]]]) -> int:
    """Print one line for each kind of painting."""
    false = 0
    for name, rows in told.items():
        axis = rows[0][2]
        off = np.array([abs(found[axis].deviation) - abs(planted) for planted, found, _ in rows])
        held = np.mean([abs(o) <= 1.96 * found[axis].sigma for o, (_, found, _) in zip(off, rows, strict=True)])
        calls = [{id_ for id_, f in found.items() if f.call == "off"} for _, found, _ in rows]
        said = sum(axis in call for call in calls)
        other = sum(bool(call - {axis}) for call in calls)
        unsure = sum(found[axis].call == "unsure" for _, found, _ in rows)
        worst = f"{np.sqrt(np.mean(off**2)):.2f} RMS, {np.abs(off).max():.2f} at most, {100 * held:.0f} % held"
        print(f"{name:10} {len(rows):4} paintings: {axis} off by {worst}; said {said}, unsure {unsure}")
        print(f"{'':10} something else of the whole said: {other}", flush=True)
        false += sum(bool(call) for call in calls) if name in ("copies", "one slip") else 0
    return false


if __name__ == "__main__":
    sys.exit(main())
