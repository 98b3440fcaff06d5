"""The reference alone: its picture, the face in it, and the big shape round the face."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from limner.face.facepoints import POINT_COUNT
from limner.face.placeable import ALL_COUNT, BEYOND
from limner.notices import Notice

if TYPE_CHECKING:
    from limner.face.facepoints import FacePoints
    from limner.face.mesh import Mesh
    from limner.pictures.picture import Picture

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Sitter:
    """The reference as read."""

    picture: Picture
    points: FacePoints
    more: Array
    """(B, 2) array, px of the decoded reference, in the order of :data:`limner.face.placeable.BEYOND`: the head's
    outline with its hair, the hairline and what a hand has placed; NaN where it is not known."""
    notices: tuple[Notice, ...]

    @property
    def every(self) -> Array:
        """(478 + B, 2) array, px: all points."""
        return np.vstack([self.points.mean, self.more])


def read_sitter(
    reference: str | Path | NDArray[np.uint8],
    *,
    points: Path | None = None,
    points_only: bool = False,
    face: int | None = None,
    model: Path | None = None,
    progress: Callable[[str], None] = lambda _step: None,
) -> Sitter:
    """Read the reference and find the sitter's face, or take the points placed by hand.

    Raises UsageError for points that are another picture's, PictureError, FaceError and ModelError.
    """
    from limner.face.bundle import ensure_model
    from limner.face.locate import locate, unclear
    from limner.face.mesh import open_mesh
    from limner.face.pointsfile import read_points
    from limner.face.withhand import with_hand
    from limner.pictures.load import load_picture

    progress("reading the reference")
    picture = load_picture(reference, label="reference")
    placed = None if points is None else read_points(points)

    def mesh() -> Mesh:
        return open_mesh(ensure_model(model))

    def detect() -> FacePoints:
        return locate(picture, mesh(), face, "reference")

    progress("finding the face in the reference")
    notices = list(picture.notices)
    if placed is None:
        found = whole = detect()
    else:
        handed = with_hand(picture, placed, None if points_only else detect, insist=face is not None)
        found, whole = handed.points, handed.whole
        notices = [*handed.notices, *notices]
    notice = unclear(picture, found)
    progress("finding the head's outline")
    return Sitter(
        picture=picture,
        points=found,
        more=_beyond(picture, found, whole),
        notices=(*([notice] if notice else []), *notices),
    )


def _beyond(picture: Picture, found: FacePoints, whole: FacePoints) -> Array:
    """What the mesh does not have: as the picture shows it, and over that as a hand has placed it."""
    more = np.full((ALL_COUNT - POINT_COUNT, 2), np.nan)
    if np.isfinite(whole.mean).all():
        from limner.register import carry_head

        more = carry_head(picture, whole, picture, whole, marks=found.hand).reference.copy()
    for key, (x, y, _) in found.hand.items():
        if key in BEYOND:
            more[BEYOND[key] - POINT_COUNT] = (x, y)
    return more
