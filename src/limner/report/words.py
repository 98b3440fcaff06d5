"""Numbers of one measure in a painter's words: no digit finer than the doubt, which way it is off."""

from __future__ import annotations

from limner.compare.parts import NAMES, WIDE_PARTS
from limner.compare.wording import degrees, in_mm, rounded
from limner.measure.catalogue import CATALOGUE
from limner.measure.heads import HEADS
from limner.result import Apart, AuditResult, MeasureResult, PlacementReport, ScaleReport, WholeFinding

UNITS = {"percent": "%", "percent of pupil distance": "% of eye distance", "degrees": "degrees"}
"""Unit of a deviation -> what is printed. Eye distance: the distance between the pupils."""


UNIT_LENGTHS = {
    "pupils": "the distance between the pupils",
    "n-gn": "the distance from the root of the nose to the chin",
}
"""What sizes are set against, in words."""


def held(scale: ScaleReport) -> str:
    """Return what was held, in words."""
    if scale.hold == "head":
        return "the whole head"
    if scale.hold == "eyes":
        return UNIT_LENGTHS[scale.by]
    if scale.hold in WIDE_PARTS:
        return f"{NAMES[scale.hold]} (place, size and tilt)"
    return f"{NAMES[scale.hold]} (its place; size and tilt by the pupils)"


def give_or_take(measure: MeasureResult) -> str:
    """Return the half width of the 95 % interval, in the unit told first; empty where there is no number."""
    mm = measure.deviation_mm
    if mm.value is not None and mm.sigma is not None:
        return in_mm(mm.value, mm.sigma)[1]
    if measure.deviation is None or measure.sigma is None:
        return ""
    return rounded(measure.deviation, measure.sigma)[1]


def noticed_from(measure: MeasureResult) -> str:
    """Return from what on a viewer notices it, to the digit its deviation is told to; empty where there is none."""
    limit = measure.threshold if measure.threshold_mm is None else measure.threshold_mm
    if limit is None:
        return ""
    places = 1 if not give_or_take(measure) or "." in give_or_take(measure) else 0
    shown = f"{limit:.{places}f}"
    return shown if float(shown) else f"{limit:.1g}"


def painted(measure: MeasureResult) -> str:
    """Return how the painting departs; empty where there is no number.

    For example ``12 % too wide``; where the size of the canvas is known ``4 mm (12 %) too wide``.
    """
    if measure.deviation is None:
        return ""
    amount, _ = rounded(abs(measure.deviation), measure.sigma or 0.0)
    unit = degrees(amount) if measure.unit == "degrees" else UNITS.get(measure.unit, measure.unit)
    told = f"{amount} {unit}"
    if measure.deviation_mm.value is not None:
        beside = f" ({told})" if float(amount) else ""
        amount, _ = in_mm(abs(measure.deviation_mm.value), measure.deviation_mm.sigma or 0.0)
        told = f"{amount} mm{beside}"
    return f"{told} {_way(measure.id, measure.deviation > 0)}" if float(amount) else "no difference"


def _way(measure_id: str, positive: bool) -> str:
    """Return the catalogue's words for the sign; a distance asked for with --between is too long or too short."""
    declared = CATALOGUE.get(measure_id) or HEADS.get(measure_id)
    if declared is None:
        return "too long" if positive else "too short"
    if declared.kind == "overlap":
        return "not shared"
    if declared.kind == "gap":
        return "apart at most"
    return declared.words[0 if positive else 1].removeprefix("painted ")


def called(measure: MeasureResult) -> str:
    """Return the call as it is printed."""
    return {"off": "OFF", "slight": "slightly off"}.get(measure.call, measure.call)


_USUAL_HEAD = (60.0, 600.0)
"""Heights of a painted head, mm, outside which the size of the canvas is asked about: a miniature is less, and so is a
canvas whose centimetres were given as millimetres (limner's choice)."""
_WHOLE_UNITS = {"percent": " %", "degrees": " degrees", "mm": " mm"}
_WHOLE_WAYS = {
    "place_x": ("toward picture right", "toward picture left"),
    "place_y": ("down", "up"),
    "size": ("too large", "too small"),
    "stretch": ("longer than wide", "wider than long"),
    "turn": ("to picture right", "to picture left"),
    "tip": ("up", "down"),
}


