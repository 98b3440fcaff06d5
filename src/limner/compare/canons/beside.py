"""Every canon beside both faces, and what the painting drifts to: the sitter taken alone, the painting against it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np

from limner.compare.canons.declare import Canon, Ratio
from limner.compare.canons.observed import ANY_SPREAD, OBSERVED
from limner.compare.canons.table import RATIOS
from limner.compare.canons.taking import NOTHING, Face, Taken, correction, parts_on, refused_by_pose, take
from limner.compare.drift import Change, Goal, Step, drift_of, movement
from limner.compare.judge import Terms, judge
from limner.compare.poses import FLAG
from limner.compare.witness import Testimony
from limner.measure.declare import Measure
from limner.result import CanonRow, Drift, DriftVector, MeasureResult, Pose, Quantity, Target


@dataclass(frozen=True, kw_only=True)
class Beside:
    """What an audit says of the canons."""

    rows: tuple[CanonRow, ...]
    drift: tuple[DriftVector, ...]


@dataclass(frozen=True)
class _Seen:
    """One ratio on both faces."""

    canon: Canon
    ratio: Ratio
    taken: Taken
    change: Change | str


def beside(sitter: Face, testimony: Testimony, terms: Terms, painted: Pose | None) -> Beside:
    """Takes every ratio on the sitter, and how the painting changes it.

    Args:
        sitter: the reference's face.
        testimony: both faces, for the change.
        terms: stage and settings the lengths are judged by.
        painted: how the painted head is turned, if that is known.
    """

    @cache
    def judged(part: Measure) -> MeasureResult:
        """Each length once: many ratios share them."""
        return judge(part, testimony, terms)

    turned = Face(points=sitter.points, by_hand=sitter.by_hand, pose=painted or sitter.pose)
    every = _taken(sitter.points.tobytes(), sitter.points.shape, sitter.by_hand, sitter.pose)
    seen = [
        _Seen(canon, ratio, taken, _change(ratio, sitter, judged, turned))
        for (canon, ratio), taken in zip(RATIOS.values(), every, strict=True)
    ]
    targets: tuple[Target, ...] = ("canon", "average")
    return Beside(
        rows=tuple(_row(one) for one in seen),
        drift=tuple(movement(target, list(_steps(seen, target))) for target in targets),
    )


@lru_cache(maxsize=4)
def _taken(readings: bytes, shape: tuple[int, ...], by_hand: frozenset[int], pose: Pose | None) -> tuple[Taken, ...]:
    """Every ratio on a face that is given by its content: a sitter has many paintings."""
    sitter = Face(points=np.frombuffer(readings).reshape(shape), by_hand=by_hand, pose=pose)
    return tuple(take(ratio, sitter) for _, ratio in RATIOS.values())


def goals(ratio: Ratio) -> tuple[Goal, ...]:
    """What a ratio might drift to: the canon's, and the average of one survey. A slope has no share and no goal."""
    if ratio.lie == "slopes":
        return ()
    found = () if ratio.value is None else (Goal(target="canon", value=ratio.value),)
    told = OBSERVED.get(ratio.id)
    return found if told is None else (*found, Goal(target="average", value=told.mean, sigma=told.apart))


def spread_among_people(ratio: Ratio) -> float:
    """Relative standard deviation; :data:`ANY_SPREAD` where no survey tells."""
    told = OBSERVED.get(ratio.id)
    return ANY_SPREAD if told is None else told.spread / told.mean


def _row(seen: _Seen) -> CanonRow:
    painting, reason = NOTHING, seen.taken.reason
    drift: tuple[Drift, ...] = ()
    sitter = seen.taken.value
    if isinstance(seen.change, str):
        reason = reason or seen.change
    elif sitter.value is not None:
        painting = _painted(sitter, seen.change, seen.ratio)
        drift = tuple(drift_of(sitter, seen.change, goal) for goal in goals(seen.ratio))
    return CanonRow(
        id=seen.ratio.id,
        name=seen.ratio.name,
        definition=seen.ratio.definition,
        canon=seen.ratio.value,
        reference=sitter,
        painting=painting,
        source=seen.canon.source,
        canon_id=seen.canon.id,
        reason=reason,
        witness=seen.taken.witness,
        drift=drift,
    )


