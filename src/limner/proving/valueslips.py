"""Plants known errors of value and colour, place by place, in a copy of a reference."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.errors import UsageError
from limner.pictures.cielab import lab_of_light, luminance, to_levels, to_light
from limner.proving.pulls import fade
from limner.values.regions import REGIONS
from limner.values.tone import luminance_of_value, munsell_value

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]
ToneKind = Literal["region", "lights", "range", "highlights", "warm"]
KINDS: tuple[ToneKind, ...] = ("region", "lights", "range", "highlights", "warm")


@dataclass(frozen=True, kw_only=True)
class ToneSlip:
    """One error of value or colour."""

    kind: ToneKind
    amount: float
    """``region``, ``lights``: steps of Munsell value added to a region, or to the lightest quarter of the face;
    ``range``: factor on all values about the middle one; ``highlights``: their height in steps; ``warm``: CIE a* and b*
    added to a region, in equal parts."""
    regions: tuple[str, ...] = ()
    count: int = 0
    """Of highlights."""
    seed: int = 0

    def __post_init__(self) -> None:
        if self.kind not in KINDS or not np.isfinite(self.amount):
            raise UsageError(f"Expected a kind out of {', '.join(KINDS)} and a finite amount; got {self.kind!r}.")
        if set(self.regions) - set(REGIONS):
            raise UsageError(f"Expected regions out of {', '.join(REGIONS)}; got {', '.join(self.regions)}.")
        if self.kind in ("region", "warm") and not self.regions:
            raise UsageError(f"A slip of the kind {self.kind!r} needs regions.")


@dataclass(frozen=True, kw_only=True, eq=False)
class Toned:
    """A picture with errors of value in it."""

    pixels: Pixels
    spots: Array
    """(N, 2) array, px: where highlights were planted."""


def plant_tones(pixels: Pixels, points: Array, slips: Sequence[ToneSlip]) -> Toned:
    """Plant slips one after the other in a copy of an (H, W, 3) sRGB picture whose face has the (478, 2) points, px."""
    light = to_light(pixels.astype(np.float64) / 255)
    spots: list[Array] = []
    apply: dict[ToneKind, Callable[[Array, Array, ToneSlip], Array]] = {
        "region": _region,
        "lights": _lights,
        "range": _range,
        "warm": _warm,
    }
    for slip in slips:
        if slip.kind == "highlights":
            light, places = _highlights(light, points, slip)
            spots.append(places)
        else:
            light = apply[slip.kind](light, points, slip)
    out = np.asarray(np.rint(255 * to_levels(light)), dtype=np.uint8)
    return Toned(pixels=out, spots=np.vstack(spots) if spots else np.zeros((0, 2)))


def _shifted(light: Array, steps: Array) -> Array:
    """Light with so many steps of value added at each place; hue and saturation stay."""
    y = np.maximum(luminance(light), 1e-4)
    wanted = luminance_of_value(np.clip(munsell_value(y) + steps, 0.05, 10))
    return np.asarray(light * (wanted / y)[..., None])


def _weight(light: Array, points: Array, regions: Sequence[str]) -> Array:
    """1 well inside the regions, fading to nothing over a tenth of a pupil distance outside them."""
    unit = float(np.hypot(*(points[473] - points[468])))
    mask = np.zeros(light.shape[:2], np.uint8)
    for id_ in regions:
        cv2.fillPoly(mask, [np.rint(points[list(REGIONS[id_].indices)]).astype(np.int32)], 1)
    away = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5)
    return fade(np.asarray(away, dtype=np.float64) / (0.1 * unit), "quintic")


def _region(light: Array, points: Array, slip: ToneSlip) -> Array:
    return _shifted(light, slip.amount * _weight(light, points, slip.regions))


def _face_values(light: Array, points: Array) -> Array:
    mask = np.zeros(light.shape[:2], np.uint8)
    cv2.fillConvexPoly(mask, cv2.convexHull(np.rint(points).astype(np.int32)), 1)
    return munsell_value(luminance(light[mask > 0]))


def _lights(light: Array, points: Array, slip: ToneSlip) -> Array:
    low, high = np.quantile(_face_values(light, points), (0.65, 0.85))
    value = munsell_value(luminance(light))
    return _shifted(light, slip.amount * (1 - fade((value - low) / max(high - low, 0.1), "quintic")))


def _range(light: Array, points: Array, slip: ToneSlip) -> Array:
    middle = float(np.median(_face_values(light, points)))
    value = munsell_value(luminance(light))
    return _shifted(light, (slip.amount - 1) * (value - middle))


def _warm(light: Array, points: Array, slip: ToneSlip) -> Array:
    """The same lightness, a* and b* moved; sRGB may clip what it cannot hold."""
    weight = _weight(light, points, slip.regions)
    inside = weight > 0
    lab = lab_of_light(light[inside])
    lab[:, 1:] += (slip.amount / np.sqrt(2) * weight[inside])[:, None]
    out = light.copy()
    out[inside] = _light_of(lab)
    return np.asarray(out)


def _light_of(lab: Array) -> Array:
    """Linear sRGB of (N, 3) CIE L*a*b*: the inverse of :func:`limner.values.tone.lab_of`."""
    from limner.pictures.cielab import RGB_TO_XYZ, WHITE

    f = np.stack(
        [(lab[:, 0] + 16) / 116 + lab[:, 1] / 500, (lab[:, 0] + 16) / 116, (lab[:, 0] + 16) / 116 - lab[:, 2] / 200]
    )
    t = np.where(f > 24 / 116, f**3, (f - 16 / 116) * 108 / 841).T * WHITE
    return np.asarray(np.clip(t @ np.linalg.inv(RGB_TO_XYZ).T, 0, 1))


def _highlights(light: Array, points: Array, slip: ToneSlip) -> tuple[Array, Array]:
    """Small round lights on the flesh, well apart and where there is room above the flesh for them."""
    rng = np.random.default_rng([slip.seed, 61])
    unit = float(np.hypot(*(points[473] - points[468])))
    zones = ("forehead", "cheek_right", "cheek_left", "nose_bridge", "chin", "mouth_side_right", "mouth_side_left")
    inside = _weight(light, points, zones) >= 1
    rows, columns = np.nonzero(inside & (munsell_value(luminance(light)) < 10 - slip.amount))
    places: list[Array] = []
    for k in rng.permutation(len(rows)):
        at = np.array([columns[k], rows[k]], dtype=np.float64)
        if all(np.hypot(*(at - other)) > 0.35 * unit for other in places):
            places.append(at)
        if len(places) == slip.count:
            break
    y, x = np.mgrid[0 : light.shape[0], 0 : light.shape[1]]
    steps = np.zeros(light.shape[:2])
    for cx, cy in places:
        radius = rng.uniform(0.04, 0.07) * unit
        steps = np.maximum(steps, slip.amount * fade((np.hypot(x - cx, y - cy) / radius - 0.6) / 0.7, "quintic"))
    return _shifted(light, steps), np.array(places).reshape(-1, 2)
