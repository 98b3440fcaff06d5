"""How far a reading can be trusted: from its scatter to a one-sigma uncertainty that holds against planted errors.

The figures are in ``calibration.json`` beside this file, with where they come from. For a witness that under-reports
(the mesh pulls sizes toward an ordinary face) the value is left as it was read and the uncertainty is widened:

    rest  = sqrt(floor^2 + (sqrt(2) * point / size)^2) / confidence^rise
    noise = sqrt((factor * spread)^2 + rest^2)      (times broad, for a block-in)
    pull  = |deviation| * (1 / slope_low - 1) / 1.96
    sigma = sqrt((noise / slope)^2 + pull^2) * (1 + doubt * (1 / confidence - 1))

Where paint is calm the fits are closer than usual, confidence is above 1, and what they leave is less by a power of
it, the rise; ``doubt`` is a plainer law for rows without one and adds nothing above 1. Where the face round a feature
is bent against the reference, as where one slip is beside another, it is read less finely: ``bend`` times a power of
how far it is bent is owed to that (:func:`owed_to_bend`) and added in squares.

The pixels have two tables: one for paintings with all their tones, and one, ``pixels_few_tones``, for block-ins and
other paintings of few tones or broad strokes, whose fits are made otherwise and are less near.

A true change t is read as slope * t + noise, so t lies at deviation / slope, give or take noise / slope. The pull is
the distance from what was read to what may be true, set so that the 95 % interval of 1.96 sigma just reaches it at the
lowest slope that was measured.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType

from limner.measure.declare import Measure
from limner.result import Witness

WIDE = 1.96
"""Standard deviations each way that hold 95 % of a normal distribution."""

READS_SMALL = 0.85
"""Below this slope a witness is said to read small."""

LEAST, MOST = 0.1, 3.0
"""No confidence counts as less, or as more."""

_DEFAULT = "default"


@dataclass(frozen=True, kw_only=True)
class Grade:
    """One row of the calibration; see the module's docstring for how it is used."""

    slope: float
    """Share of a true change that is read, above 0."""
    slope_low: float
    """Low end of that share over the faces it was measured on."""
    floor: float
    """One-sigma error, in the unit of the deviation."""
    point: float
    """One-sigma error of each end of a length along it, percent of the pupil distance."""
    factor: float
    """On the spread of the repeated readings."""
    doubt: float
    """Share of sigma that is added at confidence one half; in proportion to ``1 / confidence - 1``."""
    basis: str
    """Where the row comes from."""
    broad: float = 1.0
    """On the noise, for a block-in of a few values."""
    rise: float = 0.0
    """Power of ``1 / confidence`` with which floor and point grow."""
    bend: float = 0.0
    """One-sigma error where the face round the feature is bent by one percent, in the unit of the deviation."""
    power: float = 1.0
    """Power of how far it is bent with which that grows."""

    def __post_init__(self) -> None:
        low = (self.floor, self.point, self.factor, self.doubt, self.broad, self.rise, self.bend, self.power)
        numbers = (self.slope, self.slope_low, *low)
        if not (all(math.isfinite(n) and n >= 0 for n in numbers) and min(self.slope, self.slope_low) > 0):
            raise ValueError(f"Expected finite figures not below 0 and slopes above 0, came {self}.")


@cache
def calibration() -> Mapping[Witness, Mapping[str, Grade]]:
    """The whole table: witness -> grade -> row."""
    witnesses: tuple[Witness, ...] = ("mesh", "pixels", "hand")
    return MappingProxyType({witness: _table(witness) for witness in witnesses})


def _table(name: str) -> Mapping[str, Grade]:
    data = json.loads(files("limner.compare").joinpath("calibration.json").read_text(encoding="utf-8"))
    return MappingProxyType({grade: Grade(**row) for grade, row in data[name].items()})


@cache
def few_tones() -> Mapping[str, Grade]:
    """What the pixels are worth on a painting of few tones: grade -> row."""
    return _table("pixels_few_tones")


def grade_of(measure: Measure, witness: Witness, *, few: bool = False) -> Grade:
    """The row that speaks for this measure; ``few`` for a painting of few tones or broad strokes.

    It is the row of the measure's whole grade, else of what stands before the dot in it, else the default.

    Raises:
        KeyError: if the witness has neither a row of that grade nor a default.
    """
    rows = few_tones() if few and witness == "pixels" else calibration()[witness]
    row = rows.get(measure.grade) or rows.get(measure.grade.partition(".")[0]) or rows.get(_DEFAULT)
    if row is None:
        raise KeyError(f"calibration.json has no row {measure.grade!r} for the witness {witness!r}")
    return row


def reads_small(measure: Measure, witness: Witness) -> bool:
    """Whether this witness is known to read less of such a measure than is there."""
    return grade_of(measure, witness).slope < READS_SMALL


def sigma_for(
    measure: Measure,
    witness: Witness,
    spread: float,
    confidence: float = 1.0,
    *,
    deviation: float = 0.0,
    size: float | None = None,
    few: bool = False,
    broad: bool = False,
) -> float:
    """One-sigma uncertainty of a deviation.

    Args:
        measure: what was measured.
        witness: who read it.
        spread: standard deviation of the repeated readings, in the unit of the deviation.
        confidence: how far the witness believes itself there: 1 as usual, below it less, above it more.
        deviation: what was read, in the same unit; 0 leaves out the pull, as for the smallest error that can be seen.
        few: whether the painting has few tones or broad strokes, as a block-in has.
        broad: whether it is a block-in of a few values.
        size: the length itself in pupil distances, for errors that are known per point; ``None`` for a position.

    Returns:
        Sigma in the unit of the deviation, not negative.

    >>> from limner.measure.catalogue import CATALOGUE
    >>> narrow = sigma_for(CATALOGUE["mouth_width"], "pixels", 0.3, 1.0)
    >>> wide = sigma_for(CATALOGUE["eye_width_left"], "mesh", 0.3, 1.0, deviation=10.0)
    >>> narrow < 1 < wide
    True
    """
    grade = grade_of(measure, witness, few=few or broad)
    believed = min(max(confidence, LEAST), MOST)
    rest = math.hypot(grade.floor, math.sqrt(2) * grade.point / (size or 1.0)) / believed**grade.rise
    noise = math.hypot(grade.factor * spread, rest) * (grade.broad if broad else 1.0)
    pull = abs(deviation) * max(1 / grade.slope_low - 1, 0.0) / WIDE
    return math.hypot(noise / grade.slope, pull) * (1 + grade.doubt * (1 / min(believed, 1.0) - 1))


def owed_to_bend(measure: Measure, witness: Witness, bent: float, *, few: bool = False) -> float:
    """What a deviation's one-sigma uncertainty owes to how far the face round it is bent.

    Args:
        measure: what was measured.
        witness: who read it.
        bent: as :func:`limner.compare.bends.bends` has it, percent of the pupil distance.
        few: as for :func:`sigma_for`.

    Returns:
        In the unit of the deviation, not negative.
    """
    grade = grade_of(measure, witness, few=few)
    return float(grade.bend * bent**grade.power)
