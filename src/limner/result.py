"""The one result an audit gives; every output is made from it and from nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from limner.notices import Notice
from limner.settings import Hold, Settings, Stage

Array = NDArray[np.float64]
Call = Literal["off", "slight", "true", "unsure", "not painted yet", "not measured"]
Witness = Literal["pixels", "mesh", "hand"]


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """A number and its one-sigma uncertainty in the same unit; both ``None`` where it is not measurable."""

    value: float | None
    sigma: float | None


@dataclass(frozen=True, kw_only=True)
class MeasureResult:
    """One measure of the catalogue, compared."""

    id: str
    """Stable snake_case id."""
    name: str
    """Plain name, sides said as the sitter's."""
    family: str
    """Catalogue family: ``width``, ``opening``, ``height``, ``position``, ``axis``, ``shape``, ``scale`` and so on."""
    feature: str
    """The feature that would be repainted, for example ``eye_left``."""
    unit: str
    """Unit of ``deviation``: ``percent``, ``percent of pupil distance`` or ``degrees``."""
    reference: Quantity
    """In pupil distances of the reference (lengths, positions; area in its square) or degrees."""
    painting: Quantity
    """The same, brought to the reference's size by the held scale."""
    deviation: float | None
    """Painting against reference in ``unit``: 5.0 means painted five percent longer."""
    sigma: float | None
    """One-sigma uncertainty of ``deviation``, same unit."""
    threshold: float | None
    """What a viewer notices, same unit, after ``strict`` and stage."""
    call: Call
    reason: str | None
    """Why it is unsure, not measured or not painted yet."""
    witness: Witness | None
    """Who gave the painting's points."""
    source: str
    """Where the threshold comes from."""

    @property
    def weight(self) -> float:
        """abs(deviation) / threshold, the rank; 0 where there is no number."""
        if self.deviation is None or not self.threshold:
            return 0.0
        return abs(self.deviation) / self.threshold


@dataclass(frozen=True, kw_only=True)
class Pose:
    """Turn of the head in degrees.

    Yaw positive: face turned to picture right; pitch positive: chin up; roll positive: clockwise as seen.
    """

    yaw: float
    pitch: float
    roll: float
    sigma: float
    """One-sigma uncertainty of each angle, degrees."""


@dataclass(frozen=True, kw_only=True)
class PictureFacts:
    """What an output may say of a picture: no path, no place, no EXIF."""

    name: str
    digest: str | None
    width: int
    height: int
    """Of the whole upright picture, px."""
    scale: float
    """Decoded px per stored px."""
    pupil_distance: float
    """px of the stored picture."""
    found_by: str


@dataclass(frozen=True, kw_only=True)
class CanonRow:
    """One classical canon beside both faces."""

    id: str
    name: str
    definition: str
    canon: float
    """The value the canon gives."""
    reference: Quantity
    painting: Quantity
    source: str


@dataclass(frozen=True, kw_only=True)
class ScaleReport:
    """How the painting's size was brought to the reference's."""

    hold: Hold
    scale: float
    """Painting px per reference px actually used (stored px on both sides)."""
    eyes: float
    """The same by the distance between the pupils."""
    head: float
    """The same by the robust fit of the whole face."""
    sigma: float
    """One-sigma uncertainty of ``eyes / head``."""
    disagree: bool
    """Whether the two differ by more than the uncertainty (1.96 sigma)."""
    by: Literal["pupils", "n-gn"] = "pupils"
    """The length that is 1 in every value, and that ``eyes`` compares: between the pupils, or where one of them is not
    there, from the root of the nose to the chin."""


@dataclass(frozen=True, kw_only=True, eq=False)
class AuditResult:
    """What one audit found. Frozen; made by :func:`limner.audit`."""

    reference: PictureFacts
    painting: PictureFacts
    settings: Settings
    stage: Stage
    stage_guessed: bool
    scale: ScaleReport
    pose_reference: Pose | None
    pose_painting: Pose | None
    measures: tuple[MeasureResult, ...]
    """Ranked: those with a number by weight, then unsure, not painted yet, not measured."""
    canons: tuple[CanonRow, ...]
    mend_first: tuple[str, ...]
    """At most five plain sentences, large before small."""
    warnings: tuple[Notice, ...]
    reference_points: Array
    """(478, 2) array, px of the decoded reference."""
    painting_points: Array
    """(478, 2) array, px of the decoded painting: where the features are, by the best witness."""
    should_be: Array
    """(478, 2) array, px of the decoded painting: where the reference's points belong under the held scale."""
    point_sigma: Array
    """(478,) array, px of the decoded painting: one-sigma uncertainty of each point's displacement."""
    points: Mapping[str, Mapping[str, tuple[float, float]]]
    """Named points: abbreviation -> {"reference": (x, y), "painting": (x, y)} in px of the stored pictures."""
    corrections: tuple[Mapping[str, object], ...] = ()

    @property
    def off(self) -> tuple[MeasureResult, ...]:
        """The measures called off."""
        return tuple(m for m in self.measures if m.call == "off")

    def to_dict(self) -> dict[str, object]:
        """Return the result as plain dicts, lists, texts and finite numbers: what ``--format json`` prints."""
        from limner.report.jsonout import to_dict

        return to_dict(self)

    def _repr_html_(self) -> str:
        """Show the result in a notebook."""
        from limner.report.notebook import to_html

        return to_html(self)
