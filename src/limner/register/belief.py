"""How far the carried points are believed: feature by feature, and as a whole."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.face.points import FEATURES
from limner.register.bring import PX_PER_PUPILS, Brought
from limner.register.flow import agreed
from limner.register.tone import Look, evened

Array = NDArray[np.float64]
Plane = NDArray[np.float32]

_LOOK = Look(blur=0.02, window=0.3)
_NEAR, _CLOSE = 0.05, 0.025
"""How far round an outline is looked, pupil distances."""
_GROUND = 0.3
"""Window over which the ground is taken away before contrasts are compared, pupil distances."""


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
    laid = _Laid(brought, flows)
    found = {}
    for feature in FEATURES.values():
        rows = list(feature.indices)
        outline = np.round(brought.places[rows]).astype(np.int32)
        near = _mask(brought, outline, feature.closed and feature.id != "face", _NEAR)
        close = _mask(brought, outline, feature.closed and feature.id != "face", _CLOSE)
        apart = (seen.points - brought.found)[rows]
        found[feature.id] = Signs(
            likeness=_correlation(laid.evened[0][near], laid.evened[1][near]),
            echo=laid.echo(close),
            scatter=float(np.sqrt(np.var(seen.runs[:, rows], axis=0).sum(axis=1).mean())) / PX_PER_PUPILS,
            stray=float(np.sqrt(np.var(flows[:, near], axis=0).sum(axis=1).mean())) / PX_PER_PUPILS,
            sigma=float(np.sqrt((seen.sigma[rows] ** 2).mean())) / PX_PER_PUPILS,
            apart=float(np.sqrt((apart**2).sum(axis=1).mean())) / PX_PER_PUPILS,
        )
    return found


class _Laid:
    """Both pictures with the painting laid over the reference along the flow, and as found."""

    def __init__(self, brought: Brought, flows: Plane) -> None:
        height, width = brought.reference.shape[:2]
        warp = agreed(flows)
        x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
        there = x + warp[..., 0], y + warp[..., 1]

        def along(plane: Plane) -> Plane:
            return np.asarray(cv2.remap(plane, *there, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32)

        first, second = brought.reference[..., 0], brought.painting[..., 0]
        self.evened = evened(first, _LOOK), along(evened(second, _LOOK))
        flat = Look(blur=0.02, window=_GROUND, calm=1e6)
        still = evened(second, flat)
        self._reference = evened(first, flat)
        self._paintings = still, along(still)
        x0, y0 = np.clip(brought.places.min(axis=0).astype(int), 0, None)
        x1, y1 = brought.places.max(axis=0).astype(int)
        self._gain = self._slope(np.s_[y0:y1, x0:x1])

    def _slope(self, where: object) -> float:
        """Painted contrast per contrast of the reference, the better of the two ways to lay the painting."""
        one = self._reference[where]  # type: ignore[index]
        one = one - one.mean()
        below = float((one * one).sum()) + 1e-12
        return max(float((one * other[where]).sum()) for other in self._paintings) / below  # type: ignore[index]

    def echo(self, where: NDArray[np.bool_]) -> float:
        """How much of the reference's contrast there the painting has, 1 for as much as the whole face."""
        return self._slope(where) / max(self._gain, 1e-6)


def _mask(brought: Brought, outline: NDArray[np.int32], filled: bool, reach: float) -> NDArray[np.bool_]:
    """(h, w) array: in and near an outline."""
    mask = np.zeros(brought.reference.shape[:2], np.uint8)
    if filled:
        cv2.fillPoly(mask, [outline], 1)
    cv2.polylines(mask, [outline], filled, 1, max(1, round(2 * reach * PX_PER_PUPILS)))
    return np.asarray(mask > 0)


def _correlation(first: Plane, second: Plane) -> float:
    one, other = first - first.mean(), second - second.mean()
    return float((one * other).sum() / np.sqrt((one * one).sum() * (other * other).sum() + 1e-12))
