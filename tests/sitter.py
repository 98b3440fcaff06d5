"""A made-up sitter for the tests of sheets and studies: scattered points, a picture half light and half dark."""

from __future__ import annotations

import numpy as np

from limner.face.facepoints import POINT_COUNT, FacePoints
from limner.face.placeable import ALL_COUNT, BEYOND
from limner.pictures.picture import Picture
from limner.sheet.reading import Sitter


def sitter(width: int = 600, height: int = 500) -> Sitter:
    """A picture, dark on its right half, with a face in it whose pupils are 100 px apart."""
    pixels = np.full((height, width, 3), 200, dtype=np.uint8)
    pixels[:, width // 2 :] = 40
    points = np.random.default_rng(3).uniform((200, 120), (400, 380), size=(POINT_COUNT, 2))
    points[468], points[473] = (250.0, 200.0), (350.0, 200.0)
    more = np.full((ALL_COUNT - POINT_COUNT, 2), np.nan)
    for hour, place in {10: (190, 150), 12: (300, 60), 2: (410, 150), 9: (180, 220), 3: (420, 220)}.items():
        more[BEYOND[f"ho_{hour}"] - POINT_COUNT] = place
    more[BEYOND["v"] - POINT_COUNT] = (300, 60)
    more[BEYOND["tr"] - POINT_COUNT] = (300, 110)
    face = FacePoints(
        mean=points, runs=points[None], depth=np.zeros(POINT_COUNT), box=(200, 120, 400, 380), found_by="plain"
    )
    picture = Picture(pixels=pixels, name="sitter.jpg", digest=None, full_size=(width, height))
    return Sitter(picture=picture, points=face, more=more, notices=())
