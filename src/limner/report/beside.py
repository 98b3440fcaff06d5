"""What is to be mended first and stands in no step of the plan: where the plan is told alone, it is told beside it."""

from __future__ import annotations

from collections.abc import Mapping

from limner.compare.corrections import PLACED, WHOLE
from limner.compare.ranking import stories, told_of
from limner.measure.catalogue import CATALOGUE, between
from limner.measure.declare import Measure
from limner.measure.heads import HEADS
from limner.result import AuditResult

_WHOLE_STEPS = {"place_x": PLACED, "place_y": PLACED, "size": PLACED, "stretch": WHOLE}
"""What is found about the whole -> the unit of the step that mends it."""

HEADING = "Beside the plan"
SAID = "What no step is foreseen to mend:"


def beside_the_plan(result: AuditResult) -> tuple[str, ...]:
    """The sentences of ``mend_first`` that no step is foreseen to mend, in their order; none where there is no plan."""
    if not result.corrections:
        return ()
    mended = _mended(result)
    return tuple(text for text in result.mend_first if text and text not in mended)


def _mended(result: AuditResult) -> set[str]:
    """Every sentence that could be said of what some step is foreseen to bring in."""
    own = {m.id: m for m in (between(*ends) for ends in result.settings.between)}
    catalogue: Mapping[str, Measure] = {**CATALOGUE, **HEADS, **own}
    ids = {id_ for step in result.corrections for id_ in step.mends}
    units = {step.unit for step in result.corrections}
    by_id = {m.id: m for m in result.measures}
    told = [[by_id[id_]] for id_ in sorted(ids) if id_ in by_id and id_ in catalogue]
    told += [story for story in stories(result.measures, catalogue) if ids & {m.id for m in story}]
    whole = {finding.text for finding in result.whole if _WHOLE_STEPS.get(finding.id) in units}
    return whole | {told_of(story, catalogue) for story in told}
