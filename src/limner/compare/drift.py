"""Whether a painting moves from the sitter toward a type: a canon, or the average face; or away from it, to caricature.

With the sitter's ratio r, the painting's change of it d (the painting's ratio is r (1 + d)) and the goal c:

    gap   = c - r
    share = r d / gap

so 0 stays with the sitter, 1 has arrived at the goal, above 1 is past it, below 0 moves away. Errors of r, d and c are
taken as independent and carried through to first order. A gap is told from nothing when it exceeds :data:`CLEAR` of its
uncertainty; where it is not, no share is given.

As one movement, in logarithms, over the ratios whose gap is clear: t = ln(c / r) for each, m = ln(1 + d), and

    share = sum(w t m) / sum(w t t),  w = 1 / (relative spread among people)^2

the share of the way along the line from the sitter to the goal. Ratios that share a length share its error.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.result import Drift, DriftVector, Quantity, Target

Array = NDArray[np.float64]

CLEAR = 2.0
"""A gap counts when it exceeds so many of its standard deviations."""

_NOTHING = Quantity(value=None, sigma=None)


@dataclass(frozen=True, kw_only=True)
class Change:
    """How a painting changes one ratio."""

    value: float
    """Painting over sitter, less 1."""
    sigma: float
    lengths: Mapping[str, tuple[int, float]]
    """Length -> its sign in the ratio, and its own relative one-sigma error: what ratios share."""


@dataclass(frozen=True, kw_only=True)
class Goal:
    """What it might drift to."""

    target: Target
    value: float
    sigma: float = 0.0
    """0 for a canon; for the average face what it leaves open not to say whose average."""


@dataclass(frozen=True, kw_only=True)
class Step:
    """One ratio of the whole movement."""

    id: str
    sitter: Quantity
    change: Change
    goal: Goal
    spread: float
    """Relative standard deviation of the ratio among people."""


def drift_of(sitter: Quantity, change: Change, goal: Goal) -> Drift:
    """How far one ratio has moved toward its goal.

    Args:
        sitter: the reference's ratio.
        change: what the painting does to it.
        goal: where it might go.

    >>> at = Quantity(value=1.2, sigma=0.02)
    >>> half = Change(value=-0.1 / 1.2, sigma=0.01, lengths={})
    >>> round(drift_of(at, half, Goal(target="canon", value=1.0)).share.value, 3)
    0.5
    """
    if sitter.value is None or sitter.sigma is None:
        return Drift(
            target=goal.target, goal=goal.value, gap=_NOTHING, share=_NOTHING, reason="not known of the sitter"
        )
    r, d, c = sitter.value, change.value, goal.value
    distance = c - r
    gap = Quantity(value=distance, sigma=math.hypot(sitter.sigma, goal.sigma))
    if not is_clear(gap):
        reason = "the sitter is too near to it, for what is known of the sitter, to tell a drift"
        return Drift(target=goal.target, goal=c, gap=gap, share=_NOTHING, reason=reason)
    share = r * d / distance
    sigma = math.hypot(
        r / distance * change.sigma, d * c / distance**2 * sitter.sigma, r * d / distance**2 * goal.sigma
    )
    return Drift(target=goal.target, goal=c, gap=gap, share=Quantity(value=share, sigma=sigma), reason=None)


def is_clear(gap: Quantity) -> bool:
    """Whether a gap exceeds twice its uncertainty."""
    return gap.value is not None and gap.sigma is not None and abs(gap.value) > CLEAR * gap.sigma


def movement(target: Target, steps: Sequence[Step]) -> DriftVector:
    """The whole movement toward one target, over the ratios whose gap is clear.

    Args:
        target: canon or average.
        steps: the ratios; those whose gap is not clear are left out.
    """
    clear = [step for step in steps if drift_of(step.sitter, step.change, step.goal).reason is None]
    if not clear:
        reason = "no ratio in which this sitter is clearly away from it"
        return DriftVector(target=target, share=_NOTHING, ratios=(), reason=reason)
    r = np.array([step.sitter.value for step in clear], dtype=np.float64)
    c = np.array([step.goal.value for step in clear], dtype=np.float64)
    t, m = np.log(c / r), np.log1p([step.change.value for step in clear])
    w = 1 / np.array([step.spread for step in clear]) ** 2
    whole = float((w * t * t).sum())
    share = float((w * t * m).sum()) / whole
    by_change = w * t / whole
    by_gap = w * (m - 2 * share * t) / whole
    doubt = [math.hypot((s.sitter.sigma or 0.0) / (s.sitter.value or 1.0), s.goal.sigma / s.goal.value) for s in clear]
    variance = float(by_change @ _shared(clear) @ by_change) + float(((by_gap * np.array(doubt)) ** 2).sum())
    return DriftVector(
        target=target,
        share=Quantity(value=share, sigma=math.sqrt(variance)),
        ratios=tuple(step.id for step in clear),
        reason=None,
    )


def _shared(steps: Sequence[Step]) -> Array:
    """(N, N) array: how the errors of the changes go together, by the lengths that they share."""
    names = sorted({name for step in steps for name in step.change.lengths})
    signs = np.zeros((len(steps), len(names)))
    for row, step in enumerate(steps):
        for name, (sign, sigma) in step.change.lengths.items():
            signs[row, names.index(name)] = sign * sigma
    own = np.array([step.change.sigma / (1 + step.change.value) for step in steps])
    together = signs @ signs.T
    rest = np.maximum(own**2 - np.diag(together), 0.0)
    return np.asarray(together + np.diag(rest))
