"""What the detector finds, as a points file holds it: the start for placing points by hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from limner.face.byhand import HandPoint, HandPoints, points_for
from limner.face.facepoints import FacePoints
from limner.face.points import MESH_POINTS
from limner.pictures.picture import Picture

LEAST = 0.05
"""px of the stored picture: no reading is said to be surer than that."""


def as_points(face: FacePoints, picture: Picture) -> HandPoints:
    """The named points of a detected face, marked as found, px of the stored picture.

    What lies outside the picture is left out: a head cut by the frame has points nobody sees.
    """
    width, height = picture.full_size
    points = {}
    for point in MESH_POINTS:
        runs = face.runs[:, list(point.indices)].mean(axis=1)
        x, y = (runs.mean(axis=0) / picture.scale).tolist()
        if not (0 <= x <= width and 0 <= y <= height):
            continue
        spread = runs.std(axis=0, ddof=1) if len(runs) > 1 else np.zeros(2)
        sigma = max(LEAST, float(np.sqrt((spread**2).mean())) / picture.scale)
        points[point.key] = HandPoint(x=round(x, 2), y=round(y, 2), sigma=round(sigma, 3), source="found")
    return HandPoints(width=width, height=height, sha256=points_for(picture).sha256, points=points)


def found_points(picture: Picture, wanted: int | None, model: Path | None) -> HandPoints:
    """What the detector finds in a picture, as :func:`as_points` gives it.

    Args:
        picture: the picture as decoded.
        wanted: which face, counted from picture left, 1-based; ``None`` leaves the choice to the size.
        model: the painter's own bundle.

    Raises:
        FaceError: no face, or several without a choice.
        ModelError: no usable detector.
    """
    from limner.face.bundle import ensure_model
    from limner.face.locate import locate
    from limner.face.mesh import open_mesh

    return as_points(locate(picture, open_mesh(ensure_model(model)), wanted, label="picture"), picture)
