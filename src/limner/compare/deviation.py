"""Deviations: both faces brought to one size, every measure taken on both, with the scatter of repeated readings.

A length reads Lr in the reference and Lp in the painting, in each picture's own px. With s the painting's size against
the reference's, ``deviation = 100 * ((Lp / s) / Lr - 1)`` percent: 5.0 means painted five percent longer.

Holding the eyes, s is the ratio of the two pupil distances. Holding the head, s comes from the robust similarity fit of
the whole face. Holding one part, the painting is laid on the reference by that part (:mod:`limner.compare.holding`),
and everything is measured from there. Positions deviate in percent of the reference's pupil distance, angles in
degrees.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from limner.compare.holding import fit_part, is_part, moved_to, sized_by_pupils
from limner.compare.parts import PARTS
from limner.face.placeable import PLACEABLE, rows_of
from limner.face.points import MESH_POINTS
from limner.measure.declare import FrameName, Measure
from limner.measure.frames import Frame, eye_line_frame, fit_head, head_frame
from limner.measure.geometry import distance, greatest_extent, wrap
from limner.measure.similarity import NoFit, Similarity
from limner.settings import Hold

Array = NDArray[np.float64]
Normaliser = Literal["pupils", "n-gn"]

NORMALISERS: Mapping[Normaliser, tuple[str, str]] = {"pupils": ("p_right", "p_left"), "n-gn": ("n", "gn")}
"""The length everything is divided by: between the pupils, or where an eye is not seen, root of the nose to chin."""

_NAMED = {point.key: point.indices for point in MESH_POINTS}


@dataclass(frozen=True, kw_only=True, eq=False)
class Pair:
    """Both faces, as one witness gives them: the mean reading first, then repeated readings that belong together."""

    reference: Array
    """(1 + K, 478, 2) array, px of the decoded reference."""
    painting: Array
    """(1 + K, 478, 2) array, px of the decoded painting."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Scales:
    """Painting px per reference px, for the mean and each repeated reading; (1 + K,) arrays."""

    hold: Hold
    """What is in fact held; ``head`` where the eyes cannot be, ``eyes`` where a part cannot."""
    held: Array
    eyes: Array | None
    """``None`` where the normalising length is missing in one of the two."""
    head: Similarity | NoFit
    """Brings the reference onto the painting."""
    part: Similarity | None = None
    """The same by the one part that is held; ``None`` where none is."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Framed:
    """Both faces in each frame, in units of the normalising length of the reference."""

    pair: Pair
    scales: Scales
    normaliser: Normaliser
    frames: Mapping[FrameName, tuple[Array, Array] | NoFit]
    """Reference and painting, (1 + K, 478, 2) arrays each."""
    eye_line: bool
    """Whether the frame ``eyes`` really lies along the pupils; if not, only lengths and areas may be taken in it."""
    known: Array
    """(2, 478) array: 1 where a point is there in every reading, of the reference and of the painting, else 0."""
    unsized: str = ""
    """Why the sizes are not to be believed, because too little is painted; empty where they are."""

    @property
    def sized(self) -> bool:
        """Whether the two faces were brought to one size by something that is on the canvas."""
        return not self.unsized


@dataclass(frozen=True, kw_only=True)
class Reading:
    """What one measure reads on both faces."""

    reference: float
    painting: float
    deviation: float
    spread: float
    """Standard deviation of the deviation over the repeated readings, 0 where there is but one."""
    spread_reference: float
    """The same of the reference's value, in that value's unit."""
    size: float | None
    """Length it refers to, in the frame's unit; ``None`` for a position."""


def pair_up(reference: Array, reference_runs: Array, painting: Array, painting_runs: Array) -> Pair:
    """Puts the means first and brings both to the same number of repeated readings, the shorter one over again."""
    count = max(len(reference_runs), len(painting_runs))
    order = np.arange(count)
    return Pair(
        reference=np.concatenate([reference[None], reference_runs[order % len(reference_runs)]]),
        painting=np.concatenate([painting[None], painting_runs[order % len(painting_runs)]]),
    )


