"""What a result tells as a whole: the plan, the canvas and the place on it, the whole face, what is set apart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Call = Literal["off", "slight", "true", "unsure", "held", "intended", "not painted yet", "not measured"]


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """A number and its one-sigma uncertainty in the same unit; both ``None`` where it is not measurable."""

    value: float | None
    sigma: float | None


Level = Literal["placement", "head", "pair", "feature"]
"""Large to small: the head on the canvas, the head itself, features that move together, one feature."""


@dataclass(frozen=True, kw_only=True)
class Correction:
    """One step of the plan: what to move, after the steps before it. Moves go from the painted place to the right one.

    x toward picture right, y down; a turn is positive clockwise as seen; a size of 5 makes it five percent larger.
    """

    step: int
    """From 1."""
    level: Level
    unit: str
    """Id of what moves: ``head``, ``eyes``, ``eye_left`` and so on."""
    name: str
    """The same in plain words, sides said as the sitter's."""
    centre: tuple[float, float]
    """Its middle as painted, px of the decoded painting."""
    dx: Quantity
    dy: Quantity
    """Pupil distances of the painting as it should be."""
    dx_mm: Quantity
    dy_mm: Quantity
    """Millimetres on the canvas; no value without a canvas size."""
    along: Quantity
    across: Quantity
    """Change of size along and across the unit's own long axis, percent."""
    turn: Quantity
    """Degrees."""
    remains: Quantity
    """Of the shape, after this step: typical distance of its outline from where it belongs, pupil distances."""
    text: str
    """The whole step as one plain sentence."""
    mends: tuple[str, ...]
    """Ids of the measures off before this step and predicted true, or slight, after it."""
    left_off: int
    """How many measures are predicted to be off after it."""


FoundBy = Literal["photo", "hand", "whole picture", "nothing"]


@dataclass(frozen=True, kw_only=True)
class CanvasReport:
    """The canvas in the photo: where it was found, and what one px of the painting is on it."""

    found_by: FoundBy
    """Its edges in the photo; corners given by hand; the picture is the canvas, or a crop of it, by the painter's word;
    or it was not found, and nothing was straightened."""
    sure: bool
    reason: str
    """One plain sentence: what was taken for the canvas, or why none was."""
    corners: tuple[tuple[float, float], ...]
    """Top left, top right, bottom right, bottom left, px of the stored photo; empty where there are none."""
    size_mm: tuple[float, float] | None
    """Width and height as taken; ``None`` when not given."""
    mm_per_px: Quantity
    """Millimetres on the canvas per px of the decoded (straightened) painting; no value without canvas and size. Its
    sigma holds what size, edges and lens leave open."""
    off_axis: float | None
    """Degrees between the camera's line of sight and straight in front of the canvas; ``None`` if not known."""


@dataclass(frozen=True, kw_only=True)
class PlacementReport:
    """Where the head stands on the canvas, mm; and where it was meant to, as far as that is known."""

    eyes_x: Quantity
    """Of the middle between the pupils, from the left edge."""
    eyes_y: Quantity
    """The same from the top edge."""
    pupils: Quantity
    """Between the pupils."""
    head_height: Quantity
    """From the top of the head with its hair to the chin; no value where the top is not known."""
    room: Mapping[str, float]
    """``left``, ``right``, ``top``, ``bottom``: between the head and each edge, where it is known; below: the chin."""
    meant_pupils: float | None
    meant_eyes: tuple[float, float] | None
    meant_by: str | None
    """Who says what was meant, in words."""


WholeCause = Literal["drawing", "camera or drawing"]


@dataclass(frozen=True, kw_only=True)
class WholeFinding:
    """One finding that concerns the whole face or head, said once and before everything single."""

    id: str
    """``place_x``, ``place_y``, ``size``: the head on the canvas; ``stretch``; ``turn``, ``tip``."""
    name: str
    unit: str
    """``mm``, ``percent`` or ``degrees``."""
    deviation: float
    """Painting against what was meant. ``stretch``: positive where the face is longer than wide; ``turn``: positive to
    picture right; ``tip``: positive chin up; ``place_x``, ``place_y``: positive to picture right and down."""
    sigma: float
    """One-sigma uncertainty, same unit."""
    threshold: float
    call: Call
    axis: float | None
    """Of a stretch: degrees between the line it runs along and upright, positive clockwise as seen; else ``None``."""
    cause: WholeCause
    """Who made it: where the canvas was not straightened at a known size, a stretch may be the camera's."""
    reason: str | None
    """Why it is unsure."""
    source: str
    """Where the threshold comes from."""
    text: str
    """One plain sentence where it is off; else empty."""
    explains: tuple[str, ...] = ()
    """Ids of the measures that would depart for this reason alone. Measures are told without a stretch that is off."""


@dataclass(frozen=True, kw_only=True)
class Apart:
    """What is listed once and neither ranked nor moved: held, or meant so by the painter."""

    kind: Literal["held", "intended"]
    id: str
    """The part or measure, as it was asked for."""
    name: str
    """The same in plain words."""
    reason: str | None
    """Why; the painter's own words where it is intended."""
    measures: tuple[str, ...]
    """Ids of its measures that depart, called ``held`` or ``intended``."""
    values: tuple[str, ...] = ()
    """What departs of its value and colour, a plain sentence each; their findings are called ``intended``."""
