"""What both halves of a proof share: the reference made ready, and trials run in processes side by side."""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from limner.auditing import Examined, examine
from limner.errors import LimnerError, UsageError
from limner.proving.trials import Bench, crop_to_face, plain_points
from limner.settings import Settings

Progress = Callable[[int, int], None]
Trial = TypeVar("Trial")


class Numbered(Protocol):
    """A trial that knows its place among the others."""

    @property
    def number(self) -> int: ...


class Told(Protocol):
    """What came of one trial."""

    @property
    def trial(self) -> Numbered: ...


Outcome = TypeVar("Outcome", bound=Told)


@dataclass(frozen=True, kw_only=True, eq=False)
class Ready:
    """A reference as the trials use it, and as it came."""

    bench: Bench
    first: Examined


def ready(reference: str | Path | NDArray[np.uint8], settings: Settings | None, *, jobs: int, seed: int) -> Ready:
    """Crop a reference to its face, at the size trials are painted at, and read it.

    Raises :class:`UsageError` for bad numbers, and what :func:`limner.audit` raises for a reference it cannot use.
    """
    if jobs < 1 or seed < 0:
        raise UsageError(f"Expected at least 1 job and a seed of 0 or more; got {jobs} and {seed}.")
    settings = replace(settings or Settings(), threads=1, witness="mesh", values=False)
    first = examine(reference, reference, settings=settings)
    pixels = crop_to_face(first.reference.pixels, first.result.reference_points)
    # The face is chosen once, here; in the copies there is only that one.
    settings = replace(settings, face_reference=None, face_painting=None)
    again = examine(pixels, pixels, settings=settings)
    bench = Bench(
        pixels=pixels,
        points=again.result.reference_points,
        settings=replace(settings, witness="best"),
        plain=plain_points(pixels, settings),
    )
    return Ready(bench=bench, first=first)


_held: list[tuple[Bench, Callable[[Bench, Any], Any]]] = []
"""The bench of a worker process and what is run on it, set once when it starts."""


def _start(bench: Bench, run: Callable[[Bench, Any], Any]) -> None:
    # Ctrl-C reaches every process of a terminal; the one that was asked ends the others.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _held[:] = [(bench, run)]


def _work(trial: Any) -> Any:
    bench, run = _held[0]
    return run(bench, trial)


def run_all(
    bench: Bench,
    trials: Sequence[Trial],
    run: Callable[[Bench, Trial], Outcome],
    jobs: int,
    progress: Progress | None = None,
) -> tuple[Outcome, ...]:
    """All outcomes in the order of the trials, whatever order they come in; ``run`` is a function of a module.

    Raises LimnerError where a process is ended from outside.
    """
    tell = progress or (lambda _done, _all: None)
    done: list[Outcome] = []
    tell(0, len(trials))
    for outcome in _outcomes(bench, trials, run, min(jobs, len(trials))):
        done.append(outcome)
        tell(len(done), len(trials))
    return tuple(sorted(done, key=lambda outcome: outcome.trial.number))


def _outcomes(
    bench: Bench, trials: Sequence[Trial], run: Callable[[Bench, Trial], Outcome], jobs: int
) -> Iterator[Outcome]:
    if jobs == 1:
        yield from (run(bench, trial) for trial in trials)
        return
    # A fresh interpreter for each process: the face finder's threads do not survive a fork.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(jobs, mp_context=context, initializer=_start, initargs=(bench, run)) as pool:
        waiting = [pool.submit(_work, trial) for trial in trials]
        try:
            yield from (future.result() for future in as_completed(waiting))
        except BrokenProcessPool as error:
            raise LimnerError(
                "A process of the proof was ended from outside, often for want of memory; run it again with --jobs 1."
            ) from error
        finally:
            pool.shutdown(wait=True, cancel_futures=True)
