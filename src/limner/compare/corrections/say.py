"""One step in a painter's words."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from limner.compare.calibration import WIDE
from limner.compare.corrections.fit import WAYS, Fit
from limner.compare.corrections.units import Unit
from limner.compare.wording import degrees, rounded
from limner.result import AuditResult


@dataclass(frozen=True, kw_only=True)
class Told:
    """What lengths are told in."""

    per_px: float
    """What one px of the painting is in it."""
    name: str
    """``mm``, or ``% of eye width``."""
    share: float = 0.0
    """One-sigma uncertainty of ``per_px`` as a share of it: size of the canvas, lens, edges."""


def told_in(result: AuditResult) -> Told:
    """Millimetres where the canvas is known, else shares of the width of an eye as it should be."""
    pitch = result.canvas.mm_per_px if result.canvas else None
    if pitch is not None and pitch.value:
        return Told(per_px=pitch.value, name="mm", share=(pitch.sigma or 0.0) / pitch.value)
    eyes = [np.linalg.norm(result.should_be[a] - result.should_be[b]) for a, b in ((33, 133), (362, 263))]
    return Told(per_px=100 / float(np.mean(eyes)), name="% of eye width")


def sentence(unit: Unit, fit: Fit, kept: frozenset[str], told: Told) -> str:
    """The step as one sentence.

    Args:
        unit: what moves.
        fit: how.
        kept: the ways that are beyond their doubt.
        told: what lengths are told in.
    """
    words = {
        "x": ("toward picture right", "toward picture left"),
        "y": ("down", "up"),
        "along": unit.along,
        "across": unit.across,
        "turn": ("clockwise", "anticlockwise"),
    }
    parts, doubts = [], []
    for number, way in enumerate(WAYS):
        if way not in kept:
            continue
        much, doubt = _printed(fit, number, told)
        which = words[way][0 if fit.amounts[number] > 0 else 1]
        if way == "turn":
            parts.append(f"turn {much} {degrees(much)} {which}")
            doubts.append(f"{doubt} {degrees(doubt)}")
        else:
            length = told.name if way in ("x", "y") else "%"
            parts.append(f"{much} {length} {which}")
            doubts.append(f"{doubt} {length}")
    name = unit.name[:1].upper() + unit.name[1:]
    return f"{name}: {', '.join(parts)} (give or take {', '.join(dict.fromkeys(doubts))})."


def kept_ways(fit: Fit, told: Told) -> frozenset[str]:
    """The ways beyond their doubt of 95 in 100, also as they are printed: 8, give or take 8, is no move."""
    sure = np.abs(fit.amounts) > WIDE * fit.sigma
    return frozenset(way for k, way in enumerate(WAYS) if sure[k] and _stands(*_printed(fit, k, told)))


def _stands(much: str, doubt: str) -> bool:
    return float(much) > float(doubt)


def _printed(fit: Fit, number: int, told: Told) -> tuple[str, str]:
    """An amount and its give or take, as they are printed."""
    way = WAYS[number]
    factor = math.degrees(1.0) if way == "turn" else told.per_px if way in ("x", "y") else 100.0
    much, sigma = abs(float(fit.amounts[number])) * factor, float(fit.sigma[number]) * factor
    return rounded(much, math.hypot(sigma, much * told.share) if way in ("x", "y") else sigma)
