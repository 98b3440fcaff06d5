"""The sitter's points where a points file is given: what is detected and what is placed by hand, brought together."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from limner.errors import FaceError, ModelError
from limner.face.byhand import HandPoints, check_belongs
from limner.face.facepoints import FacePoints
from limner.face.handmerge import join_by_hand
from limner.face.placeable import PLACEABLE
from limner.notices import Notice
from limner.pictures.picture import Picture

ELSEWHERE = 0.5
"""Share of the detected pupil distance. Marks that lie farther than this from where the detector has those points, in
the middle of three or more, are of another face than the one detected (our choice, no source; the detector's own pull
is a few percent)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Handed:
    """A face with its points by hand."""

    points: FacePoints
    whole: FacePoints
    """The same with what is said not to be seen as detected, for where every point is needed to find others."""
    notices: tuple[Notice, ...] = ()


def with_hand(
    picture: Picture, placed: HandPoints, detect: Callable[[], FacePoints] | None, *, insist: bool = False
) -> Handed:
    """The face's points: what is detected, with those placed by hand in it; the hand's alone where that is all.

    Args:
        picture: the picture they were placed on.
        placed: the points file.
        detect: finds the face; ``None`` where nothing is to be detected.
        insist: whether a face that is not there is an error, because the painter chose it.

    Raises:
        UsageError: if the points are another picture's.
        FaceError: if nothing is detected and too few points are placed, or a chosen face is not there.
        ModelError: if a chosen face cannot be looked for.
    """
    check_belongs(placed, picture)
    found: FacePoints | None = None
    notices: tuple[Notice, ...] = ()
    try:
        found = None if detect is None else detect()
    except (FaceError, ModelError) as error:
        if insist:
            raise
        why = "the face finder could not be used" if isinstance(error, ModelError) else "no face was found"
        notices = (_notice(picture, "points_alone", f"{why}, so the points placed by hand stand alone."),)
    if found is not None and is_elsewhere(found, placed, picture):
        found = None
        text = "the face that was found lies elsewhere than the points placed by hand, so these stand alone."
        notices = (_notice(picture, "points_alone", text),)
    joined = join_by_hand(found, placed, picture)
    return Handed(points=joined, whole=_without_gaps(joined, found), notices=notices)


def is_elsewhere(found: FacePoints, placed: HandPoints, picture: Picture) -> bool:
    """Whether three or more points placed by hand lie, in their middle, far from where the detector has them."""
    apart = []
    for key, mark in placed.by_hand.items():
        indices = list(PLACEABLE[key].indices)
        if indices:
            at = np.array([mark.x, mark.y]) * picture.scale
            apart.append(float(np.linalg.norm(found.mean[indices].mean(axis=0) - at)))
    return len(apart) >= 3 and float(np.median(apart)) > ELSEWHERE * found.pupil_distance


def _without_gaps(joined: FacePoints, found: FacePoints | None) -> FacePoints:
    if found is None:
        return joined
    gaps = ~np.isfinite(joined.mean)
    runs = joined.runs.copy()
    runs[:, gaps] = found.mean[gaps]
    return replace(joined, mean=np.where(gaps, found.mean, joined.mean), runs=runs)


def _notice(picture: Picture, code: str, text: str) -> Notice:
    return Notice(code=code, text=f"{picture.name}: {text}")
