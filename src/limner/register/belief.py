"""How far the carried points are believed: feature by feature, and as a whole."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.face.points import FEATURES
from limner.register.bring import PX_PER_PUPILS, Brought
from limner.register.tone import Look, evened

Array = NDArray[np.float64]
Plane = NDArray[np.float32]

_LOOK = Look(blur=0.02, window=0.3)


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
    relief: float
    """Contrast of the painting there against the reference's, both as L*."""
    scatter: float
    """Root mean square distance between the fits, pupil distances."""
    stray: float
    """The same between forward, backward and coarser flow."""
    sigma: float
    """Uncertainty by the fits, pupil distances."""
    apart: float
    """Root mean square distance from the found points, pupil distances."""


def judge(brought: Brought, flows: Plane, seen: Seen) -> Verdict:
    return Verdict(confidence={}, unpainted={}, doubts={}, refused=None)


def signs(brought: Brought, flows: Plane, seen: Seen) -> dict[str, Signs]:
    """The signs of every feature."""
    height, width = brought.reference.shape[:2]
    first, second = evened(brought.reference[..., 0], _LOOK), evened(brought.painting[..., 0], _LOOK)
    soft = [
        cv2.GaussianBlur(lab[..., 0], (0, 0), 0.02 * PX_PER_PUPILS) for lab in (brought.reference, brought.painting)
    ]
    warp = np.median(flows, axis=0)
    x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    maps = (x + warp[..., 0], y + warp[..., 1])
    second = cv2.remap(second, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    laid = cv2.remap(soft[1], *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    found = {}
    for feature in FEATURES.values():
        mask = np.zeros((height, width), np.uint8)
        outline = np.round(brought.places[list(feature.indices)]).astype(np.int32)
        reach = int(0.1 * PX_PER_PUPILS)
        if feature.closed and feature.id != "face":
            cv2.fillPoly(mask, [outline], 1)
        cv2.polylines(mask, [outline], feature.closed, 1, reach)
        inside = mask > 0
        a, b = first[inside], second[inside]
        apart = (seen.points - brought.found)[list(feature.indices)]
        found[feature.id] = Signs(
            likeness=float(np.corrcoef(a, b)[0, 1]),
            relief=float(np.std(laid[inside]) / max(np.std(soft[0][inside]), 1e-6)),
            scatter=float(np.sqrt((np.var(seen.runs[:, list(feature.indices)], axis=0).sum(axis=1)).mean()))
            / PX_PER_PUPILS,
            stray=float(np.sqrt(np.var(flows[:, inside], axis=0).sum(axis=1).mean())) / PX_PER_PUPILS,
            sigma=float(np.sqrt((seen.sigma[list(feature.indices)] ** 2).mean())) / PX_PER_PUPILS,
            apart=float(np.sqrt((apart**2).sum(axis=1).mean())) / PX_PER_PUPILS,
        )
    return found
