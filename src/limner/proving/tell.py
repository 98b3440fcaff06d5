"""A proof as text and as JSON."""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from dataclasses import asdict
from importlib import resources

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from limner import __version__
from limner.proving.prove import GROUPS, MAIN, Proof, Row
from limner.proving.provevalues import ValueProof
from limner.proving.score import Reading, Score
from limner.proving.valuetell import value_dict, value_lines

SCHEMA = "limner.prove/1"
_DIGITS = 6
_MARKS = {"percent": " %", "percent of pupil distance": " %*", "degrees": "°"}
_TITLES = {
    "full": "On full paintings (strokes, glazes, palette knife)",
    "block-in": "On block-ins (two to five values, broad brushes)",
}


_LEGEND = (
    "miss: the typical error (root of the mean square)",
    "held: how many readings' give-or-take of 95 in 100 holds the truth",
    "seen from: the smallest error that is seen 19 times in 20",
    "*: of the distance between the pupils",
)


def to_dict(proof: Proof, values: ValueProof | None = None) -> dict[str, object]:
    """The proof, and that of the values, as plain data; ``schema/prove-1.json`` in this package describes it."""
    return {
        "schema": SCHEMA,
        "limner": __version__,
        "reference": {"name": proof.reference, "pupil_distance": round(proof.pupil_distance, _DIGITS)},
        "quick": proof.quick,
        "seed": proof.seed,
        "warnings": [{"code": notice.code, "text": notice.text} for notice in proof.warnings],
        "measures": [
            {
                "id": row.measure,
                "name": row.name,
                "unit": row.unit,
                "group": row.group,
                "best": _score(row.best),
                "mesh": _score(row.mesh),
                "plain": _score(row.plain),
            }
            for row in proof.rows
        ],
        "trials": [
            {
                "number": outcome.trial.number,
                "group": outcome.trial.group,
                "kind": outcome.trial.brush.kind,
                "slips": [asdict(slip) for slip in outcome.trial.slips],
                "lost": outcome.lost,
                "readings": {who: _readings(getattr(outcome, who)) for who in ("best", "mesh", "plain")},
            }
            for outcome in proof.outcomes
        ],
        "values": None if values is None else value_dict(values.score, values.outcomes),
    }


def to_json(proof: Proof, values: ValueProof | None = None) -> str:
    """The proof as JSON text with a line end; never a NaN."""
    return json.dumps(to_dict(proof, values), indent=1, allow_nan=False) + "\n"


def schema() -> dict[str, object]:
    """The JSON Schema (draft 2020-12) of what :func:`to_dict` gives."""
    text = (resources.files("limner.proving") / "schema" / "prove-1.json").read_text(encoding="utf-8")
    loaded: dict[str, object] = json.loads(text)
    return loaded


def _number(value: float | None) -> float | None:
    return None if value is None else round(value, _DIGITS) + 0.0


def _score(score: Score) -> dict[str, object]:
    return {key: _number(value) if isinstance(value, float) else value for key, value in asdict(score).items()}


def _readings(readings: Sequence[Reading]) -> list[dict[str, object]]:
    return [
        {
            "id": r.measure,
            "planted": _number(r.planted),
            "recovered": _number(r.recovered),
            "sigma": _number(r.sigma),
            "call": r.call,
        }
        for r in readings
    ]


def to_text(
    proof: Proof,
    values: ValueProof | None = None,
    *,
    everything: bool = False,
    width: int = 80,
    colour: bool = False,
) -> str:
    """The proof as a page of text; ``everything`` adds the measures that are not told first."""
    out = io.StringIO()
    console = Console(
        file=out,
        width=max(width, 40),
        force_terminal=colour,
        color_system="standard" if colour else None,
        highlight=False,
        markup=False,
        emoji=False,
        legacy_windows=False,
    )
    count = len(proof.outcomes)
    console.print(Text(f"What limner recovers on {count} painted copies of {proof.reference}", style="bold"))
    console.print(
        "Known errors are planted in copies of the reference; each is painted, photographed and audited. "
        "'Of 10' is what is read where 10 were planted; 'plain' is one call of the face finder on each picture."
    )
    for notice in proof.warnings:
        console.print(Padding(Text(f"! {notice.text}"), (0, 0, 0, 2)))
    for group in GROUPS:
        _group(console, proof, group, everything)
    if values is not None:
        _values(console, values)
    console.print()
    for line in _LEGEND:
        console.print(line)
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines()) + "\n"


def _group(console: Console, proof: Proof, group: str, everything: bool) -> None:
    rows = proof.group(group)
    if not rows:
        return
    shown = [row for row in rows if everything or (row.measure in MAIN and row.best.slope is not None)]
    console.print()
    console.print(Text(_TITLES[group], style="bold"))
    if shown:
        console.print(_table(shown))
    scores = [row.best for row in rows]
    copies, alarms = sum(s.faithful for s in scores), sum(s.false_alarms for s in scores)
    console.print(f"Called off on faithful copies: {alarms} of {copies} readings.")
    every = sum(s.readings + s.missing for s in scores)
    unsure = sum(s.unsure * (s.readings + s.missing) for s in scores)
    held = sum((s.coverage or 0) * s.readings for s in scores) / max(1, sum(s.readings for s in scores))
    console.print(
        f"Of {every} readings {100 * held:.0f} % held the truth and {100 * unsure / every:.0f} % were unsure."
    )


def _values(console: Console, values: ValueProof) -> None:
    console.print()
    count = values.score.paintings
    console.print(Text(f"Values and colour, on {count} more paintings under unknown exposure and light", style="bold"))
    for line in value_lines(values.score):
        console.print(line)


def _table(rows: Sequence[Row]) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="underline")
    table.add_column("measure", ratio=1)
    for head in ("of 10", "miss", "bias", "held", "unsure", "seen\nfrom", "plain\nof 10", "plain\nmiss"):
        table.add_column(head, justify="right", no_wrap=True)
    for row in rows:
        mark = _MARKS[row.unit]
        best, plain = row.best, row.plain
        table.add_row(
            row.name,
            _figure(best.slope, 10),
            _figure(best.rms, 1, mark),
            _figure(best.bias, 1, sign=True),
            _figure(best.coverage, 100, " %", digits=0),
            _figure(best.unsure, 100, " %", digits=0),
            _figure(best.smallest, 1),
            _figure(plain.slope, 10),
            _figure(plain.rms, 1),
        )
    return table


def _figure(value: float | None, factor: float, mark: str = "", *, digits: int = 1, sign: bool = False) -> str:
    if value is None:
        return "-"
    text = f"{value * factor:{'+' if sign else ''}.{digits}f}"
    # A rounded nothing has no sign.
    return (text.lstrip("+-") if float(text) == 0 else text) + mark
