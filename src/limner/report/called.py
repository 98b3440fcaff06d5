"""What the table calls off, point by point: an arrow says no more than a measure that rests on its point."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from limner.compare.calibration import WIDE
from limner.face.points import NAMED_POINTS
from limner.measure.catalogue import CATALOGUE
from limner.measure.declare import Measure
from limner.result import MeasureResult

_PLAIN = ("length", "position", "angle")
"""Kinds that hang on a few points; areas and outlines hang on many, and do not tell which of them is off."""
_OUTLINE = ("face", "jaw")
"""Features on the outline, whose places no measure tells: a width between two of their points does."""


@dataclass(frozen=True)
class Called:
    """The measures of one result, asked point by point."""

    measures: Sequence[MeasureResult]

    def off(self, key: str) -> bool:
        """Whether a measure that rests on a named point is off or slightly off; also where the table has none on it."""
        calls = {m.call for m, _ in self._on(key)} - {"not measured"}
        return not calls or bool(calls & {"off", "slight"})

    def doubt_of_end(self, key: str) -> float:
        """Half width of the 95 % interval of a point of the outline, pupil distances: half that of the width it ends.

        0 for every other point, and where the table has no such width.
        """
        found = (
            WIDE * m.sigma / 100 * m.reference.value / 2
            for m, declared in self._on(key)
            if m.feature in _OUTLINE and declared.kind == "length" and m.family == "width"
            if m.sigma is not None and m.reference.value is not None
        )
        return max(found, default=0.0)

    def _on(self, key: str) -> list[tuple[MeasureResult, Measure]]:
        """The measures that rest on a named point, with how they are declared."""
        rows = set(NAMED_POINTS[key].indices)
        known = [(m, declared) for m in self.measures if (declared := CATALOGUE.get(m.id)) is not None]
        return [(m, declared) for m, declared in known if declared.kind in _PLAIN and rows & set(declared.own_points)]
