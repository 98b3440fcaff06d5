"""What to mend first, in the order of the plan: one order in every output."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from limner.compare.corrections.units import FACE, FEATURE_UNITS, PAIRS
from limner.compare.ranking import LARGE_FIRST, LINES, heaviness, stories, told_of
from limner.measure.catalogue import CATALOGUE, between
from limner.measure.declare import Measure
from limner.measure.heads import HEADS
from limner.result import AuditResult, Correction, MeasureResult

_FEATURES = {unit.id: {*unit.features, unit.id} for unit in (FACE, *PAIRS, *FEATURE_UNITS)}
_FEATURES["face"] |= {"jaw", "chin"}

Story = Sequence[MeasureResult]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Row:
    """One thing that is wrong."""

    story: Story
    step: int | None
    """The step it stands with; ``None`` where no step mends it."""
    own: bool
    """Whether that step brings it in and moves its feature."""
    weight: float
    """Of what is surely there, large shapes counting for more."""
    whole: bool
    """Whether it is about the whole head."""


def lines(result: AuditResult, plan: Sequence[Correction]) -> tuple[str, ...]:
    """At most five plain sentences, each about what the plan mends, in its order.

    Every step is told by what is most surely off of what it mends; where there is room left, other findings stand with
    the step that mends them. What no step mends comes first where it is about the whole head, else last.
    """
    own = {m.id: m for m in (between(*ends) for ends in result.settings.between)}
    catalogue: Mapping[str, Measure] = {**CATALOGUE, **HEADS, **own}
    heavy = heaviness(result.measures)
    rows = [_row(story, plan, catalogue, heavy) for story in stories(result.measures, catalogue)]
    by_id = {m.id: m for m in result.measures}
    for step in plan:
        if any(row.step == step.step and row.own for row in rows):
            continue
        mended = [by_id[id_] for id_ in step.mends if id_ in by_id and by_id[id_].feature in _FEATURES[step.unit]]
        if mended:
            rows.append(_row([max(mended, key=lambda m: heavy.get(m.id, 0.0))], [step], catalogue, heavy))
    leading: dict[int | None, _Row] = {row.step: row for row in sorted(rows, key=lambda row: (row.own, row.weight))}

    def place(row: _Row) -> tuple[int, float]:
        return row.step if row.step is not None else 0 if row.whole else len(plan) + 1, -row.weight

    def leads(row: _Row) -> bool:
        return row.whole if row.step is None else leading[row.step] is row

    chosen = sorted(rows, key=lambda row: (not leads(row), -row.weight))[:LINES]
    return tuple(told_of(row.story, catalogue) for row in sorted(chosen, key=place))


def _row(
    story: Story, plan: Sequence[Correction], catalogue: Mapping[str, Measure], heavy: Mapping[str, float]
) -> _Row:
    """A story and the step that mends it: the one foreseen to bring it in, else the first that moves its feature."""
    ids, worst = {m.id for m in story}, story[0]
    mending = next((step for step in plan if ids & set(step.mends)), None)
    features = {m.feature for m in story}
    moving = next((step for step in plan if features & _FEATURES[step.unit]), None)
    step = mending or moving
    measure = catalogue[worst.id]
    return _Row(
        story=story,
        step=None if step is None else step.step,
        own=mending is not None and worst.feature in _FEATURES[mending.unit],
        weight=heavy.get(worst.id, 0.0) * LARGE_FIRST**measure.about.level,
        whole=measure.family == "head" or not measure.about.level,
    )
