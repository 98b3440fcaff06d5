"""``prove``: plants known errors in copies of a reference, paints and photographs them, and says what is recovered."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from limner.measure.catalogue import CATALOGUE
from limner.notices import Notice
from limner.proving.bench import Progress, ready, run_all
from limner.proving.score import Reading, Score, score
from limner.proving.trials import Outcome, plan, run_trial
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
    made = ready(reference, settings, jobs=jobs, seed=seed)
    first = made.first
    outcomes = run_all(made.bench, plan(quick=quick, seed=seed), run_trial, jobs, progress)
    return Proof(
        reference=first.result.reference.name,
        pupil_distance=first.result.reference.pupil_distance,
        quick=quick,
        seed=seed,
        outcomes=outcomes,
        rows=tuple(row for group in GROUPS for row in _rows(outcomes, group)),
        warnings=(*_warnings(first.result.reference.pupil_distance, outcomes), *first.reference.notices),
    )


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
