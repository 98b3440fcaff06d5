"""How an audit is to be done: one frozen object, made once, passed everywhere."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

Stage = Literal["block-in", "glaze", "colour", "lights", "finish"]
STAGES: tuple[Stage, ...] = ("block-in", "glaze", "colour", "lights", "finish")

Hold = Literal[
    "eyes",
    "head",
    "eye_right",
    "eye_left",
    "brows",
    "brow_right",
    "brow_left",
    "nose",
    "mouth",
    "upper_lip",
    "lower_lip",
    "chin",
    "jaw",
    "face",
]
HOLDS: tuple[Hold, ...] = get_args(Hold)
"""What may stay put: the pupils' distance, the whole head, or one part of the face. Sides are the sitter's."""

State = Literal["wet", "dry", "oiled"]
STATES: tuple[State, ...] = ("wet", "dry", "oiled")
"""Of the paint when it was photographed: still wet, dry, or dry and oiled out."""


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Choices of one audit."""

    hold: Hold = "eyes"
    """What stays put: ``eyes`` scales by the pupils' distance, ``head`` by a robust fit of the whole face. A part, such
    as ``nose``, stays where it is painted, and the rest is measured and corrected round it: place always by the part;
    size and tilt by it too where it spans a pupil distance (``brows``, ``jaw``, ``face``), else by the pupils."""

    intended: tuple[tuple[str, str], ...] = ()
    """What is meant to depart: id of a measure or part, and the reason. It is listed once, and never ranked."""

    strict: float = 1.0
    """Factor on every threshold; below 1 is stricter. Positive and finite."""

    stage: Stage | None = None
    """Stage of the painting; ``None`` lets limner guess and say so."""

    face_reference: int | None = None
    """Which face of the reference, counted from picture left, 1-based.

    ``None`` picks the largest if it is at least twice the next.
    """

    face_painting: int | None = None
    """The same for the painting."""

    points_reference: Path | None = None
    """Points of the reference placed by hand, as ``limner points`` saves them; ``None`` uses what is found."""

    points_painting: Path | None = None
    """The same for the painting."""

    points_only: bool = False
    """Detects nothing in a picture whose points were placed by hand: what was not placed is not there."""

    between: tuple[tuple[str, str], ...] = ()
    """Further pairs of named points whose distance is wanted."""

    model: Path | None = None
    """The painter's own landmarker bundle; ``None`` uses LIMNER_MODEL or the kept one."""

    threads: int = 2
    """1 reads the two pictures one after the other, 2 side by side; the result is the same."""

    witness: Literal["best", "mesh"] = "best"
    """``best`` takes the painting's points from its pixels where that is believable; ``mesh`` never does."""

    canvas: str | None = None
    """Size of the canvas, such as ``400x500mm``: it is found in the photo and seen straight on. ``none`` says that the
    photo is a crop; ``None`` does not look for it."""

    corners: tuple[tuple[float, float], ...] = ()
    """The canvas's four corners, px of the stored photo of it, in any order; empty lets limner find them."""

    placement: str | None = None
    """Where the head is meant to stand on a canvas of known size: ``62mm`` between the pupils, ``@200,180`` the middle
    between them in mm from the left and top edge, ``62mm@200,180`` both; ``reference``, framed as the reference is;
    ``none``. ``None`` takes the reference's framing where the reference has the canvas's proportions."""

    values: bool = True
    """Compares values and colour too."""

    match: str = "face"
    """How the photo of the canvas is brought to the reference's exposure before values are compared: ``face``,
    ``ground``, ``ground:X,Y``, ``patch:X,Y``, ``patch:X,Y=VALUE``, ``patch:X,Y@X,Y`` or three or more patches as
    ``strip:X,Y=VALUE;X,Y=VALUE;X,Y=VALUE``. Places in px of the stored pictures, values Munsell's."""

    lamps: tuple[Path, ...] = ()
    """Further photos of the same painting in the same state with the lamp moved: what shines moves, paint stays."""

    state: State | None = None
    """Whether the paint was wet, dry or oiled out when it was photographed; ``None`` where nothing was said."""
