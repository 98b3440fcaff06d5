"""Both faces as values, in the working frame: what every comparison of values starts from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.pictures.cielab import lab_of_light, luminance
from limner.settings import Stage
from limner.values.boxes import box_of, reach
from limner.values.bring import UNIT, Brought, Sitter, sitter_of
from limner.values.catchlights import EyeLights
from limner.values.masses import in_masses
from limner.values.match import Matched
from limner.values.places import Map, Places, map_of, places_of
from limner.values.regions import face_mask, outline_mask, region_masks
from limner.values.tone import munsell_values
from limner.valuesresult import Amount

Array = NDArray[np.float64]
Plane = NDArray[np.float32]
Mask = NDArray[np.bool_]

FLESH_NEAR = (3.5, 14.0)
"""Most a part differs from the face in value, and in a* and b*, before it is a collar or hair (our choice)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Shine:
    """What photos with the lamp moved said of the paint's shine."""

    photos: tuple[str, ...]
    """Names of the further photos."""
    glints: tuple[tuple[float, float, float, float], ...]
    """x, y (px of the frame), area (squared pupil distances), height (steps) of each that fell out; largest first."""
    repeatability: Amount
    """How far one region's value differs from photo to photo, steps."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Faces:
    """Both faces as values 0 to 10; every plane is (h, w)."""

    brought: Brought
    matched: Matched
    reference: Plane
    painting: Plane
    """As matched."""
    aim: Plane
    """What is to be painted at this stage: the reference's values, in a block-in its masses."""
    flesh: Mask
    """The face without brows, eyes and mouth."""
    outline: Mask
    """Everything inside the face's outline."""
    held: Mask
    """Where neither picture is burnt out or blocked up."""
    eyes: tuple[EyeLights, ...] = ()
    shine: Shine | None = None
    """What photos with the lamp moved said; ``None`` where there is one photo."""

    @property
    def masks(self) -> Mapping[str, Mask]:
        """Region id -> where it lies."""
        return _masks(self.brought.sitter)

    @property
    def places(self) -> Places:
        """Where the regions lie, as places of a plane made flat."""
        return _map(self.brought.sitter).places

    def regions_at(self, places: Array) -> list[str]:
        """Id of the region at each of (N, 2) places of the frame, or the one whose middle is nearest."""
        return _map(self.brought.sitter).at(places)

    @property
    def centres(self) -> dict[str, tuple[float, float]]:
        """Region id -> its middle, px of the frame."""
        return _map(self.brought.sitter).centres

    @property
    def flesh_lab(self) -> Array:
        """(3,) array: CIE L*a*b* of the sitter's flesh as a whole."""
        return _flesh_lab(self.brought.sitter)

    @property
    def inside(self) -> NDArray[np.intp]:
        """The outline's places in a plane made flat."""
        return _inside(self.brought.sitter)

    @cached_property
    def readable(self) -> NDArray[np.intp]:
        """Places, in a plane made flat, of the flesh where neither picture is burnt out or blocked up."""
        return np.flatnonzero(self.flesh & self.held)

    @cached_property
    def seen(self) -> NDArray[np.float32]:
        """(N,) array: the sitter's values at the readable places."""
        return self.reference.ravel()[self.readable]

    @cached_property
    def ordered(self) -> NDArray[np.float32]:
        """The same, sorted."""
        return np.sort(self.seen)

    @property
    def size(self) -> tuple[int, int]:
        """Height and width of the frame."""
        return self.brought.size

    def in_painting(self, x: float, y: float) -> tuple[float, float]:
        """Where a place of the frame lies, px of the decoded painting."""
        row, column = (min(max(round(v), 0), n - 1) for v, n in zip((y, x), self.size, strict=True))
        at = self.brought.to_painting[row, column]
        return float(at[0]), float(at[1])


def faces_of(brought: Brought, matched: Matched, flesh: Mask, stage: Stage, shine: Shine | None = None) -> Faces:
    """The values of both faces and the regions in them."""
    matched = replace(matched, painting=_filled_in(brought, matched.painting))
    seen, painted = _seen(brought.sitter), values_of(matched.painting)
    outline = _outline(brought.sitter)
    return Faces(
        brought=brought,
        matched=matched,
        reference=seen,
        painting=painted,
        aim=in_masses(seen, painted, outline) if stage == "block-in" else seen,
        flesh=flesh,
        outline=outline,
        held=~(brought.lost_reference | brought.lost_painting),
        shine=shine,
    )