def _painted(sitter: Quantity, change: Change, ratio: Ratio) -> Quantity:
    """The painting is known against the sitter, so whatever is unknown of the sitter is unknown of it too."""
    r, sigma = sitter.value or 0.0, sitter.sigma or 0.0
    if ratio.lie == "slopes":
        return Quantity(value=r + change.value, sigma=math.hypot(sigma, change.sigma))
    factor = 1 + change.value
    return Quantity(value=r * factor, sigma=math.hypot(sigma * factor, r * change.sigma))


def _change(ratio: Ratio, sitter: Face, judge_part: Callable[[Measure], MeasureResult], painted: Face) -> Change | str:
    """What the painting does to a ratio, by the best witness; or why that cannot be told.

    ``painted`` is the sitter's face turned as the painted head is.
    """
    refused = refused_by_pose(ratio, painted)
    if refused:
        return f"in the painting {refused}"
    sides = []
    for parts in parts_on(ratio, sitter):
        judged = [judge_part(part) for part in parts]
        for part, result in zip(parts, judged, strict=True):
            if result.deviation is None:
                return f"{part.name}: {result.reason or result.call}"
        sides.append((parts, judged))
    (above, top), (below, bottom) = sides
    if ratio.lie == "slopes":
        (d, sd), (e, se) = _mean(top), _mean(bottom)
        return Change(value=d - e, sigma=math.hypot(sd, se), lengths={})
    (a, sa), (b, sb) = ((1 + d / 100, s / 100) for d, s in (_mean(top), _mean(bottom)))
    if not (a > 0 and b > 0):
        return "the points it is taken from lie in one place"
    turn, nod = _pose_change(ratio, sitter.pose, painted.pose)
    factor = a / b * turn
    lengths = {_label(above): (1, sa / a), _label(below): (-1, sb / b)}
    return Change(value=factor - 1, sigma=factor * math.hypot(sa / a, sb / b, nod), lengths=lengths)


def _mean(judged: list[MeasureResult]) -> tuple[float, float]:
    """Deviation of the mean of some lengths and its one-sigma error, those of the lengths taken to go together."""
    weights = [abs(m.reference.value or 0.0) if m.unit == "percent" else 1.0 for m in judged]
    total = sum(weights) or 1.0
    deviation = sum(w * (m.deviation or 0.0) for w, m in zip(weights, judged, strict=True)) / total
    return deviation, sum(w * (m.sigma or 0.0) for w, m in zip(weights, judged, strict=True)) / total


def _label(parts: list[Measure]) -> str:
    return "+".join(part.id for part in parts)


def _pose_change(ratio: Ratio, sitter: Pose | None, painted: Pose | None) -> tuple[float, float]:
    """Factor for a painted head turned otherwise than the sitter's, and the relative doubt of another nod.

    Below :data:`limner.compare.poses.FLAG` the difference is what finding a painted head's turn is uncertain by, and
    is left alone.
    """
    if sitter is None or painted is None:
        return 1.0, 0.0
    factor, doubt = 1.0, 0.0
    if abs(painted.yaw - sitter.yaw) >= FLAG:
        factor = correction(ratio, painted) / correction(ratio, sitter)
    nod = abs(painted.pitch - sitter.pitch)
    if nod >= FLAG and ratio.lie != "across":
        doubt = ratio.depth * math.sin(math.radians(min(nod, 90.0)))
    return factor, doubt


def _steps(seen: Iterable[_Seen], target: Target) -> Iterable[Step]:
    """The ratios of one movement: each pair of lengths once, and none of Leonardo's, which say the same again."""
    told: set[tuple[tuple[str, ...], tuple[str, ...]]] = set()
    for one in seen:
        lengths = (one.ratio.above, one.ratio.below)
        goal = next((goal for goal in goals(one.ratio) if goal.target == target), None)
        known = not isinstance(one.change, str) and one.taken.value.value is not None
        if goal is None or not known or lengths in told or one.canon.school == "Leonardo":
            continue
        told.add(lengths)
        if not isinstance(one.change, str):
            yield Step(
                id=one.ratio.id,
                sitter=one.taken.value,
                change=one.change,
                goal=goal,
                spread=spread_among_people(one.ratio),
            )
