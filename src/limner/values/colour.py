"""Colour after the values: zone by zone against its own surroundings, with the overall cast set apart."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limner.compare.calls import call_for
from limner.compare.stage import ONE_COLOUR, chroma_scatter
from limner.pictures.cielab import lab_of_light
from limner.values import mend
from limner.values.boxes import box_of, softened_in
from limner.values.faces import Faces
from limner.values.medians import median, quantiles
from limner.values.regions import REGIONS
from limner.values.steps import MOST_LOST
from limner.values.tone import ciede2000
from limner.valuesresult import Amount, RegionValue, ValueCall, ValueFinding

Array = NDArray[np.float64]

NOTICED = 4.0
"""CIE L*a*b* units along red-green or yellow-blue by which a zone departs from its surroundings more or less than the
sitter's (our choice; side by side about 1 of a* and b* is seen, a photograph and a painting ask for a wider bar)."""
SOURCE = "our choice"
NOISE = 1.1
"""One-sigma doubt of a zone's a* or b* against its surroundings; fitted to faithful copies, see docs/values.md."""
FLAT, FLAT_SLIGHT = 0.6, 0.75
"""Share of the sitter's differences of colour between zones below which a painting is too even (our choice)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Colours:
    """What the zones have in common."""

    strength: float
    """Painted differences of colour between zones for those seen."""
    sigma: float
    rest: dict[str, Array]
    """Zone -> (2,) array: a* and b* more than the sitter's, without cast and strength."""


