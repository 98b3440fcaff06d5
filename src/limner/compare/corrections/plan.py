"""The plan: large to small, each step after those before it, with what is foreseen to be off when it is done.

What a larger unit explains is taken out before a smaller one is fitted, so no movement is counted twice. A step is told
only where it is beyond its doubt and serves a measure that is off.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limner.compare.apart import features_apart, held_rows
from limner.compare.corrections.first import lines
from limner.compare.corrections.fit import WAYS, Fit, fit, moved
from limner.compare.corrections.foresee import Foresight
from limner.compare.corrections.say import Told, kept_ways, sentence, told_in
from limner.compare.corrections.units import FACE, FEATURE_UNITS, PAIRS, Unit, rows_of, without
from limner.compare.ranking import surely
from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT
from limner.measure.catalogue import CATALOGUE
from limner.result import AuditResult, Correction, MeasureResult, Quantity

Array = NDArray[np.float64]

LARGE_EXPLAINS = 0.5
"""A larger unit is moved only where that explains so much of its points' squared ways; else the smaller ones are."""
SERVES = 0.3
"""A step serves a measure that is off when it takes away this share of its deviation, or brings it in (our choice)."""
MOST = 12

WHOLE = "whole"
"""Unit of the step that takes a drawn stretch out of the whole face."""
PLACED = "head"
"""Unit of the step that moves the whole head on the canvas."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Ground:
    """What every step is judged by."""

    result: AuditResult
    by_id: Mapping[str, MeasureResult]
    off: tuple[MeasureResult, ...]
    told: Told
    pupils: float
    """px between the pupils as they should be."""
    foresight: Foresight


def with_plan(result: AuditResult) -> AuditResult:
    """The result with its plan of corrections, and what to mend first in the plan's order."""
    plan = planned(result)
    return replace(result, corrections=plan, mend_first=lines(result, plan) if plan else result.mend_first)


def planned(result: AuditResult) -> tuple[Correction, ...]:
    """The steps for one audit, in the order of mending; empty where nothing is off or both pupils are not there.

    Args:
        result: an audit's; its points, measures and canvas are read.

    Returns:
        Corrections from the painted place to the right one, x to picture right, y down, turns clockwise as seen. Their
        sigma is that of the measures which tell that way of moving the unit.
    """
    off = tuple(m for m in result.measures if m.call == "off" and m.id in CATALOGUE)
    pupils = float(np.linalg.norm(result.should_be[PUPIL_LEFT] - result.should_be[PUPIL_RIGHT]))
    if not off or not np.isfinite(pupils) or result.scale.by != "pupils":
        return ()
    by_id = {m.id: m for m in result.measures}
    ground = _Ground(
        result=result,
        by_id=by_id,
        off=off,
        told=told_in(result),
        pupils=pupils,
        foresight=Foresight(result, off),
    )
    return tuple(_steps(ground))[:MOST]


def after(result: AuditResult) -> Array:
    """(478, 2) array, px of the decoded painting: where its points are once the plan is carried out.

    But for the step that moves the whole head on the canvas, which changes nothing between them.
    """
    pupils = float(np.linalg.norm(result.should_be[PUPIL_LEFT] - result.should_be[PUPIL_RIGHT]))
    units = {unit.id: unit for unit in (FACE, *PAIRS, *FEATURE_UNITS)}
    points = result.painting_points
    for step in result.corrections:
        if step.unit == PLACED:
            continue
        if step.unit == WHOLE:
            points = points if result.evened_points is None else result.evened_points
            continue
        ways = (step.dx, step.dy, step.along, step.across, step.turn)
        factors = (pupils, pupils, 0.01, 0.01, float(np.radians(1.0)))
        amounts = np.array([(way.value or 0.0) * factor for way, factor in zip(ways, factors, strict=True)])
        unit = without(units[step.unit], held_rows(result))
        points = points if unit is None else moved(unit, points, amounts)
    return points


