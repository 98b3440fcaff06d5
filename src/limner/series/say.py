"""The words for what a series found: millimetres first where the canvas is known, no digit finer than the doubt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from limner.compare.ranking import AFTERTHOUGHTS
from limner.compare.wording import rounded
from limner.measure.catalogue import CATALOGUE
from limner.measure.heads import HEADS
from limner.report.words import UNITS
from limner.series.compare import Z95, Change, Typical, on_the_way
from limner.series.record import Reading, Record, Series

DECLARED = {**CATALOGUE, **HEADS}
LengthUnit = Literal["mm", "% of eye distance"]


@dataclass(frozen=True, kw_only=True)
class Ruler:
    """How lengths are told in one series: in mm where every photo has a known canvas, else in shares of the pupils."""

    mm: bool

    @property
    def unit(self) -> LengthUnit:
        """What stands behind a number."""
        return "mm" if self.mm else "% of eye distance"

    def factor(self, record: Record) -> float:
        """Pupil distances to the unit."""
        return record.pupil_mm.value if self.mm and record.pupil_mm else 100.0

    def doubt(self, record: Record) -> float:
        """Relative one-sigma uncertainty of the factor."""
        return record.pupil_mm.sigma / record.pupil_mm.value if self.mm and record.pupil_mm else 0.0

    def drawing(self, record: Record, found: Typical | None) -> Typical | None:
        """The typical error of the drawing in this ruler's unit, the doubt of the canvas's size in its interval."""
        if found is None:
            return None
        factor, more = self.factor(record), Z95 * self.doubt(record)
        below = ((found.value - found.low) ** 2 + (found.value * more) ** 2) ** 0.5
        above = ((found.high - found.value) ** 2 + (found.value * more) ** 2) ** 0.5
        return Typical(
            value=factor * found.value,
            low=max(factor * (found.value - below), 0.0),
            high=factor * (found.value + above),
            over=found.over,
        )


def ruler_of(series: Series) -> Ruler:
    """Millimetres only where every photo gives them, so that all numbers stand in one unit."""
    return Ruler(mm=bool(series.records) and all(record.pupil_mm is not None for record in series.records))


def with_interval(found: Typical | None) -> str:
    """A typical error with its interval: ``2.1 (1.8-2.4)``.

    >>> with_interval(Typical(value=2.13, low=1.84, high=2.41, over=7))
    '2.1 (1.8-2.4)'
    """
    if found is None:
        return "-"
    places = 2 if found.high < 1 else 1 if found.high < 20 else 0
    return f"{found.value:.{places}f} ({found.low:.{places}f}-{found.high:.{places}f})"


def with_doubt(value: float, sigma: float, unit: str) -> str:
    """A number with its doubt: ``2.5 mm (give or take 0.5)``.

    >>> with_doubt(2.54, 0.2, "mm")
    '2.5 mm (give or take 0.4)'
    """
    number, doubt = rounded(value, sigma)
    return f"{number} {unit} (give or take {doubt})"


def painted(reading: Reading, record: Record, ruler: Ruler) -> str:
    """How the painting departs: ``1.8 mm too low``, ``12 % too wide``."""
    if reading.deviation is None:
        return ""
    factor, unit = _unit(reading, record, ruler)
    value = rounded(abs(reading.deviation) * factor, (reading.sigma or 0.0) * factor)[0]
    if float(value) == 0:
        return "no difference"
    if reading.unit == "degrees" and value in ("1", "1.0"):
        unit = "degree"
    return f"{value} {unit} {_way(reading)}"


def meant(record: Record, ruler: Ruler) -> list[str]:
    """What is held or meant so in one photo, a sentence for each reason."""
    told: dict[str, list[str]] = {}
    drawn: dict[str, list[str]] = {}
    for r in record.readings:
        if r.call in ("held", "intended"):
            drawn.setdefault(r.reason or r.call, []).append(f"{r.name} {painted(r, record, ruler)}")
    for why, parts in drawn.items():
        told[why] = [f"{'; '.join(parts)}."]
    for one in record.values_meant:
        told.setdefault(one.reason, []).append(one.text)
    return [f"{why}: {' '.join(parts)}" for why, parts in told.items()]


def give_or_take(reading: Reading, record: Record, ruler: Ruler) -> str:
    """Half width of the 95 % interval, in the unit :func:`painted` tells."""
    if reading.deviation is None or reading.sigma is None:
        return ""
    factor, _ = _unit(reading, record, ruler)
    return rounded(abs(reading.deviation) * factor, reading.sigma * factor)[1]


def _unit(reading: Reading, record: Record, ruler: Ruler) -> tuple[float, str]:
    """What a deviation is multiplied by, and the unit it is then in."""
    declared = DECLARED.get(reading.id)
    length = reading.unit == "percent" and (declared is None or declared.kind == "length")
    if ruler.mm and reading.unit == "percent of pupil distance":
        return ruler.factor(record) / 100, "mm"
    if ruler.mm and length and reading.reference is not None:
        return reading.reference * ruler.factor(record) / 100, "mm"
    return 1.0, UNITS.get(reading.unit, reading.unit)


def _way(reading: Reading) -> str:
    declared = DECLARED.get(reading.id)
    positive = (reading.deviation or 0.0) > 0
    if declared is None:
        return "too long" if positive else "too short"
    if declared.kind in ("overlap", "gap"):
        return "not shared" if declared.kind == "overlap" else "apart at most"
    return declared.words[0 if positive else 1].removeprefix("painted ")


def was_and_is(change: Change, was: Record, now: Record, ruler: Ruler) -> str:
    """A change in words: ``mouth width: was true in photo 3, now 11 % too narrow (give or take 3)``."""
    before = "true" if change.was.call == "true" else painted(change.was, was, ruler)
    after = painted(change.now, now, ruler)
    if change.now.call == "true":
        after = "true"
    else:
        after += f" (give or take {give_or_take(change.now, now, ruler)})"
    return f"{change.now.name}: was {before} in photo {change.since}, now {after}"


def mended(series: Series, ruler: Ruler) -> list[str]:
    """What had gone back on the way and is mended: ``mouth width: true in photo 3, 11 % too narrow in photo 4``."""
    steps = on_the_way([(series.number(record), record) for record in series.records])
    told = []
    for number, change in (steps[k] for k in once([change.now for _, change in steps])):
        was, then = series.photos[change.since - 1], series.photos[number - 1]
        if isinstance(was, Record) and isinstance(then, Record):
            before = "true" if change.was.call == "true" else painted(change.was, was, ruler)
            after = painted(change.now, then, ruler)
            told.append(f"{change.now.name}: {before} in photo {change.since}, {after} in photo {number}")
    return told


def told_once(changes: Sequence[Change]) -> tuple[Change, ...]:
    """One change for each story: outlines and alignments only where nothing plainer changed about that feature.

    What was true and is true is not told.
    """
    seen = [change for change in changes if (change.was.call, change.now.call) != ("true", "true")]
    return tuple(seen[k] for k in once([change.now for change in seen]))


def once(readings: Sequence[Reading]) -> list[int]:
    """Places of the readings that tell something of their own; the first of a story stands for it."""
    stories = [DECLARED[r.id].story if r.id in DECLARED else (r.id, "") for r in readings]
    plain = {part for part, aspect in stories if aspect not in AFTERTHOUGHTS}
    seen: set[tuple[str, str]] = set()
    kept = []
    for k, (part, aspect) in enumerate(stories):
        if (part, aspect) in seen or (aspect in AFTERTHOUGHTS and part in plain):
            continue
        seen.add((part, aspect))
        kept.append(k)
    return kept


def worst(record: Record, ruler: Ruler, most: int = 3) -> list[str]:
    """The worst that is off, each a few words."""
    off = record.off
    return [f"{off[k].name} {painted(off[k], record, ruler)}" for k in once(off)[:most]]
