"""Photos of one painting with the lamp moved, taken together: glints move with the lamp, paint stays.

Each further photo is brought into the frame of the first and to its exposure; broad differences of light, wider than
:data:`BROAD`, are the lamp's and are taken out. What is left apart from place to place is shine.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.errors import UsageError
from limner.pictures.cielab import luminance
from limner.values.bring import UNIT, Brought, sampled
from limner.values.faces import Shine, softened_within, values_of
from limner.values.lights import HEIGHT, LEAST_AREA
from limner.values.regions import region_masks
from limner.valuesresult import Amount

Array = NDArray[np.float64]
Light = NDArray[np.float32]
Mask = NDArray[np.bool_]

BROAD = 0.5
"""Gaussian, pupil distances: light that changes no faster than this from photo to photo is the lamp's (our choice)."""
APART = 0.3
"""Steps of value from which two photos of one place are taken to differ by shine, not by noise (our choice)."""
SLACK = 0.012
"""Pupil distances by which two photos may lie beside each other: at an edge of tone they differ by so much of its
slope without any shine (our choice)."""
MOST_OTHER = 0.1
"""Share of the flesh that may differ between two photos of one painting (our choice)."""
_LEAST = np.float32(1e-4)


@dataclass(frozen=True, kw_only=True, eq=False)
class LampPhoto:
    """A further photo of the same painting, and where the first lies in it."""

    name: str
    pixels: NDArray[np.uint8]
    """(H, W, 3) array, sRGB."""
    matrix: Array
    """(3, 3) array: px of the first photo to px of this one, homogeneous."""


def together(brought: Brought, photos: Sequence[LampPhoto], flesh: Mask) -> tuple[Brought, Shine]:
    """The painting with the glints taken out, in the exposure and the light of the first photo, and what they were.

    Shine only adds light: where the photos differ, the darkest reading of a place counts, with all that agree with it.
    """
    places = np.column_stack([brought.to_painting.reshape(-1, 2), np.ones(brought.size[0] * brought.size[1])])
    lights, lost, partly = [brought.painting], [brought.lost_painting], [brought.partly]
    gained = [brought.painting]
    for photo in photos:
        there = places @ photo.matrix.T
        light, gone, some = sampled(photo.pixels, np.float32(there[:, :2] / there[:, 2:]).reshape(*brought.size, 2))
        level = _gained(light, brought, flesh & ~gone)
        gained.append(level)
        lights.append(_in_the_light_of_the_first(level, brought, flesh & ~gone))
        lost.append(gone)
        partly.append(some & ~gone)
    held = ~np.stack(lost)
    values = np.stack([values_of(light * _exposure(brought, flesh)) for light in lights])
    _same(photos, values, held, flesh)
    light, level, which = _taken(np.stack(lights), values, held)
    out = replace(
        brought,
        painting=light,
        lost_painting=np.asarray(~held.any(axis=0)),
        partly=np.take_along_axis(np.stack(partly), which[None], axis=0)[0] & held.any(axis=0),
    )
    shine = Shine(
        photos=tuple(photo.name for photo in photos),
        glints=_dropped(values, level, flesh & held.any(axis=0)),
        repeatability=_repeatability(brought, gained, held, flesh),
    )
    return out, shine


def _same(photos: Sequence[LampPhoto], values: Light, held: Mask, flesh: Mask) -> None:
    """Refuse a photo that shows other paint than the first: shine is small, and most of a face has none."""
    near = np.ones((2 * round(SLACK * UNIT) + 1,) * 2, np.uint8)
    low, high = cv2.erode(values[0], near) - APART, cv2.dilate(values[0], near) + APART
    for photo, plane, there in zip(photos, values[1:], held[1:], strict=True):
        used = flesh & there & held[0]
        other = float(((plane < low) | (plane > high))[used].mean()) if used.sum() > 500 else 1.0
        if other > MOST_OTHER:
            raise UsageError(
                f"--lamp: expected another photo of the same painting in the same state, but '{photo.name}' differs "
                f"from the first over {100 * other:.0f} % of the face; leave it out."
            )


