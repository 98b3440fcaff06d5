"""What is said of the surface of the paint: wet, dry or oiled out, and what moved with the lamp."""

from __future__ import annotations

from collections.abc import Mapping

from limner.settings import State
from limner.values.faces import Shine

SAYS: Mapping[State, str] = {
    "wet": "Photographed wet: ridges of wet paint shine, and small lights may be shine.",
    "dry": "Photographed dry: darks that have sunk in read lighter than they are until they are oiled out.",
    "oiled": "Photographed oiled out: the darks read as deep as they are; the oil may shine.",
}
"""Common practice, no source."""
IN_WORDS: Mapping[State, str] = {"wet": "wet", "dry": "dry", "oiled": "oiled out"}


def surface_notes(shine: Shine | None, state: State | None) -> list[str]:
    """What is to be known of the surface before reading on."""
    out = []
    if shine is not None:
        photos, glints = len(shine.photos) + 1, len(shine.glints)
        moved = "no small light" if not glints else "one small light" if glints == 1 else f"{glints} small lights"
        text = f"{photos} photos taken together: {moved} moved with the lamp and left out as shine"
        if shine.repeatability.value is not None:
            text += f"; a region's value repeats to {1.96 * shine.repeatability.value:.2f} of a step, give or take"
        out.append(text + ".")
    if state is not None and (shine is None or state == "dry"):
        out.append(SAYS[state])
    return out
