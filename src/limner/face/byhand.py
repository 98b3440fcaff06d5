"""Points placed by hand: what they are, whose they are, and how far they are believed.

Coordinates are px of the stored upright picture, x from its left edge to picture right, y from its top edge down, so a
picture W px wide reaches from 0 to W. ``sigma`` is one standard deviation along x and along y each, px.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, NoReturn

from limner.errors import UsageError
from limner.face.placeable import PLACEABLE, nearest_name
from limner.pictures.picture import Picture

LONGEST_SIDE = 1_000_000
"""px; no picture limner reads is longer."""

LEAST_SIGMA = 1.0
"""px: nobody sets a mark closer than to the pixel."""
SHARE_SIGMA = 0.01
"""Of the pupil distance. Our choice, no source: one careful hand setting the same point in two pictures. Between hands
it is more: the mean distance of human annotators' points is 2.56 % of the eyes' distance (the mesh's model card)."""
HARD = frozenset({"zy", "go", "gn", "tr", "v", "nt", "nb", "ho"})
HARD_FACTOR = 2.5
"""Points without a corner of their own are set less surely. Zygion, gonion and gnathion are the hardest to place on
photographs (39 operators, Campomanes-Alvarez 2014); contours need two to three times the tolerance of eyes, nose and
mouth. Hairline, top of the head, neck and outline are taken to be like them."""
FACE_IN_PUPILS = 1 / 1.88
"""Pupil distance per n-gn, where only one pupil is seen: 1.88 is the middle of ANSUR II's 1.92 (men) and 1.84 (women)
for menton-sellion over the interpupillary breadth."""

Source = Literal["hand", "found"]


@dataclass(frozen=True, kw_only=True)
class HandPoint:
    """One point of a points file, px of the stored picture."""

    x: float
    y: float
    sigma: float | None = None
    """One standard deviation along each axis, px; ``None`` takes :func:`usual_sigma`."""
    source: Source = "hand"
    """``hand`` was placed or confirmed by the painter, ``found`` is the detector's and yields to a new detection."""


@dataclass(frozen=True, kw_only=True)
class HandPoints:
    """What a points file holds: the picture it belongs to, and the points."""

    width: int
    height: int
    """Of the stored upright picture, px."""
    sha256: str | None
    """Digest of the picture file's bytes; ``None`` for a picture that never was a file."""
    points: Mapping[str, HandPoint] = field(default_factory=dict)
    """Key of :data:`PLACEABLE` -> point."""
    unseen: tuple[str, ...] = ()
    """Keys the painter says cannot be seen: nothing is measured from them, whatever a detector says."""

    @property
    def by_hand(self) -> dict[str, HandPoint]:
        """The points the painter placed or confirmed."""
        return {key: point for key, point in self.points.items() if point.source == "hand"}

    def sigma_of(self, key: str) -> float:
        """One standard deviation of a point along each axis, px: its own, else the usual one."""
        own = self.points[key].sigma
        return own if own is not None else usual_sigma(key, self.points)


def usual_share(key: str) -> float:
    """Give or take of a point as a share of the pupils' distance: 1 %, 2.5 % for what has no corner of its own."""
    return SHARE_SIGMA * (HARD_FACTOR if PLACEABLE[key].abbr in HARD else 1.0)


def usual_sigma(key: str, points: Mapping[str, HandPoint]) -> float:
    """Give or take of a point whose file does not say it, px along each axis; not less than 1.

    >>> eyes = {"p_right": HandPoint(x=100, y=50), "p_left": HandPoint(x=400, y=50)}
    >>> usual_sigma("sn", eyes), usual_sigma("gn", eyes), usual_sigma("gn", {})
    (3.0, 7.5, 1.0)
    """
    face = _apart(points, "p_right", "p_left") or _apart(points, "n", "gn") * FACE_IN_PUPILS
    return max(LEAST_SIGMA, usual_share(key) * face)


def _apart(points: Mapping[str, HandPoint], one: str, other: str) -> float:
    if one not in points or other not in points:
        return 0.0
    return math.hypot(points[one].x - points[other].x, points[one].y - points[other].y)


def points_for(picture: Picture) -> HandPoints:
    """An empty set for a picture."""
    width, height = picture.full_size
    return HandPoints(width=width, height=height, sha256=picture.digest)


def known(key: object, what: str) -> str:
    """The key itself if a point has it. Raises :class:`UsageError` naming the nearest otherwise."""
    if not isinstance(key, str) or key not in PLACEABLE:
        nearest = nearest_name(str(key))
        todo = f"the nearest is {nearest}" if nearest else "limner points --table lists them"
        refuse(what, "the name of a point", f"{shortly(key)} is none", todo)
    return key


def placed(
    x: object, y: object, size: tuple[int, int], where: str, *, sigma: float | None = None, source: Source = "hand"
) -> HandPoint:
    """One checked point in a picture of ``size`` (width, height) px. Raises :class:`UsageError` when it is outside."""
    across, down = finite(x, where, "x"), finite(y, where, "y")
    for name, value, most in (("x", across, size[0]), ("y", down, size[1])):
        if not 0 <= value <= most:
            came = f"it is {value:g}"
            refuse(where, f"{name} inside the picture, 0 to {most}", came, "place it again or remove it")
    if sigma is not None and not 0 < sigma <= sum(size):
        refuse(where, "sigma above 0 px and below the picture's size", f"it is {sigma:g}", "mend or remove it")
    return HandPoint(x=across, y=down, sigma=sigma, source=source)


def finite(value: object, where: str, name: str) -> float:
    """The value as a finite number. Raises :class:`UsageError` if it is none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        refuse(where, f"{name} as a number", f"{shortly(value)} came", "mend it")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        refuse(where, f"{name} as a finite number", "it is none", "mend it")
    return number


def check_belongs(points: HandPoints, picture: Picture, what: str = "points file") -> None:
    """Refuse points that were placed on another picture.

    Raises:
        UsageError: when the size or (where both are known) the digest differs.
    """
    width, height = picture.full_size
    do = "give the points of this picture, or place them again with: limner points PICTURE"
    if (points.width, points.height) != (width, height):
        came = f"its points were placed on one of {points.width} x {points.height}"
        refuse(what, f"points of '{picture.name}' ({width} x {height} px)", came, do)
    if points.sha256 and picture.digest and points.sha256 != picture.digest:
        came = "they were placed on another picture of this size, or this file was changed since"
        refuse(what, f"points of '{picture.name}'", came, do)


def refuse(what: str, expected: str, came: str, do: str) -> NoReturn:
    """Raise the :class:`UsageError` that says what was expected, what came and what to do."""
    raise UsageError(f"{what}: expected {expected}, but {came}; {do}.")


def shortly(value: object) -> str:
    """A value from a file as it may stand in a message: one line, ASCII, not long."""
    text = (
        json.dumps(value, ensure_ascii=True, default=str) if not isinstance(value, dict | list) else "a list or object"
    )
    return text if len(text) <= 40 else text[:37] + "..."
