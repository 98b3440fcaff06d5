"""Lights and shadows as families: too strong or too weak, scattered, not holding together, half-tones missing."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.compare.calls import call_for
from limner.settings import Stage
from limner.values import mend
from limner.values.boxes import box_of, reach, softened_in
from limner.values.bring import UNIT
from limner.values.edges import plain
from limner.values.faces import Faces, Plane, all_within
from limner.values.masses import softened
from limner.values.medians import median, quantiles, robust
from limner.values.regions import REGIONS
from limner.values.steps import STEP, Range, in_steps
from limner.valuesresult import Amount, FindingKind, Highlight, ValueCall, ValueFinding, ValuePlan

Array = NDArray[np.float64]

FAMILY = 0.15
"""Share of the face that is looked at as its lights, and as its darks (our choice)."""
NO_STRIP = "the phone's tone curve is not known; a photographed value strip would settle it"
LEAST_STEPS = 0.7
"""Steps the sitter's lights must run through before anything is asked of them (our choice)."""
FLAT_LIGHTS = 0.4
"""Share of them that may be wanting, or too much (our choice)."""
SMALL = 0.2
"""Pupil distances: what is narrower than this is a small light (our choice)."""
HEIGHT = 0.33
"""Least height of a small light above its surroundings, steps (our choice)."""
ABOVE_TEXTURE = 4.5
"""The same in robust standard deviations of the paint's own texture."""
BUMP = 0.45
"""Share of that height it must have against its near surroundings too (our choice)."""
FORM = 0.08
"""Gaussian, pupil distances, that leaves of the form what runs broadly (our choice)."""
CALM = 0.012
"""Gaussian over the paint, pupil distances: single strokes are finer than the least light."""
LEAST_AREA, MOST_AREA = 0.0012, 0.04
"""Squared pupil distances (our choice)."""
ALLOWED = 2
"""So many scattered highlights are a call of slight; more are off (our choice)."""


def families(faces: Faces, stage: Stage, strict: float) -> list[ValueFinding]:
    """The lights and the darks of the face as a whole, against its middle values."""
    seen, painted, ordered = faces.seen, faces.painting.ravel()[faces.readable], faces.ordered
    if len(seen) < 500 or float(np.ptp(quantiles(ordered, (0.05, 0.95)))) < 0.8:
        return []
    low, a, b, high = quantiles(ordered, (FAMILY, 0.35, 0.65, 1 - FAMILY))
    middle = (seen >= a) & (seen <= b)
    rest = painted - seen
    base = median(rest[middle])
    out = []
    for which, part in (("lights", seen >= high), ("darks", seen <= low)):
        own = median(rest[part])
        excess, spread = own - base, robust(rest[part] - own)
        out.append(
            _family(which, excess, float(np.hypot(0.1, spread / 4)), faces.matched.tone_known, strict * STEP[stage])
        )
    return out


def _family(which: str, excess: float, sigma: float, tone_known: bool, threshold: float) -> ValueFinding:
    kind: FindingKind = "lights" if which == "lights" else "darks"
    name = "lights" if which == "lights" else "shadows"
    call = plain(call_for(excess, sigma, threshold))
    unsure = call in ("off", "slight") and not tone_known
    strength = {"lights": ("strong", "weak"), "shadows": ("light", "dark")}[name][0 if excess > 0 else 1]
    text = f"The {name} as a whole read {in_steps(excess)} too {strength} against the half-tones"
    text += f", give or take {1.96 * sigma:.1f}"
    text += f"; unsure: {NO_STRIP}." if unsure else "."
    paint = mend.for_value(excess)
    return ValueFinding(
        kind=kind,
        region=None,
        amount=Amount(value=excess, sigma=sigma),
        unit="steps",
        call="unsure" if unsure else call,
        threshold=threshold,
        source="our choice: as for a region",
        text=text,
        paint=paint,
        mend=mend.SAYS[paint],
    )


def light_steps(faces: Faces, plan: ValuePlan, even: Plane, strict: float) -> list[ValueFinding]:
    """The steps within the lights: whether the form turns in them as it does on the sitter, or is painted flat.

    ``even``: the painted values in the sitter's range.
    """
    lights = faces.flesh & faces.held & (faces.reference >= plan.thresholds[0])
    count = int(np.count_nonzero(lights))
    if count < 2000:
        return []
    seen, painted = (soft[::7] for soft in all_within((faces.reference, even), lights, 0.06))
    low, high = quantiles(np.sort(seen), (0.1, 0.9))
    if high - low < LEAST_STEPS:
        return []
    x, y = seen - median(seen), painted - median(painted)
    weight, share, spread = np.ones(len(x)), 1.0, 0.1
    for _ in range(6):
        share = float((weight * x * y).sum() / (weight * x * x).sum())
        rest = np.abs(y - share * x)
        spread = 1.4826 * median(rest)
        weight = 1 / np.maximum(1, rest / max(1.5 * spread, 0.05))
    # Neighbouring places err together: about one free reading in each patch of 0.3 pupil distances.
    free = max(count / (0.3 * UNIT) ** 2, 4)
    sigma = float(np.hypot(0.05, spread / float(np.std(x)) / np.sqrt(free)))
    return [_within(share, sigma, float(high - low), faces.matched.tone_known, strict)]


