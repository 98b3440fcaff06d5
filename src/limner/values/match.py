"""How the photo of the canvas is brought to the reference: its exposure and white balance are not known."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.errors import UsageError
from limner.pictures.cielab import light_table, luminance
from limner.pictures.picture import Picture
from limner.values.bring import Brought, Mask
from limner.values.medians import median
from limner.values.tone import luminance_of_value
from limner.values.ways import GROUND, Place, Way
from limner.valuesresult import MatchBy

Array = NDArray[np.float64]
Light = NDArray[np.float32]

_PATCH = 0.012
"""Half the side of the square read at a place, as a share of the picture's width."""
_LEAST_LIGHT = 1e-4


@dataclass(frozen=True, kw_only=True, eq=False)
class Matched:
    """The painting's light as matched, and how that was come by."""

    painting: Light
    """(h, w, 3) array, linear light, in the reference's exposure."""
    gain: tuple[float, float, float]
    by: MatchBy
    said: str
    blind_to: str
    tone_known: bool


def match(brought: Brought, flesh: Mask, way: Way, reference: Picture, painting: Picture) -> Matched:
    """Bring the painting's light to the reference's.

    Raises:
        UsageError: when a place lies outside its picture, or what lies there is burnt out or black.
    """
    if way.by == "face":
        return _by_face(brought, flesh)
    if way.by == "strip":
        return _by_strip(brought, way, painting)
    if way.by == "ground":
        patch = _at(painting, way.places[0]) if way.places else _lightest(painting)
        wanted = np.full(3, float(luminance_of_value(np.array(GROUND))))
        said = f"Matched by the canvas's white ground, taken as value {GROUND:g}."
        blind = "Blind to: how white the ground truly is, and light that falls unlike on ground and face."
    else:
        patch = _at(painting, way.places[0])
        wanted = np.full(3, float(luminance_of_value(np.array(way.values[0]))))
        said = f"Matched by a neutral patch, taken as value {way.values[0]:g}."
        if way.there is not None:
            wanted, said = _at(reference, way.there), "Matched by one patch that is in both pictures."
        blind = "Blind to: light that falls unlike on the patch and on the face, and to the phone's tone curve."
    gain = wanted / patch
    return _gained(brought, gain, way.by, said, blind)


def _gained(brought: Brought, gain: Array, by: MatchBy, said: str, blind: str) -> Matched:
    return Matched(
        painting=np.asarray(cv2.transform(brought.painting, np.diag(gain.astype(np.float32)))),
        gain=(float(gain[0]), float(gain[1]), float(gain[2])),
        by=by,
        said=said,
        blind_to=blind,
        tone_known=False,
    )


def _by_face(brought: Brought, flesh: Mask) -> Matched:
    """The middle of what each place of the face would need: one factor for each colour of light, and nothing more."""
    held = flesh & ~brought.lost_reference & ~brought.lost_painting
    used = np.flatnonzero(held if np.count_nonzero(held) > 200 else flesh)[::3]
    seen, painted = (
        np.maximum(light.reshape(-1, 3)[used], _LEAST_LIGHT) for light in (brought.reference, brought.painting)
    )
    gain = [median(ratio) for ratio in (seen / painted).T] if len(used) else np.ones(3)
    return _gained(
        brought,
        np.asarray(gain, dtype=np.float64),
        "face",
        "Matched by the middle of the face, and nothing more.",
        "Blind to: the whole face painted too light, too dark, too warm or too cool.",
    )


def _by_strip(brought: Brought, way: Way, painting: Picture) -> Matched:
    """A tone curve for each colour of light through the patches: even in the logarithms, its ends run on straight."""
    read = np.array([_at(painting, place) for place in way.places])
    wanted = luminance_of_value(np.array(way.values))
    order = np.argsort(wanted)
    read, wanted = read[order], wanted[order]
    if (np.diff(read, axis=0) <= 0).any():
        raise UsageError(
            "--match strip: expected patches that grow lighter in the photo as their values do, and they do not; "
            "give the places again, or another photo of the strip."
        )
    out = np.empty_like(brought.painting)
    for k in range(3):
        x, y = np.log(read[:, k]), np.log(wanted)
        v = np.log(np.maximum(brought.painting[..., k], _LEAST_LIGHT))
        low, high = (y[1] - y[0]) / (x[1] - x[0]), (y[-1] - y[-2]) / (x[-1] - x[-2])
        straight = np.interp(v, x, y) + low * np.minimum(v - x[0], 0) + high * np.maximum(v - x[-1], 0)
        out[..., k] = np.exp(straight)
    gain = wanted[len(wanted) // 2] / read[len(wanted) // 2]
    return Matched(
        painting=out,
        gain=(float(gain[0]), float(gain[1]), float(gain[2])),
        by="strip",
        said=f"Matched by a photographed strip of {len(wanted)} values, which also fixes the phone's tone curve.",
        blind_to="Blind to: light that falls unlike on the strip and on the face.",
        tone_known=True,
    )


def _at(picture: Picture, place: Place) -> Array:
    """(3,) array: mean light of a small square at a place of the stored picture."""
    height, width = picture.pixels.shape[:2]
    x, y = (round(v * picture.scale) for v in place)
    where = f"--match: the place {place[0]:g},{place[1]:g} of {picture.name}"
    if not (0 <= x < width and 0 <= y < height):
        stored = f"{picture.full_size[0]} x {picture.full_size[1]} px"
        raise UsageError(f"{where}: expected one inside its {stored}; give another place.")
    half = max(2, round(_PATCH * width))
    part = picture.pixels[max(y - half, 0) : y + half + 1, max(x - half, 0) : x + half + 1]
    light = np.asarray(light_table()[part].reshape(-1, 3).mean(axis=0), dtype=np.float64)
    if (part >= 252).mean() > 0.2 or light.min() < 2e-3:
        raise UsageError(f"{where}: expected a patch that is neither burnt out nor black in the photo; take another.")
    return light


def _lightest(picture: Picture) -> Array:
    """(3,) array: the light of the lightest even places of the picture, taken as the ground."""
    light = cv2.LUT(picture.pixels, light_table())
    small = np.asarray(cv2.resize(light, (64, 64), interpolation=cv2.INTER_AREA), dtype=np.float64).reshape(-1, 3)
    y = luminance(small)
    return np.asarray(np.maximum(np.median(small[y >= np.quantile(y, 0.98)], axis=0), 2e-3), dtype=np.float64)