@dataclass(frozen=True, kw_only=True, eq=False)
class _Try:
    """One unit moved, from the points as they then are."""

    unit: Unit
    fit: Fit
    kept: frozenset[str]
    after: Array
    foreseen: Mapping[str, float]
    helped: tuple[str, ...]
    """Ids of the measures off that it brings in, or nearer."""


def _steps(ground: _Ground) -> Iterator[Correction]:
    painted, foresight = ground.result.painting_points, ground.foresight
    still: Mapping[str, float] = foresight.start
    number = 0
    for level in ((FACE,), PAIRS, FEATURE_UNITS):
        for unit in _surest_first(level, painted, still, ground):
            one = _tried(unit, painted, still, ground)
            if one is None:
                continue
            foreseen = foresight.settled(one.after, one.foreseen)
            number += 1
            yield _told(number, one, painted, (still, foreseen), ground)
            painted, still = one.after, foreseen


def _tried(whole: Unit, painted: Array, still: Mapping[str, float], ground: _Ground) -> _Try | None:
    """The unit moved as it has to; ``None`` where that is not known, or serves nothing."""
    unit = without(whole, held_rows(ground.result))
    found = None if unit is None else _fitted(unit, painted, ground)
    if unit is None or found is None:
        return None
    one, kept = found
    after = moved(unit, painted, one.amounts)
    foreseen = ground.foresight.after(after, rows_of(unit), still)
    helped = _helped(ground.foresight, still, foreseen)
    if not helped:
        return None
    return _Try(unit=unit, fit=one, kept=kept, after=after, foreseen=foreseen, helped=helped)


def _surest_first(units: Sequence[Unit], painted: Array, still: Mapping[str, float], ground: _Ground) -> Sequence[Unit]:
    """Units of one level by the measure each helps of which most is surely off, then by what is off about them."""
    if len(units) == 1:
        return units
    about: dict[str, float] = {}
    for measure in ground.off:
        about[measure.feature] = max(about.get(measure.feature, 0.0), surely(measure))

    def place(unit: Unit) -> tuple[float, float]:
        one = _tried(unit, painted, still, ground)
        helps = max((surely(ground.by_id[id_]) for id_ in one.helped), default=0.0) if one else 0.0
        return -helps, -max(about.get(feature, 0.0) for feature in (*unit.features, unit.id))

    return sorted(units, key=place)


def _fitted(unit: Unit, painted: Array, ground: _Ground) -> tuple[Fit, frozenset[str]] | None:
    """How the unit has to move, without what is within its doubt; ``None`` where it is not to be moved."""
    still = features_apart(ground.result)
    hidden = still | {m.feature for m in ground.result.measures if m.call == "not painted yet"}
    rows = [row for part in unit.parts for row in (*part.rows, *part.axis)]
    should, sigma = ground.result.should_be, ground.result.point_sigma
    known = np.isfinite(painted[rows]).all() and np.isfinite(should[rows]).all() and np.isfinite(sigma[rows]).all()
    if hidden & set(unit.features) or not known:
        return None
    one = fit(unit, painted, should, sigma, ground.by_id, ground.pupils)
    if unit.level != "feature" and one.explained < LARGE_EXPLAINS:
        return None
    kept = kept_ways(one, ground.told)
    if unit.level == "pair":
        kept &= _shared(unit, one, painted, ground)
    apart = {id_ for one in ground.result.apart for id_ in one.measures}
    kept = frozenset(way for way in kept if not apart & set(unit.ways[way]))
    if not kept:
        return None
    keep = np.array([way in kept for way in WAYS])
    return replace(one, amounts=np.where(keep, one.amounts, 0.0)), kept


