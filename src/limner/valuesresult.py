"""What was found of values and colour: part of the one result an audit gives.

Values are Munsell's, 0 black to 10 white; a step is one of them. Differences are painting less sitter: positive is
painted lighter.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from limner.settings import State

MatchBy = Literal["face", "ground", "patch", "strip"]
ValueCall = Literal["off", "slight", "true", "unsure", "intended"]
FindingKind = Literal[
    "too light", "too dark", "lights", "darks", "scattered highlights", "shadows apart", "half-tones missing", "edge",
    "shadow edge", "cast shadow", "flat colour", "accent", "colour", "cast", "colour strength", "warm and cool",
    "nothing held", "catchlight", "light steps",
]  # fmt: skip
Paint = Literal["glaze", "opaque", "scumble", "either", "none"]
"""What can mend it: a transparent glaze, opaque paint, a scumble, any of them, or nothing that paint does."""


@dataclass(frozen=True, kw_only=True)
class Amount:
    """A number and its one-sigma uncertainty in the same unit; both ``None`` where it cannot be told."""

    value: float | None
    sigma: float | None


@dataclass(frozen=True, kw_only=True)
class ValueMatch:
    """How the two pictures were brought together before anything was compared."""

    by: MatchBy
    gain: tuple[float, float, float]
    """Factors on the painting's red, green and blue light."""
    said: str
    """What was done, in one sentence."""
    blind_to: str
    """What this choice cannot see, in one sentence."""
    tone_known: bool
    """Whether a photographed strip fixed the phone's tone curve."""
    uneven: Amount
    """Fall of the light across the painted face, stops from its brighter to its darker end, along ``uneven_way``."""
    uneven_way: str
    """The picture's direction in which it falls off; empty where it is even."""
    glare: float
    """Share of the face, 0 to 1, that looks like the shine of wet paint."""


@dataclass(frozen=True, kw_only=True)
class RegionValue:
    """One region of the face in both pictures, after matching."""

    id: str
    name: str
    """Plain name, side said as the sitter's."""
    reference: float
    """Munsell value, the median over the region."""
    painting: float
    difference: Amount
    """Steps, as matched."""
    local: Amount
    """Steps, without what the range as a whole explains: what the call goes by."""
    threshold: float
    """Steps."""
    call: ValueCall
    reason: str | None
    """Why it is unsure; the painter's own words where it is meant so."""
    lost_reference: float
    """Share of the region, 0 to 1, in which the reference is burnt out or blocked up."""
    lost_painting: float
    reference_lab: tuple[float, float, float]
    """CIE L*, a*, b* of the mean light."""
    painting_lab: tuple[float, float, float]
    """The same as matched."""
    colour_difference: float | None
    """CIEDE2000 after the overall cast, range and strength of colour are taken out; ``None`` without colour."""
    warmth: Amount
    """Warmer (positive) or cooler than the sitter's against the zones round it, along a* + b* of CIE L*a*b*; no value
    without colour or neighbours."""


@dataclass(frozen=True, kw_only=True)
class PlanValue:
    """One value of a plan: a mass of the face."""

    name: str
    reference_share: float
    """Share of the face, 0 to 1."""
    painting_share: float
    overlap: float | None
    """Area both have in this value over the area either has; ``None`` where neither has any."""


@dataclass(frozen=True, kw_only=True)
class ValuePlan:
    """Both faces in a few values, with the thresholds of the reference."""

    count: int
    thresholds: tuple[float, ...]
    """Munsell values between which the masses lie, dark to light."""
    masses: tuple[PlanValue, ...]
    """Dark to light."""
    agreement: float
    """Share of the face, 0 to 1, that has the same value in both."""
    differs: tuple[str, ...]
    """Names of the regions most of which have another value, worst first."""


@dataclass(frozen=True, kw_only=True)
class Highlight:
    """One small light above the level of the form round it that the sitter does not have."""

    place: tuple[float, float]
    """px of the decoded painting."""
    region: str
    area: float
    """Squared pupil distances."""
    height: float
    """Steps above the form round it."""


Line = tuple[tuple[float, float], ...]


@dataclass(frozen=True, kw_only=True)
class ShadowShape:
    """The edge of one shadow, or of light and shadow over the face, as lines in px of the decoded painting."""

    name: str
    belongs: tuple[Line, ...]
    """Where the sitter's edge falls on this painting's own drawing."""
    painted: tuple[Line, ...]


@dataclass(frozen=True, kw_only=True)
class LampReport:
    """What was learned from further photos of the same painting with the lamp moved."""

    photos: tuple[str, ...]
    """Their names."""
    dropped: tuple[Highlight, ...]
    """Small lights that moved with the lamp: shine of the paint, left out of everything; largest first."""
    repeatability: Amount
    """How far one region's value differs from photo to photo, steps: one-sigma, the lamp's unevenness in it."""


@dataclass(frozen=True, kw_only=True)
class ValueFinding:
    """One thing found, in words and numbers."""

    kind: FindingKind
    region: str | None
    """Id of the region or edge; ``None`` for the face as a whole."""
    amount: Amount
    """In ``unit``."""
    unit: str
    call: ValueCall
    threshold: float | None
    source: str
    """Where the threshold comes from."""
    text: str
    """The finding as one plain sentence."""
    paint: Paint
    mend: str
    """What paint can mend it, as one plain sentence; common practice, no source."""
    place: tuple[float, float] | None = None
    """px of the decoded painting."""
    move: tuple[float, float] | None = None
    """Of a shadow's edge: how far it lies from where it belongs, pupil distances of the painting, x to picture right
    and y down."""
    move_mm: Amount = Amount(value=None, sigma=None)
    """The same as a length on the canvas, where its size is known."""

    @property
    def weight(self) -> float:
        """Size over threshold, the rank; 0 where there is no number."""
        if self.amount.value is None or not self.threshold:
            return 0.0
        return abs(self.amount.value) / self.threshold


@dataclass(frozen=True, kw_only=True)
class ValuesReport:
    """Values and colour of one painting against its reference."""

    match: ValueMatch
    monochrome: bool
    """The painting is in one colour: nothing is said about colour."""
    regions: tuple[RegionValue, ...]
    """From hair to neck."""
    slope: Amount
    """Steps painted for each step seen over the face: below 1 the range is compressed."""
    plans: tuple[ValuePlan, ...]
    """In two, three, four and five values."""
    highlights: tuple[Highlight, ...]
    findings: tuple[ValueFinding, ...]
    """Ranked: off by weight, then slight, then unsure; last what is meant so."""
    notes: tuple[str, ...]
    """What is to be known before reading on: what the match cannot see, what is unsure without a strip."""
    lamps: LampReport | None = None
    """``None`` where the painting was photographed once."""
    shadows: tuple[ShadowShape, ...] = ()
    """Empty where light and shadow have no edge between them."""
    state: State | None = None
    """Whether the paint was said to be wet, dry or oiled out."""

    @property
    def off(self) -> tuple[ValueFinding, ...]:
        """The findings called off."""
        return tuple(finding for finding in self.findings if finding.call == "off")
