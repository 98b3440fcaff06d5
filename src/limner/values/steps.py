"""Regions too light or too dark, the range over the face, and light that falls unevenly."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.compare.calls import call_for
from limner.pictures.cielab import lab_of_light
from limner.settings import Stage
from limner.values.bring import UNIT
from limner.values.faces import Faces, is_flesh
from limner.values.medians import median, robust
from limner.values.regions import REGIONS, Region
from limner.valuesresult import Amount, RegionValue, ValueCall

Array = NDArray[np.float64]

STEP: dict[Stage, float] = {"block-in": 1.0, "glaze": 0.75, "colour": 0.5, "lights": 0.5, "finish": 0.5}
"""Steps from which a region is called off (our choice: half a value is the smallest step of the usual studio scales;
wider while the values are being found)."""
SOURCE = "our choice: half a step of value, wider in the first stages"

NOISE = 0.033
"""Steps of doubt that every region has. This and the two below were fitted to planted values by bench/values.py on six
faces and checked on six others, see docs/values.md; SCATTER was set beforehand."""
BUSY = 0.0028
"""Pupil distances by which the correspondence may be off: doubt in proportion to how steeply the values run there."""
MIXED = 0.376
"""Share of the spread of painted less seen within a region that its middle is doubted by."""
SCATTER = 0.3
"""Share of the scatter between the regions of this painting that each of them is doubted by (our choice)."""
STEEP = 0.15
"""Pupil distances: how much less say in the range a region has, the more steeply its values run (our choice)."""
MOST_LOST = 0.3
"""Share of a region without anything in it, above which it is not judged (our choice)."""
BROAD = 300
"""px of the working frame below which a region is not asked of a block-in (our choice: 0.16 of an eye distance
square)."""
FEWEST_HELD = 12
"""px of a region that must be held for the rest of it to be left out."""
_BEND = 0.35
"""Steps from which on a region has less say in the range."""
_PRIOR = 0.35
"""How far the range is taken to be off at most before anything is seen: one sigma of the slope."""


@dataclass(frozen=True, kw_only=True)
class Range:
    """The straight line from the sitter's values to the painted ones that most of the face keeps to."""

    slope: float
    middle: float
    """The sitter's value at which it was laid."""
    offset: float
    """Painted less seen there."""
    sigma: float
    """Of the slope."""
    scatter: float
    """Robust spread of the regions about it, steps."""

    def at(self, reference: Array) -> Array:
        """What would be painted for a value seen."""
        return np.asarray(self.middle + self.offset + self.slope * (np.asarray(reference) - self.middle))

    def undone(self, painting: NDArray[np.float32]) -> NDArray[np.float32]:
        """Painted values brought back to the sitter's range; any shape."""
        back = (painting - (self.middle + self.offset)) / max(self.slope, 0.2) + self.middle
        return np.asarray(back, dtype=np.float32)


@dataclass(frozen=True, kw_only=True)
class Reading:
    """What was read of one region."""

    region: Region
    reference: float
    painting: float
    difference: float
    steep: float
    """Steps per pupil distance: how steeply the reference runs over the region as a whole..."""
    busy: float
    """...and at its places, whichever way, in the mean."""
    mixed: float
    """Robust spread of painted less seen within the region, steps."""
    count: int
    lost: tuple[float, float]
    labs: tuple[Array, Array]
    colour_held: bool
    """Whether its colour can be told: flesh, and no colour of the photo's light burnt out."""


