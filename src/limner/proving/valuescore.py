"""What the trials of values and colour came to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from limner.proving.score import Z95
from limner.proving.valuetrials import ValueOutcome

SEEN_FROM = 0.5
"""Steps from which a planted shift is scored: the goal is stated for these."""


@dataclass(frozen=True, kw_only=True)
class ValueScore:
    """The figures; ``None`` where there is too little to say. Steps are Munsell's."""

    paintings: int
    failed: int
    """Of them, without a face that could be found."""
    shifts: int
    """Regions in which half a step or more was planted, and which the photograph holds."""
    slope: float | None
    """Read per planted, a line through nothing; 1 is truth."""
    rms: float | None
    """Root mean square of read less planted, steps."""
    called: float | None
    """Share of them called off or slight."""
    coverage: float | None
    """Share of all regions whose 95 % interval holds the truth."""
    faithful: int
    """Regions of faithful copies."""
    false_alarms: int
    """Of these, called off."""
    unsure: float
    """Share of the readings called unsure."""
    lost: float
    """Share of the regions that the photographs burnt out or blocked up; they are in none of the above."""
    highlights: int
    """Planted."""
    found: int
    strays: int
    """Told where none was planted."""
    range_planted: float | None
    range_read: float | None
    """Mean factor on the range, planted and read."""
    lights_planted: float | None
    lights_read: float | None
    """Mean steps by which the lights are too strong."""
    warmth_planted: float | None
    warmth_read: float | None
    """Mean, CIE a* and b* together."""

    @property
    def precision(self) -> float | None:
        """Share of the highlights told that were planted."""
        told = self.found + self.strays
        return self.found / told if told else None

    @property
    def recall(self) -> float | None:
        """Share of the highlights planted that were told."""
        return self.found / self.highlights if self.highlights else None


def score_values(outcomes: Sequence[ValueOutcome]) -> ValueScore:
    """Score the trials of values and colour."""
    read = [outcome for outcome in outcomes if outcome.failed is None]
    every = [r for outcome in read for r in outcome.regions if r.recovered is not None and r.sigma is not None]
    shifts = [r for r in every if abs(r.planted) >= SEEN_FROM]
    planted = np.array([r.planted for r in shifts])
    told = np.array([r.recovered for r in shifts], dtype=np.float64)
    copies = [r for outcome in read if not outcome.trial.slips for r in outcome.regions]
    inside = [abs((r.recovered or 0.0) - r.planted) <= Z95 * (r.sigma or 0.0) for r in every]
    ranges = [(s.amount, o.slope) for o in read for s in o.trial.slips if s.kind == "range" and o.slope is not None]
    lights = [(s.amount, o.lights) for o in read for s in o.trial.slips if s.kind == "lights" and o.lights is not None]
    warmth = [(amount, seen) for o in read for _, amount, seen in o.warmth]
    return ValueScore(
        paintings=len(outcomes),
        failed=len(outcomes) - len(read),
        shifts=len(shifts),
        slope=float((planted * told).sum() / (planted**2).sum()) if len(shifts) >= 3 else None,
        rms=float(np.sqrt(((told - planted) ** 2).mean())) if shifts else None,
        called=float(np.mean([r.call in ("off", "slight") for r in shifts])) if shifts else None,
        coverage=float(np.mean(inside)) if inside else None,
        faithful=len(copies),
        false_alarms=sum(r.call == "off" for r in copies),
        unsure=float(np.mean([r.call == "unsure" for r in every])) if every else 0.0,
        lost=float(np.mean([outcome.lost for outcome in read])) if read else 0.0,
        highlights=sum(outcome.planted for outcome in read),
        found=sum(outcome.found for outcome in read),
        strays=sum(outcome.strays for outcome in read),
        range_planted=_mean([a for a, _ in ranges]),
        range_read=_mean([b for _, b in ranges]),
        lights_planted=_mean([a for a, _ in lights]),
        lights_read=_mean([b for _, b in lights]),
        warmth_planted=_mean([a for a, _ in warmth]),
        warmth_read=_mean([b for _, b in warmth]),
    )


def _mean(values: Sequence[float]) -> float | None:
    return float(np.mean(values)) if values else None
