"""What is kept of one photo of a series: small, plain, and the same whether it was audited now or kept from before."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any, TypeVar


@dataclass(frozen=True, kw_only=True, slots=True)
class Amount:
    """A number and its one-sigma uncertainty in the same unit."""

    value: float
    sigma: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Reading:
    """One measure as one photo shows it; the fields are those of :class:`limner.result.MeasureResult`."""

    id: str
    name: str
    family: str
    feature: str
    unit: str
    deviation: float | None
    sigma: float | None
    threshold: float | None
    call: str
    reason: str | None
    witness: str | None
    reference: float | None
    """The sitter's value, in pupil distances or degrees."""

    @property
    def told(self) -> bool:
        """Whether it was read well enough to be called."""
        return self.call in ("off", "slight", "true") and self.deviation is not None and self.sigma is not None

    @property
    def weight(self) -> float:
        """abs(deviation) / threshold; 0 where there is no number."""
        return abs(self.deviation) / self.threshold if self.deviation is not None and self.threshold else 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Shift:
    """How far one feature lies from where it belongs."""

    feature: str
    square: float
    """Mean over its points of the squared distance, squared pupil distances."""
    chance: float
    """What chance alone adds to ``square`` on average."""
    sigma: float
    """One-sigma uncertainty of ``square``."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Tone:
    """One region's value against the sitter's."""

    region: str
    name: str
    difference: float
    """Steps; positive is painted lighter."""
    sigma: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Meant:
    """One departure of value or colour that is meant so."""

    reason: str
    """The painter's own words."""
    text: str
    """The departure as one plain sentence."""


@dataclass(frozen=True, kw_only=True)
class Largest:
    """The largest move left."""

    text: str
    size: Amount
    """Pupil distances."""


@dataclass(frozen=True, kw_only=True)
class Record:
    """One photo, audited."""

    name: str
    digest: str | None
    taken: str | None
    stage: str
    stage_guessed: bool
    pupil_mm: Amount | None
    """The distance between the pupils on the canvas as it should be, mm; ``None`` without a known canvas."""
    readings: tuple[Reading, ...]
    shifts: tuple[Shift, ...]
    tones: tuple[Tone, ...]
    """Empty where values were not compared."""
    values_off: tuple[str, ...] | None
    """What is off in value and colour, plain sentences; ``None`` where they were not compared."""
    masses: tuple[str, ...] | None
    """What of it is off in the large masses of light and dark."""
    mend_first: tuple[str, ...]
    largest: Largest | None
    notices: tuple[str, ...] = ()
    values_meant: tuple[Meant, ...] = ()
    """What departs in value and colour and is meant so."""

    @property
    def off(self) -> tuple[Reading, ...]:
        """The measures called off, worst first."""
        return tuple(reading for reading in self.readings if reading.call == "off")

    def named(self, name: str) -> Record:
        """The same of a photo of another name: the same bytes may lie under two."""
        if name == self.name:
            return self
        return replace(self, name=name, notices=tuple(text.replace(self.name, name) for text in self.notices))


@dataclass(frozen=True, kw_only=True)
class Skipped:
    """A photo that could not be audited."""

    name: str
    reason: str
    exit_code: int = 70
    """What ``limner audit`` would end with on it."""


@dataclass(frozen=True, kw_only=True)
class Series:
    """One reference and its photos, in order."""

    reference: str
    """Its name."""
    order: str
    """How the order was told, in words."""
    photos: tuple[Record | Skipped, ...]
    reused: int = 0
    """How many were kept from before."""
    remarks: tuple[str, ...] = ()
    notes: Mapping[str, str] = field(default_factory=dict)
    """The painter's own words: photo's name -> note."""
    reference_by: str = "given"
    """Who named the reference, in words."""

    @property
    def records(self) -> tuple[Record, ...]:
        """Those that were audited."""
        return tuple(photo for photo in self.photos if isinstance(photo, Record))

    @property
    def skipped(self) -> tuple[Skipped, ...]:
        """Those that were not."""
        return tuple(photo for photo in self.photos if isinstance(photo, Skipped))

    def number(self, record: Record | Skipped) -> int:
        """From 1, in the order of the series."""
        return next(k for k, photo in enumerate(self.photos, start=1) if photo is record)


def to_plain(record: Record) -> dict[str, Any]:
    """A record as dicts, lists and plain values, for JSON; :func:`limner.series.kept.from_plain` reads it again."""
    return asdict(record)


Row = TypeVar("Row", Reading, Tone)


def slim(record: Record) -> Record:
    """The same with each word held only once in this process: a long series repeats them in every photo."""
    return replace(record, readings=tuple(map(_once, record.readings)), tones=tuple(map(_once, record.tones)))


def _once(row: Row) -> Row:
    words: dict[str, Any] = {k: sys.intern(word) for k in row.__slots__ if isinstance(word := getattr(row, k), str)}
    return replace(row, **words)
