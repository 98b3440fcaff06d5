"""The catchlight in each eye: there or not, where, and how large against the sitter's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.face.points import FEATURES
from limner.pictures.cielab import light_table, luminance
from limner.settings import Stage
from limner.values.bring import UNIT, Brought, Sitter, read_at
from limner.values.medians import median
from limner.values.tone import munsell_values
from limner.valuesresult import Amount, ValueCall, ValueFinding

Array = NDArray[np.float64]
Plane = NDArray[np.float32]
Pixels = NDArray[np.uint8]

FINE = 3
"""px of an eye's own frame per px of the working frame: a catchlight is smaller than what the frame is softened by."""
COARSEST = 100.0
"""px between the pupils below which a picture does not show its catchlights (our choice)."""
LOOKED_AT = 0.8
"""Of the iris's radius: farther out the white of the eye comes in (our choice)."""
HEIGHT = 2.0
"""Steps above the middle of the iris from which a small light is a catchlight (our choice)."""
WEAK = 1.2
"""Steps from which a painted light is taken for the sitter's: strokes soften it (our choice)."""
CLEAR = 2.5
"""Steps from which the sitter's is so clear that a painting without it is off, and not slightly off (our choice)."""
LEAST_AREA, MOST_AREA = 0.006, 0.3
"""Of the iris's area (our choice)."""
MOVED = 0.4
"""Of the iris's radius: a catchlight that far off is called off (our choice)."""
LARGER = 4.0
"""Times the sitter's area, or a part as small, from which it is off: twice as wide (our choice)."""
SLIGHT = 0.6
"""Of either bar, from which it is slightly off (our choice)."""
DOUBT = 0.05
"""One-sigma doubt of its place, iris radii: faithful copies of twelve faces lay so far off."""
SOURCE = "our choice"
_SIDES: Mapping[str, tuple[int, str]] = {"right": (468, "eye_right"), "left": (473, "eye_left")}


@dataclass(frozen=True, kw_only=True)
class Catchlight:
    """One small light in an iris."""

    x: float
    """From the middle of the iris to picture right, iris radii."""
    y: float
    """Down."""
    area: float
    """Share of the iris's area."""
    height: float
    """Steps above the middle of the iris."""


@dataclass(frozen=True, kw_only=True)
class EyeLights:
    """What is in one eye of either picture."""

    side: str
    seen: Catchlight | None
    """The sitter's, the one nearest to a painted one where there are several."""
    painted: Catchlight | None
    place: tuple[float, float]
    """px of the decoded painting: the middle of the iris."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Eye:
    """One of the sitter's eyes, with what is in it."""

    side: str
    radius: float
    """Of the iris, px of the working frame."""
    places: Array
    """(n, n, 2) array, px of the working frame: the eye's own frame, about the middle of the iris."""
    looked: NDArray[np.bool_]
    """(n, n) array: where small lights are looked for."""
    seen: list[Catchlight]


