"""What is meant to depart in value and colour: listed with its reason, and neither ranked nor counted as off."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import get_args

from limner.compare.parts import PARTS
from limner.face.points import FEATURES
from limner.measure.catalogue import CATALOGUE
from limner.measure.heads import HEADS
from limner.result import Apart, AuditResult
from limner.values.edges import EDGES
from limner.values.regions import REGIONS
from limner.valuesresult import FindingKind, ValueFinding, ValuesReport

DEPARTING = ("off", "slight")
KINDS: Mapping[str, FindingKind] = MappingProxyType(
    {kind.replace(" ", "_"): kind for kind in get_args(FindingKind) if kind != "nothing held"}
)
"""Name in ``[intended]`` -> the kind of finding it stands for, wherever it is found."""

_EYE = {
    side: tuple(f"{n}_{side}" for n in ("eye_white", "upper_lid", "lid", "catchlight")) for side in ("right", "left")
}
_NOSE = ("side_right", "side_left", "ball", "wing_right", "wing_left", "underside", "bridge", "base", "right", "left")
_OF_PART: Mapping[str, tuple[str, ...]] = {
    "eyes": (*_EYE["right"], *_EYE["left"]),
    **{f"eye_{side}": found for side, found in _EYE.items()},
    "brows": ("brow_right", "brow_left"),
    "nose": tuple(f"nose_{place}" for place in _NOSE),
    "mouth": ("upper_lip", "lower_lip"),
    "jaw": ("jaw_right", "jaw_left", "chin"),
    "face": ("outline_right", "outline_left", "jaw_right", "jaw_left", "chin"),
}
"""Part -> the regions and edges it is made of; every other part is one of the same name."""


def value_names() -> tuple[str, ...]:
    """What ``[intended]`` may name of values and colour: regions, edges, kinds of findings."""
    return tuple(dict.fromkeys((*REGIONS, *EDGES, "catchlight_right", "catchlight_left", *KINDS)))


def places_apart(result: AuditResult) -> frozenset[str]:
    """Regions and edges whose value and colour are meant to be as they are."""
    names = [one.id for one in result.apart if one.kind == "intended"]
    return frozenset(place for name in names for place in _OF_PART.get(name, (name,)))


def set_values_apart(result: AuditResult) -> AuditResult:
    """The result with findings and regions that are meant so called so where they depart, each listed once."""
    report = result.values
    if report is None or not any(one.kind == "intended" for one in result.apart):
        return replace(result, apart=tuple(_named(one) for one in result.apart))
    taken: dict[int, ValueFinding] = {}
    listed: list[Apart] = []
    for one in result.apart:
        found = {k: f for k, f in enumerate(report.findings) if k not in taken and _is_meant(f, one)}
        taken.update(found)
        listed.append(replace(_named(one), values=tuple(dict.fromkeys(f.text for f in found.values()))))
    return replace(result, apart=tuple(listed), values=_called(report, frozenset(taken), _reasons(result)))


def _is_meant(finding: ValueFinding, one: Apart) -> bool:
    if one.kind != "intended" or finding.call not in DEPARTING:
        return False
    return finding.region in _OF_PART.get(one.id, (one.id,)) or KINDS.get(one.id) == finding.kind


def _reasons(result: AuditResult) -> dict[str, str | None]:
    """Region or edge -> why it is meant so; of two reasons the first."""
    asked = [one for one in result.apart if one.kind == "intended"]
    return {place: one.reason for one in reversed(asked) for place in _OF_PART.get(one.id, (one.id,))}


def _called(report: ValuesReport, meant: frozenset[int], why: Mapping[str, str | None]) -> ValuesReport:
    regions = [
        replace(r, call="intended", reason=why[r.id]) if r.id in why and r.call in DEPARTING else r
        for r in report.regions
    ]
    kept = [f for k, f in enumerate(report.findings) if k not in meant]
    apart = [replace(f, call="intended") for k, f in enumerate(report.findings) if k in meant]
    return replace(report, regions=tuple(regions), findings=(*kept, *apart))


def of_values_only(name: str) -> bool:
    """Whether a name is one of values and colour, and of nothing that is measured in the drawing."""
    drawn = name in PARTS or name in FEATURES or name in CATALOGUE or name in HEADS
    return not drawn and name in value_names()


def _named(one: Apart) -> Apart:
    """With the plain name of a region or an edge, where nothing of the drawing has that name."""
    if not of_values_only(one.id) or one.id not in (*REGIONS, *EDGES):
        return one
    return replace(one, name=REGIONS[one.id].name if one.id in REGIONS else EDGES[one.id][0])
