"""Further photos of one painting, with the lamp moved: read, and laid over the first by what is painted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from limner.errors import UsageError
from limner.looking import Job, Progress, Seen, look
from limner.settings import Settings

if TYPE_CHECKING:
    from limner.face.mesh import Mesh
    from limner.values.lamps import LampPhoto

FAR = 0.03
"""Pupil distances that half of the points may lie from where one flat canvas puts them (our choice)."""
FEWEST = 0.6
"""Share of the points that must lie where one flat canvas puts them (our choice)."""


def lamp_photos(painted: Seen, settings: Settings, mesh: Callable[[], Mesh], step: Progress) -> tuple[LampPhoto, ...]:
    """Read the further photos of the painting and find where the first lies in each.

    Raises:
        UsageError: where one shows another painting, or the first has no face that was found.
        PictureError, FaceError: as for any picture.
    """
    if not settings.lamps or not settings.values:
        return ()
    if painted.points.found_by == "hand":
        raise UsageError(
            "--lamp: expected a painting whose face is found, to lay the photos on each other; its points were all "
            "placed by hand. Leave --lamp or --points-only out."
        )
    straight = replace(settings, corners=(), points_painting=None)
    return tuple(_laid(painted, path, straight, mesh, step) for path in settings.lamps)


def _laid(painted: Seen, path: object, settings: Settings, mesh: Callable[[], Mesh], step: Progress) -> LampPhoto:
    import cv2
    import numpy as np

    from limner.register import carry
    from limner.values.lamps import LampPhoto

    job = Job(str(path), "photo with the lamp moved", settings.face_painting, None, False, settings)
    seen = look(job, mesh, step)
    step("laying it on the first")
    carried = carry(painted.picture, painted.whole, seen.picture, seen.whole)
    first, there = painted.whole.mean, carried.points
    apart = float(np.linalg.norm(there[473] - there[468]))
    known = np.isfinite(np.column_stack([first, there])).all(axis=1)
    enough = carried.refused is None and known.sum() >= 8
    found: Any = cv2.findHomography(first[known], there[known], cv2.RANSAC, FAR * apart) if enough else (None, 0)
    if found[0] is None or float(np.mean(found[1])) < FEWEST:
        raise UsageError(
            f"--lamp: expected another photo of the same painting in the same state, and '{seen.picture.name}' does "
            "not lie on the first; leave it out, or take it again."
        )
    return LampPhoto(name=seen.picture.name, pixels=seen.picture.pixels, matrix=np.asarray(found[0], dtype=np.float64))
