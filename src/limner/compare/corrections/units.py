"""What moves as one, from large to small, and which measures tell how surely each way of moving it is known."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field, replace

from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT
from limner.face.points import FEATURES
from limner.result import Level

SIDES = ("right", "left")


@dataclass(frozen=True, kw_only=True)
class Part:
    """Points that are moved by one shift, two sizes and one turn about their middle."""

    rows: tuple[int, ...]
    axis: tuple[int, int]
    """Mesh points at the two ends of its long axis."""


@dataclass(frozen=True, kw_only=True)
class Unit:
    """One thing a painter moves: one part, or the two of a pair by the same amounts."""

    id: str
    name: str
    level: Level
    parts: tuple[Part, ...]
    features: tuple[str, ...]
    """Features it consists of: what is not painted yet is not moved."""
    ways: dict[str, tuple[str, ...]] = field(default_factory=dict)
    """Way (``x``, ``y``, ``along``, ``across``, ``turn``) -> measures whose doubt is its doubt.

    A place may be told by a length that runs that way (its middle is known half as finely as its length), or by the
    turn of a line that ends in it.
    """
    along: tuple[str, str] = ("longer", "shorter")
    across: tuple[str, str] = ("wider", "narrower")
    """Words for larger and smaller."""
    plural: bool = False


def rows_of(unit: Unit) -> tuple[int, ...]:
    """Every mesh point of a unit."""
    return tuple(row for part in unit.parts for row in part.rows)


def without(unit: Unit, held: Collection[int]) -> Unit | None:
    """The unit without the points that stay where they are; ``None`` where less than half of a part is left."""
    parts = [replace(part, rows=tuple(row for row in part.rows if row not in held)) for part in unit.parts]
    left = [2 * len(part.rows) >= len(whole.rows) for part, whole in zip(parts, unit.parts, strict=True)]
    return replace(unit, parts=tuple(parts)) if all(left) else None


def _rows(*features: str, more: tuple[int, ...] = ()) -> tuple[int, ...]:
    return tuple(dict.fromkeys([row for feature in features for row in FEATURES[feature].indices] + list(more)))


_PUPIL = {"right": PUPIL_RIGHT, "left": PUPIL_LEFT}
_CORNERS = {"right": (33, 133), "left": (362, 263)}
_BROW_ENDS = {"right": (70, 107), "left": (336, 300)}


def _eye(side: str) -> Part:
    return Part(rows=_rows(f"eye_{side}", f"iris_{side}", more=(_PUPIL[side],)), axis=_CORNERS[side])


def _brow(side: str) -> Part:
    return Part(rows=_rows(f"brow_{side}"), axis=_BROW_ENDS[side])


_EYE_WORDS = {"along": ("wider", "narrower"), "across": ("opened further", "opened less")}
_BROW_WORDS = {"along": ("longer", "shorter"), "across": ("thicker", "thinner")}


def _pair(kind: str, part: dict[str, Part], ways: dict[str, tuple[str, ...]], said: dict[str, tuple[str, str]]) -> Unit:
    return Unit(
        id=f"{kind}s",
        name=f"both {kind}s",
        level="pair",
        parts=tuple(part[side] for side in SIDES),
        features=tuple(f"{kind}_{side}" for side in SIDES),
        ways=ways,
        plural=True,
        along=said["along"],
        across=said["across"],
    )


EYES = {side: _eye(side) for side in SIDES}
BROWS = {side: _brow(side) for side in SIDES}

FACE = Unit(
    id="face",
    name="the outline of the face",
    level="head",
    parts=(Part(rows=_rows("face"), axis=(10, 152)),),
    features=("face",),
    ways={
        "x": ("centre_axis",),
        "y": ("chin_y",),
        "along": ("face_height", "lower_face"),
        "across": ("face_width", "jaw_width"),
        "turn": ("jaw_axis", "centre_axis"),
    },
)

PAIRS = (
    _pair(
        "brow",
        BROWS,
        {
            "x": ("brow_length_right", "brow_length_left"),
            "y": ("brow_right_y", "brow_left_y"),
            "along": ("brow_length_right", "brow_length_left"),
        },
        _BROW_WORDS,
    ),
    _pair(
        "eye",
        EYES,
        {
            "x": ("eye_right_x", "eye_left_x"),
            "y": ("eye_right_y", "eye_left_y"),
            "along": ("eye_width_right", "eye_width_left"),
            "across": ("eye_opening_right", "eye_opening_left"),
        },
        _EYE_WORDS,
    ),
)


def _one_of(
    kind: str, side: str, part: Part, ways: dict[str, tuple[str, ...]], said: dict[str, tuple[str, str]]
) -> Unit:
    return Unit(
        id=f"{kind}_{side}",
        name=f"sitter's {side} {kind}",
        level="feature",
        parts=(part,),
        features=(f"{kind}_{side}",),
        ways=ways,
        along=said["along"],
        across=said["across"],
    )


FEATURE_UNITS: tuple[Unit, ...] = (
    *(
        _one_of(
            "brow",
            side,
            BROWS[side],
            {
                "x": (f"brow_length_{side}",),
                "y": (f"brow_{side}_y",),
                "along": (f"brow_length_{side}",),
                "turn": (f"brow_slant_{side}",),
            },
            _BROW_WORDS,
        )
        for side in SIDES
    ),
    *(
        _one_of(
            "eye",
            side,
            EYES[side],
            {
                "x": (f"eye_{side}_x",),
                "y": (f"eye_{side}_y",),
                "along": (f"eye_width_{side}",),
                "across": (f"eye_opening_{side}",),
                "turn": (f"eye_slant_{side}",),
            },
            _EYE_WORDS,
        )
        for side in SIDES
    ),
    Unit(
        id="nose",
        name="the nose",
        level="feature",
        parts=(Part(rows=_rows("nose", "nose_bridge", "nose_base"), axis=(168, 2)),),
        features=("nose",),
        ways={
            "x": ("nose_x",),
            "y": ("nose_y",),
            "along": ("nose_length",),
            "across": ("nose_width",),
            "turn": ("nose_axis",),
        },
    ),
    Unit(
        id="mouth",
        name="the mouth",
        level="feature",
        parts=(Part(rows=_rows("lips", "mouth_opening", "upper_lip", "lower_lip"), axis=(61, 291)),),
        features=("lips",),
        ways={
            "x": ("mouth_x",),
            "y": ("mouth_y",),
            "along": ("mouth_width",),
            "across": ("upper_lip", "lower_lip"),
            "turn": ("mouth_axis",),
        },
        along=("wider", "narrower"),
        across=("fuller", "thinner"),
    ),
    *(
        Unit(
            id=f"{lip}_lip",
            name=f"the {lip} lip",
            level="feature",
            parts=(Part(rows=_rows(f"{lip}_lip"), axis=(61, 291)),),
            features=(f"{lip}_lip",),
            ways={"y": ("mouth_y",), "across": (f"{lip}_lip",)},
            along=("wider", "narrower"),
            across=("thicker", "thinner"),
        )
        for lip in ("upper", "lower")
    ),
    Unit(
        id="chin",
        name="the chin",
        level="feature",
        parts=(Part(rows=_rows("chin"), axis=(176, 400)),),
        features=("chin",),
        ways={"x": ("centre_axis",), "y": ("chin_y",)},
    ),
)
