"""Every ratio on one face, as a result tells it."""

from __future__ import annotations

from limner.compare.canons.table import RATIOS
from limner.compare.canons.taking import face_of, take
from limner.face.facepoints import FacePoints
from limner.face.placeable import rows_of
from limner.measure.geometry import distance
from limner.notices import Notice
from limner.result import CanonFinding, Pose

OPEN = 0.05
"""Mouth opening in distances between the pupils from which the mouth is said not to be at rest (limner's choice)."""


def findings_on(points: FacePoints, pose: Pose | None) -> tuple[CanonFinding, ...]:
    """Every ratio of every canon on one face, in their order; without a value where one cannot be taken.

    Args:
        points: the face, found or by hand.
        pose: how the head is turned; ``None`` where that cannot be told.
    """
    face = face_of(points, pose)
    return tuple(
        CanonFinding(id=ratio.id, canon_id=canon.id, value=taken.value, witness=taken.witness, reason=taken.reason)
        for canon, ratio in RATIOS.values()
        for taken in (take(ratio, face),)
    )


def notices_on(points: FacePoints) -> tuple[Notice, ...]:
    """What of the face makes its ratios other than those of a face at rest, which canons and surveys speak of."""
    face = face_of(points, None).points[0]
    opening = float(distance(face, rows_of("stu"), rows_of("stl")))
    if not opening > OPEN:
        return ()
    text = (
        "The mouth is open. Canons and surveys speak of a face at rest: a smile widens mouth and nose, and an open "
        "mouth lengthens the lower face."
    )
    return (Notice(code="mouth_open", text=text),)