def _shared(unit: Unit, pair: Fit, painted: Array, ground: _Ground) -> frozenset[str]:
    """The ways both of a pair have to move, the same way and each beyond its doubt: one eye is not laid on both.

    Nor may the pair's common amount be so much more than one of them needs that this one had to go back afterwards.
    """
    should, sigma = ground.result.should_be, ground.result.point_sigma
    shared = frozenset(WAYS)
    for alone in FEATURE_UNITS:
        if alone.features[0] not in unit.features:
            continue
        own = fit(alone, painted, should, sigma, ground.by_id, ground.pupils)
        left = replace(own, amounts=own.amounts - pair.amounts)
        alike, back = own.amounts * pair.amounts > 0, left.amounts * pair.amounts < 0
        again = kept_ways(left, ground.told)
        shared &= {way for way in kept_ways(own, ground.told) if alike[WAYS.index(way)]}
        shared -= {way for way in again if back[WAYS.index(way)]}
    return shared


def _helped(foresight: Foresight, before: Mapping[str, float], after: Mapping[str, float]) -> tuple[str, ...]:
    """Ids of what is still off and is helped by a step; none where it brings something off that was not."""
    off, then = foresight.off(before), foresight.off(after)
    helped = (id_ for id_ in off if id_ not in then or abs(after[id_]) < (1 - SERVES) * abs(before[id_]))
    return tuple(helped) if len(then) <= len(off) else ()


def _told(
    number: int,
    tried: _Try,
    painted: Array,
    foreseen: tuple[Mapping[str, float], Mapping[str, float]],
    ground: _Ground,
) -> Correction:
    result, foresight = ground.result, ground.foresight
    unit, one, kept, after = tried.unit, tried.fit, tried.kept, tried.after
    before, then = (foresight.off(now) for now in foreseen)
    rows = [row for part in unit.parts for row in part.rows]
    x, y = painted[rows].mean(axis=0)
    left = float(np.sqrt(((result.should_be - after)[rows] ** 2).sum(axis=1).mean()))
    amounts = {
        way: _quantity(value, sigma, way in kept)
        for way, value, sigma in zip(WAYS, one.amounts, one.sigma, strict=True)
    }
    return Correction(
        step=number,
        level=unit.level,
        unit=unit.id,
        name=unit.name,
        centre=(float(x), float(y)),
        dx=_times(amounts["x"], 1 / ground.pupils),
        dy=_times(amounts["y"], 1 / ground.pupils),
        dx_mm=_in_mm(amounts["x"], result),
        dy_mm=_in_mm(amounts["y"], result),
        along=_times(amounts["along"], 100.0),
        across=_times(amounts["across"], 100.0),
        turn=_times(amounts["turn"], float(np.degrees(1.0))),
        remains=Quantity(value=left / ground.pupils, sigma=float(result.point_sigma[rows].mean()) / ground.pupils),
        text=sentence(unit, one, kept, ground.told),
        mends=tuple(id_ for id_ in before if id_ not in then),
        left_off=len(then) + _elsewhere(result),
    )


def _elsewhere(result: AuditResult) -> int:
    """Measures off that no step touches: those of the head with its hair, and the painter's own."""
    return sum(m.call == "off" and m.id not in CATALOGUE for m in result.measures)


def _quantity(value: float, sigma: float, kept: bool) -> Quantity:
    """A way that is not moved has no amount; its doubt stands where it is known."""
    return Quantity(value=float(value) if kept else None, sigma=float(sigma) if np.isfinite(sigma) else None)


def _times(amount: Quantity, factor: float) -> Quantity:
    return Quantity(
        value=None if amount.value is None else amount.value * factor,
        sigma=None if amount.sigma is None else amount.sigma * factor,
    )


def _in_mm(amount: Quantity, result: AuditResult) -> Quantity:
    per_px = result.canvas.mm_per_px if result.canvas else Quantity(value=None, sigma=None)
    if per_px.value is None or amount.value is None or amount.sigma is None:
        return Quantity(value=None, sigma=None)
    size = (per_px.sigma or 0.0) / per_px.value
    value = amount.value * per_px.value
    return Quantity(value=value, sigma=float(np.hypot(amount.sigma * per_px.value, value * size)))
