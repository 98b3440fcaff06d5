"""From a picture to the points of the sitter's face: search, choose, read repeatedly."""

from __future__ import annotations

from limner.face.choose import choose
from limner.face.facepoints import FacePoints
from limner.face.mesh import Mesh
from limner.face.repeat import read_face
from limner.face.search import find_faces
from limner.pictures.picture import Picture


def locate(picture: Picture, mesh: Mesh, which: int | None = None, label: str = "reference") -> FacePoints:
    """The points of the sitter's face in a picture.

    Args:
        picture: the picture.
        mesh: the landmarker.
        which: which face, counted from picture left, 1-based; ``None`` where there is only one, or one stands out.
        label: ``reference`` or ``painting``, for the sentences of errors.

    Raises:
        FaceError: no face, several without a choice, or one too small or too unclear.
        ModelError: the landmarker cannot be used.
    """
    face = choose(find_faces(picture.pixels, mesh), which, label, scale=picture.scale)
    return read_face(picture.pixels, face.mesh, mesh, found_by=face.found_by, tone=face.tone)
