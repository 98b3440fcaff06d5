"""How far the carried points are believed: feature by feature, and as a whole."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.face.points import FEATURES
from limner.register.bring import PX_PER_PUPILS, Brought
from limner.register.tone import Look, evened, evened_sitter

Array = NDArray[np.float64]
Plane = NDArray[np.float32]

_LOOK = Look(blur=0.02, window=0.3)
_NEAR, _CLOSE = 0.05, 0.025
"""How far round an outline is looked, pupil distances."""
_FLAT = Look(blur=0.02, window=0.3, calm=1e6)
"""The ground taken away before contrasts are compared, and nothing stretched."""

_MAIN = ("eye_right", "eye_left", "brow_right", "brow_left", "nose", "lips", "jaw")
_LEAVABLE = ("eye_right", "eye_left", "brow_right", "brow_left", "nose", "lips")
"""What a painter leaves out as a whole; of its parts nothing is said."""
_USUAL: Mapping[str, float] = MappingProxyType(
    {"eye": 0.005, "iris": 0.005, "brow": 0.008, "nose": 0.007, "mouth": 0.008, "face": 0.01}
)
"""Uncertainty of the fits on well-painted pictures by region, pupil distances: the median over brush-rendered ones."""
_ALL_TONES = 0.95
"""Likeness that a picture with all its tones reaches in most features even with one left out, and a block-in of few
values does not."""
_FULL = 0.976
"""The same where all is painted."""
_LOST, _ASTRAY = 0.06, 0.08
"""Scatter of the dense flow past which the whole, or one feature, is not believed; pupil distances."""
_UNLIKE, _STRANGE = 0.55, 0.4
"""Likeness below which the whole, or one feature, is not believed."""
_DRAWN = 0.75
"""Contrast, against the reference's, past which something is painted where an eye, the nose or the mouth belongs, if
not what the reference has there: where they were left out it is at most 0.57, in 16 paintings of four kinds. A brow is
too thin for it."""
_BARE_ANYWAY = 3
"""Features that have to be bare for any to be called so where the paint as a whole does not match: of a face in
another place a single eye looks bare on the cheek that is there instead."""
_VAGUE = 0.028
"""Uncertainty of the fits past which a feature is not believed, pupil distances."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Seen:
    """What the fits gave, working px."""

    points: Array
    """(478, 2) array: the mean."""
    runs: Array
    """(K, 478, 2) array: each fit."""
    sigma: Array
    """(478,) array: uncertainty by the fits; 0 for a point without one."""


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """What is believed."""

    confidence: Mapping[str, float]
    unpainted: Mapping[str, str]
    doubts: Mapping[str, str]
    refused: str | None


@dataclass(frozen=True, kw_only=True)
class Signs:
    """What speaks for or against one feature."""

    likeness: float
    """Correlation of the evened lightness after alignment, -1 to 1."""
    echo: float
    """Share of the reference's contrast that the painting has there, against that share over the whole face."""
    contrast: float
    """The painting's own contrast there, whatever is drawn, against the reference's."""
    scatter: float
    """Root mean square distance between the fits, pupil distances."""
    stray: float
    """The same between forward, backward and coarser flow."""
    sigma: float
    """Uncertainty by the fits, pupil distances."""
    apart: float
    """Root mean square distance from the found points, pupil distances."""


def judge(laid: Laid, flows: Plane, seen: Seen) -> Verdict:
    """Weigh the signs.

    Returns:
        A confidence for every feature; those that are not painted yet, those the pixels are not believed for, and why
        the whole is not believed, where it is not.
    """
    return weigh(signs(laid, flows, seen))


def weigh(found: Mapping[str, Signs]) -> Verdict:
    """The verdict on the signs of all features."""
    main = [found[feature] for feature in _MAIN]
    all_tones = float(np.quantile([sign.likeness for sign in main], 0.75)) >= _ALL_TONES
    refused = None
    if np.median([sign.stray for sign in main]) > _LOST or np.median([sign.likeness for sign in main]) < _UNLIKE:
        refused = (
            "the paint does not match the reference place by place (a line drawing, another pose or sitter,"
            " or too little painted)"
        )
    bare = {feature for feature in _LEAVABLE if feature in found and _is_bare(feature, found[feature], all_tones)}
    if refused is not None and len(bare) < _BARE_ANYWAY:
        bare = set()
    unpainted, doubts = {}, {}
    for feature, sign in found.items():
        if feature in bare:
            unpainted[feature] = "nothing of it is on the canvas yet"
        elif sign.sigma > _VAGUE or sign.likeness < _STRANGE or sign.stray > _ASTRAY:
            doubts[feature] = "the paint there does not match the reference closely enough"
    confidence = {feature: confidence_of(feature, sign) for feature, sign in found.items()}
    return Verdict(confidence=confidence, unpainted=unpainted, doubts=doubts, refused=refused)


def confidence_of(feature: str, sign: Signs) -> float:
    """1 where the fits are as close as on a well-painted picture; in inverse proportion to their uncertainty."""
    return float(_USUAL[FEATURES[feature].region] / max(sign.sigma, 1e-6))


def _is_bare(feature: str, sign: Signs, all_tones: bool) -> bool:
    """Whether nothing of the feature is there: in a picture with all its tones, too little contrast or a loose fit."""
    if sign.contrast > _DRAWN and FEATURES[feature].region != "brow":
        return False
    if not all_tones:
        return sign.echo < 0.25 and sign.likeness < 0.5
    loose = sign.sigma > 2 * _USUAL[FEATURES[feature].region]
    return sign.likeness < 0.9 and (sign.echo < 0.65 or (loose and sign.echo < 0.95))