def of_whole(finding: WholeFinding) -> str:
    """Return one line for what concerns the whole: call, amount, give or take, and from what on it is said."""
    unit = _WHOLE_UNITS[finding.unit]
    doubt = rounded(finding.deviation, finding.sigma)[1]
    why = f" {finding.reason[0].upper()}{finding.reason[1:]}." if finding.reason else ""
    call = "OFF" if finding.call == "off" else finding.call
    return (
        f"{finding.name}: {call}, {painted_whole(finding)}, give or take {doubt}; "
        f"said from {finding.threshold:g}{unit} on ({finding.source}).{why}"
    )


def painted_whole(finding: WholeFinding) -> str:
    """Return how the whole departs, for example ``3 degrees to picture left``."""
    value = rounded(abs(finding.deviation), finding.sigma)[0]
    if float(value) == 0:
        return "no difference"
    way = _WHOLE_WAYS[finding.id][0 if finding.deviation > 0 else 1]
    if 22.5 <= abs(finding.axis or 0.0) <= 67.5:
        way = f"along a line whose top leans {abs(finding.axis or 0.0):.0f} degrees to picture "
        way += "right" if (finding.axis or 0.0) > 0 else "left"
    unit = f" {degrees(value)}" if finding.unit == "degrees" else _WHOLE_UNITS[finding.unit]
    return f"{value}{unit} {way}"


def doubt_of_whole(finding: WholeFinding) -> str:
    """Return what cannot be told and how wide its give or take is."""
    return f"{finding.name}, give or take {rounded(0.0, finding.sigma)[1]}{_WHOLE_UNITS[finding.unit]}"


def of_placement(found: PlacementReport) -> str:
    """Return where the head stands on the canvas, in mm, and where it was meant to."""
    (across, doubt), (down, _), (apart, _) = (
        rounded(q.value or 0.0, q.sigma or 0.0) for q in (found.eyes_x, found.eyes_y, found.pupils)
    )
    told = (
        f"The middle between the pupils lies {across} mm from the left edge and {down} mm from the top (give or take "
    )
    told += f"{doubt}), the pupils {apart} mm apart"
    if found.head_height.value is not None and found.head_height.sigma is not None:
        height, doubt = rounded(found.head_height.value, found.head_height.sigma)
        told += f"; the head is {height} mm high (give or take {doubt})"
        if not _USUAL_HEAD[0] <= found.head_height.value <= _USUAL_HEAD[1]:
            told += ", seldom so on a painted portrait: is the size of the canvas right, and its unit?"
    names = {"left": "at the left", "right": "at the right", "top": "above the head", "bottom": "below the chin"}
    room = [f"{mm:.0f} mm {names[edge]}" for edge, mm in found.room.items()]
    told += f". Room: {', '.join(room)}." if room else "."
    if found.meant_by is not None:
        meant = []
        if found.meant_eyes is not None:
            meant.append(f"{found.meant_eyes[0]:.0f} and {found.meant_eyes[1]:.0f} mm")
        if found.meant_pupils is not None:
            meant.append(f"pupils {found.meant_pupils:.1f} mm apart")
        told += f" Meant, {found.meant_by}: {', '.join(meant)}."
    return "Placement: " + told


def nothing_apart(one: Apart, result: AuditResult) -> str:
    """What is said of what is meant so and does not depart."""
    from limner.values.apart import of_values_only

    unread = result.values is None and of_values_only(one.id)
    return "values were not compared." if unread else "nothing departs there."


def set_apart(one: Apart, drawing: str, result: AuditResult) -> str:
    """How what is held or meant so departs: its drawing, as it was put in words, and its values."""
    parts = [*([f"{drawing}."] if drawing else []), *one.values]
    return " ".join(parts) if parts else nothing_apart(one, result)
