"""The dense correspondence, coarse to fine: where each place of the reference lies in the painting.

OpenCV's dense inverse search (Kroeger, Timofte, Dai & Van Gool 2016, ECCV) is run with several smoothings, forward and
backward, and the median is taken. It tells whether the paint matches at all, and is one of the witnesses of the doubt;
the local fits start from it on a block-in, and from a finer one where all tones are there.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.register.bring import PX_PER_PUPILS, Brought
from limner.register.tone import Look, evened, evened_sitter

Array = NDArray[np.float64]
Plane = NDArray[np.float32]
Grey = NDArray[np.uint8]

_CONTRAST = 40.0
"""Grey levels per unit of evened contrast in the 8-bit pictures the flow is found on."""


@dataclass(frozen=True, kw_only=True)
class Search:
    """How finely the flow is searched for."""

    shrink: float
    """How many px of the working frame make one of the pictures it is searched on."""
    stride: int
    """Between neighbouring patches, px of those."""


COARSE = Search(shrink=5, stride=3)
"""Follows shapes of a tenth of the pupil distance and more. On a block-in anything finer follows the edges of the flat
patches: the fits that start from it are twice as far off."""
FINE = Search(shrink=2.5, stride=3)
"""Follows half that: a painted lip has to be found as thick as it is, or the fits, which see a window wider than a lip,
end half way."""

_PATCH, _DESCENTS, _ROUNDS = 8, 16, 5
"""Side of a patch, px, for which OpenCV is fastest; rounds of descent and of refinement: more bettered nothing."""


@dataclass(frozen=True, kw_only=True)
class Setting:
    """One way to find the flow; lengths in pupil distances."""

    look: Look
    smooth: float
    backward: bool


_SHARP, _SOFT = Look(blur=0.02, window=0.25), Look(blur=0.035, window=0.3)
SETTINGS = (
    Setting(look=_SHARP, smooth=0.03, backward=False),
    Setting(look=_SHARP, smooth=0.03, backward=True),
    Setting(look=_SOFT, smooth=0.03, backward=False),
)


def dense_flow(brought: Brought, lightness: Plane | None = None) -> Plane:
    """(3, h, w, 2) array: displacement from the reference to the painting in working px, one for each setting.

    Args:
        brought: both faces.
        lightness: (h, w) array, L*: what stands for the reference; its own where ``None``.
    """
    greys = {look: _greys(brought, look, lightness) for look in (_SHARP, _SOFT)}
    return np.stack([_one(greys[setting.look], setting, COARSE) for setting in SETTINGS])


def fine_flow(brought: Brought) -> Plane:
    """(h, w, 2) array: the same by the first setting, followed further."""
    return _one(_greys(brought, SETTINGS[0].look), SETTINGS[0], FINE)


def agreed(flows: Plane) -> Plane:
    """(h, w, 2) array: the median of three flows."""
    one, two, three = flows
    return np.asarray(np.maximum(np.minimum(one, two), np.minimum(np.maximum(one, two), three)), dtype=np.float32)


def at(field: Plane, places: Array) -> Array:
    """(N, k) array: the (h, w, k) field at (N, 2) places, between pixels; past the edge, the edge."""
    x, y = places[None, :, 0].astype(np.float32), places[None, :, 1].astype(np.float32)
    return np.asarray(cv2.remap(field, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)[0], dtype=np.float64)


def turned_round(flow: Plane, rounds: int = 6) -> Plane:
    """The forward flow that undoes a backward one: ``u(x) = -b(x + u(x))`` by fixed-point iteration."""
    height, width = flow.shape[:2]
    x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    forward = np.asarray(-flow, dtype=np.float32)
    for _ in range(rounds):
        there = x + forward[..., 0], y + forward[..., 1]
        back = cv2.remap(flow, *there, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        forward = np.asarray(-back, dtype=np.float32)
    return forward


def _greys(brought: Brought, look: Look, lightness: Plane | None = None) -> tuple[Grey, Grey]:
    """Both pictures' evened lightness in 8 bits."""
    sitter = brought.sitter
    if lightness is None:
        first = sitter.kept.made(("grey", look), lambda: _eight(evened_sitter(sitter, look).plane))
    else:
        first = _eight(evened(lightness, look))
    return first, _eight(evened(brought.painting[..., 0], look))


def _eight(plane: Plane) -> Grey:
    return np.asarray(np.clip(128 + _CONTRAST * plane, 0, 255), dtype=np.uint8)


def _one(greys: tuple[Grey, Grey], setting: Setting, search: Search) -> Plane:
    height, width = greys[0].shape
    size = max(1, round(width / search.shrink)), max(1, round(height / search.shrink))
    small = [np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), dtype=np.uint8) for grey in greys]
    first, second = reversed(small) if setting.backward else small
    engine = cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM)
    engine.setFinestScale(0)
    engine.setPatchSize(_PATCH)
    engine.setPatchStride(search.stride)
    engine.setGradientDescentIterations(_DESCENTS)
    engine.setVariationalRefinementIterations(_ROUNDS)
    found = engine.calc(first, second, np.zeros((*first.shape, 2), dtype=np.float32))
    smooth = setting.smooth * PX_PER_PUPILS / search.shrink
    flow = np.asarray(cv2.GaussianBlur(found, (0, 0), smooth), dtype=np.float32)
    if setting.backward:
        flow = turned_round(flow)
    flow = flow * np.array([width / size[0], height / size[1]], dtype=np.float32)
    return np.asarray(cv2.resize(flow, (width, height), interpolation=cv2.INTER_LINEAR), dtype=np.float32)
