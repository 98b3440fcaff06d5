"""The least any audit has to do: load the libraries, decode both pictures at half scale, one detection each.

With ``--flow`` also one dense flow between the two faces, the least that reading the paint itself has to do.
"""

from __future__ import annotations

import sys

import cv2
import numpy as np
import shapely  # noqa: F401 - part of the floor
from PIL import Image

from limner.face.bundle import ensure_model
from limner.face.mesh import Mesh


def main() -> int:
    """Return how many faces were not found."""
    mesh = Mesh(ensure_model())
    faces = []
    paths = [arg for arg in sys.argv[1:] if arg != "--flow"]
    for path in paths:
        with Image.open(path) as picture:
            picture.draft("RGB", (picture.width // 2, picture.height // 2))
            pixels = np.asarray(picture.convert("RGB"))
        faces += [crop(pixels, points) for points in mesh.detect(pixels)]
    if "--flow" in sys.argv and len(faces) == len(paths):
        first, second = faces[0], cv2.resize(faces[1], faces[0].shape[::-1], interpolation=cv2.INTER_AREA)
        nowhere = np.zeros((*first.shape, 2), np.float32)
        cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM).calc(first, second, nowhere)
    return len(paths) - len(faces)


def crop(pixels: np.ndarray, points: np.ndarray) -> np.ndarray:
    """The face alone, grey."""
    (left, top), (right, bottom) = points[:, :2].min(axis=0).astype(int), points[:, :2].max(axis=0).astype(int)
    return cv2.cvtColor(pixels[max(top, 0) : bottom, max(left, 0) : right], cv2.COLOR_RGB2GRAY)


if __name__ == "__main__":
    sys.exit(main())