def has_all_tones(laid: Laid) -> bool:
    """Whether the painting is more than a block-in: most of its main features are as like as full tones make them.

    On 174 paintings of 18 faces the block-ins reach 0.974 at the most and 141 of the 143 others more than the limit; on
    252 by other renderers no one is on the wrong side.
    """
    return float(np.quantile([laid.likeness(feature) for feature in _MAIN], 0.75)) >= _FULL


def signs(laid: Laid, flows: Plane, seen: Seen) -> dict[str, Signs]:
    """The signs of every feature."""
    found = {}
    strays = _scatter(flows)
    for feature in FEATURES.values():
        rows = list(feature.indices)
        apart = (seen.points - laid.brought.found)[rows]
        found[feature.id] = Signs(
            likeness=laid.likeness(feature.id),
            echo=laid.echo(feature.id),
            contrast=laid.contrast(feature.id),
            scatter=float(np.sqrt(np.var(seen.runs[:, rows], axis=0).sum(axis=1).mean())) / PX_PER_PUPILS,
            stray=float(np.sqrt(laid.near(feature.id).of(strays).mean())) / PX_PER_PUPILS,
            sigma=float(np.sqrt((seen.sigma[rows] ** 2).mean())) / PX_PER_PUPILS,
            apart=float(np.sqrt((apart**2).sum(axis=1).mean())) / PX_PER_PUPILS,
        )
    return found


def _scatter(flows: Plane) -> Plane:
    """(h, w) array, working px squared: how far (K, h, w, 2) flows lie apart, mean square."""
    middle = flows.mean(axis=0)
    square = np.zeros_like(middle)
    for flow in flows:
        square += (flow - middle) ** 2
    return np.asarray(cv2.transform(square, np.full((1, 2), 1 / len(flows))), dtype=np.float32)


@dataclass(frozen=True, eq=False)
class _Spot:
    """Px in and near an outline."""

    box: tuple[slice, slice]
    inside: NDArray[np.bool_]

    def of(self, plane: Plane) -> Plane:
        """The px of a plane there."""
        return plane[self.box][self.inside]


class Laid:
    """Both pictures with the painting laid over the reference along the flow, and as found."""

    def __init__(self, brought: Brought, flow: Plane) -> None:
        """Args: both pictures, and the (h, w, 2) displacement from the reference to the painting."""
        self.brought = brought
        height, width = brought.reference.shape[:2]
        x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
        there = x + flow[..., 0], y + flow[..., 1]

        def along(plane: Plane) -> Plane:
            return np.asarray(cv2.remap(plane, *there, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32)

        sitter, light = brought.sitter, brought.painting[..., 0]
        self._evened = evened_sitter(sitter, _LOOK).plane, along(evened(light, _LOOK))
        still = evened(light, _FLAT)
        self._reference = evened_sitter(sitter, _FLAT).plane
        self._paintings = still, along(still)
        self._likeness: dict[str, float] = {}
        x0, y0 = np.clip(brought.places.min(axis=0).astype(int), 0, None)
        x1, y1 = brought.places.max(axis=0).astype(int)
        face = slice(y0, y1), slice(x0, x1)
        self._gain = self._slope(self._reference[face], [plane[face] for plane in self._paintings])

    def likeness(self, feature: str) -> float:
        """Correlation of the evened lightness in and near a feature."""
        if feature not in self._likeness:
            near = self.near(feature)
            self._likeness[feature] = _correlation(*(near.of(plane) for plane in self._evened))
        return self._likeness[feature]

    def echo(self, feature: str) -> float:
        """How much of the reference's contrast the painting has there, 1 for as much as the whole face."""
        close = self._spot(feature, _CLOSE)
        there = self._slope(close.of(self._reference), [close.of(plane) for plane in self._paintings])
        return there / max(self._gain, 1e-6)

    def contrast(self, feature: str) -> float:
        """The painting's contrast there against the reference's, the lesser of the two ways to lay the painting."""
        close = self._spot(feature, _CLOSE)
        return min(float(close.of(plane).std()) for plane in self._paintings) / (
            float(close.of(self._reference).std()) + 1e-6
        )

    def near(self, feature: str) -> _Spot:
        """What counts as near a feature."""
        return self._spot(feature, _NEAR)

    @staticmethod
    def _slope(reference: Plane, paintings: list[Plane]) -> float:
        """Painted contrast per contrast of the reference, the better of the two ways to lay the painting."""
        one = reference - reference.mean()
        below = float((one * one).sum()) + 1e-12
        return max(float((one * other).sum()) for other in paintings) / below

    def _spot(self, feature: str, reach: float) -> _Spot:
        """In and near an outline; within the outline too where it encloses a feature."""
        return self.brought.sitter.kept.made(("spot", feature, reach), lambda: self._drawn(feature, reach))

    def _drawn(self, feature: str, reach: float) -> _Spot:
        shape = self.brought.reference.shape[:2]
        filled = FEATURES[feature].closed and feature != "face"
        outline = np.round(self.brought.places[list(FEATURES[feature].indices)]).astype(np.int32)
        thick = max(1, round(2 * reach * PX_PER_PUPILS))
        low = np.clip(outline.min(axis=0) - thick, 0, None)
        high = np.minimum(outline.max(axis=0) + thick + 1, shape[::-1])
        mask = np.zeros((high - low)[::-1], np.uint8)
        if filled:
            cv2.fillPoly(mask, [outline - low], 1)
        cv2.polylines(mask, [outline - low], filled, 1, thick)
        return _Spot((slice(low[1], high[1]), slice(low[0], high[0])), mask > 0)


def _correlation(first: Plane, second: Plane) -> float:
    one, other = first - first.mean(), second - second.mean()
    return float((one * other).sum() / np.sqrt((one * one).sum() * (other * other).sum() + 1e-12))
