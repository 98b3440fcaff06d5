"""One step in a painter's words."""

from __future__ import annotations

import math

import numpy as np

from limner.compare.calibration import WIDE
from limner.compare.corrections.fit import WAYS, Fit
from limner.compare.corrections.units import Unit
from limner.compare.wording import degrees, rounded


def sentence(unit: Unit, fit: Fit, kept: frozenset[str], per_px: float, length: str) -> str:
    """The step as one sentence.

    Args:
        unit: what moves.
        fit: how.
        kept: the ways that are beyond their doubt.
        per_px: what one px is in ``length``.
        length: ``mm``, or ``% of eye width``.
    """
    amounts, sigma = (dict(zip(WAYS, values.tolist(), strict=True)) for values in (fit.amounts, fit.sigma))
    parts, doubts = [], []
    for way, words in (("x", ("toward picture right", "toward picture left")), ("y", ("down", "up"))):
        if way in kept:
            much, doubt = rounded(abs(amounts[way] * per_px), sigma[way] * per_px)
            parts.append(f"{much} {length} {words[0 if amounts[way] > 0 else 1]}")
            doubts.append(f"{doubt} {length}")
    for way, words in (("along", unit.along), ("across", unit.across)):
        if way in kept:
            much, doubt = rounded(abs(100 * amounts[way]), 100 * sigma[way])
            parts.append(f"{much} % {words[0 if amounts[way] > 0 else 1]}")
            doubts.append(f"{doubt} %")
    if "turn" in kept:
        turn = math.degrees(amounts["turn"])
        much, doubt = rounded(abs(turn), math.degrees(sigma["turn"]))
        parts.append(f"turn {much} {degrees(much)} {'clockwise' if turn > 0 else 'anticlockwise'}")
        doubts.append(f"{doubt} {degrees(doubt)}")
    name = unit.name[:1].upper() + unit.name[1:]
    return f"{name}: {', '.join(parts)} (give or take {', '.join(dict.fromkeys(doubts))})."


def kept_ways(fit: Fit) -> frozenset[str]:
    """The ways beyond their doubt of 95 in 100."""
    sure = np.abs(fit.amounts) > WIDE * fit.sigma
    return frozenset(way for way, is_sure in zip(WAYS, sure, strict=True) if is_sure)
