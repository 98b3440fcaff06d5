"""The dense correspondence, coarse to fine: where each place of the reference lies in the painting.

OpenCV's dense inverse search (Kroeger, Timofte, Dai & Van Gool 2016, ECCV) is run with several smoothings, forward and
backward, and the median is taken. It is the start of the local fits and one of the witnesses of their doubt.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.register.bring import PX_PER_PUPILS, Brought
from limner.register.tone import Look, evened

Array = NDArray[np.float64]
Plane = NDArray[np.float32]

_CONTRAST = 40.0
"""Grey levels per unit of evened contrast in the 8-bit pictures the flow is found on."""


_FINEST, _ROUNDS = 1, 10
"""Finest scale (halvings) and rounds of refinement: more of either did not better the fits that start from it."""


@dataclass(frozen=True, kw_only=True)
class Setting:
    """One way to find the flow; lengths in pupil distances."""

    look: Look
    smooth: float
    backward: bool


SETTINGS = (
    Setting(look=Look(blur=0.02, window=0.25), smooth=0.03, backward=False),
    Setting(look=Look(blur=0.02, window=0.25), smooth=0.03, backward=True),
    Setting(look=Look(blur=0.035, window=0.3), smooth=0.03, backward=False),
)


def dense_flow(brought: Brought) -> Plane:
    """(runs, h, w, 2) array: displacement from the reference to the painting in working px, one for each setting."""
    return np.stack([_one(brought, setting) for setting in SETTINGS])


def agreed(flows: Plane) -> Plane:
    """(h, w, 2) array: the median of the flows."""
    return np.asarray(np.median(flows, axis=0), dtype=np.float32)


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


def _one(brought: Brought, setting: Setting) -> Plane:
    first, second = (
        np.clip(128 + _CONTRAST * evened(lab[..., 0], setting.look), 0, 255).astype(np.uint8)
        for lab in (brought.reference, brought.painting)
    )
    if setting.backward:
        first, second = second, first
    search = cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM)
    search.setFinestScale(_FINEST)
    search.setPatchSize(12)
    search.setPatchStride(4)
    search.setVariationalRefinementIterations(_ROUNDS)
    found = search.calc(first, second, np.zeros((*first.shape, 2), dtype=np.float32))
    flow = np.asarray(cv2.GaussianBlur(found, (0, 0), setting.smooth * PX_PER_PUPILS), dtype=np.float32)
    return turned_round(flow) if setting.backward else flow
