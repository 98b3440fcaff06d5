"""How many painted faces are found: python bench/finding.py FOLDER [--jobs N].

FOLDER holds pictures of paintings, a face or more each. Each is looked at as it is and as a harder photo of itself:
turned, small on a wide wall, without colour, dark, soft. One plain call of the face finder stands beside limner's
search. A find in a harder photo is right where it lies on the face found in the picture as it is; whether that one is
the right face only eyes can tell, so look at the sheet that --sheet writes.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.errors import LimnerError
from limner.face.bundle import ensure_model
from limner.face.crops import face_size
from limner.face.mesh import open_mesh
from limner.face.search import find_faces, same_face
from limner.pictures.load import load_picture

Pixels = NDArray[np.uint8]
Array = NDArray[np.float64]
WALL, GREY = 3.0, (150, 146, 138)
"""How many times as wide as the picture the wall is, and its colour."""


def turned(degrees: float) -> Callable[[Pixels], tuple[Pixels, Array]]:
    """The picture turned about its middle, nothing cut off."""

    def make(pixels: Pixels) -> tuple[Pixels, Array]:
        height, width = pixels.shape[:2]
        matrix = cv2.getRotationMatrix2D((width / 2, height / 2), degrees, 1.0)
        cos, sin = abs(matrix[0, 0]), abs(matrix[0, 1])
        size = round(height * sin + width * cos), round(height * cos + width * sin)
        matrix[:, 2] += size[0] / 2 - width / 2, size[1] / 2 - height / 2
        return np.asarray(cv2.warpAffine(pixels, matrix, size, borderValue=GREY), np.uint8), np.asarray(matrix)

    return make


def on_a_wall(pixels: Pixels) -> tuple[Pixels, Array]:
    """The picture hung on a wide wall."""
    height, width = pixels.shape[:2]
    side, above = round(width * (WALL - 1) / 2), round(height * (WALL - 1) / 2)
    wall = cv2.copyMakeBorder(pixels, above, above, side, side, cv2.BORDER_CONSTANT, value=GREY)
    return np.asarray(wall, np.uint8), np.array([[1.0, 0, side], [0, 1.0, above]])


def toned(change: Callable[[Pixels], NDArray[np.float64]]) -> Callable[[Pixels], tuple[Pixels, Array]]:
    """The picture in place, its tones changed."""

    def make(pixels: Pixels) -> tuple[Pixels, Array]:
        return np.clip(np.rint(change(pixels)), 0, 255).astype(np.uint8), np.array([[1.0, 0, 0], [0, 1.0, 0]])

    return make


def soft(pixels: Pixels) -> NDArray[np.float64]:
    """As through a poor lens: blurred by a hundredth of the longer side."""
    return np.asarray(cv2.GaussianBlur(pixels, (0, 0), max(pixels.shape[:2]) / 100), np.float64)


WAYS: dict[str, Callable[[Pixels], tuple[Pixels, Array]]] = {
    "as it is": toned(lambda p: p.astype(np.float64)),
    "turned by 30 degrees": turned(30),
    "turned by -45 degrees": turned(-45),
    "on a wide wall": on_a_wall,
    "without colour": toned(lambda p: np.repeat(cv2.cvtColor(p, cv2.COLOR_RGB2GRAY)[..., None], 3, 2) * 1.0),
    "dark": toned(lambda p: 255 * (p / 255.0) ** 2.2 * 0.6),
    "soft": toned(soft),
}


def one(path: str) -> dict[str, tuple[bool, bool, bool]]:
    """Way -> whether a plain call finds a face, whether limner does, and whether that is the same face as at first."""
    cv2.setNumThreads(1)
    mesh = open_mesh(ensure_model())
    pixels = load_picture(path, label="picture").pixels
    first: Array | None = None
    told = {}
    for name, way in WAYS.items():
        made, matrix = way(pixels)
        plain = bool(mesh.detect(made, 1))
        faces = find_faces(made, mesh)
        best = max(faces, key=lambda face: face_size(face.mesh), default=None)
        if first is None:
            first = None if best is None else best.mesh
            told[name] = (plain, best is not None, best is not None)
            continue
        there = first @ matrix[:, :2].T + matrix[:, 2]
        told[name] = (plain, best is not None, best is not None and same_face(best.mesh, there))
    return told


def sheet(paths: list[Path], file: Path) -> None:
    """Every picture with the face that was found, for eyes to judge."""
    cells = []
    mesh = open_mesh(ensure_model())
    for path in paths:
        pixels = load_picture(path, label="picture").pixels.copy()
        for face in find_faces(pixels, mesh):
            for x, y in face.mesh:
                cv2.circle(pixels, (int(x), int(y)), max(1, round(face_size(face.mesh) / 50)), (255, 0, 255), -1)
        cells.append(cv2.resize(pixels, (240, round(240 * pixels.shape[0] / pixels.shape[1])))[:320])
    cells = [cv2.copyMakeBorder(cell, 0, 320 - len(cell), 0, 0, cv2.BORDER_CONSTANT) for cell in cells]
    cells += [np.zeros((320, 240, 3), np.uint8)] * (-len(cells) % 7)
    rows = [np.hstack(cells[k : k + 7]) for k in range(0, len(cells), 7)]
    cv2.imwrite(str(file), cv2.cvtColor(np.vstack(rows), cv2.COLOR_RGB2BGR))


def main() -> int:
    """Print a line for each way."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--sheet", type=Path, help="PNG of every picture with what was found")
    wanted = parser.parse_args()
    kinds = {".jpg", ".jpeg", ".png", ".webp", ".heic"}
    paths = sorted(path for path in wanted.folder.iterdir() if path.suffix.lower() in kinds)
    if not paths:
        print(f"Expected pictures of paintings in {wanted.folder.name}, found none.", file=sys.stderr)
        return 2
    try:
        with ProcessPoolExecutor(wanted.jobs, mp_context=get_context("spawn")) as pool:
            told = list(pool.map(one, map(str, paths)))
        if wanted.sheet:
            sheet(paths, wanted.sheet)
    except LimnerError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    print(f"{len(paths)} paintings{'':22}{'one plain call':>15}{'limner':>9}{'the same face':>15}")
    for name in WAYS:
        print(f"{name:34}" + "".join(f"{sum(t[name][k] for t in told):>{w}}" for k, w in ((0, 15), (1, 9), (2, 15))))
    whole = len(paths) * len(WAYS)
    sums = [sum(t[name][k] for t in told for name in WAYS) for k in range(3)]
    print(f"{f'of {whole}':34}{sums[0]:15d}{sums[1]:9d}{sums[2]:15d}")
    for path, row in zip(paths, told, strict=True):
        missed = [name for name in WAYS if not row[name][2]]
        if missed:
            print(f"  {path.name}: not, or another face: {', '.join(missed)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
