"""One part of the face held: what will not be repainted stays where it is, and everything is measured round it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from limner.compare.parts import PARTS, WIDE_PARTS, rows_in
from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT
from limner.measure.similarity import NoFit, Similarity, fit_similarity
from limner.settings import Hold

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_CONTOUR = ("chin", "jaw", "face")


def is_part(hold: Hold) -> bool:
    """Whether one part is held, not the pupils' distance or the whole head."""
    return hold in PARTS and hold != "eyes"


def sized_by_pupils(hold: Hold) -> bool:
    """Whether the pupils' distance gives the size."""
    return hold != "head" and (hold == "eyes" or hold not in WIDE_PARTS)


def fit_part(reference: Array, painting: Array, hold: Hold, head: Similarity | NoFit) -> Similarity | NoFit:
    """The similarity that lays the reference's part on the painted one.

    A part that spans a pupil distance (:data:`limner.compare.parts.WIDE_PARTS`) gives turn, size and place by least
    squares on its own points. Any other gives the place of its middle; turn and size come from the pupils, or from
    ``head`` where one is not there.

    Args:
        reference: (..., 478 or more, 2) array, px.
        painting: the same of the painting.
        hold: the part.
        head: the fit of the whole head.
    """
    rows = [row for row in rows_in(hold) if np.isfinite(reference[..., row, :]).all()]
    rows = [row for row in rows if np.isfinite(painting[..., row, :]).all()]
    if len(rows) < 2:
        return NoFit("the part that is to be held is not there")
    if hold in WIDE_PARTS:
        return fit_similarity(reference[..., rows, :], painting[..., rows, :])
    pupils = [PUPIL_RIGHT, PUPIL_LEFT]
    turned: Similarity | NoFit = head
    if np.isfinite(reference[..., pupils, :]).all() and np.isfinite(painting[..., pupils, :]).all():
        turned = fit_similarity(reference[..., pupils, :], painting[..., pupils, :])
    return moved_to(turned, reference, painting, hold)


def moved_to(turned: Similarity | NoFit, reference: Array, painting: Array, hold: Hold) -> Similarity | NoFit:
    """The same turn and size, with the middle of the part in its place."""
    if isinstance(turned, NoFit):
        return turned
    rows = list(rows_in(hold))
    here, there = (np.nanmean(points[..., rows, :], axis=-2) for points in (reference, painting))
    source, target = here[..., 0] + 1j * here[..., 1], there[..., 0] + 1j * there[..., 1]
    return Similarity(factor=turned.factor, shift=np.asarray(target - turned.factor * source))


def owed_to(hold: Hold, unit: str, place: float, reference: Array, pupils: float) -> float:
    """What a measure owes to the part it is measured from, one sigma in its own unit.

    Args:
        hold: the part.
        unit: the measure's unit.
        place: one-sigma error of the part's place, percent of the pupil distance.
        reference: (478 or more, 2) array, px: the sitter's points.
        pupils: px between the sitter's pupils.
    """
    if unit == "percent of pupil distance":
        return place
    if hold not in WIDE_PARTS:
        return 0.0
    rows = list(rows_in(hold))
    off = reference[rows] - np.nanmean(reference[rows], axis=0)
    span = 2 * float(np.sqrt(np.nanmean((off**2).sum(axis=1)))) / pupils
    return place / span if unit == "percent" else math.degrees(place / 100 / span)


def place_measure(hold: Hold) -> str:
    """The measure whose calibrated error stands for the part's place."""
    return "chin_y" if hold in _CONTOUR else "mouth_x"
