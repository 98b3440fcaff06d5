"""The proof of values and colour as lines of text and as plain data."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict

from limner.proving.valuescore import ValueScore
from limner.proving.valuetrials import ValueOutcome

_DIGITS = 6


def value_lines(score: ValueScore) -> Iterator[str]:
    """The figures in sentences; what there is too little of is left out."""
    if score.slope is not None and score.rms is not None and score.called is not None:
        yield (
            f"Of a region one step too light or dark {score.slope:.2f} is read; the typical miss is "
            f"{score.rms:.2f} of a step ({score.shifts} regions shifted by half a step or more; "
            f"{100 * score.called:.0f} % of them are told)."
        )
    if score.faithful:
        yield f"Called off on faithful copies: {score.false_alarms} of {score.faithful} regions."
    if score.coverage is not None:
        yield (
            f"{100 * score.coverage:.0f} % of all readings held the truth, {100 * score.unsure:.0f} % were unsure; "
            f"{100 * score.lost:.0f} % of the regions were burnt out or blocked up in the photographs and left out."
        )
    if score.highlights:
        told = "" if score.precision is None else f", and {100 * score.precision:.0f} % of those told were there"
        yield f"Of {score.highlights} planted highlights {score.found} were found{told}."
    for name, planted, read in (
        ("A range brought to", score.range_planted, score.range_read),
        ("Lights too strong by, in steps,", score.lights_planted, score.lights_read),
        ("A zone warmer by, in CIE a* and b*,", score.warmth_planted, score.warmth_read),
    ):
        if planted is not None and read is not None:
            yield f"{name} {planted:.2f} reads {read:.2f}."


def value_dict(score: ValueScore, outcomes: Sequence[ValueOutcome]) -> dict[str, object]:
    """The figures and every reading as plain data."""
    figures = {key: _number(value) for key, value in asdict(score).items()}
    return {
        **figures,
        "precision": _number(score.precision),
        "recall": _number(score.recall),
        "trials": [_outcome(outcome) for outcome in outcomes],
    }


def _outcome(outcome: ValueOutcome) -> dict[str, object]:
    return {
        "number": outcome.trial.number,
        "kind": outcome.trial.brush.kind,
        "stops": _number(outcome.trial.shot.stops),
        "slips": [asdict(slip) for slip in outcome.trial.slips],
        "failed": outcome.failed,
        "regions": [
            {
                "id": r.measure,
                "planted": _number(r.planted),
                "recovered": _number(r.recovered),
                "sigma": _number(r.sigma),
                "call": r.call,
            }
            for r in outcome.regions
        ],
        "highlights": {"planted": outcome.planted, "found": outcome.found, "strays": outcome.strays},
    }


def _number(value: float | None) -> float | None:
    return round(value, _DIGITS) + 0.0 if isinstance(value, float) else value
