"""The one result an audit gives; every output is made from it and from nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from limner.notices import Notice
from limner.planresult import (
    Apart,
    Call,
    CanvasReport,
    Correction,
    FoundBy,
    Level,
    PlacementReport,
    Quantity,
    WholeCause,
    WholeFinding,
)
from limner.settings import Hold, Settings, Stage
from limner.valuesresult import ValuesReport

__all__ = [
    "Apart",
    "Array",
    "AuditResult",
    "Call",
    "CanonFinding",
    "CanonResult",
    "CanonRow",
    "CanvasReport",
    "Correction",
    "Drift",
    "DriftVector",
    "FoundBy",
    "HabitCall",
    "HabitRow",
    "Level",
    "MeasureResult",
    "PictureFacts",
    "PlacementReport",
    "Pose",
    "Quantity",
    "ScaleReport",
    "Target",
    "WholeCause",
    "WholeFinding",
    "Witness",
]

Array = NDArray[np.float64]
Witness = Literal["pixels", "mesh", "hand"]


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
    deviation_mm: Quantity = field(default_factory=lambda: Quantity(value=None, sigma=None))
    """The deviation in millimetres on the canvas; no value for angles, areas and what outlines share, nor where the
    size of the canvas is not known. Its sigma holds that of the canvas's size too."""
    threshold_mm: float | None = None
    """The threshold in the same millimetres."""

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


Target = Literal["canon", "average"]
"""What a painting may drift to: what a canon gives, or what was measured in people on average."""


@dataclass(frozen=True, kw_only=True)
class Drift:
    """How far the painting has moved from the sitter's ratio toward another."""

    target: Target
    goal: float
    """The ratio it might drift to."""
    gap: Quantity
    """Goal less sitter."""
    share: Quantity
    """Share of the gap that the painting has moved: 0 stays with the sitter, 1 has arrived, negative moves away. No
    value where the gap is within twice its uncertainty."""
    reason: str | None
    """Why there is no share."""


@dataclass(frozen=True, kw_only=True)
class DriftVector:
    """The same over every ratio whose gap is clear, as one movement."""

    target: Target
    share: Quantity
    ratios: tuple[str, ...]
    """Ids of the ratios it is made of."""
    reason: str | None


HabitCall = Literal["shown", "the other way", "not shown", "unsure", "not measured"]


@dataclass(frozen=True, kw_only=True)
class HabitRow:
    """One known habit of portrait drawing, looked for in this painting."""

    id: str
    name: str
    deviation: Quantity
    """How far the painting goes the habit's way, in ``unit``; negative is the other way."""
    unit: str
    call: HabitCall
    reason: str | None
    """Why it is unsure or not measured."""
    measures: tuple[str, ...]
    """Ids of the measures, or the ratio, it was looked for in."""
    witnesses: tuple[Witness, ...]
    source: str


@dataclass(frozen=True, kw_only=True)
class CanonRow:
    """One ratio of a classical canon beside both faces."""

    id: str
    name: str
    definition: str
    canon: float | None
    """The value the canon gives; ``None`` for a proportion that no canon speaks of."""
    reference: Quantity
    painting: Quantity
    source: str
    canon_id: str = ""
    """Id of the canon this ratio is of; a canon of several ratios has several rows."""
    reason: str | None = None
    """Why it cannot be taken, and what is needed; ``None`` where both faces have a value."""
    witness: Witness | None = None
    """Who gave the reference's points."""
    drift: tuple[Drift, ...] = ()
    """Toward the canon, toward the average face; those that have a target."""


@dataclass(frozen=True, kw_only=True)
class CanonFinding:
    """One ratio of a canon on one face."""

    id: str
    """Id of the ratio."""
    canon_id: str
    value: Quantity
    witness: Witness | None
    reason: str | None
    """What is needed where it cannot be taken."""


@dataclass(frozen=True, kw_only=True)
class CanonResult:
    """One picture against the canons. Frozen; made by :func:`limner.canon`."""

    picture: PictureFacts
    pose: Pose | None
    findings: tuple[CanonFinding, ...]
    """In the order of the canons."""
    warnings: tuple[Notice, ...]

    def to_dict(self) -> dict[str, object]:
        """Return the result as plain dicts, lists, texts and finite numbers: what ``--format json`` prints."""
        from limner.report.canonjson import to_dict

        return to_dict(self)


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
    """(478,) array, px of the decoded painting: one-sigma uncertainty of each point's displacement; NaN
    where a picture's edge cuts it off."""
    points: Mapping[str, Mapping[str, tuple[float, float]]]
    """Named points: abbreviation -> {"reference": (x, y), "painting": (x, y)} in px of the stored pictures."""
    spread: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    """Named points the face finder gave: abbreviation -> {"reference": s, "painting": s}, root mean square scatter of
    its repeated readings, px of the stored pictures."""
    corrections: tuple[Correction, ...] = ()
    """The plan, in the order of mending: large to small, each after those before it."""
    canvas: CanvasReport | None = None
    """``None`` where the painting was taken as it came, without a question after its canvas."""
    more_points: Array = field(default_factory=lambda: np.zeros((0, 2)))
    """(B, 2) array, px of the decoded painting: points the mesh does not have, in the order of
    :data:`limner.face.placeable.BEYOND`; NaN where there is none."""
    more_should_be: Array = field(default_factory=lambda: np.zeros((0, 2)))
    """(B, 2) array, px of the decoded painting: where the reference's belong under the held scale."""
    apart: tuple[Apart, ...] = ()
    """What is held or intended, each listed once."""
    drift: tuple[DriftVector, ...] = ()
    """Toward the canons, toward the average face."""
    habits: tuple[HabitRow, ...] = ()
    """The known habits of portrait drawing, each looked for."""
    values: ValuesReport | None = None
    """Values and colour; ``None`` where they were not asked for, or the points are too few."""
    whole: tuple[WholeFinding, ...] = ()
    """What concerns the whole face or head, large to small."""
    placement: PlacementReport | None = None
    """Where the head stands on the canvas; ``None`` where the canvas's size is not known."""
    evened_points: Array | None = None
    """(478, 2) array, px of the decoded painting: its points without a drawn stretch of the whole face, which is to be
    mended first; ``None`` where there is none."""

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
