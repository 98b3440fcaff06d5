"""The drawing slips limner can plant: each kind says which smooth deformation of the picture it is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.errors import UsageError
from limner.proving.pulls import Falloff, Pull

Array = NDArray[np.float64]

PUPIL = {"right": 468, "left": 473}
EYE_CORNERS = {"right": (33, 133), "left": (362, 263)}
EYE_LIDS = {"right": (159, 145), "left": (386, 374)}
BROW = {"right": (70, 63, 105, 66, 107), "left": (300, 293, 334, 296, 336)}
CHEEKBONE = {"right": 234, "left": 454}
CHEEK = {"right": 132, "left": 361}
JAW = {"right": 172, "left": 397}
NOSE_WINGS = (129, 358)
NOSE_ROOT, NOSE_BASE = 168, 2
MOUTH_CORNERS = (61, 291)
LIP_TOP, LIP_IN_TOP, LIP_IN_LOW, LIP_LOW = 0, 13, 14, 17
CHIN = 152


@dataclass(frozen=True, kw_only=True)
class Slip:
    """One known drawing error."""

    kind: str
    """One of :data:`KINDS`."""
    amount: float
    """Sizes: relative change (0.10 is ten percent larger). Shifts: share of the pupils' distance, positive to picture
    right or down. Turns: degrees, positive clockwise as seen."""
    core: float = 1.0
    """Factor on the radius within which the slip has its full strength."""
    reach: float = 2.0
    """Where it has faded to nothing, in core radii; above 1."""
    falloff: Falloff = "quintic"
    """How it fades. ``hill`` has no plateau: the amount is then reached at the centre only."""
    roundness: float = 2.0
    """2 for an elliptical core, more for a squarer one."""

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise UsageError(f"Expected a kind of slip out of {', '.join(sorted(KINDS))}; got {self.kind!r}.")
        if not (self.core > 0 and self.reach > 1 and self.roundness >= 2 and np.isfinite(self.amount)):
            raise UsageError("A slip needs a finite amount, core > 0, reach > 1 and roundness >= 2.")


@dataclass(frozen=True, eq=False)
class _Face:
    """The points with what every kind needs of them."""

    p: Array

    @property
    def right(self) -> Array:
        """Unit vector along the eye line, to picture right."""
        d = self.p[PUPIL["left"]] - self.p[PUPIL["right"]]
        return np.asarray(d / np.linalg.norm(d))

    @property
    def down(self) -> Array:
        return np.array([-self.right[1], self.right[0]])

    @property
    def ipd(self) -> float:
        return float(np.linalg.norm(self.p[PUPIL["left"]] - self.p[PUPIL["right"]]))

    def mean(self, *index: int) -> Array:
        return np.asarray(self.p[list(index)].mean(axis=0))

    def along(self, a: int, b: int) -> Array:
        d = self.p[b] - self.p[a]
        return np.asarray(d / np.linalg.norm(d))


Builder = Callable[[_Face, Slip], Sequence[Pull]]


def _pull(  # noqa: PLR0913 - all but the first three are named choices
    face: _Face,
    slip: Slip,
    centre: Array,
    radii: tuple[float, float],
    *,
    matrix: Array | None = None,
    shift: Array | None = None,
    side: tuple[float, float, float] | None = None,
    still: tuple[float, float] | None = (0.10, 0.30),
    further: float = 1.0,
) -> Pull:
    """A pull with core half-axes ``radii`` (in pupil distances) along and across the eye line.

    ``still`` is the radius about each pupil within which nothing moves, and that from which the pull is free.
    ``further`` widens the reach of slips that would fold the picture if they faded as fast as the others.
    """
    inner, outer = still or (0.0, 0.0)
    pupils = face.p[list(PUPIL.values())] if still else ()
    fixed = tuple((float(x), float(y), inner * face.ipd, outer * face.ipd) for x, y in pupils)
    return Pull(
        centre=np.asarray(centre, dtype=np.float64),
        axes=np.stack([face.right, face.down]),
        radii=(radii[0] * face.ipd * slip.core, radii[1] * face.ipd * slip.core),
        matrix=np.zeros((2, 2)) if matrix is None else matrix,
        shift=np.zeros(2) if shift is None else shift,
        reach=slip.reach * further,
        falloff=slip.falloff,
        roundness=slip.roundness,
        fixed=fixed,
        side=side,
    )


def _stretch(along: Array, keep: Array, amount: float) -> Array:
    """Matrix that lengthens everything along one direction by ``amount`` and leaves lengths along ``keep`` alone."""
    basis = np.stack([along, keep], axis=1)
    return np.asarray(basis @ np.diag([amount, 0.0]) @ np.linalg.inv(basis))


def _turn(degrees: float) -> Array:
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array([[c - 1, -s], [s, c - 1]])


def _eye(sides: tuple[str, ...], what: str) -> Builder:
    def build(face: _Face, slip: Slip) -> list[Pull]:
        pulls = []
        for side in sides:
            width, lids = face.along(*EYE_CORNERS[side]), face.along(*EYE_LIDS[side])
            matrix = {
                "size": np.eye(2) * slip.amount,
                "width": _stretch(width, lids, slip.amount),
                "opening": _stretch(lids, width, slip.amount),
            }[what]
            centre = face.p[PUPIL[side]]
            pulls.append(_pull(face, slip, centre, (0.33, 0.33), matrix=matrix, still=None))
        return pulls

    return build


def _eye_shift(side: str, direction: str) -> Builder:
    def build(face: _Face, slip: Slip) -> list[Pull]:
        shift = slip.amount * face.ipd * getattr(face, direction)
        return [_pull(face, slip, face.p[PUPIL[side]], (0.34, 0.34), shift=shift, still=None)]

    return build


def _eye_turn(side: str) -> Builder:
    def build(face: _Face, slip: Slip) -> list[Pull]:
        centre = face.p[PUPIL[side]]
        return [_pull(face, slip, centre, (0.33, 0.33), matrix=_turn(slip.amount), still=None)]

    return build


def _nose_centre(face: _Face) -> Array:
    return face.mean(*NOSE_WINGS, NOSE_BASE)


def _nose_width(face: _Face, slip: Slip) -> list[Pull]:
    matrix = _stretch(face.along(*NOSE_WINGS), face.along(NOSE_ROOT, NOSE_BASE), slip.amount)
    return [_pull(face, slip, face.mean(*NOSE_WINGS), (0.38, 0.36), matrix=matrix)]


def _nose_length(face: _Face, slip: Slip) -> list[Pull]:
    shift = slip.amount * (face.p[NOSE_BASE] - face.p[NOSE_ROOT])
    return [_pull(face, slip, face.p[NOSE_BASE], (0.30, 0.20), shift=shift)]


def _nose_shift(direction: str) -> Builder:
    def build(face: _Face, slip: Slip) -> list[Pull]:
        shift = slip.amount * face.ipd * getattr(face, direction)
        return [_pull(face, slip, _nose_centre(face), (0.40, 0.36), shift=shift)]

    return build


def _mouth(what: str) -> Builder:
    def build(face: _Face, slip: Slip) -> list[Pull]:
        centre, width = face.mean(*MOUTH_CORNERS), face.along(*MOUTH_CORNERS)
        half = float(np.linalg.norm(face.p[MOUTH_CORNERS[1]] - face.p[MOUTH_CORNERS[0]])) / 2 / face.ipd
        if what == "width":
            matrix = _stretch(width, face.down, slip.amount)
        else:
            matrix = np.eye(2) * slip.amount if what == "size" else _turn(slip.amount)
        return [_pull(face, slip, centre, (half + 0.08, 0.22), matrix=matrix)]

    return build


def _mouth_shift(direction: str) -> Builder:
    def build(face: _Face, slip: Slip) -> list[Pull]:
        shift = slip.amount * face.ipd * getattr(face, direction)
        return [_pull(face, slip, face.mean(*MOUTH_CORNERS), (0.52, 0.26), shift=shift)]

    return build


def _lip(inner: int, outer: int, one_sided: bool) -> Builder:
    """Thickness of one lip: about its middle, so that both edges move, or with the line between the lips held."""

    def build(face: _Face, slip: Slip) -> list[Pull]:
        thick = float(np.linalg.norm(face.p[outer] - face.p[inner]))
        up = face.along(inner, outer)
        matrix = _stretch(up, face.along(*MOUTH_CORNERS), slip.amount)
        half = float(np.linalg.norm(face.p[MOUTH_CORNERS[1]] - face.p[MOUTH_CORNERS[0]])) / 2 / face.ipd
        reach = thick / face.ipd
        if one_sided:
            line = face.along(*MOUTH_CORNERS)
            normal = np.array([-line[1], line[0]]) * np.sign(line[0] * up[1] - line[1] * up[0])
            side = (float(normal[0]), float(normal[1]), 0.45 * thick * float(normal @ up))
            radii = (half + 0.05, 1.15 * reach)
            return [_pull(face, slip, face.p[inner], radii, matrix=matrix, side=side, further=1.7)]
        radii = (half + 0.05, 0.62 * reach)
        return [_pull(face, slip, face.mean(inner, outer), radii, matrix=matrix, further=1.7)]

    return build


def _brow_shift(sides: tuple[str, ...]) -> Builder:
    def build(face: _Face, slip: Slip) -> list[Pull]:
        shift = slip.amount * face.ipd * face.down
        return [_pull(face, slip, face.mean(*BROW[side]), (0.46, 0.16), shift=shift) for side in sides]

    return build


def _brow_turn(side: str) -> Builder:
    def build(face: _Face, slip: Slip) -> list[Pull]:
        return [_pull(face, slip, face.mean(*BROW[side]), (0.46, 0.16), matrix=_turn(slip.amount))]

    return build


def _chin(face: _Face, slip: Slip) -> list[Pull]:
    drop = face.p[CHIN] - face.mean(LIP_IN_TOP, LIP_IN_LOW)
    below = float(np.linalg.norm(face.p[CHIN] - face.p[LIP_LOW])) / face.ipd
    return [_pull(face, slip, face.p[CHIN], (0.62, 0.45 * below), shift=slip.amount * drop)]


def _outline(index: dict[str, int], sides: tuple[str, ...], radii: tuple[float, float]) -> Builder:
    """The face's edge moved outwards (or in) at cheekbone, cheek or jaw, amount as a share of the width there."""

    def build(face: _Face, slip: Slip) -> list[Pull]:
        span = face.p[index["left"]] - face.p[index["right"]]
        pulls = []
        for side in sides:
            outwards = span * (slip.amount / len(sides)) * (1 if side == "left" else -1)
            pulls.append(_pull(face, slip, face.p[index[side]], radii, shift=outwards))
        return pulls

    return build


