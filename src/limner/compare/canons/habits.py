"""The known habits of portrait drawing: each declared with its source, and looked for in one painting.

They were found over many drawings; a single painting may show any of them or none. The size of a habit here is the
mean of the deviations of its measures, counted positive the habit's way; where it is a size against another, the mean
of the one group less that of the other.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from limner.compare.calibration import WIDE
from limner.measure.declare import SIDES
from limner.result import CanonRow, HabitCall, HabitRow, MeasureResult, Quantity, Witness


@dataclass(frozen=True, kw_only=True)
class Habit:
    """One habit."""

    id: str
    name: str
    measures: tuple[str, ...]
    """Ids of the catalogue whose mean deviation it is."""
    way: int
    """1 where the habit makes the deviation positive, -1 where negative."""
    source: str
    against: tuple[str, ...] = ()
    """Ids whose mean deviation is taken off."""
    ratio: str = ""
    """Ratio of a canon that tells it better, where it can be taken: its change in percent."""


def _both(stem: str) -> tuple[str, ...]:
    return tuple(stem.format(side=side) for side in SIDES)


_ART = "Costa & Corazza 2006, Perception 35:229-246: 776 artistic portraits against 289 photographs"
_ROUND = "Ostrofsky 2013, thesis, City University of New York: errors of drawings go one way"

HABITS: tuple[Habit, ...] = (
    Habit(
        id="eyes_wider",
        name="eyes wider",
        measures=_both("eye_width_{side}"),
        way=1,
        source=_ART,
    ),
    Habit(
        id="eyes_opener",
        name="eyes taller, opened further",
        measures=_both("eye_opening_{side}"),
        way=1,
        source=_ART,
    ),
    Habit(
        id="eyes_higher",
        name="eyes higher in the head",
        measures=_both("eye_{side}_y"),
        way=-1,
        ratio="eyes_at_half",
        source="Carbon & Wirth 2014, Perception 43:99-102, and Ostrofsky 2015, told by Smith, Kempe & Wood 2021, "
        "i-Perception, doi 10.1177/20416695211017564: chin to eyes is about 0.50 of chin to top of the head, 0.55 in "
        "copies, 0.60 from memory",
    ),
    Habit(
        id="lips_higher",
        name="lips higher from edge to edge",
        measures=("upper_lip", "lower_lip"),
        way=1,
        source=_ART,
    ),
    Habit(
        id="mouth_narrower",
        name="mouth narrower",
        measures=("mouth_width",),
        way=-1,
        source=_ART,
    ),
    Habit(
        id="nose_narrower",
        name="nose narrower",
        measures=("nose_width",),
        way=-1,
        source=_ROUND,
    ),
    Habit(
        id="face_rounder",
        name="face rounder: wider for its height",
        measures=("face_width",),
        against=("face_height",),
        way=1,
        source=_ROUND,
    ),
    Habit(
        id="features_grown",
        name="features grown against the head",
        measures=("across_eyes", "nose_width", "nose_length", "mouth_width"),
        against=("face_width", "face_height"),
        way=1,
        source="Harrison, Jones, Davies 2017, i-Perception, doi 10.1177/2041669517691055: salient parts get too much "
        "space",
    ),
)
"""Every habit looked for."""


def habits(measures: Sequence[MeasureResult], canons: Sequence[CanonRow]) -> tuple[HabitRow, ...]:
    """Looks for every habit.

    Args:
        measures: the audit's.
        canons: the audit's, for the habit that a canon's ratio tells better.
    """
    by_id = {measure.id: measure for measure in measures}
    ratios = {row.id: row for row in canons}
    return tuple(_look(habit, by_id, ratios) for habit in HABITS)


def _look(habit: Habit, measures: Mapping[str, MeasureResult], ratios: Mapping[str, CanonRow]) -> HabitRow:
    by_ratio = ratios.get(habit.ratio)
    if by_ratio is not None and by_ratio.painting.value is not None and by_ratio.reference.value:
        return _by_ratio(habit, by_ratio, by_ratio.painting.value, by_ratio.reference.value)
    own = [measures[id_] for id_ in habit.measures if id_ in measures and measures[id_].deviation is not None]
    other = [measures[id_] for id_ in habit.against if id_ in measures and measures[id_].deviation is not None]
    if not own or (habit.against and not other):
        return _row(habit, None, None, "not measured", _why_not(habit, measures), own)
    amount = habit.way * (_mean([m.deviation for m in own]) - (_mean([m.deviation for m in other]) if other else 0.0))
    # The errors of one group are taken to go together: both eyes hang on one scale.
    sigma = math.hypot(_mean([m.sigma for m in own]), _mean([m.sigma for m in other]) if other else 0.0)
    noticed = _mean([m.threshold for m in own])
    call, reason = call_of(amount, sigma, noticed)
    return _row(habit, amount, sigma, call, reason, [*own, *other])


def call_of(amount: float, sigma: float, noticed: float) -> tuple[HabitCall, str | None]:
    """What is said of a habit, and why where that is not plain.

    Args:
        amount: how far the painting goes the habit's way.
        sigma: one-sigma uncertainty, same unit.
        noticed: what a viewer notices, same unit. From half of it on a habit is shown, as a measure is slightly off;
            less than it for certain is none.

    >>> call_of(9.0, 2.0, 8.0)[0], call_of(-9.0, 2.0, 8.0)[0], call_of(1.0, 0.2, 8.0)[0], call_of(5.0, 4.0, 8.0)[0]
    ('shown', 'the other way', 'not shown', 'unsure')
    """
    doubt = WIDE * sigma
    if abs(amount) > max(doubt, noticed / 2):
        return ("shown" if amount > 0 else "the other way"), None
    if abs(amount) + doubt <= noticed:
        return "not shown", None
    return "unsure", "the doubt is larger than what is seen of it"


def _by_ratio(habit: Habit, row: CanonRow, painted: float, sitter: float) -> HabitRow:
    """By the change of a ratio: what is unknown of the sitter's own is in both, and cancels."""
    both = (row.painting.sigma or 0.0) ** 2 - ((row.reference.sigma or 0.0) * painted / sitter) ** 2
    amount, sigma = 100 * (painted / sitter - 1), 100 * math.sqrt(max(both, 0.0)) / sitter
    call, reason = call_of(amount, sigma, 8.0)
    return HabitRow(
        id=habit.id,
        name=habit.name,
        deviation=Quantity(value=amount, sigma=sigma),
        unit="percent",
        call=call,
        reason=reason,
        measures=(row.id,),
        witnesses=() if row.witness is None else (row.witness,),
        source=habit.source,
    )


def _row(
    habit: Habit,
    amount: float | None,
    sigma: float | None,
    call: HabitCall,
    reason: str | None,
    used: Sequence[MeasureResult],
) -> HabitRow:
    witnesses: dict[Witness, None] = {m.witness: None for m in used if m.witness is not None}
    return HabitRow(
        id=habit.id,
        name=habit.name,
        deviation=Quantity(value=amount, sigma=sigma),
        unit=used[0].unit if used else "percent",
        call=call,
        reason=reason,
        measures=tuple(m.id for m in used) or habit.measures,
        witnesses=tuple(witnesses),
        source=habit.source,
    )


def _why_not(habit: Habit, measures: Mapping[str, MeasureResult]) -> str:
    needed = (measures[id_] for id_ in (*habit.measures, *habit.against) if id_ in measures)
    return next((m.reason or m.call for m in needed if m.deviation is None), "its measures were not taken")


def _mean(values: Sequence[float | None]) -> float:
    known = [value for value in values if value is not None]
    return sum(known) / len(known) if known else 0.0