def eye_lights(
    brought: Brought, reference: Pixels, painting: Pixels, gain: tuple[float, float, float]
) -> tuple[EyeLights, ...]:
    """Both eyes, each as large as it is in the pictures; none where a picture is too small or a point is missing."""
    eyes: list[_Eye] = brought.sitter.kept.made("eyes", lambda: _eyes(brought.sitter, reference))
    out = []
    for eye in eyes:
        there = read_at(brought.to_painting, eye.places)
        if _between_pupils(there) < COARSEST:
            continue
        lights = _catchlights(_values(painting, there, gain), eye.looked, eye.radius * FINE)
        seen, painted = _paired(eye.seen, lights)
        middle = there[len(there) // 2, len(there) // 2]
        out.append(EyeLights(side=eye.side, seen=seen, painted=painted, place=(float(middle[0]), float(middle[1]))))
    return tuple(out)


def _eyes(sitter: Sitter, reference: Pixels) -> list[_Eye]:
    """The sitter's eyes, where all their points are there and the reference is large enough."""
    out = []
    for side, (first, outline) in _SIDES.items():
        centre, ring = sitter.points[first], sitter.points[first + 1 : first + 5]
        edge = sitter.points[list(FEATURES[outline].indices)]
        if not np.isfinite(np.vstack([centre[None], ring, edge])).all():
            continue
        radius = float(np.linalg.norm(ring - centre, axis=1).mean())
        half = int(np.ceil(1.2 * radius * FINE))
        steps = np.arange(-half, half + 1) / FINE
        places = np.stack(np.meshgrid(centre[0] + steps, centre[1] + steps), axis=-1)
        there = sitter.in_reference(places)
        if _between_pupils(there) < COARSEST:
            continue
        round_it = np.hypot(*(places - centre).transpose(2, 0, 1)) <= LOOKED_AT * radius
        inside = np.zeros(round_it.shape, np.uint8)
        cv2.fillPoly(inside, [np.rint((edge - centre) * FINE + half).astype(np.int32)], 1)
        looked = round_it & (cv2.erode(inside, np.ones((3, 3), np.uint8)) > 0)
        seen = _catchlights(_values(reference, there, (1.0, 1.0, 1.0)), looked, radius * FINE)
        out.append(_Eye(side=side, radius=radius, places=places, looked=looked, seen=seen))
    return out


def _between_pupils(places: NDArray[np.floating]) -> float:
    """Distance of the pupils, px, in a picture in which the px of an eye's frame lie at (n, n, 2) places."""
    across = places[len(places) // 2, [0, -1]].astype(np.float64)
    return float(np.hypot(*(across[1] - across[0]))) / ((len(places) - 1) / FINE) * UNIT


def _values(pixels: Pixels, places: NDArray[np.floating], gain: tuple[float, float, float]) -> Plane:
    """(n, n) values at (n, n, 2) places of a picture, softened by a px of the eye's frame."""
    edges = places.reshape(-1, 2).T
    low = np.clip(np.floor([v.min() for v in edges]).astype(int) - 2, 0, None)
    high = np.ceil([v.max() for v in edges]).astype(int) + 3
    part = pixels[low[1] : high[1], low[0] : high[0]]
    if not part.size:
        return np.zeros(places.shape[:2], np.float32)
    soft = cv2.GaussianBlur(read_at(cv2.LUT(part, light_table()), places - low), (0, 0), 1.0)
    light = np.asarray(soft * np.array(gain, np.float32), dtype=np.float32)
    return munsell_values(np.asarray(luminance(light), dtype=np.float32))


def _catchlights(values: Plane, looked: NDArray[np.bool_], radius: float) -> list[Catchlight]:
    """The small lights among the px looked at, strongest first; ``radius`` of the iris in px."""
    iris = float(np.pi * radius**2)
    if looked.sum() < 0.3 * iris:
        return []
    above = np.where(looked, values - median(values[looked]), 0.0)
    cut = max(0.5 * float(above.max()), 0.6 * WEAK)
    count, labels, stats, _ = cv2.connectedComponentsWithStats((above > cut).astype(np.uint8))
    rim = cv2.erode(looked.astype(np.uint8), np.ones((3, 3), np.uint8)) == 0
    out = []
    for k in range(1, count):
        rows, columns = np.nonzero(labels == k)
        weight = above[rows, columns]
        area, height = float(stats[k, cv2.CC_STAT_AREA]) / iris, float(weight.max())
        # What is lightest at the rim is the white of the eye or a lid that comes in there.
        at_rim = float(rim[rows, columns][weight > 0.85 * height].mean()) > 0.4
        if height < WEAK or at_rim or not LEAST_AREA <= area <= MOST_AREA:
            continue
        x, y = ((float(np.average(v, weights=weight)) - (values.shape[0] - 1) / 2) / radius for v in (columns, rows))
        out.append(Catchlight(x=x, y=y, area=area, height=height))
    return sorted(out, key=lambda light: -light.height)


def _paired(seen: list[Catchlight], painted: list[Catchlight]) -> tuple[Catchlight | None, Catchlight | None]:
    """The sitter's catchlight and the painted one that stands for it: of all pairs the nearest."""
    clear = [light for light in seen if light.height >= max(HEIGHT, 0.6 * seen[0].height)]
    if not clear:
        strong = [light for light in painted if light.height >= HEIGHT]
        # A faint one of the sitter's own is none that was made up.
        return None, strong[0] if strong and not seen else None
    if not painted:
        return clear[0], None
    return min(
        ((one, other) for one in clear for other in painted), key=lambda pair: np.hypot(*_apart(pair[0], pair[1]))
    )


def _apart(seen: Catchlight, painted: Catchlight) -> tuple[float, float]:
    return painted.x - seen.x, painted.y - seen.y


def catchlight_findings(eyes: tuple[EyeLights, ...], stage: Stage, strict: float) -> list[ValueFinding]:
    """What is to be said of the catchlights, from the colour on: before, none is asked for."""
    if stage in ("block-in", "glaze"):
        return []
    return [found for eye in eyes if (found := _finding(eye, stage, strict)) is not None]


def _finding(eye: EyeLights, stage: Stage, strict: float) -> ValueFinding | None:
    name, seen, painted = f"sitter's {eye.side} eye", eye.seen, eye.painted
    if seen is None and painted is None:
        return None
    if painted is None and seen is not None:
        late: ValueCall = "off" if stage in ("lights", "finish") and seen.height >= CLEAR else "slight"
        text = f"The {name} has no catchlight; the sitter's is {_where(seen)}."
        return _told(eye, text, late, Amount(value=-seen.height, sigma=None), HEIGHT, "steps", "Set it, opaque.")
    if seen is None and painted is not None:
        call: ValueCall = "off" if painted.height >= CLEAR else "slight"
        text = f"The {name} has a catchlight, {_where(painted)}, where the sitter has none."
        return _told(eye, text, call, Amount(value=painted.height, sigma=None), HEIGHT, "steps", "Glaze it down.")
    if seen is None or painted is None:
        raise AssertionError("one of both is there")
    off = float(np.hypot(*_apart(seen, painted)))
    times = painted.area / seen.area
    far, size = off / (strict * MOVED), abs(float(np.log(times))) / (strict * float(np.log(LARGER)))
    worst = max(far, size)
    call = "off" if worst > 1 else "slight" if worst > SLIGHT else "true"
    parts = []
    if far > SLIGHT:
        parts.append(f"is painted {_where(painted)} and belongs {_where(seen)}")
    if size > SLIGHT:
        much = f"{max(times, 1 / times):.0f} times as {'large' if times > 1 else 'small'}"
        parts.append(f"is {much} as the sitter's")
    said = " and ".join(parts) or "is where the sitter's is, and as large"
    text = f"The catchlight of the {name} {said}."
    return _told(eye, text, call, Amount(value=off, sigma=DOUBT), strict * MOVED, "iris radii", "Set it again, opaque.")


def _told(
    eye: EyeLights, text: str, call: ValueCall, amount: Amount, threshold: float, unit: str, mend: str
) -> ValueFinding:
    return ValueFinding(
        kind="catchlight",
        region=f"catchlight_{eye.side}",
        amount=amount,
        unit=unit,
        call=call,
        threshold=threshold,
        source=SOURCE,
        text=text,
        paint="opaque",
        mend=mend,
        place=eye.place,
    )


def _where(light: Catchlight) -> str:
    """Where in the iris a catchlight sits, by the clock as the picture shows it.

    >>> [_where(Catchlight(x=x, y=y, area=0.02, height=3.0)) for x, y in ((0.3, -0.3), (0.0, 0.1), (-0.4, 0.0))]
    ['at half past one', 'in the middle of the iris', "at nine o'clock"]
    """
    if np.hypot(light.x, light.y) < 0.18:
        return "in the middle of the iris"
    half_hours = round(np.degrees(np.arctan2(light.x, -light.y)) / 15) % 24
    words = ("twelve", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven")
    hour = words[half_hours // 2]
    return f"at half past {hour}" if half_hours % 2 else f"at {hour} o'clock"