def _within(share: float, sigma: float, span: float, tone_known: bool, strict: float) -> ValueFinding:
    percent, threshold = 100 * (share - 1), 100 * strict * FLAT_LIGHTS
    told = plain(call_for(percent, 100 * sigma, threshold))
    unsure = told in ("off", "slight") and not tone_known
    text = (
        f"Within the lights the painted values run through {in_steps(max(share, 0.0) * span)}, the sitter's "
        f"through {in_steps(span)}, give or take {1.96 * sigma * span:.1f}"
    )
    return ValueFinding(
        kind="light steps",
        region=None,
        amount=Amount(value=percent, sigma=100 * sigma),
        unit="percent",
        call="unsure" if unsure else told,
        threshold=threshold,
        source="our choice",
        text=text + (f"; unsure: {NO_STRIP}." if unsure else "."),
        paint="either",
        mend="Turn the form within the lights: glaze down the planes that turn away, keep the lightest for one place."
        if share < 1
        else "Bring the lights nearer to each other: glaze the lightest, scumble over the darkest.",
    )


def small_lights(plane: Plane) -> Plane:
    """How far every place stands above what is left when all that is narrower than :data:`SMALL` is taken off."""
    lowest = _over_disc(plane, cv2.erode, cv2.min)
    return np.asarray(plane - _over_disc(lowest, cv2.dilate, cv2.max), dtype=np.float32)


def _over_disc(plane: Plane, over: Callable[..., Any], best: Callable[..., Any]) -> Plane:
    """The lowest (or the highest) value of a disc about every place.

    A disc is many upright boxes over each other, each a little wider and less tall than the last: what the wide ones
    have in common is gone through once.
    """
    across = 2 * round(SMALL * UNIT / 2) + 1
    rows = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (across, across)).sum(axis=1, dtype=int)
    tall, out, height, before = plane, plane, 1, 0
    for width in np.unique(rows)[::-1]:
        taller = int((rows >= width).sum())
        tall = over(tall, np.ones((taller - height + 1, 1), np.uint8))
        out = best(over(out, np.ones((1, before - width + 1), np.uint8)), tall) if before else tall
        height, before = taller, int(width)
    return np.asarray(over(out, np.ones((1, before), np.uint8)))


def scattered(faces: Faces, whole: Range) -> tuple[Highlight, ...]:
    """Small lights in the painting's flesh that the sitter does not have, largest first."""
    kept = faces.brought.sitter.kept
    box = kept.made("near the flesh", lambda: box_of(faces.flesh, reach(FORM)))
    # As far round the flesh as what is asked there takes in.
    reference, level = faces.reference[box], whole.undone(softened_in(faces.painting, CALM, box))
    painted, seen = small_lights(level), kept.made("small lights", lambda: small_lights(reference))
    flesh = faces.flesh[box]
    if np.count_nonzero(flesh) < 500:
        return ()
    held = flesh & faces.held[box]  # what is burnt out is smooth, and says nothing of how the paint lies
    if np.count_nonzero(held) < 0.25 * np.count_nonzero(flesh):
        return ()
    paint = painted[held]
    texture = robust(paint - median(paint))
    least = max(HEIGHT, ABOVE_TEXTURE * texture)
    near = np.ones((2 * round(0.05 * UNIT) + 1,) * 2, np.uint8)
    expected = np.asarray(cv2.dilate(seen, near))
    # Lights of the sitter's own that are only painted stronger, all of them, belong to the lights and not here.
    own = flesh & (seen > 0.5 * HEIGHT)
    times = painted[own] / seen[own]
    stronger = float(np.clip(np.quantile(times, 0.6), 1.0, 2.5)) if len(times) > 200 else 1.0
    wanted = expected * np.where(expected > 0.5 * HEIGHT, 1.15 * stronger, stronger)
    over = (painted - wanted > 0.5 * least) & (painted > BUMP * least) & flesh
    # On the slope of a form a light does not stand above all that is round it, but above what the sitter has there.
    apart = small_lights(level - reference)
    sloped = (apart > least) & flesh
    some = box_of(sloped, 0)
    bump = level[some] - softened_in(level, FORM, some)
    sitters = kept.made("bumps", lambda: np.maximum(cv2.dilate(reference - softened(reference, FORM), near), 0))
    sloped[some] &= bump - stronger * sitters[some] > BUMP * least
    painted, over = np.where(sloped, np.maximum(painted, 1.3 * apart), painted), over | sloped
    count, labels, stats, centres = cv2.connectedComponentsWithStats(over.view(np.uint8), connectivity=8)
    out = []
    for k in range(1, count):
        area = float(stats[k, cv2.CC_STAT_AREA]) / UNIT**2
        if not LEAST_AREA <= area <= MOST_AREA:
            continue
        peak = float(painted[labels == k].max())
        if peak < least:
            continue
        x, y = (float(v) + side.start for v, side in zip(centres[k], reversed(box), strict=True))
        region = REGIONS[faces.regions_at(np.array([[x, y]]))[0]].name
        out.append(Highlight(place=faces.in_painting(x, y), region=region, area=area, height=peak))
    return tuple(sorted(out, key=lambda light: -light.area * light.height))


