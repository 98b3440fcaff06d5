"""How many painted faces are found: python bench/finding.py FOLDER [--jobs N].

FOLDER holds pictures of paintings, a face or more each. Each is looked at as it is and as a harder photo of itself:
turned, small on a wide wall, without colour, dark, soft. One plain call of the face finder stands beside limner's
search. A find in a harder photo is right where it lies on the face found in the picture as it is; whether that one is
the right face only eyes can tell, so look at the sheet that --sheet writes.

If FOLDER has an index.tsv, boxes drawn by hand tell. It has a line for each box, its columns apart by tabs and named in
the first line: file, x, y, w, h (px of the upright picture); others may stand among them. Several lines of one file are
several faces, any of which will do; a line without numbers says that there is no face, and whatever is found is
invented. The largest face found is right where its centre lies in a box and it is about as high. Pictures that the
index does not name are left out.
"""

from __future__ import annotations

import argparse
import csv
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
from limner.face.crops import FACE_HEIGHT, face_centre, face_size
from limner.face.mesh import open_mesh
from limner.face.search import find_faces, same_face
from limner.pictures.load import load_picture

Pixels = NDArray[np.uint8]
Array = NDArray[np.float64]
Box = tuple[float, float, float, float]
"""x, y, width and height, px of the picture as it is stored."""

ABOUT_AS_HIGH = 0.4, 1.6
"""A face found is so many boxes high: hands draw round the head as often as from brow to chin."""

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


def boxes(index: Path) -> dict[str, list[Box]]:
    """File -> its boxes, none where it holds no face."""
    told: dict[str, list[Box]] = {}
    with index.open(encoding="utf-8", newline="") as lines:
        for line in csv.DictReader(lines, delimiter="\t"):
            drawn = told.setdefault(line["file"], [])
            if line["w"]:
                drawn.append((float(line["x"]), float(line["y"]), float(line["w"]), float(line["h"])))
    return told


def fits(mesh: Array, box: Box) -> bool:
    """Whether a face found is the one in the box."""
    x, y, width, height = box
    across, down = face_centre(mesh)
    low, high = ABOUT_AS_HIGH
    return x <= across <= x + width and y <= down <= y + height and low < FACE_HEIGHT * face_size(mesh) / height < high


def largest(meshes: list[Array]) -> Array | None:
    """The largest of some faces."""
    return max(meshes, key=face_size, default=None)


Told = dict[str, tuple[bool, bool, bool, bool]]
"""Way -> whether a plain call finds a face, whether it is the right one, and the same for limner."""


def one(path: str, drawn: list[Box] | None) -> Told:
    """What is found in one picture and its harder photos; right by boxes drawn, or else by what is found at first."""
    cv2.setNumThreads(1)
    mesh = open_mesh(ensure_model())
    picture = load_picture(path, label="picture")
    first: Array | None = None
    told: Told = {}
    for name, way in WAYS.items():
        made, matrix = way(picture.pixels)
        plain = largest([points[:, :2] for points in mesh.detect(made, 1)])
        best = largest([face.mesh for face in find_faces(made, mesh)])
        first = best if not told else first
        right = []
        for found in (plain, best):
            if found is None:
                right.append(False)
                continue
            back = (found - matrix[:, 2]) @ np.linalg.inv(matrix[:, :2]).T
            if drawn is None:
                right.append(first is not None and same_face(back, first))
            else:
                right.append(any(fits(back / picture.scale, box) for box in drawn))
        told[name] = (plain is not None, right[0], best is not None, right[1])
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
    """Say what was found."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--sheet", type=Path, help="PNG of every picture with what was found")
    wanted = parser.parse_args()
    kinds = {".jpg", ".jpeg", ".png", ".webp", ".heic"}
    paths = sorted(path for path in wanted.folder.iterdir() if path.suffix.lower() in kinds)
    index = wanted.folder / "index.tsv"
    drawn = boxes(index) if index.is_file() else None
    if drawn is not None:
        paths = [path for path in paths if path.name in drawn]
    if not paths:
        print(f"Expected pictures of paintings in {wanted.folder.name}, found none.", file=sys.stderr)
        return 2
    by_hand = [None if drawn is None else drawn[path.name] for path in paths]
    try:
        with ProcessPoolExecutor(wanted.jobs, mp_context=get_context("spawn")) as pool:
            told = list(pool.map(one, map(str, paths), by_hand))
        if wanted.sheet:
            sheet(paths, wanted.sheet)
    except LimnerError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    empty = [hand == [] for hand in by_hand]
    report(
        [(path.name, row) for path, row, none in zip(paths, told, empty, strict=True) if not none],
        "the same face" if drawn is None else "the right face",
    )
    report_invented([(path.name, row) for path, row, none in zip(paths, told, empty, strict=True) if none])
    return 0


def report(rows: list[tuple[str, Told]], right: str) -> None:
    """A line for each way, a line for all, and one for each picture with a face missed."""
    if not rows:
        return
    widths = (15, len(right) + 2, 9, len(right) + 2)
    heads = ("one plain call", right, "limner", right)
    print(f"{f'{len(rows)} paintings':34}" + "".join(f"{head:>{w}}" for head, w in zip(heads, widths, strict=True)))
    sums = {name: [sum(row[name][k] for _, row in rows) for k in range(4)] for name in WAYS}
    sums[f"of {len(rows) * len(WAYS)}"] = [sum(line[k] for line in sums.values()) for k in range(4)]
    for name, line in sums.items():
        print(f"{name:34}" + "".join(f"{count:>{w}}" for count, w in zip(line, widths, strict=True)))
    for name, row in rows:
        missed = [way for way in WAYS if not row[way][3]]
        if missed:
            print(f"  {name}: not, or another face: {', '.join(missed)}")


def report_invented(rows: list[tuple[str, Told]]) -> None:
    """How often a face was found where there is none."""
    if not rows:
        return
    plain, limner = (sum(row[way][k] for _, row in rows for way in WAYS) for k in (0, 2))
    whole = len(rows) * len(WAYS)
    print(f"{len(rows)} pictures without a face: of {whole} one plain call invents one in {plain}, limner in {limner}")
    for name, row in rows:
        invented = [way for way in WAYS if row[way][2]]
        if invented:
            print(f"  {name}: invented: {', '.join(invented)}")


if __name__ == "__main__":
    sys.exit(main())
