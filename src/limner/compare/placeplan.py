"""The head's place and size on the canvas as the first step of the plan: moved whole, so that no measure changes."""

from __future__ import annotations

import numpy as np

from limner.compare.corrections import PLACED
from limner.compare.wording import rounded
from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT
from limner.result import AuditResult, Correction, Quantity, WholeFinding

_NOTHING = Quantity(value=None, sigma=None)
_WAYS = {
    "place_x": ("toward picture left", "toward picture right"),
    "place_y": ("up", "down"),
    "size": ("smaller about the middle of the eyes", "larger about the middle of the eyes"),
}
"""Finding -> how it is mended where it is positive, and where it is negative."""


def placing(result: AuditResult) -> Correction | None:
    """The step that moves the whole head; ``None`` where its place and size are not off, or a part of it is held."""
    off = {f.id: f for f in result.whole if f.id in _WAYS and f.call == "off"}
    pitch = result.canvas.mm_per_px.value if result.canvas else None
    if not off or not pitch or result.scale.hold not in ("eyes", "head"):
        return None
    pupils = result.painting_points[[PUPIL_RIGHT, PUPIL_LEFT]]
    apart = float(np.linalg.norm(pupils[1] - pupils[0]))
    x, y = pupils.mean(axis=0)
    amounts = {id_: _back(off.get(id_)) for id_ in _WAYS}
    in_pupils = 1 / (pitch * apart)
    left = np.linalg.norm(result.should_be - result.painting_points, axis=1)[np.isfinite(result.point_sigma)]
    return Correction(
        step=1,
        level="placement",
        unit=PLACED,
        name="the head on the canvas",
        centre=(float(x), float(y)),
        dx=_times(amounts["place_x"], in_pupils),
        dy=_times(amounts["place_y"], in_pupils),
        dx_mm=amounts["place_x"],
        dy_mm=amounts["place_y"],
        along=amounts["size"],
        across=amounts["size"],
        turn=_NOTHING,
        remains=Quantity(
            value=float(np.sqrt(np.nanmean(left**2))) / apart, sigma=float(np.nanmean(result.point_sigma)) / apart
        ),
        text=_sentence(off, amounts),
        mends=(),
        left_off=len(result.off),
    )


def _back(finding: WholeFinding | None) -> Quantity:
    """What mends it: mm to picture right or down, or percent of the size it then loses or gains."""
    if finding is None:
        return _NOTHING
    amount = -finding.deviation
    if finding.id == "size":
        amount = 100 * amount / (100 + finding.deviation)
    return Quantity(value=amount, sigma=finding.sigma)


def _sentence(off: dict[str, WholeFinding], amounts: dict[str, Quantity]) -> str:
    parts, doubts = [], []
    for id_, (positive, negative) in _WAYS.items():
        if id_ not in off:
            continue
        much, doubt = rounded(abs(amounts[id_].value or 0.0), amounts[id_].sigma or 0.0)
        unit = "%" if id_ == "size" else "mm"
        parts.append(f"{much} {unit} {positive if off[id_].deviation > 0 else negative}")
        doubts.append(f"{doubt} {unit}")
    return f"The head, all of it: {', '.join(parts)} (give or take {', '.join(dict.fromkeys(doubts))})."


def _times(amount: Quantity, factor: float) -> Quantity:
    if amount.value is None or amount.sigma is None:
        return amount
    return Quantity(value=amount.value * factor, sigma=amount.sigma * factor)
