"""What a measure is, and the few builders its declarations are written with."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from limner.face.points import FEATURES, NAMED_POINTS
from limner.measure.geometry import distance, line_angle

Array = NDArray[np.float64]
Kind = Literal["length", "area", "gape", "position", "angle", "overlap", "gap"]
FrameName = Literal["eyes", "head"]
Formula = Callable[[Array], Array]
PairFormula = Callable[[Array, Array], Array]

SIDES = ("right", "left")
"""The sitter's own."""

UNITS: dict[Kind, str] = {
    "length": "percent",
    "area": "percent",
    "gape": "percent of pupil distance",
    "position": "percent of pupil distance",
    "angle": "degrees",
    "overlap": "percent",
    "gap": "percent",
}
"""Unit of the deviation. ``gape`` is a length that may be zero, so that no ratio can be taken."""


@dataclass(frozen=True)
class Limit:
    """What a viewer notices, and who says so."""

    value: float
    """In the unit of the deviation; for a ``gap`` in percent of the pupil distance."""
    source: str


@dataclass(frozen=True, kw_only=True)
class Subject:
    """What a measure is about."""

    feature: str
    """What would be repainted: an id of :data:`limner.face.points.FEATURES`, or ``eyes``, ``brows`` for a pair."""
    noun: str
    """What a sentence is about, without side or article."""
    level: int
    """0 for what everything depends on, then large shapes to small ones."""
    plural: str = ""
    """The noun for both sides together; empty where there is no other side."""
    needs: tuple[str, ...] = ()
    """Features whose points the formula takes; empty: the feature itself."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Measure:
    """One measure, declared once: the table, every output and the documents come from this."""

    id: str
    """Stable snake_case id; right and left are the sitter's."""
    name: str
    """Plain name."""
    family: str
    """What ``--only`` chooses by."""
    kind: Kind
    """How the deviation is formed; see :data:`UNITS`."""
    about: Subject
    formula: Formula | None
    """(..., 478, 2) array in the measure's frame -> (...) array; ``None`` for one that needs both faces."""
    statement: str
    """The formula in words and standard abbreviations."""
    own_points: tuple[int, ...]
    """Mesh points the formula takes."""
    limit: Limit
    grade: str
    """Row of the calibration that says how far such a measure can be trusted; where a table has none of the whole name,
    the row of what stands before the dot."""
    words: tuple[str, str]
    """What the subject is when the deviation is positive, and when it is negative."""
    frame: FrameName = "eyes"
    """``eyes``: eye line; its size follows what is held. ``head``: the head fit, whatever is held."""
    placed: bool = True
    """Whether the value hangs on where the eye line lies, as a plain length does not."""
    pair: PairFormula | None = None
    """(..., 478, 2) array of the reference and of the painting, both in the frame -> (...) array."""
    outline: tuple[int, ...] = ()
    """Outline of a shape measure."""

    @property
    def unit(self) -> str:
        """Unit of the deviation."""
        return UNITS[self.kind]

    @property
    def feature(self) -> str:
        """What would be repainted."""
        return self.about.feature

    @cached_property
    def points(self) -> tuple[int, ...]:
        """Every mesh point it needs, those of its frame included."""
        frame = PUPILS if self.placed and self.frame == "eyes" else ()
        return tuple(dict.fromkeys((*self.own_points, *frame)))

    @cached_property
    def features(self) -> tuple[str, ...]:
        """Every feature whose points it needs, those of its frame included."""
        frame = PUPIL_FEATURES if self.placed and self.frame == "eyes" else ()
        return tuple(dict.fromkeys((*(self.about.needs or (self.feature,)), *frame)))

    @property
    def side(self) -> str:
        """``right`` or ``left``, the sitter's, or empty."""
        return next((side for side in SIDES if self.about.plural and side in self.id.split("_")), "")

    @property
    def story(self) -> tuple[str, str]:
        """Feature without its side, and what is wrong with it: measures with the same story say the same thing."""
        part = self.feature.removesuffix("_left").removesuffix("_right")
        if self.family in ("shape", "negative", "alignment") or self.kind in ("overlap", "gap"):
            return part, "alignment" if self.family == "alignment" else "shape"
        if self.kind == "angle":
            return part, "tilt"
        return part, self.words[0]


def at(*keys: str) -> tuple[int, ...]:
    """Mesh indices of named points, joined."""
    return tuple(index for key in keys for index in NAMED_POINTS[key].indices)


def ring(feature: str) -> tuple[int, ...]:
    """Mesh indices of a feature's outline."""
    return FEATURES[feature].indices


def sided(name: str, side: str) -> str:
    """The plain name with the side in words."""
    return f"{name}, sitter's {side}"


def length(a: Iterable[int], b: Iterable[int]) -> Formula:
    """Formula: distance between two points, each the mean of some mesh points."""
    ends = tuple(a), tuple(b)
    return lambda points: distance(points, *ends)


def slope(a: Iterable[int], b: Iterable[int], upright: float = 0.0) -> Formula:
    """Formula: angle of the line from ``a`` to ``b`` less the angle it is measured from, degrees."""
    ends = tuple(a), tuple(b)
    return lambda points: line_angle(points, *ends) - upright


PUPILS = at("p_right", "p_left")
EYES = ("eye_right", "eye_left")
PUPIL_FEATURES = ("iris_right", "iris_left")
EYE_LINE_NOTE = "in the eye-line frame (origin half way between the pupils, x along them to picture right, y down)"