def prepare(reference: NDArray[np.uint8], points: Array) -> None:
    """Make what belongs to the reference alone before a painting is there; arguments as in ``bring``."""
    if np.isfinite(points).all():
        sitter = sitter_of(reference, points)
        for make in (_seen, _inside, _map, _flesh_lab):
            make(sitter)


def _seen(sitter: Sitter) -> Plane:
    return sitter.kept.made("seen", lambda: values_of(sitter.light))


def _outline(sitter: Sitter) -> Mask:
    return sitter.kept.made("outline", lambda: outline_mask(sitter.points, sitter.size))


def _flesh(sitter: Sitter) -> Mask:
    return sitter.kept.made("flesh", lambda: face_mask(sitter.points, sitter.size, UNIT))


def _masks(sitter: Sitter) -> dict[str, Mask]:
    """The regions; a neck only where it shows flesh."""

    def make() -> dict[str, Mask]:
        masks = region_masks(sitter.points, sitter.size, UNIT)
        parts = [masks["neck"], _flesh(sitter)] if "neck" in masks else []
        if parts and not is_flesh(*(lab_of_light(mean_light(sitter.light, mask)) for mask in parts)):
            del masks["neck"]
        return masks

    return sitter.kept.made("masks", make)


def _map(sitter: Sitter) -> Map:
    return sitter.kept.made("map", lambda: map_of(places_of(_masks(sitter)), sitter.size))


def _inside(sitter: Sitter) -> NDArray[np.intp]:
    return sitter.kept.made("inside", lambda: np.flatnonzero(_outline(sitter)))


def _flesh_lab(sitter: Sitter) -> Array:
    return sitter.kept.made("flesh lab", lambda: lab_of_light(mean_light(sitter.light, _flesh(sitter))))


def mean_light(light: Plane, mask: Mask) -> Array:
    """(3,) array: mean over the mask of an (h, w, 3) array."""
    return np.array(cv2.mean(light, mask.view(np.uint8))[:3])


def _filled_in(brought: Brought, painting: Plane) -> Plane:
    """Burnt-out red or blue taken from the green and the sitter's hue at the place, where that gives more."""
    if not brought.partly.any():
        return painting
    seen = brought.reference[brought.partly]
    held = painting[brought.partly]
    hue = np.clip(seen / np.maximum(seen[:, 1:2], 1e-3), 0.2, 5.0)
    out = painting.copy()
    out[brought.partly] = np.maximum(held, held[:, 1:2] * hue)
    return np.asarray(out, dtype=np.float32)


def flesh_of(brought: Brought) -> Mask:
    """Where the face is flesh; (h, w) array."""
    return _flesh(brought.sitter)


def values_of(light: Plane) -> Plane:
    """Munsell values of an (h, w, 3) array of linear light."""
    return munsell_values(np.asarray(luminance(light), dtype=np.float32))


def softened_within(plane: Plane, mask: Mask, width: float) -> Plane:
    """A plane softened from the px of the mask alone; a wide Gaussian is made on a picture a quarter the size."""
    weight = mask.astype(np.float32)
    below = np.maximum(_soft(weight, width), 1e-3)
    return np.asarray(_soft(plane * weight, width) / below, dtype=np.float32)


def all_within(planes: tuple[Plane, ...], mask: Mask, width: float) -> list[NDArray[np.float32]]:
    """The same of several planes at once, at the px of the mask alone; (N,) arrays."""
    whole = (slice(0, mask.shape[0]), slice(0, mask.shape[1]))  # a smaller picture keeps its grid
    box = whole if _is_wide(width) else box_of(mask, reach(width))
    inside = mask[box]
    weight = inside.astype(np.float32)
    below = np.maximum(_soft(weight, width)[inside], 1e-3)
    return [np.asarray(_soft(plane[box] * weight, width)[inside] / below, dtype=np.float32) for plane in planes]


def _is_wide(width: float) -> bool:
    return width * UNIT > 12


def _soft(layer: Plane, width: float) -> Plane:
    if not _is_wide(width):
        return np.asarray(cv2.GaussianBlur(layer, (0, 0), width * UNIT))
    small = cv2.resize(layer, None, fx=1 / 4, fy=1 / 4, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), width * UNIT / 4)
    return np.asarray(cv2.resize(small, (layer.shape[1], layer.shape[0]), interpolation=cv2.INTER_LINEAR))


def is_flesh(there: Array, face: Array) -> bool:
    """Whether a patch could be skin of this sitter, by the CIE L*a*b* of its mean light and the face's."""
    return bool(abs(there[0] - face[0]) < 10 * FLESH_NEAR[0] and np.hypot(*(there[1:] - face[1:])) < FLESH_NEAR[1])
