"""Whether it is nearer than last time: only what was read in both, and no change smaller than its doubt."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Literal

from limner.series.record import Reading, Record

Z95 = 1.959964
"""Half width of a 95 % interval in sigmas."""
Verdict = Literal["nearer", "further", "no change that can be seen"]


@dataclass(frozen=True, kw_only=True)
class Typical:
    """A typical error: a root mean square, with its 95 % interval."""

    value: float
    low: float
    high: float
    over: int
    """How many parts, or regions, it is taken over."""


@dataclass(frozen=True, kw_only=True)
class Change:
    """One measure in an earlier photo and a later one."""

    was: Reading
    now: Reading
    since: int
    """Number of the earlier photo in the series."""

    @property
    def by(self) -> float:
        """How much further off it is, in thresholds of the later photo; negative is nearer."""
        return (abs(self.now.deviation or 0.0) - abs(self.was.deviation or 0.0)) / (self.now.threshold or math.inf)


@dataclass(frozen=True, kw_only=True)
class Compared:
    """One photo against an earlier one, or against the best of all earlier ones measure by measure."""

    better: tuple[Change, ...]
    """Strongest first, as all of these."""
    worse: tuple[Change, ...]
    visible: tuple[Change, ...]
    """Too unsure to be called before, off now: now visible, which is not worse."""
    unseen: int
    """Measures read in both whose change is smaller than its doubt."""

    @property
    def read_in_both(self) -> int:
        """Measures that could be compared at all."""
        return len(self.better) + len(self.worse) + self.unseen


@dataclass(frozen=True, kw_only=True)
class _Part:
    """One part of the face, or one region: a squared error."""

    square: float
    chance: float
    """What chance alone adds to ``square`` on average."""
    sigma: float
    weight: float = 1.0


BLOCK_IN_READS = 0.75
"""Share of a way that flat values show: a block-in reads 0.7 to 0.85 of what was planted (docs/figures.md)."""


def drawing_error(record: Record, parts: Iterable[str] | None = None) -> Typical | None:
    """The typical error of the drawing, pupil distances; ``None`` where nothing of it was read.

    The root mean square, over the parts of the face, of how far each lies from where it belongs.

    Args:
        record: one photo.
        parts: the parts to take; all that were read when left out.
    """
    found = _typical(_chosen(_shifts(record), parts))
    if found is None or record.stage != "block-in":
        return found
    return replace(found, high=found.high / BLOCK_IN_READS)  # what is there may be so much more than what is read


def values_error(record: Record, regions: Iterable[str] | None = None) -> Typical | None:
    """The typical error of the values, steps of value; ``None`` where values were not compared.

    The root mean square of the regions' differences; a region counts the less, the less surely it was read.
    """
    return _typical(_chosen(_tones(record), regions))


def _shifts(record: Record) -> dict[str, _Part]:
    return {s.feature: _Part(square=s.square, chance=s.chance, sigma=s.sigma) for s in record.shifts}


FINE = 0.15
"""Steps: a region read this surely counts half of one read with no doubt at all (limner's choice)."""


def _tones(record: Record) -> dict[str, _Part]:
    """For a normal error s of a difference d: E = d^2 + s^2, and its variance 4 d^2 s^2 + 2 s^4."""
    found = {}
    for tone in record.tones:
        square, chance = tone.difference**2, tone.sigma**2
        sigma = math.sqrt(4 * max(square - chance, 0.0) * chance + 2 * chance**2)
        found[tone.region] = _Part(square=square, chance=chance, sigma=sigma, weight=1 / (FINE**2 + chance))
    return found


def _chosen(found: Mapping[str, _Part], wanted: Iterable[str] | None) -> list[_Part]:
    return list(found.values()) if wanted is None else [found[key] for key in wanted if key in found]


def _typical(parts: Sequence[_Part]) -> Typical | None:
    """The root mean square as read; its interval reaches down by what chance may have added, too."""
    if not parts:
        return None
    square, chance, sigma = _mean(parts, [part.weight for part in parts])
    return Typical(
        value=math.sqrt(square),
        low=math.sqrt(max(square - chance - Z95 * sigma, 0.0)),
        high=math.sqrt(square + Z95 * sigma),
        over=len(parts),
    )


def _mean(parts: Sequence[_Part], weights: Sequence[float]) -> tuple[float, float, float]:
    """Weighted mean of the squares, of what chance adds, and the sigma of the mean; parts err independently."""
    whole = sum(weights)
    square, chance = (
        sum(w * getattr(part, name) for w, part in zip(weights, parts, strict=True)) / whole
        for name in ("square", "chance")
    )
    spread = math.sqrt(sum((w * part.sigma) ** 2 for w, part in zip(weights, parts, strict=True)))
    return square, chance, spread / whole


def drawing_verdict(was: Record, now: Record) -> Verdict | None:
    """Whether the drawing is nearer, over the parts read in both; ``None`` where there are none."""
    return _verdict(_shifts(was), _shifts(now))


def values_verdict(was: Record, now: Record) -> Verdict | None:
    """Whether the values are nearer, over the regions read in both; ``None`` where there are none."""
    return _verdict(_tones(was), _tones(now))


def _verdict(was: Mapping[str, _Part], now: Mapping[str, _Part]) -> Verdict | None:
    both = [key for key in now if key in was]
    if not both:
        return None
    weights = [min(was[key].weight, now[key].weight) for key in both]
    before, before_chance, before_sigma = _mean([was[key] for key in both], weights)
    after, after_chance, after_sigma = _mean([now[key] for key in both], weights)
    change = (after - after_chance) - (before - before_chance)
    if abs(change) <= Z95 * math.hypot(before_sigma, after_sigma):
        return "no change that can be seen"
    return "nearer" if change < 0 else "further"


def since(was: Record, now: Record, number: int) -> Compared:
    """What changed from one photo, whose number in the series is given, to a later one."""
    shows = _shows(was, now)
    before = {reading.id: (reading, number, shows) for reading in was.readings}
    return _compared(before, now, Z95)


def since_best(earlier: Sequence[tuple[int, Record]], now: Record) -> Compared:
    """What changed against the best each measure ever was, in photos given with their numbers.

    The best of several readings looks better by chance alone, so the more photos, the larger a change has to be
    (Bonferroni's bound on 5 %).
    """
    best: dict[str, tuple[Reading, int, float]] = {}
    for number, record in earlier:
        shows = _shows(record, now)
        for reading in record.readings:
            held = best.get(reading.id)
            if not reading.told:
                best.setdefault(reading.id, (reading, number, shows))
            elif held is None or not held[0].told or _size(reading) / shows <= _size(held[0]) / held[2]:
                best[reading.id] = (reading, number, shows)
    many = max(len(earlier), 1)
    return _compared(best, now, NormalDist().inv_cdf(1 - 0.025 / many))


def _size(reading: Reading) -> float:
    return abs(reading.deviation or 0.0)


def _shows(was: Record, now: Record) -> float:
    """Share of a way that an earlier photo shows, where a later one shows it whole."""
    return BLOCK_IN_READS if was.stage == "block-in" != now.stage else 1.0


def _grown(was: float, now: float, shows: float) -> float:
    """How much larger a deviation has become, where the earlier one may be as large as what was read over ``shows``."""
    return max(now - was / shows, 0.0) + min(now - was, 0.0)


def _compared(before: Mapping[str, tuple[Reading, int, float]], now: Record, wide: float) -> Compared:
    better, worse, visible, unseen = [], [], [], 0
    for reading in now.readings:
        was, number, shows = before.get(reading.id, (None, 0, 1.0))
        if was is None or not reading.told:
            continue
        change = Change(was=was, now=reading, since=number)
        if not was.told:
            if was.call == "unsure" and reading.call == "off":
                visible.append(change)
            continue
        grown = _grown(_size(was), _size(reading), shows)
        if abs(grown) <= wide * math.hypot(was.sigma or 0.0, reading.sigma or 0.0):
            unseen += 1
        elif grown > 0:
            worse.append(change)
        else:
            better.append(change)
    return Compared(
        better=tuple(sorted(better, key=lambda c: c.by)),
        worse=tuple(sorted(worse, key=lambda c: -c.by)),
        visible=tuple(sorted(visible, key=lambda c: -c.now.weight)),
        unseen=unseen,
    )


def gone_back(compared: Compared) -> tuple[Change, ...]:
    """The regressions: what was nearer once and is off now.

    What is only slightly off is left to the list of what got worse: among a hundred measures a few changes a photo go
    past their doubt by chance alone.
    """
    return tuple(change for change in compared.worse if change.now.call == "off")


def on_the_way(records: Sequence[tuple[int, Record]]) -> tuple[tuple[int, Change], ...]:
    """The regressions of photos before the last, given with their numbers, that are none any more.

    Returns:
        The number of the photo that had gone back, and the change to it; each measure once, its greatest step back.
    """
    lasting = {change.now.id for change in gone_back(since_best(records[:-1], records[-1][1]))}
    found: dict[str, tuple[int, Change]] = {}
    for k in range(1, len(records) - 1):
        number, now = records[k]
        for change in gone_back(since_best(records[:k], now)):
            held = found.get(change.now.id)
            if change.now.id not in lasting and (held is None or change.by > held[1].by):
                found[change.now.id] = (number, change)
    return tuple(sorted(found.values(), key=lambda pair: -pair[1].by))


def left_by_family(record: Record) -> dict[str, tuple[int, int]]:
    """What is left, family by family: how many measures are off, how many slightly; those with none are left out."""
    found: dict[str, tuple[int, int]] = {}
    for reading in record.readings:
        off, slight = found.get(reading.family, (0, 0))
        if reading.call in ("off", "slight"):
            found[reading.family] = (off + (reading.call == "off"), slight + (reading.call == "slight"))
    return found
