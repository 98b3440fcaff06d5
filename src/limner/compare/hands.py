"""What points placed by hand add to a comparison: rows past the mesh's own, and which points are whose."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from limner.face.facepoints import POINT_COUNT, FacePoints
from limner.face.handmerge import scatter
from limner.face.placeable import ALL_COUNT, BEYOND, PLACEABLE, rows_of
from limner.measure.declare import Measure
from limner.register.carried import Carried

Array = NDArray[np.float64]
Share = Literal["none", "some", "all"]


@dataclass(frozen=True, kw_only=True)
class Hands:
    """Which points were placed by hand; rows of an array of all placeable points."""

    reference: frozenset[int] = frozenset()
    painting: frozenset[int] = frozenset()
    alone: bool = False
    """Whether both faces are by hand alone, so that nothing at all is the detector's."""
    as_one: frozenset[frozenset[int]] = frozenset()
    """Rows that a single mark stands for, in a face without a detection: nothing can be measured between them."""

    def share(self, rows: Iterable[int]) -> Share:
        """How much of these points is by hand: any of the painting's is some, all of both pictures' is all."""
        wanted = frozenset(rows)
        if not wanted & self.painting:
            return "none"
        return "all" if wanted <= self.painting & self.reference else "some"

    def rest(self, rows: Iterable[int]) -> Literal["none", "neither", "one"]:
        """What of these points is not by hand in both pictures: nothing, some in neither, some in one of them only.

        A detector's error on the reference cancels where the pixels carry it over, but not against a hand's mark.
        """
        wanted = frozenset(rows)
        if wanted & (self.painting ^ self.reference):
            return "one"
        return "neither" if wanted - self.painting else "none"

    def is_one_mark(self, measure: Measure) -> bool:
        """Whether the measure would be taken between points that are one mark."""
        return any(frozenset(measure.own_points) <= mark for mark in self.as_one)

    def hides(self, key: str) -> bool:
        """Whether a point is there only because one mark stands for it and another."""
        return len(rows_of(key)) == 1 and any(frozenset(rows_of(key)) < mark for mark in self.as_one)

    def touches(self, measure: Measure) -> bool:
        """Whether a point the mesh does not have was placed for this measure, in either picture."""
        beyond = {row for row in measure.own_points if row >= POINT_COUNT}
        return bool(beyond & (self.reference | self.painting))


def hands_of(reference: FacePoints, painting: FacePoints) -> Hands:
    """Whose points are whose."""
    lone = [face.hand for face in (reference, painting) if face.found_by == "hand"]
    marks = {
        frozenset(PLACEABLE[key].indices)
        for hand in lone
        for key in hand
        if len(PLACEABLE[key].indices) > 1 and not _set_apart(key, hand)
    }
    return Hands(
        reference=_rows(reference),
        painting=_rows(painting),
        alone=len(lone) == 2,
        as_one=frozenset(marks),
    )


def _rows(face: FacePoints) -> frozenset[int]:
    placed = frozenset(row for key in face.hand for row in rows_of(key))
    if face.found_by != "hand":
        return placed
    return placed | frozenset(np.flatnonzero(np.isfinite(face.mean).all(axis=1)).tolist())


def _set_apart(key: str, hand: Iterable[str]) -> bool:
    """Whether each of the mesh points a named point stands for was placed for itself."""
    single = {PLACEABLE[other].indices for other in hand if len(PLACEABLE[other].indices) == 1}
    return all((index,) in single for index in PLACEABLE[key].indices)


def with_rows(face: FacePoints) -> FacePoints:
    """The face with rows for the points the mesh does not have: by hand where placed, NaN elsewhere.

    ``mean`` becomes an array of (:data:`ALL_COUNT`, 2), ``runs`` of (K, :data:`ALL_COUNT`, 2).
    """
    if len(face.mean) != POINT_COUNT:
        return face
    more = np.full((len(face.runs), len(BEYOND), 2), np.nan)
    for key, row in BEYOND.items():
        if key in face.hand:
            x, y, sigma = face.hand[key]
            more[:, row - POINT_COUNT] = np.array([x, y]) + sigma * scatter(f"{key}/{x:.3f}/{y:.3f}", len(face.runs))
    mean = np.array([face.hand[key][:2] if key in face.hand else (np.nan, np.nan) for key in BEYOND])
    return replace(
        face, mean=np.concatenate([face.mean, mean]), runs=np.concatenate([face.runs, more], axis=1)
    )  # fmt: skip


def with_head(face: FacePoints, places: Array, runs: Array, by_hand: frozenset[int]) -> FacePoints:
    """The face with the big shape in its rows past the mesh's, but for those placed by hand.

    Args:
        face: with rows for the points the mesh does not have.
        places: (B, 2) array, px; NaN where there is no number.
        runs: (K, B, 2) array, px.
        by_hand: rows that stay as they are.
    """
    mean, readings = face.mean.copy(), face.runs.copy()
    order = np.arange(len(readings)) % len(runs)
    for k in range(len(places)):
        if POINT_COUNT + k not in by_hand:
            mean[POINT_COUNT + k] = places[k]
            readings[:, POINT_COUNT + k] = runs[order, k]
    return replace(face, mean=mean, runs=readings)


def carried_with_rows(carried: Carried) -> Carried:
    """The same for points carried along the correspondence, which knows nothing past the mesh."""
    if len(carried.points) != POINT_COUNT:
        return carried
    none = np.full((ALL_COUNT - POINT_COUNT, 2), np.nan)
    runs = [np.concatenate([run, none]) for run in carried.runs]
    return replace(
        carried,
        points=np.concatenate([carried.points, none]),
        runs=np.array(runs).reshape(len(runs), ALL_COUNT, 2),
    )