def scattered_finding(highlights: tuple[Highlight, ...], strict: float, *, lamps: bool = False) -> list[ValueFinding]:
    """The scattered highlights as one finding; ``lamps``: only those are left that stay where the lamp moves."""
    if not highlights:
        return []
    count = len(highlights)
    where = list(dict.fromkeys(light.region for light in highlights))
    named = ", ".join(where[:3]) + (f" and {len(where) - 3} more" if len(where) > 3 else "")
    many = "One small light stands" if count == 1 else f"{count} small lights stand"
    told = "Wet ridges shine so too: a photo with the lamp moved tells (--lamp)."
    if lamps:
        told = "Where the lamp moves, what shines moves too; this stays, and is paint."
    text = f"{many} above the form where the sitter has none: {named}. {told}"
    return [
        ValueFinding(
            kind="scattered highlights",
            region=None,
            amount=Amount(value=float(count), sigma=None),
            unit="small lights",
            call="off" if count > ALLOWED * strict else "slight",
            threshold=ALLOWED * strict,
            source="our choice",
            text=text,
            paint="glaze",
            mend="Knock them back with a thin glaze of the colour round them, or wipe them out while wet.",
            place=highlights[0].place,
        )
    ]


def half_tones(plan: ValuePlan, stage: Stage) -> list[ValueFinding]:
    """Whether the half-tones are there; never asked of a block-in."""
    middle = plan.masses[1]
    if stage == "block-in" or middle.reference_share < 0.15:
        return []
    share = middle.painting_share / middle.reference_share
    call: ValueCall = "off" if share < 0.5 else "slight" if share < 0.65 else "true"
    return [
        ValueFinding(
            kind="half-tones missing",
            region=None,
            amount=Amount(value=100 * (share - 1), sigma=None),
            unit="percent",
            call=call,
            threshold=50.0,
            source="our choice: half of what the sitter has",
            text=f"Half-tones cover {100 * middle.painting_share:.0f} % of the face where the sitter has "
            f"{100 * middle.reference_share:.0f} %.",
            paint="scumble",
            mend="Lay half-tones between light and shadow: a glaze over the light, a scumble over the dark.",
        )
    ]


def shadows_apart(faces: Faces, plan: ValuePlan, even: Plane) -> list[ValueFinding]:
    """Whether the shadows hold together as one mass, or are broken by lights and darks the sitter does not have.

    ``even``: as for :func:`light_steps`.
    """
    shadow = faces.flesh & faces.held & (faces.reference < plan.thresholds[0])
    shadow = np.asarray(cv2.erode(shadow.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0)
    if np.count_nonzero(shadow) < max(0.08 * np.count_nonzero(faces.flesh), 400):
        return []
    broken = []
    planes = (faces.reference, even)
    for near, far in zip(*(all_within(planes, shadow, width) for width in (0.04, 0.22)), strict=True):
        broken.append(float(np.std(near - far)))
    excess = broken[1] - broken[0]
    call: ValueCall = "off" if excess > 0.3 else "slight" if excess > 0.2 else "true"
    text = (
        f"Within the shadows the paint varies by {broken[1]:.1f} of a step where the sitter's vary by {broken[0]:.1f}: "
        "they do not hold together as one mass."
    )
    return [
        ValueFinding(
            kind="shadows apart",
            region=None,
            amount=Amount(value=excess, sigma=0.08),
            unit="steps",
            call=call,
            threshold=0.3,
            source="our choice",
            text=text if call != "true" else "The shadows hold together as the sitter's do.",
            paint="glaze",
            mend="One transparent glaze over the whole shadow draws it together.",
        )
    ]
