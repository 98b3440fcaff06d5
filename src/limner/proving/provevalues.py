"""The half of a proof that plants errors of value and colour."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from limner.proving.bench import Progress, ready, run_all
from limner.proving.valuescore import ValueScore, score_values
from limner.proving.valuetrials import ValueOutcome, plan_values, run_value_trial
from limner.settings import Settings


@dataclass(frozen=True, kw_only=True)
class ValueProof:
    """What a proof of values found. Frozen; made by :func:`prove_values`."""

    score: ValueScore
    outcomes: tuple[ValueOutcome, ...]


def prove_values(
    reference: str | Path | NDArray[np.uint8],
    *,
    quick: bool = False,
    seed: int = 0,
    jobs: int = 2,
    settings: Settings | None = None,
    progress: Progress | None = None,
) -> ValueProof:
    """Prove limner's values on a painter's own reference (a path or an sRGB array); the same arguments, the same proof.

    ``jobs`` processes share the trials; ``progress`` is called with how many are done and how many there are.
    Raises :class:`UsageError` for bad numbers, and what :func:`limner.audit` raises for a reference it cannot use.
    """
    bench = ready(reference, settings, jobs=jobs, seed=seed).bench
    bench = replace(bench, settings=replace(bench.settings, values=True))
    outcomes = run_all(bench, plan_values(quick=quick, seed=seed), run_value_trial, jobs, progress)
    return ValueProof(score=score_values(outcomes), outcomes=outcomes)
