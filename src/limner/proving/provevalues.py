"""The half of a proof that plants errors of value and colour."""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from limner.auditing import examine
from limner.errors import LimnerError, UsageError
from limner.proving.trials import Bench, crop_to_face
from limner.proving.valuescore import ValueScore, score_values
from limner.proving.valuetrials import ValueOutcome, ValueTrial, plan_values, run_value_trial
from limner.settings import Settings

Progress = Callable[[int, int], None]


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
    if jobs < 1 or seed < 0:
        raise UsageError(f"Expected at least 1 job and a seed of 0 or more; got {jobs} and {seed}.")
    settings = replace(settings or Settings(), threads=1, witness="best", values=True)
    plain = replace(settings, witness="mesh", values=False)
    first = examine(reference, reference, settings=plain)
    pixels = crop_to_face(first.reference.pixels, first.result.reference_points)
    settings = replace(settings, face_reference=None, face_painting=None)
    again = examine(pixels, pixels, settings=replace(plain, face_reference=None, face_painting=None))
    bench = Bench(pixels=pixels, points=again.result.reference_points, settings=settings)
    trials = plan_values(quick=quick, seed=seed)
    tell = progress or (lambda _done, _all: None)
    tell(0, len(trials))
    done: list[ValueOutcome] = []
    for outcome in _outcomes(bench, trials, min(jobs, len(trials))):
        done.append(outcome)
        tell(len(done), len(trials))
    outcomes = tuple(sorted(done, key=lambda outcome: outcome.trial.number))
    return ValueProof(score=score_values(outcomes), outcomes=outcomes)


_bench: list[Bench] = []
"""The bench of a worker process, set once when it starts."""


def _start(bench: Bench) -> None:
    # Ctrl-C reaches every process of a terminal; the one that was asked ends the others.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _bench[:] = [bench]


def _work(trial: ValueTrial) -> ValueOutcome:
    return run_value_trial(_bench[0], trial)


def _outcomes(bench: Bench, trials: Sequence[ValueTrial], jobs: int) -> Iterator[ValueOutcome]:
    if jobs == 1:
        yield from (run_value_trial(bench, trial) for trial in trials)
        return
    # A fresh interpreter for each process: the face finder's threads do not survive a fork.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(jobs, mp_context=context, initializer=_start, initargs=(bench,)) as pool:
        waiting = [pool.submit(_work, trial) for trial in trials]
        try:
            yield from (future.result() for future in as_completed(waiting))
        except BrokenProcessPool as error:
            raise LimnerError(
                "A process of the proof was ended from outside, often for want of memory; run it again with --jobs 1."
            ) from error
        finally:
            pool.shutdown(wait=True, cancel_futures=True)