def _gained(light: Light, brought: Brought, used: Mask) -> Light:
    """One factor for each colour of light: the photo's exposure and the lamp's colour."""
    used = used & ~brought.lost_painting
    if not used.any():
        return light
    ratio = np.maximum(brought.painting[used], _LEAST) / np.maximum(light[used], _LEAST)
    return np.asarray(light * np.median(ratio, axis=0).astype(np.float32), dtype=np.float32)


def _in_the_light_of_the_first(light: Light, brought: Brought, used: Mask) -> Light:
    """Broad differences taken out; a glint, narrow and far off, has no say in what is broad."""
    used = used & ~brought.lost_painting
    first, other = (np.maximum(luminance(plane), 1e-4) for plane in (brought.painting, light))
    rest = np.log(first / other).astype(np.float32)
    broad = np.zeros_like(rest)
    for limit in (0.5, 0.15):
        # Beside what is broad already, at most so much of a natural logarithm counts.
        broad = broad + softened_within(np.clip(rest - broad, -limit, limit), used, BROAD)
    return np.asarray(light * np.exp(broad)[..., None], dtype=np.float32)


def _exposure(brought: Brought, flesh: Mask) -> float:
    """What brings the first photo's light about to the sitter's, so that steps of value are steps."""
    seen, painted = (np.median(luminance(plane[flesh])) for plane in (brought.reference, brought.painting))
    return float(max(seen, 1e-3) / max(painted, 1e-3))


def _taken(lights: Light, values: Light, held: Mask) -> tuple[Light, Light, NDArray[np.intp]]:
    """Light and value of each place, and the photo that gave them; the mean where the photos agree."""
    which = np.argmin(np.where(held, values, np.inf), axis=0)
    level = np.ascontiguousarray(np.take_along_axis(values, which[None], axis=0)[0])
    steep = np.hypot(*(cv2.Sobel(level, cv2.CV_32F, *way, scale=UNIT / 8) for way in ((1, 0), (0, 1))))
    far = held & (np.abs(values - level) > np.maximum(APART, SLACK * steep))
    weight = (held & ~far).astype(np.float32)
    # Places where one photo shines pass softly into those where none does.
    weight = np.stack([cv2.GaussianBlur(plane, (0, 0), 0.01 * UNIT) * plane for plane in weight])
    weight[:, weight.sum(axis=0) <= 0] = 1.0
    weight = weight / weight.sum(axis=0)
    light = (lights * weight[..., None]).sum(axis=0)
    return np.asarray(light, dtype=np.float32), np.asarray((values * weight).sum(axis=0), dtype=np.float32), which


def _dropped(values: Light, level: Light, flesh: Mask) -> tuple[tuple[float, float, float, float], ...]:
    """The glints, largest first: small places where any of the photos stands above what is left."""
    above = np.where(flesh, (values - level).max(axis=0), 0.0)
    count, labels, stats, centres = cv2.connectedComponentsWithStats((above > 0.6 * HEIGHT).astype(np.uint8))
    out = []
    for k in range(1, count):
        area, height = float(stats[k, cv2.CC_STAT_AREA]) / UNIT**2, float(above[labels == k].max())
        if height < HEIGHT or area < LEAST_AREA:
            continue
        out.append((float(centres[k][0]), float(centres[k][1]), area, height))
    return tuple(sorted(out, key=lambda glint: -glint[2] * glint[3]))


def _repeatability(brought: Brought, gained: Sequence[Light], held: Mask, flesh: Mask) -> Amount:
    """How far one region's value differs from photo to photo: robust standard deviation, steps.

    Each photo is brought to the first's exposure as a whole and nothing more: the fall of the lamp's light is in it.
    """
    exposure = _exposure(brought, flesh)
    planes = [values_of(light * exposure) for light in gained]
    rows = []
    for mask in region_masks(brought.points, brought.size, UNIT).values():
        used = mask & held.all(axis=0)
        if used.sum() >= 0.5 * mask.sum():
            rows.append([float(np.median(plane[used])) for plane in planes])
    if len(rows) < 8:
        return Amount(value=None, sigma=None)
    read = np.array(rows)
    read = read - read.mean(axis=1, keepdims=True)
    read = read - np.median(read, axis=0)
    spread = 1.4826 * float(np.median(np.abs(read))) * float(np.sqrt(len(planes) / (len(planes) - 1)))
    return Amount(value=spread, sigma=spread / float(np.sqrt(2 * len(rows) * (len(planes) - 1))))
