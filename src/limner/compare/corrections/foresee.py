"""What the measures that are off would read after a step, without auditing again."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np
from numpy.typing import NDArray

from limner.compare.calibration import WIDE
from limner.compare.deviation import Pair, frame_up, read
from limner.measure.catalogue import CATALOGUE
from limner.measure.declare import PUPILS
from limner.measure.frames import fit_head
from limner.measure.similarity import NoFit, Similarity
from limner.result import AuditResult, MeasureResult

Array = NDArray[np.float64]


class Foresight:
    """Reads measures on moved points; only those that a step touches, the fit of the head once a step."""

    def __init__(self, result: AuditResult, off: tuple[MeasureResult, ...]) -> None:
        """Read the measures that are off on the points as they are painted."""
        self._off = {m.id: m for m in off}
        self._reference = result.reference_points[None]
        self._hold = result.scale.hold
        self._on_head = self._hold == "head" or any(CATALOGUE[id_].frame == "head" for id_ in self._off)
        self._head: Similarity | NoFit = NoFit("not asked for")
        self._fit(result.painting_points)
        now = self._read(result.painting_points, self._off)
        self._first = {m.id: (m.deviation or 0.0) - now.get(m.id, 0.0) for m in off}
        self.start: Mapping[str, float] = {m.id: m.deviation or 0.0 for m in off}

    def after(self, painted: Array, moved: Collection[int], before: Mapping[str, float]) -> dict[str, float]:
        """Deviations once the points of some rows have moved; ``before`` holds them as they were."""
        everything = bool(set(PUPILS) & set(moved))
        touched = [id_ for id_ in self._off if everything or set(CATALOGUE[id_].points) & set(moved)]
        now = self._read(painted, touched)
        return {**before, **{id_: self._first[id_] + now.get(id_, 0.0) for id_ in touched}}

    def settled(self, painted: Array, now: Mapping[str, float]) -> dict[str, float]:
        """The same once a step is done: the head is fitted anew, and what hangs on it is read again."""
        if not self._on_head:
            return dict(now)
        self._fit(painted)
        hanging = [id_ for id_ in self._off if self._hold == "head" or CATALOGUE[id_].frame == "head"]
        found = self._read(painted, hanging)
        return {**now, **{id_: self._first[id_] + found.get(id_, 0.0) for id_ in hanging}}

    def is_off(self, id_: str, deviation: float) -> bool:
        """Whether a measure would be called off."""
        measure = self._off[id_]
        return abs(deviation) > max(measure.threshold or 0.0, WIDE * (measure.sigma or 0.0))

    def off(self, now: Mapping[str, float]) -> tuple[str, ...]:
        """Ids of what would be off."""
        return tuple(id_ for id_ in self._off if self.is_off(id_, now[id_]))

    def _fit(self, painted: Array) -> None:
        if self._on_head:
            self._head = fit_head(self._reference, painted[None])

    def _read(self, painted: Array, ids: Collection[str]) -> dict[str, float]:
        framed = frame_up(Pair(reference=self._reference, painting=painted[None]), self._hold, head=self._head)
        if isinstance(framed, NoFit):
            return {}
        found = {id_: read(CATALOGUE[id_], framed) for id_ in ids}
        return {id_: reading.deviation for id_, reading in found.items() if not isinstance(reading, NoFit)}
