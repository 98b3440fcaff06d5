"""``prove``: plants known errors in copies of a reference, paints and photographs them, and says what is recovered."""

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
from limner.measure.catalogue import CATALOGUE
from limner.notices import Notice
from limner.proving.score import Reading, Score, score
from limner.proving.trials import Bench, Outcome, Trial, crop_to_face, plain_points, plan, run_trial
from limner.settings import Settings

GROUPS = ("full", "block-in")
MAIN = (
    "pupil_distance", "eye_width_right", "eye_width_left", "eye_opening_right", "eye_opening_left",
    "brow_right_y", "brow_left_y", "nose_width", "nose_length", "nose_x", "nose_y",
    "mouth_width", "mouth_x", "mouth_y", "mouth_axis", "upper_lip", "lower_lip",
    "chin_height", "chin_y", "face_width", "jaw_width",
)  # fmt: skip
"""Measures that are told first; the others need to be asked for."""
SMALL = 120.0
"""px between the pupils of the reference below which a proof says little about fine features."""
Progress = Callable[[int, int], None]


@dataclass(frozen=True, kw_only=True)
class Row:
    """One measure in one group of trials."""

    measure: str
    name: str
    unit: str
    group: str
    best: Score
    mesh: Score
    plain: Score


@dataclass(frozen=True, kw_only=True)
class Proof:
    """What a proof found. Frozen; made by :func:`prove`."""

    reference: str
    """Name of the reference's file; never a path."""
    pupil_distance: float
    """px of the stored reference."""
    quick: bool
    seed: int
    outcomes: tuple[Outcome, ...]
    rows: tuple[Row, ...]
    warnings: tuple[Notice, ...]

    def group(self, name: str) -> tuple[Row, ...]:
        """The rows of one group, ``full`` or ``block-in``."""
        return tuple(row for row in self.rows if row.group == name)


def prove(
    reference: str | Path | NDArray[np.uint8],
    *,
    quick: bool = False,
    seed: int = 0,
    jobs: int = 2,
    settings: Settings | None = None,
    progress: Progress | None = None,
) -> Proof:
    """Proves limner on a painter's own reference (a path or an sRGB array); the same arguments give the same proof.

    ``jobs`` processes share the trials; ``progress`` is called with how many are done and how many there are.
    Raises :class:`UsageError` for bad numbers, and what :func:`limner.audit` raises for a reference it cannot use.
    """
    if jobs < 1 or seed < 0:
        raise UsageError(f"Expected at least 1 job and a seed of 0 or more; got {jobs} and {seed}.")
    settings = replace(settings or Settings(), threads=1, witness="best", values=False)
    first = examine(reference, reference, settings=replace(settings, witness="mesh"))
    pixels = crop_to_face(first.reference.pixels, first.result.reference_points)
    # The face is chosen once, here; in the copies there is only that one.
    settings = replace(settings, face_reference=None, face_painting=None)
    again = examine(pixels, pixels, settings=replace(settings, witness="mesh"))
    bench = Bench(
        pixels=pixels,
        points=again.result.reference_points,
        settings=settings,
        plain=plain_points(pixels, settings),
    )
    trials = plan(quick=quick, seed=seed)
    outcomes = _run(bench, trials, jobs, progress or (lambda _done, _all: None))
    return Proof(
        reference=first.result.reference.name,
        pupil_distance=first.result.reference.pupil_distance,
        quick=quick,
        seed=seed,
        outcomes=outcomes,
        rows=tuple(row for group in GROUPS for row in _rows(outcomes, group)),
        warnings=(*_warnings(first.result.reference.pupil_distance, outcomes), *first.reference.notices),
    )


_bench: list[Bench] = []
"""The bench of a worker process, set once when it starts."""


def _start(bench: Bench) -> None:
    # Ctrl-C reaches every process of a terminal; the one that was asked ends the others.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _bench[:] = [bench]


def _work(trial: Trial) -> Outcome:
    return run_trial(_bench[0], trial)


def _run(bench: Bench, trials: Sequence[Trial], jobs: int, progress: Progress) -> tuple[Outcome, ...]:
    """All outcomes in the order of the trials, whatever order they come in."""
    done: list[Outcome] = []
    progress(0, len(trials))
    for outcome in _outcomes(bench, trials, min(jobs, len(trials))):
        done.append(outcome)
        progress(len(done), len(trials))
    return tuple(sorted(done, key=lambda outcome: outcome.trial.number))


def _outcomes(bench: Bench, trials: Sequence[Trial], jobs: int) -> Iterator[Outcome]:
    if jobs == 1:
        yield from (run_trial(bench, trial) for trial in trials)
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


def _rows(outcomes: Sequence[Outcome], group: str) -> list[Row]:
    """One row for each measure that was read in the group, in the catalogue's order."""
    chosen = [outcome for outcome in outcomes if outcome.trial.group == group]
    faithful = frozenset(outcome.trial.number for outcome in chosen if not outcome.trial.slips)
    best, mesh, plain = (_by_measure(getattr(o, who) for o in chosen) for who in ("best", "mesh", "plain"))
    return [
        Row(
            measure=id_,
            name=measure.name,
            unit=measure.unit,
            group=group,
            best=score(best.get(id_, []), faithful),
            mesh=score(mesh.get(id_, []), faithful),
            plain=score(plain.get(id_, []), faithful),
        )
        for id_, measure in CATALOGUE.items()
        if id_ in best or id_ in mesh
    ]


def _by_measure(readings: Iterator[tuple[Reading, ...]]) -> dict[str, list[Reading]]:
    out: dict[str, list[Reading]] = {}
    for some in readings:
        for reading in some:
            out.setdefault(reading.measure, []).append(reading)
    return out


def _warnings(pupil_distance: float, outcomes: Sequence[Outcome]) -> list[Notice]:
    out = []
    if pupil_distance < SMALL:
        text = (
            f"The pupils are {pupil_distance:.0f} px apart in this reference; a proof on fewer than {SMALL:.0f} px "
            "says little about lids and lips. Use a larger picture if there is one."
        )
        out.append(Notice(code="small_reference", text=text))
    lost = [outcome for outcome in outcomes if outcome.lost]
    if lost:
        kinds = ", ".join(sorted({outcome.trial.brush.kind for outcome in lost}))
        text = f"On {len(lost)} of {len(outcomes)} paintings no face was found ({kinds}); they are not in the figures."
        out.append(Notice(code="faces_lost", text=text))
    return out