def frame_up(
    pair: Pair,
    hold: Hold,
    *,
    normaliser: Normaliser = "pupils",
    without: frozenset[str] = frozenset(),
    pupils: bool = True,
    head: Similarity | NoFit | None = None,
) -> Framed | NoFit:
    """Both faces in both frames, brought to one size.

    Args:
        pair: the points.
        hold: what stays put.
        normaliser: the length everything is divided by.
        without: features the head fit leaves out, because they are not painted yet.
        pupils: whether both pupils are painted; if not, the head is held.
        head: the fit of the head where it is known already, or not needed; ``None`` makes it.

    Returns:
        The framed faces, or a :class:`NoFit` with the reason why the two cannot be brought to one size.
    """
    first, second = (_NAMED[key] for key in NORMALISERS[normaliser])
    unit, painted = (np.asarray(distance(points, first, second)) for points in (pair.reference, pair.painting))
    if not (np.isfinite(unit).all() and (unit > 0).all()):
        return NoFit(f"the reference gives no size: {_ends(normaliser)} missing, or both in one place")
    eyes = painted / unit if np.isfinite(painted).all() and (painted > 0).all() else None
    head = fit_head(pair.reference, pair.painting, without) if head is None else head
    part: Similarity | NoFit | None = None
    if is_part(hold):
        there = (pupils or not sized_by_pupils(hold)) and not without & set(PARTS[hold])
        part = fit_part(pair.reference, pair.painting, hold, head) if there else NoFit("it is not painted yet")
        hold = hold if isinstance(part, Similarity) else "eyes"
    unsized = ""
    if isinstance(part, Similarity):
        held = part.scale
    elif hold == "eyes" and eyes is not None and pupils:
        held = eyes
    elif isinstance(head, Similarity):
        hold, held = "head", head.scale
    elif eyes is not None:
        hold, held = "eyes", eyes
        unsized = "" if pupils else f"too little is painted to bring the two faces to one size ({head.reason})"
    else:
        return NoFit(f"the painting gives no size: {_ends(normaliser)} missing, and {head.reason}")
    part = part if isinstance(part, Similarity) else None
    scales = Scales(hold=hold, held=held, eyes=eyes, head=head, part=part)
    eye_line = _in_eye_line(pair, unit, held) if part is None else _round_part(pair, unit, part)
    frames: dict[FrameName, tuple[Array, Array] | NoFit] = {"head": _in_head(pair, unit, _head_round(pair, scales))}
    frames["eyes"] = _in_picture(pair, unit, held) if isinstance(eye_line, NoFit) else eye_line
    upright = not isinstance(eye_line, NoFit)
    known = np.stack([np.isfinite(points).all(axis=(0, 2)).astype(float) for points in (pair.reference, pair.painting)])
    return Framed(
        pair=pair, scales=scales, normaliser=normaliser, frames=frames, eye_line=upright, known=known, unsized=unsized
    )


def _ends(normaliser: Normaliser) -> str:
    return "a pupil is" if normaliser == "pupils" else "the root of the nose or the chin is"


def _in_eye_line(pair: Pair, unit: Array, held: Array) -> tuple[Array, Array] | NoFit:
    one, other = eye_line_frame(pair.reference, unit), eye_line_frame(pair.painting, held * unit)
    if isinstance(one, NoFit):
        return one
    if isinstance(other, NoFit):
        return other
    return one.take(pair.reference), other.take(pair.painting)


def _round_part(pair: Pair, unit: Array, part: Similarity) -> tuple[Array, Array] | NoFit:
    """Both in the reference's eye line, the painting laid on it by the part that is held."""
    frame = eye_line_frame(pair.reference, unit)
    if isinstance(frame, NoFit):
        return frame
    return frame.take(pair.reference), frame.take(part.inverse(pair.painting))


def _head_round(pair: Pair, scales: Scales) -> Similarity | NoFit:
    """The head's fit; where a part is held, with that part in its place, or its own fit where it has size and tilt."""
    if scales.part is None:
        return scales.head
    if not sized_by_pupils(scales.hold):
        return scales.part
    return moved_to(scales.head, pair.reference, pair.painting, scales.hold)


