"""The least any audit has to do: load the libraries, decode both pictures at half scale, one detection each."""

from __future__ import annotations

import sys

import cv2  # noqa: F401 - part of the floor
import numpy as np
import shapely  # noqa: F401 - part of the floor
from PIL import Image

from limner.face.bundle import ensure_model
from limner.face.mesh import Mesh


def main() -> int:
    """Return how many faces were not found."""
    mesh = Mesh(ensure_model())
    missed = 0
    for path in sys.argv[1:]:
        with Image.open(path) as picture:
            picture.draft("RGB", (picture.width // 2, picture.height // 2))
            missed += not mesh.detect(np.asarray(picture.convert("RGB")))
    return missed


if __name__ == "__main__":
    sys.exit(main())
