"""What is set apart: held because it will not be repainted, or meant to depart. Listed once, never ranked or moved."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from typing import Literal

import numpy as np

from limner.compare.parts import NAMES, PARTS, rows_in
from limner.compare.ranking import mend_first, ranked
from limner.errors import UsageError
from limner.face.points import FEATURES
from limner.measure.catalogue import CATALOGUE, NOT_SEEN, between
from limner.measure.declare import Measure
from limner.measure.heads import HEADS
from limner.result import Apart, AuditResult, MeasureResult
from limner.settings import Settings

NEAR = 0.6
"""Likeness (difflib's ratio, 0 to 1) from which a known name is offered for an unknown one."""
DEPARTING = ("off", "slight")
HELD = "it is held: what will not be repainted"
Kind = Literal["held", "intended"]
WHOLE = ("place_x", "place_y", "size", "stretch", "turn", "tip")
"""Findings about the whole face or head that may be meant so."""
_HEAD = ("head", "hairline", "head_top", "ears")
"""Features of the big shape, which ``head`` names together."""


def check_intended(settings: Settings, of_values: Collection[str] = ()) -> None:
    """Refuse what is meant for something that is not there, or without a reason; and points that are not there.

    ``of_values`` are names of what may be meant so in value and colour.

    Raises:
        UsageError: with the nearest name that is there; for an unknown point of ``settings.between``.
    """
    known = [*PARTS, "head", *WHOLE, *FEATURES, *NOT_SEEN, *_catalogue(settings), *of_values]
    for name, reason in settings.intended:
        if name not in known:
            near = difflib.get_close_matches(name[:100], known, n=1, cutoff=NEAR)
            todo = (
                f"Did you mean '{near[0]}'?"
                if near
                else f"Name a part ({', '.join(PARTS)}), a measure of limner audit --list, or a region of the values."
            )
            raise UsageError(f"intended: there is no measure, part or region called '{name[:40]}'. {todo}")
        if not reason.strip():
            raise UsageError(f"intended, {name}: expected the reason in a few words, but it is empty; write it down.")


def set_apart(result: AuditResult) -> AuditResult:
    """The result with what is held or intended called so where it departs, and listed; what is left ranked anew."""
    settings, hold = result.settings, result.scale.hold
    asked: list[tuple[Kind, str, str]] = [("intended", name, reason) for name, reason in settings.intended]
    if hold in PARTS and hold != "eyes":
        asked.append(("held", hold, HELD))
    if not asked:
        return result
    apart: list[Apart] = []
    called: dict[str, MeasureResult] = {}
    for kind, name, reason in asked:
        found = [m for m in result.measures if m.call in DEPARTING and m.id not in called and _is_of(m, name)]
        called.update({m.id: replace(m, call=kind, reason=reason) for m in found})
        plain = _plain(name, result.measures)
        apart.append(Apart(kind=kind, id=name, name=plain, reason=reason, measures=tuple(m.id for m in found)))
    measures = ranked([called.get(m.id, m) for m in result.measures])
    first = mend_first(measures, _catalogue(settings))
    return replace(result, measures=measures, apart=tuple(apart), mend_first=first)


def set_whole_apart(result: AuditResult) -> AuditResult:
    """The result with what is meant of the whole face or head called so: a turn, a place on the canvas."""
    reasons = dict(result.settings.intended)
    meant = {f.id: f for f in result.whole if f.id in reasons and f.call in DEPARTING}
    if not meant:
        return result
    whole = [replace(f, call="intended", reason=reasons[f.id]) if f.id in meant else f for f in result.whole]
    apart = [replace(a, name=meant[a.id].name, measures=(a.id,)) if a.id in meant else a for a in result.apart]
    return replace(result, whole=tuple(whole), apart=tuple(apart))


def features_apart(result: AuditResult) -> frozenset[str]:
    """Features that are not to be moved, because the whole of them is held or meant so."""
    asked = [one.id for one in result.apart]
    return frozenset(f for name in asked for f in PARTS.get(name, (name,) if name in FEATURES else ()))


def held_rows(result: AuditResult) -> frozenset[int]:
    """Mesh points that stay where they are painted: what is held, and what a picture's edge cuts off."""
    cut = np.flatnonzero(~np.isfinite(result.point_sigma)).tolist()
    return frozenset(cut) | frozenset(row for one in result.apart if one.kind == "held" for row in rows_in(one.id))


def _plain(name: str, measures: Iterable[MeasureResult]) -> str:
    return NAMES.get(name) or next((m.name for m in measures if m.id == name), name.replace("_", " "))


def _is_of(measure: MeasureResult, name: str) -> bool:
    if name == "head":
        return measure.feature in _HEAD
    return name in (measure.id, measure.feature) or measure.feature in PARTS.get(name, ())


def _catalogue(settings: Settings) -> Mapping[str, Measure]:
    own = {measure.id: measure for measure in (between(*ends) for ends in settings.between)}
    return {**CATALOGUE, **HEADS, **own}
