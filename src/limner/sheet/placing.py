"""Where the reference lies on a canvas before the first stroke."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.errors import UsageError
from limner.face.facepoints import POINT_COUNT, PUPIL_LEFT, PUPIL_RIGHT
from limner.face.placeable import BEYOND, OUTLINE, rows_of
from limner.sheet.reading import Sitter

Array = NDArray[np.float64]

SMALLEST, LARGEST = 2.0, 2000.0
"""mm between the pupils that a painting may have; past that the number was meant otherwise (limner's choice)."""
ROOM = 0.04
"""Of the canvas: room the head keeps at an edge when the crop can be slid so (limner's choice)."""


@dataclass(frozen=True, kw_only=True)
class Wish:
    """What of the placement the painter decides."""

    pupils: float | None = None
    """mm between the pupils on the canvas."""
    eyes: tuple[float, float] | None = None
    """Where the point half way between the pupils lies, mm from the canvas's left and top edge."""


@dataclass(frozen=True, kw_only=True)
class Placement:
    """How the reference lies on the canvas: scaled and shifted, not turned."""

    canvas: tuple[float, float]
    """Width and height, mm."""
    mm_per_px: float
    """Of the decoded reference."""
    offset: tuple[float, float]
    """mm of the canvas at which the reference's upper left corner lies; negative where it is cut."""
    picture: tuple[int, int]
    """Width and height of the decoded reference, px."""

    def place(self, points: Array) -> Array:
        """(..., 2) points, px of the decoded reference, counted from its edges, in mm of the canvas."""
        return np.asarray(points * self.mm_per_px + self.offset)

    @property
    def beyond(self) -> dict[str, float]:
        """How much of the reference lies beyond each edge, mm of the canvas; negative where it does not reach it."""
        width, height = (side * self.mm_per_px for side in self.picture)
        x, y = self.offset
        return {"left": -x, "right": x + width - self.canvas[0], "top": -y, "bottom": y + height - self.canvas[1]}

    def said(self) -> tuple[str, ...]:
        """What is cut from the reference and where it does not reach, in sentences."""
        size = {"left": self.picture[0], "right": self.picture[0], "top": self.picture[1], "bottom": self.picture[1]}
        cut, short = [], []
        for edge, mm in self.beyond.items():
            share = 100 * mm / (size[edge] * self.mm_per_px)
            if share >= 0.05:
                cut.append(f"{share:.1f} % at the {edge}")
            elif mm < -0.5:
                short.append(f"{-mm:.0f} mm at the {edge}")
        told = [f"Cut from the reference: {', '.join(cut)}." if cut else "Nothing of the reference is cut."]
        if short:
            told.append(f"The reference does not reach the edge of the canvas: {', '.join(short)}.")
        (width, height), (wide, high) = self.canvas, self.picture
        if (width > height and wide < high) or (width < height and wide > high):
            stands, lies = ("stands upright", "lies") if wide < high else ("lies", "stands upright")
            told.append(
                f"The reference {stands} and the canvas {lies}; to turn it write --canvas {height:g}x{width:g}mm."
            )
        return tuple(told)


def place_reference(sitter: Sitter, canvas: tuple[float, float], wish: Wish | None = None) -> Placement:
    """Lay the reference on the canvas.

    As it comes, the reference fills the canvas: its longer excess is cut evenly on both sides, and the cut is slid so
    far that the head stays whole where it can. ``wish`` gives the distance between the pupils, the place of the eyes,
    or both.

    Raises UsageError where the wish makes no sense on this canvas.
    """
    wish = wish or Wish()
    _check(wish, canvas)
    height, width = sitter.picture.pixels.shape[:2]
    pupils = sitter.points.mean[[PUPIL_RIGHT, PUPIL_LEFT]]
    fill = max(canvas[0] / width, canvas[1] / height)
    if (wish.pupils is not None or wish.eyes is not None) and not np.isfinite(pupils).all():
        raise UsageError("--pupils and --eyes need both pupils; place them with limner points, or leave these out.")
    factor = fill if wish.pupils is None else wish.pupils / float(np.linalg.norm(pupils[1] - pupils[0]))
    box = _head_box(sitter)
    offset = tuple(
        _slid(canvas[axis], side * fill, (box[0][axis] * fill, box[1][axis] * fill))
        for axis, side in enumerate((width, height))
    )
    middle = pupils.mean(axis=0)
    eyes = wish.eyes or tuple(middle * fill + offset)
    if wish.pupils is not None or wish.eyes is not None:
        offset = tuple(np.asarray(eyes) - middle * factor)
    return Placement(
        canvas=canvas, mm_per_px=factor, offset=(float(offset[0]), float(offset[1])), picture=(width, height)
    )


def head_marks(sitter: Sitter) -> dict[str, Array]:
    """Places of the whole head, px of the decoded reference, as far as they are known.

    Keys: top, chin, eyes (half way between the pupils), left and right (where the outline with its hair reaches
    farthest, as seen).
    """
    every = sitter.every
    outline = every[[BEYOND[key] for key in OUTLINE]]
    places = {
        "top": every[list(rows_of("v"))].mean(axis=0),
        "chin": every[list(rows_of("gn"))].mean(axis=0),
        "eyes": every[[PUPIL_RIGHT, PUPIL_LEFT]].mean(axis=0),
    }
    known = outline[np.isfinite(outline).all(axis=1)]
    if len(known) >= 4:
        places["left"], places["right"] = known[known[:, 0].argmin()], known[known[:, 0].argmax()]
    return {name: place for name, place in places.items() if np.isfinite(place).all()}


def _check(wish: Wish, canvas: tuple[float, float]) -> None:
    if wish.pupils is not None and not (math.isfinite(wish.pupils) and SMALLEST <= wish.pupils <= LARGEST):
        raise UsageError(
            f"--pupils is the distance between the pupils on the canvas: expected {SMALLEST:g} to {LARGEST:g} mm, got "
            f"{wish.pupils:g}."
        )
    if wish.eyes is not None and not all(0 <= at <= side for at, side in zip(wish.eyes, canvas, strict=True)):
        raise UsageError(
            f"--eyes is a place on the canvas, mm from its left and top edge: expected 0 to {canvas[0]:g} and 0 to "
            f"{canvas[1]:g}, got {wish.eyes[0]:g},{wish.eyes[1]:g}."
        )


def _head_box(sitter: Sitter) -> tuple[Array, Array]:
    """Low and high corner of head and hair, px; where the hair's outline is not known, room for it is left."""
    face = sitter.points.mean[np.isfinite(sitter.points.mean).all(axis=1)]
    low, high = face.min(axis=0), face.max(axis=0)
    size = high - low
    low = low - size * (0.15, 0.35)
    high = high + size * (0.15, 0.05)
    known = sitter.every[POINT_COUNT:][[BEYOND[key] - POINT_COUNT for key in (*OUTLINE, "v")]]
    known = known[np.isfinite(known).all(axis=1)]
    if len(known):
        low, high = np.minimum(low, known.min(axis=0)), np.maximum(high, known.max(axis=0))
    full = np.array(sitter.picture.pixels.shape[1::-1], dtype=np.float64)
    return np.clip(low, 0, full), np.clip(high, 0, full)


def _slid(canvas: float, side: float, head: tuple[float, float]) -> float:
    """Where the reference begins along one axis, mm: cut evenly, but slid to keep the head on the canvas.

    >>> _slid(100.0, 200.0, (60.0, 140.0)), _slid(100.0, 200.0, (0.0, 60.0)), _slid(100.0, 100.0, (0.0, 90.0))
    (-50.0, 0.0, 0.0)
    """
    begin = (canvas - side) / 2
    room = ROOM * canvas
    if head[1] - head[0] <= canvas - 2 * room:
        begin = min(max(begin, room - head[0]), canvas - room - head[1])
    else:
        begin = canvas / 2 - (head[0] + head[1]) / 2
    return min(max(begin, canvas - side), 0.0)