def read_regions(faces: Faces) -> list[Reading]:
    """The values of every region; where much is lost, of what is left."""
    slopes = [cv2.Sobel(faces.aim, cv2.CV_32F, *way, scale=UNIT / 8) for way in ((1, 0), (0, 1))]
    gx, gy, busy = (np.asarray(plane).ravel() for plane in (*slopes, cv2.magnitude(*slopes)))
    aim, painting = faces.aim.ravel(), faces.painting.ravel()
    held, partly = faces.held.ravel(), faces.brought.partly.ravel()
    every, lights = faces.places, (faces.brought.reference, faces.matched.painting)
    kept = faces.brought.sitter.kept
    lost = [
        kept.made("lost", lambda: every.means(faces.brought.lost_reference.ravel())),
        every.means(faces.brought.lost_painting.ravel()),
    ]
    there = held[every.at]
    few = np.bincount(every.owner, there, len(every.ids)) < FEWEST_HELD
    used = every if there.all() else every.part(there | few[every.owner])
    seen, painted = used.split(aim[used.at]), used.split(painting[used.at])
    steep = np.hypot(used.means(gx), used.means(gy))
    slope, gone = used.means(busy), every.means(partly)
    labs = [lab_of_light(used.mean_light(light)) for light in lights]
    whole = kept.made("region labs", lambda: lab_of_light(every.mean_light(lights[0])))
    out = []
    for k, id_ in enumerate(every.ids):
        apart = painted[k] - seen[k]
        middle = median(apart)
        out.append(
            Reading(
                region=REGIONS[id_],
                reference=median(seen[k]),
                painting=median(painted[k]),
                difference=middle,
                steep=float(steep[k]),
                busy=float(slope[k]),
                mixed=robust(apart - middle),
                count=len(apart),
                lost=(float(lost[0][k]), float(lost[1][k])),
                labs=(labs[0][k], labs[1][k]),
                colour_held=REGIONS[id_].kind == "flesh"
                and float(gone[k]) <= MOST_LOST
                and is_flesh(whole[k], faces.flesh_lab),
            )
        )
    return out


def fit_range(readings: list[Reading]) -> Range:
    """Lay the line by which most of the face was painted; regions far from it have no say (Tukey's biweight)."""
    held = [r for r in readings if max(r.lost) <= MOST_LOST and r.region.kind != "eye"]
    if len(held) < 8:
        return Range(slope=1.0, middle=5.0, offset=0.0, sigma=_PRIOR, scatter=0.3)
    x = np.array([r.reference for r in held])
    y = np.array([r.difference for r in held])
    size = np.sqrt(np.minimum([r.count for r in held], 900)) / (1 + np.array([r.steep for r in held]) * STEEP)
    middle = _mean(x, size)
    offset, tilt, spread = float(_weighted_median(y, size)), 0.0, 0.5
    weight = size
    for _ in range(12):
        rest = y - offset - tilt * (x - middle)
        spread = float(1.4826 * _weighted_median(np.abs(rest), size))
        reach = max(_BEND, 3.5 * spread)
        weight = size * np.square(np.maximum(0, 1 - np.square(rest / reach)))
        noise = max(spread, NOISE) ** 2 * size.mean()
        middles = _mean(x, weight), _mean(y, weight)
        across, down = x - middles[0], y - middles[1]
        tilt = float((weight * across * down).sum() / ((weight * across**2).sum() + noise / _PRIOR**2))
        offset = middles[1] + tilt * (middle - middles[0])
    noise = max(spread, NOISE) ** 2 * size.mean()
    sigma = float(np.sqrt(noise / ((weight * (x - middle) ** 2).sum() + noise / _PRIOR**2)))
    return Range(slope=1 + tilt, middle=middle, offset=offset, sigma=sigma, scatter=spread)


def judge(
    readings: list[Reading],
    whole: Range,
    *,
    stage: Stage,
    strict: float,
    uneven: Array | None,
    centres: dict[str, tuple[float, float]],
) -> list[RegionValue]:
    """Call every region; ``uneven`` is the fall of the light, stops per px of the frame to the right and down."""
    out = []
    threshold = strict * STEP[stage]
    for r in readings:
        local = r.difference - float(whole.at(np.array(r.reference)) - r.reference)
        lean = abs(r.reference - whole.middle) * whole.sigma
        parts = (NOISE, BUSY * r.busy, MIXED * r.mixed, SCATTER * min(whole.scatter, 0.5), lean)
        sigma = float(np.linalg.norm(parts))
        if uneven is not None:
            x, y = centres[r.region.id]
            # A stop is a bit over a step and a half in the middle values; the lamp may own all of it.
            sigma = float(np.hypot(sigma, 0.5 * 1.6 * abs(float(uneven @ (x - 1.5 * UNIT, y - 2.0 * UNIT)))))
        call, reason = _called(r, local, sigma, threshold)
        if stage == "block-in" and reason is None and (r.region.kind != "flesh" or r.count < BROAD):
            call, reason = "unsure", "it is too small for the broad brush of a block-in"
        out.append(
            RegionValue(
                id=r.region.id,
                name=r.region.name,
                reference=r.reference,
                painting=r.painting,
                difference=Amount(value=r.difference, sigma=sigma),
                local=Amount(value=local, sigma=sigma),
                threshold=threshold,
                call=call,
                reason=reason,
                lost_reference=r.lost[0],
                lost_painting=r.lost[1],
                reference_lab=_triple(r.labs[0]),
                painting_lab=_triple(r.labs[1]),
                colour_difference=None,
                warmth=Amount(value=None, sigma=None),
            )
        )
    return out


