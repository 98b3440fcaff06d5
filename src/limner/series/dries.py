"""Before it dries: what is dearest to mend later, asked of the last photo."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from limner.series.record import Reading, Record
from limner.series.say import DECLARED, Ruler, once, painted, with_doubt

Answer = Literal["true", "not true", "cannot tell"]
LARGE = 1
"""Levels of measures up to which a shape is large: what everything depends on, and the big shapes."""


@dataclass(frozen=True, kw_only=True)
class Question:
    """One question and its answer."""

    id: Literal["proportions", "axes", "masses", "move"]
    text: str
    answer: Answer
    why: str


def before_it_dries(record: Record, ruler: Ruler) -> tuple[Question, ...]:
    """Whether the large proportions, the axes and the masses are true, and how large the largest move left is.

    That mending costs more the later it comes is common practice; no source.
    """
    large = [r for r in record.readings if _level(r) <= LARGE and r.family not in ("axis", "angle")]
    axes = [r for r in record.readings if r.family == "axis"]
    return (
        _asked("proportions", "Large proportions", large, record, ruler),
        _asked("axes", "Axes", axes, record, ruler),
        _masses(record),
        _move(record, ruler),
    )


def _level(reading: Reading) -> int:
    return DECLARED[reading.id].about.level if reading.id in DECLARED else 9


def _asked(
    id_: Literal["proportions", "axes"], text: str, readings: list[Reading], record: Record, ruler: Ruler
) -> Question:
    off = [r for r in readings if r.call == "off"]
    read = [r for r in readings if r.told]
    if off:
        why = "; ".join(f"{off[k].name} {painted(off[k], record, ruler)}" for k in once(off)[:3])
        return Question(id=id_, text=text, answer="not true", why=why)
    if not read:
        return Question(id=id_, text=text, answer="cannot tell", why="none could be read finely enough")
    unsure = sum(r.call == "unsure" for r in readings)
    more = f"; {unsure} could not be read finely enough" if unsure else ""
    return Question(id=id_, text=text, answer="true", why=f"none of {len(read)} is off{more}")


def _masses(record: Record) -> Question:
    text = "Masses of light and dark"
    if record.masses is None:
        return Question(id="masses", text=text, answer="cannot tell", why="values were not compared")
    if record.masses:
        return Question(id="masses", text=text, answer="not true", why=" ".join(record.masses[:2]).removesuffix("."))
    return Question(id="masses", text=text, answer="true", why="nothing large is off in value")


def _move(record: Record, ruler: Ruler) -> Question:
    text = "Largest move left"
    if record.largest is None:
        return Question(id="move", text=text, answer="true", why="none that is more than its doubt")
    factor = ruler.factor(record)
    size = record.largest.size
    length = with_doubt(size.value * factor, size.sigma * factor, ruler.unit)
    why = f"{length}: {record.largest.text}; mend before it dries"
    return Question(id="move", text=text, answer="not true", why=why)
