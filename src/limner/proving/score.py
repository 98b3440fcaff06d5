"""How planted errors compare with what was read: slope, error, bias, false alarms, coverage of the stated interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

Z95 = 1.96
"""Half-width of a two-sided 95 % interval in standard deviations of a normal error."""
Z_POWER = 1.645
"""One-sided 95 % point of the normal distribution."""
_LEAST_MOVED = 3
_LEAST_SHARE = 0.25
"""A slope needs this many plantings of at least this share of what a viewer notices."""


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One measure, read on one painting whose truth is known; all in the measure's unit."""

    case: int
    measure: str
    planted: float
    """The true deviation."""
    threshold: float
    """What a viewer notices."""
    recovered: float | None
    """The deviation read; ``None`` where there is no number."""
    sigma: float | None
    call: str


@dataclass(frozen=True, kw_only=True)
class Score:
    """What one measure came to over many paintings; ``None`` where there is too little to say."""

    readings: int
    """With a number."""
    missing: int
    """Without one."""
    slope: float | None
    """Recovered per planted, by least squares with an intercept; 1 is truth."""
    rms: float | None
    """Root mean square of recovered less planted."""
    bias: float | None
    """Mean of recovered less planted."""
    coverage: float | None
    """Share of the readings whose 95 % interval holds the truth."""
    unsure: float
    """Share of all readings called unsure or without a number."""
    faithful: int
    """Readings on faithful copies."""
    false_alarms: int
    """Of these, called off."""
    smallest: float | None
    """Smallest error seen 19 times in 20: ``(1.96 sigma + 1.645 spread) / slope``, with the median stated sigma and the
    spread of the errors about the fitted line."""


def _line(planted: np.ndarray, recovered: np.ndarray) -> tuple[float, float]:
    """Slope and the spread about the line (two fitted numbers taken off the count)."""
    slope, intercept = np.polyfit(planted, recovered, 1)
    rest = recovered - slope * planted - intercept
    return float(slope), float(np.sqrt((rest**2).sum() / max(1, len(rest) - 2)))


def score(readings: Sequence[Reading], faithful: frozenset[int]) -> Score:
    """Scores the readings of one measure; ``faithful`` are the cases in which nothing was planted.

    >>> told = [
    ...     Reading(case=k, measure="a", planted=p, threshold=8.0, recovered=0.5 * p, sigma=1.0, call="true")
    ...     for k, p in enumerate([0.0, 10.0, -10.0, 8.0])
    ... ]
    >>> round(score(told, frozenset({0})).slope, 6)
    0.5
    """
    known = [r for r in readings if r.recovered is not None]
    stated = all(r.sigma is not None for r in known)
    planted = np.array([r.planted for r in known])
    recovered = np.array([r.recovered for r in known], dtype=np.float64)
    sigma = np.array([r.sigma if stated else np.nan for r in known], dtype=np.float64)
    error = recovered - planted
    copies = [r for r in readings if r.case in faithful]
    moved = sum(abs(r.planted) >= _LEAST_SHARE * r.threshold for r in known)
    slope = smallest = None
    if moved >= _LEAST_MOVED and np.ptp(planted) > 0:
        slope, spread = _line(planted, recovered)
        if slope > 0.2 and stated:
            smallest = (Z95 * float(np.median(sigma)) + Z_POWER * spread) / slope
    return Score(
        readings=len(known),
        missing=len(readings) - len(known),
        slope=slope,
        rms=float(np.sqrt((error**2).mean())) if known else None,
        bias=float(error.mean()) if known else None,
        coverage=float((np.abs(error) <= Z95 * sigma).mean()) if known and stated else None,
        unsure=sum(r.call == "unsure" or r.recovered is None for r in readings) / max(1, len(readings)),
        faithful=len(copies),
        false_alarms=sum(r.call == "off" for r in copies),
        smallest=smallest,
    )