def _called(r: Reading, local: float, sigma: float, threshold: float) -> tuple[ValueCall, str | None]:
    if r.lost[0] > MOST_LOST:
        return "unsure", "the reference holds nothing here: it is burnt out or blocked up"
    if r.lost[1] > MOST_LOST:
        return "unsure", "the photo of the canvas is burnt out or blocked up here: take it darker or lighter"
    told = call_for(local, sigma, threshold)
    if told == "unsure":
        return "unsure", "the values run too steeply or too mixed, or the light too unevenly, to tell"
    return ("off" if told == "off" else "slight" if told == "slight" else "true"), None


def uneven_light(faces: Faces) -> tuple[Array, float]:
    """How the light falls off over the painting: a plane laid through the logarithm of painted over seen light.

    Returns:
        (2,) array, stops per px of the frame to the right and down, and the sigma of the fall over two pupil distances.
    """
    rows, columns = np.nonzero((faces.flesh & faces.held)[::4, ::4])
    if len(rows) < 60:
        return np.zeros(2), 0.2
    y, x = rows * 4, columns * 4
    seen, painted = (np.maximum(light[y, x, 1], 1e-4) for light in (faces.brought.reference, faces.matched.painting))
    stops = np.log2(painted / seen)
    tone = faces.reference[y, x]
    design = np.stack([np.ones(len(x)), (x - x.mean()) / UNIT, (y - y.mean()) / UNIT, tone - tone.mean()])
    squared = np.ones(len(x))
    solved, spread = np.zeros(4), 0.3
    for _ in range(8):
        weighted = design * squared
        solved = np.linalg.lstsq(weighted @ design.T, weighted @ stops, rcond=None)[0]
        rest = stops - solved @ design
        spread = robust(rest)
        squared = np.square(1 / np.maximum(1, np.abs(rest) / max(1.2 * spread, 0.03)))
    # Neighbouring places err together: about one free reading in each patch of 0.3 pupil distances.
    free = max(len(x) * 16 / (0.3 * UNIT) ** 2, 6)
    return np.asarray(solved[1:3]) / UNIT, float(2 * spread / np.sqrt(free) / 0.6)


def in_steps(steps: float) -> str:
    """A number of steps in words.

    >>> in_steps(-0.62), in_steps(1.24)
    ('0.6 of a step', '1.2 steps')
    """
    size = f"{abs(steps):.1f}"
    return f"{size} of a step" if float(size) < 1 else f"{size} steps"


def glare_share(faces: Faces, even: NDArray[np.float32]) -> float:
    """Share of the flesh where wet paint seems to shine: far lighter than the form asks for, nearly without colour.

    ``even``: the painted values in the sitter's range.
    """
    shines = faces.flesh & (even - faces.reference > 1.5)
    light = faces.matched.painting[shines]
    grey = light.min(axis=1) > 0.75 * light.max(axis=1) if len(light) else np.zeros(0, bool)
    return float(grey.sum()) / max(int(np.count_nonzero(faces.flesh)), 1)


def _mean(values: Array, weight: Array) -> float:
    return float(values @ weight / weight.sum())


def _weighted_median(values: Array, weight: Array) -> float:
    order = np.argsort(values)
    summed = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(summed, summed[-1] / 2)])


def _triple(lab: Array) -> tuple[float, float, float]:
    return float(lab[0]), float(lab[1]), float(lab[2])