def _in_picture(pair: Pair, unit: Array, held: Array) -> tuple[Array, Array]:
    """Only brought to size: good for lengths and areas."""
    across = np.broadcast_to(np.array([1.0, 0.0]), (len(unit), 2))
    origin = np.zeros((len(unit), 2))
    return (
        Frame(origin=origin, across=across, unit=unit).take(pair.reference),
        Frame(origin=origin, across=across, unit=held * unit).take(pair.painting),
    )


def _in_head(pair: Pair, unit: Array, head: Similarity | NoFit) -> tuple[Array, Array] | NoFit:
    if isinstance(head, NoFit):
        return head
    frame = head_frame(pair.reference, unit)
    if isinstance(frame, NoFit):
        return frame
    return frame.take(pair.reference), frame.take(head.inverse(pair.painting))


def read(measure: Measure, framed: Framed) -> Reading | NoFit:
    """Takes one measure on both faces.

    Returns:
        The reading, or a :class:`NoFit` with the reason why it cannot be taken. Never a NaN.
    """
    if framed.unsized:
        return NoFit(framed.unsized)
    frame = framed.frames[measure.frame]
    missing = _missing(measure, framed)
    if missing:
        return NoFit(missing)
    if isinstance(frame, NoFit):
        return frame
    if measure.frame == "eyes" and measure.placed and not framed.eye_line:
        return NoFit("it is measured from the eye line, which needs both pupils")
    reference, painting = frame
    first, second, deviation, size = _values(measure, reference, painting)
    if not np.isfinite(deviation).all():
        return NoFit("the points it is taken from lie in one place")
    return Reading(
        reference=float(first[0]),
        painting=float(second[0]),
        deviation=float(deviation[0]),
        spread=_scatter(deviation, angle=measure.kind == "angle"),
        spread_reference=_scatter(first, angle=measure.kind == "angle"),
        size=size,
    )


def _values(measure: Measure, reference: Array, painting: Array) -> tuple[Array, Array, Array, float | None]:
    """Value in the reference, in the painting, deviation, and the size it refers to."""
    if measure.pair is not None:
        return _pair_values(measure, reference, painting)
    if measure.formula is None:
        raise TypeError(f"the measure {measure.id} has neither a formula nor a pair formula")
    first, second = measure.formula(reference), measure.formula(painting)
    if measure.kind == "angle":
        first, second = wrap(first), wrap(second)
        return first, second, wrap(second - first), None
    if measure.kind in ("position", "gape"):
        return first, second, 100 * (second - first), None
    with np.errstate(divide="ignore", invalid="ignore"):
        deviation = np.where(first > 0, 100 * (second / first - 1), np.nan)
    size = float(np.sqrt(abs(first[0]))) if measure.kind == "area" else abs(float(first[0]))
    return first, second, deviation, size


def _pair_values(measure: Measure, reference: Array, painting: Array) -> tuple[Array, Array, Array, float]:
    if measure.pair is None:
        raise TypeError(f"the measure {measure.id} has no pair formula")
    both = measure.pair(reference, painting)
    if measure.kind == "overlap":
        size = float(greatest_extent(reference[0], measure.outline))
        return np.ones_like(both), both, 100 * (both - 1), size
    extent = greatest_extent(reference, measure.outline)
    with np.errstate(divide="ignore", invalid="ignore"):
        gap = np.where(extent > 0, 100 * both / extent, np.nan)
    return np.zeros_like(both), both, gap, float(extent[0])


def _scatter(values: Array, *, angle: bool) -> float:
    runs = values[1:]
    if len(runs) < 2:
        return 0.0
    off = runs - values[0]
    off = wrap(off) if angle else off
    off = off - off.sum() / len(off)
    return math.sqrt(float(off @ off) / (len(runs) - 1))


def _missing(measure: Measure, framed: Framed) -> str:
    """Which needed point is not there, in words; empty where all are."""
    there = framed.known[:, list(measure.points)]
    if there.all():
        return ""
    which, place = np.argwhere(there == 0)[0]
    index = measure.points[place]
    name = next((point.name for key, point in PLACEABLE.items() if index in rows_of(key)), "a point of its outline")
    return f"not there in the {('reference', 'painting')[which]}: {name}"
