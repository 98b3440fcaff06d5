"""From a picture to the points of the sitter's face: search, choose, read repeatedly."""

from __future__ import annotations

import numpy as np

from limner.face.choose import choose
from limner.face.crops import face_size
from limner.face.facepoints import FacePoints
from limner.face.mesh import Mesh
from limner.face.repeat import read_briefly, read_face
from limner.face.search import find_faces
from limner.notices import Notice
from limner.pictures.picture import Picture


def locate(
    picture: Picture, mesh: Mesh, which: int | None = None, label: str = "reference", *, briefly: bool = False
) -> FacePoints:
    """The points of the sitter's face in a picture.

    Args:
        picture: the picture.
        mesh: the landmarker.
        which: which face, counted from picture left, 1-based; ``None`` where there is only one, or one stands out.
        label: ``reference`` or ``painting``, for the sentences of errors.
        briefly: makes do with few looks, where they agree on a face found plainly.

    Raises:
        FaceError: no face, several without a choice, or one too small or too unclear.
        ModelError: the landmarker cannot be used.
    """
    face = choose(find_faces(picture.pixels, mesh), which, label, scale=picture.scale)
    brief = read_briefly(face, mesh) if briefly and face.found_by == "plain" else None
    if brief is not None:
        return brief
    return read_face(picture.pixels, face.mesh, mesh, found_by=face.found_by, tone=face.tone, patch=face.patch)


UNCLEAR = 0.07
"""Scatter of one reading, mean over the mesh, in face sizes, above which a face is said to be read unsurely.

Of 20 painted portraits eighteen lie between 0.01 and 0.04; a profile has 0.10 and a woodcut 0.15.
"""


def unclear(picture: Picture, points: FacePoints) -> Notice | None:
    """A notice where the readings of a face scatter so much that its points want checking by hand."""
    if len(points.runs) < 2:
        return None
    scatter = float(np.mean(points.spread)) / face_size(points.mean)
    if not scatter > UNCLEAR:
        return None
    text = (
        f"{picture.name}: the face is read differently each time, give or take {100 * scatter:.0f} % of the distance "
        "between the pupils (a profile, or a strong style?). Check its points by hand: limner points PICTURE"
    )
    return Notice(code="face_unclear", text=text)