_BOTH = ("right", "left")
KINDS: dict[str, Builder] = {
    "nose_width": _nose_width,
    "nose_length": _nose_length,
    "nose_x": _nose_shift("right"),
    "nose_y": _nose_shift("down"),
    "mouth_width": _mouth("width"),
    "mouth_size": _mouth("size"),
    "mouth_turn": _mouth("turn"),
    "mouth_x": _mouth_shift("right"),
    "mouth_y": _mouth_shift("down"),
    "upper_lip": _lip(LIP_IN_TOP, LIP_TOP, False),
    "lower_lip": _lip(LIP_IN_LOW, LIP_LOW, False),
    "upper_lip_edge": _lip(LIP_IN_TOP, LIP_TOP, True),
    "lower_lip_edge": _lip(LIP_IN_LOW, LIP_LOW, True),
    "brows_y": _brow_shift(_BOTH),
    "chin": _chin,
    "face_width": _outline(CHEEKBONE, _BOTH, (0.22, 0.62)),
    "jaw_width": _outline(JAW, _BOTH, (0.24, 0.34)),
}
for _what in ("size", "width", "opening"):
    KINDS[f"eyes_{_what}"] = _eye(_BOTH, _what)
for _side in _BOTH:
    for _what in ("size", "width", "opening"):
        KINDS[f"eye_{_what}_{_side}"] = _eye((_side,), _what)
    KINDS[f"eye_{_side}_x"] = _eye_shift(_side, "right")
    KINDS[f"eye_{_side}_y"] = _eye_shift(_side, "down")
    KINDS[f"eye_turn_{_side}"] = _eye_turn(_side)
    KINDS[f"brow_{_side}_y"] = _brow_shift((_side,))
    KINDS[f"brow_turn_{_side}"] = _brow_turn(_side)
    KINDS[f"cheek_{_side}"] = _outline(CHEEK, (_side,), (0.22, 0.42))
    KINDS[f"jaw_{_side}"] = _outline(JAW, (_side,), (0.24, 0.34))


def pulls_of(slip: Slip, points: Array) -> tuple[Pull, ...]:
    """The deformations one slip is made of, for a face with these (478, 2) points, px."""
    return tuple(KINDS[slip.kind](_Face(np.asarray(points, dtype=np.float64)), slip))