def is_monochrome(faces: Faces) -> bool:
    """Whether the painting is in one colour, so that nothing can be said of colour."""
    box = box_of(faces.outline, 0)
    soft = softened_in(faces.matched.painting, 0.05, box)
    rows, columns = np.nonzero(faces.outline[box])
    some = slice(None, None, max(len(rows) // 1500, 1))
    return chroma_scatter(lab_of_light(soft[rows[some], columns[some]].astype(np.float64))) < ONE_COLOUR / 1.25


def colours(regions: list[RegionValue], held: set[str]) -> Colours | None:
    """Take cast and strength out of the colour of the zones in ``held``; ``None`` where too few are left."""
    used = [r for r in regions if r.id in held and max(r.lost_reference, r.lost_painting) <= MOST_LOST]
    if len(used) < 8:
        return None
    seen = np.array([r.reference_lab[1:] for r in used])
    painted = np.array([r.painting_lab[1:] for r in used])
    x, y = seen - np.median(seen, axis=0), painted - np.median(painted, axis=0)
    weight, strength, sigma = np.ones(len(x)), 1.0, 0.3
    for _ in range(8):
        # A zone without colour of its own says nothing of strength: a little of the plain 1 is kept.
        strength = float(((weight[:, None] * x * y).sum() + 8.0) / ((weight[:, None] * x * x).sum() + 8.0))
        rest = np.hypot(*(y - strength * x).T)
        spread = max(1.4826 * median(rest) / 1.5, 0.5)
        weight = 1 / np.maximum(1, rest / (1.5 * spread))
        sigma = float(spread / np.sqrt((weight[:, None] * x * x).sum() + 8.0))
    strength = float(np.clip(strength, 0.1, 2.5))
    offset = np.median(painted - strength * seen, axis=0)
    # Only too little strength is told as a whole; each zone is judged with what is in common taken out.
    rest_of = {r.id: np.array(r.painting_lab[1:]) - strength * np.array(r.reference_lab[1:]) - offset for r in used}
    return Colours(strength=strength, sigma=sigma, rest=rest_of)


def with_colour(regions: list[RegionValue], found: Colours) -> list[RegionValue]:
    """The regions with their difference of colour and their warmth against their surroundings."""
    told = [r for r in regions if r.id in found.rest]
    seen = np.array([r.reference_lab for r in told])
    lighter = np.array([10 * (r.local.value or 0.0) for r in told])
    painted = seen + np.column_stack([lighter, np.array([found.rest[r.id] for r in told])])
    apart = {r.id: float(v) for r, v in zip(told, ciede2000(seen, painted), strict=True)}
    out = []
    for r in regions:
        if r.id not in apart:
            out.append(r)
            continue
        own = against_surroundings(r.id, found)
        warm = (
            Amount(value=None, sigma=None) if own is None else Amount(value=float(own.sum() / np.sqrt(2)), sigma=NOISE)
        )
        out.append(replace(r, colour_difference=apart[r.id], warmth=warm))
    return out


def against_surroundings(zone: str, found: Colours) -> Array | None:
    """(2,) array: a* and b* by which a zone departs from those round it more than the sitter's does."""
    near = [found.rest[id_] for id_ in REGIONS[zone].near if id_ in found.rest]
    if not near or zone not in found.rest:
        return None
    return np.asarray(found.rest[zone] - np.mean(near, axis=0))


def colour_findings(faces: Faces, regions: list[RegionValue], found: Colours, strict: float) -> list[ValueFinding]:
    """Zones too warm, cool, red, green, yellow, blue or grey; the skin too even; lights against shadows."""
    out = [finding for r in regions if (finding := _zone(faces, r, found, strict)) is not None]
    out.append(_evenness(found))
    warm = _lights_against_shadows(faces, strict)
    return [*out, *([warm] if warm else [])]


def _zone(faces: Faces, r: RegionValue, found: Colours, strict: float) -> ValueFinding | None:
    own = against_surroundings(r.id, found)
    if own is None or r.id == "neck" or faces.places.count(r.id) < 100:
        return None
    # Zone and surroundings must both differ from the sitter's for it to be this zone's own.
    size = min(float(np.hypot(*own)), 1.2 * float(np.hypot(*found.rest[r.id])))
    sigma, threshold = NOISE, strict * NOTICED
    call = _plain(call_for(size, sigma, threshold))
    words = _named(own, np.array(r.reference_lab[1:]))
    stronger = words.startswith("stronger") and size > 1.5 * threshold
    return ValueFinding(
        kind="accent" if stronger else "colour",
        region=r.id,
        amount=Amount(value=size, sigma=sigma),
        unit="CIE L*a*b*",
        call=call,
        threshold=threshold,
        source=SOURCE,
        text=f"The {r.name} is painted {words} than it is, against the parts round it.",
        paint="either",
        mend=mend.SAYS["either"],
        place=faces.in_painting(*faces.centres[r.id]),
    )


def _named(own: Array, seen: Array) -> str:
    """Words for a departure in a* and b*, beside the sitter's own colour there.

    >>> _named(np.array([0.0, 6.0]), np.array([12.0, 2.0]))
    'warmer (yellower)'
    >>> _named(np.array([-5.0, -6.0]), np.array([10.0, 12.0]))
    'greyer'
    """
    strength = float(own @ seen) / max(float(np.hypot(*seen)) * float(np.hypot(*own)), 1e-6)
    if strength < -0.9:
        return "greyer"
    if strength > 0.9:
        return "stronger in colour and warmer" if own.sum() > 0 else "stronger in colour"
    a, b = float(own[0]), float(own[1])
    hue = ("redder" if a > 0 else "greener") if abs(a) >= abs(b) else ("yellower" if b > 0 else "bluer")
    return f"{'warmer' if a + b > 0 else 'cooler'} ({hue})"


def _evenness(found: Colours) -> ValueFinding:
    call: ValueCall = "off" if found.strength < FLAT else "slight" if found.strength < FLAT_SLIGHT else "true"
    if call != "true" and 1.96 * found.sigma > 0.4:
        call = "unsure"
    percent = 100 * found.strength
    return ValueFinding(
        kind="flat colour",
        region=None,
        amount=Amount(value=100 * (found.strength - 1), sigma=100 * found.sigma),
        unit="percent",
        call=call,
        threshold=100 * (1 - FLAT),
        source=SOURCE,
        text=f"The skin is too even in colour: differences between its parts are {percent:.0f} % of the sitter's."
        if call != "true"
        else f"Differences of colour between the parts of the skin are {percent:.0f} % of the sitter's.",
        paint="either",
        mend="Turn the warm and the cool parts apart with thin glazes, each toward the sitter's.",
    )


def _lights_against_shadows(faces: Faces, strict: float) -> ValueFinding | None:
    """Warmth of the lights against that of the shadows, painted and seen."""
    at, seen, ordered = faces.readable, faces.seen, faces.ordered
    known = ~faces.brought.partly.ravel()[at]
    if not known.all():
        at, seen = at[known], seen[known]
        ordered = np.sort(seen)
    if len(seen) < 0.5 * np.count_nonzero(faces.flesh):
        return None
    low, high = quantiles(ordered, (0.2, 0.8))
    if high - low < 0.8:
        return None
    apart = []
    parts = [at[seen >= high], at[seen <= low]]
    for light in (faces.brought.reference, faces.matched.painting):
        means = (np.take(light.reshape(-1, 3), part, axis=0).mean(axis=0, dtype=np.float64) for part in parts)
        lit, dark = (lab_of_light(mean)[1:].sum() / np.sqrt(2) for mean in means)
        apart.append(float(lit - dark))
    more, threshold = apart[1] - apart[0], strict * 1.5 * NOTICED
    return ValueFinding(
        kind="warm and cool",
        region=None,
        amount=Amount(value=more, sigma=2.0),
        unit="CIE L*a*b*",
        call=_plain(call_for(more, 2.0, threshold)),
        threshold=threshold,
        source=SOURCE,
        text=f"The lights are {'warmer' if more > 0 else 'cooler'} against the shadows than the sitter's.",
        paint="either",
        mend=mend.SAYS["either"],
    )


def _plain(call: str) -> ValueCall:
    return "off" if call == "off" else "slight" if call == "slight" else "true" if call == "true" else "unsure"
