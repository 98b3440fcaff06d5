"""A ratio taken on one face alone: its value, how sure it is, who gave the points, or what is needed.

One face alone is known only by the face finder or by hand. The finder pulls every face toward an ordinary one, so what
it may hide of a face's own departure is in the uncertainty; points placed by hand hide nothing.

A turned head shortens all widths alike, and the two ends of a pair lie at one depth: the ratio of two widths keeps its
value (of far pictures), and so does that of two heights. Only a width set against a height is corrected, by the cosine
of the yaw. Past :data:`WIDEST_YAW` the far half is guessed rather than seen, and widths are refused.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from limner.compare.calibration import grade_of
from limner.compare.canons.declare import Ratio
from limner.compare.canons.finder import reads
from limner.compare.canons.lengths import LENGTHS
from limner.compare.canons.observed import ANY_SPREAD, OBSERVED
from limner.compare.hands import with_rows
from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT, FacePoints
from limner.face.placeable import PLACEABLE, rows_of
from limner.measure.declare import Measure
from limner.measure.geometry import distance, wrap
from limner.result import Pose, Quantity, Witness

Array = NDArray[np.float64]

WIDEST_YAW = 20.0
"""Degrees of yaw past which no width is taken (limner's choice: widths are then 6 % short)."""
OUTLINE_YAW = 15.0
"""The same where a width ends at the outline, which moves round the head as it turns (limner's choice)."""
WIDEST_PITCH = 20.0
"""Degrees of nod past which no height is set against another (limner's choice)."""
PROFILE_YAW = 60.0
"""Degrees of yaw from which a picture is taken for a profile, in which a nod only turns the face (limner's choice)."""
POSE_KNOWN = 3.0
"""Degrees, one sigma: how surely one picture tells the nod of a head whose build is not known (limner's choice)."""
POSE_UNKNOWN = 10.0
"""The same where the turn of the head cannot be told from the points (limner's choice)."""
IN_PUPILS = 1.879
"""Root of the nose to chin in distances between the pupils: ANSUR II, mean of men 1.920 and women 1.838."""

NOTHING = Quantity(value=None, sigma=None)


@dataclass(frozen=True, kw_only=True, eq=False)
class Face:
    """One face as canons are taken on it."""

    points: Array
    """(1 + K, N, 2) array in distances between the pupils: the mean first, then the repeated readings."""
    by_hand: frozenset[int]
    """Rows that a hand has placed."""
    pose: Pose | None

    @cached_property
    def gone(self) -> frozenset[int]:
        """Rows that are not there in every reading."""
        return frozenset(np.flatnonzero(~np.isfinite(self.points).all(axis=(0, 2))).tolist())

    @cached_property
    def profile(self) -> bool:
        """Whether it is seen from the side: by the turn of the head, or because only one pupil is there."""
        if self.pose is not None and abs(self.pose.yaw) >= PROFILE_YAW:
            return True
        return not np.isfinite(self.points[0, [PUPIL_RIGHT, PUPIL_LEFT]]).all()


@dataclass(frozen=True, kw_only=True)
class Taken:
    """A ratio of one face."""

    value: Quantity
    witness: Witness | None = None
    reason: str | None = None
    """What is needed, where there is no value."""


def face_of(points: FacePoints, pose: Pose | None) -> Face:
    """The face in its own unit, with rows for what only a hand can place."""
    whole = with_rows(points)
    stack = np.concatenate([whole.mean[None], whole.runs])
    unit = float(distance(whole.mean, [PUPIL_RIGHT], [PUPIL_LEFT]))
    if not (math.isfinite(unit) and unit > 0):
        unit = float(distance(whole.mean, rows_of("n"), rows_of("gn"))) / IN_PUPILS
    placed = frozenset(row for key in points.hand for row in rows_of(key))
    if points.found_by == "hand":
        placed |= frozenset(np.flatnonzero(np.isfinite(whole.mean).all(axis=1)).tolist())
    return Face(points=stack / unit, by_hand=placed, pose=pose)


def take(ratio: Ratio, face: Face) -> Taken:
    """The ratio on this face.

    Args:
        ratio: which.
        face: the points.

    Returns:
        Value and one-sigma uncertainty in the ratio's unit, or the reason why there is none. Never a NaN.
    """
    parts = parts_on(ratio, face)
    reason = _missing(ratio, parts, face) or refused_by_pose(ratio, face)
    if reason:
        return Taken(value=NOTHING, reason=reason)
    above, below = (_lengths(side, face.points) for side in parts)
    if ratio.lie == "slopes":
        return _slopes(above, below, parts, face)
    if not ((below > 0).all() and (above >= 0).all()):
        return Taken(value=NOTHING, reason="the points it is taken from lie in one place")
    (read_above, doubt_above), (read_below, doubt_below) = (reads(side, face.by_hand) for side in parts)
    ratios = above / below * correction(ratio, face.pose) * read_below / read_above
    value = float(ratios[0])
    witness = witness_of(parts, face)
    noise = math.hypot(*(_noise(side, float(size[0]), face) for side, size in zip(parts, (above, below), strict=True)))
    relative = math.hypot(noise, doubt_above, doubt_below, pose_doubt(ratio, face))
    sigma = math.hypot(_scatter(ratios), value * relative, hidden(ratio, parts, face, value))
    return Taken(value=Quantity(value=value, sigma=sigma), witness=witness)


def parts_on(ratio: Ratio, face: Face) -> tuple[list[Measure], list[Measure]]:
    """The lengths above and below the line; of a pair of which one is enough, those that are there."""

    def chosen(ids: Sequence[str]) -> list[Measure]:
        parts = [LENGTHS[id_] for id_ in ids]
        if ratio.either and len(parts) > 1:
            there = [part for part in parts if not _gaps(part, face)]
            return there or parts
        return parts

    return chosen(ratio.above), chosen(ratio.below)


def witness_of(parts: tuple[list[Measure], list[Measure]], face: Face) -> Witness:
    """``hand`` where every point was placed, else ``mesh``."""
    return "hand" if all(_by_hand(part, face) for side in parts for part in side) else "mesh"


def hidden(ratio: Ratio, parts: tuple[list[Measure], list[Measure]], face: Face, value: float) -> float:
    """What of a face's own departure from the ordinary the finder does not show, one sigma.

    People differ by the observed standard deviation; a finder that reads the share ``slope`` of a departure leaves
    ``1 - slope`` of it unseen. The lowest slope of the lengths involved counts.
    """
    slopes = [grade_of(part, "mesh").slope for side in parts for part in side if not _by_hand(part, face)]
    if not slopes:
        return 0.0
    told = OBSERVED.get(ratio.id)
    spread = told.spread if told is not None else ANY_SPREAD * abs(value)
    return max(1 - min(slopes), 0.0) * spread


def correction(ratio: Ratio, pose: Pose | None) -> float:
    """Factor that makes good the shortening of widths in a turned head; 1 where both lengths shorten alike."""
    facing = 1.0 if pose is None else math.cos(math.radians(pose.yaw))
    return {"across over along": 1 / facing, "along over across": facing}.get(ratio.lie, 1.0)


def pose_doubt(ratio: Ratio, face: Face) -> float:
    """Relative one-sigma doubt from how the head is turned and nods."""
    if face.profile or ratio.lie in ("across", "slopes"):
        return 0.0
    known = POSE_UNKNOWN if face.pose is None else math.hypot(POSE_KNOWN, face.pose.sigma)
    pitch, yaw = (0.0, 0.0) if face.pose is None else (face.pose.pitch, face.pose.yaw)
    nod = ratio.depth * math.sin(math.radians(min(math.hypot(pitch, known), 90.0)))
    turn = math.tan(math.radians(abs(yaw))) * math.radians(known) if ratio.lie != "along" else 0.0
    return math.hypot(nod, turn)


def refused_by_pose(ratio: Ratio, face: Face) -> str | None:
    """Why the turn of the head forbids this ratio; ``None`` where it does not."""
    if ratio.lie == "slopes":
        return None if face.profile else "needs a picture in profile"
    yaw = 0.0 if face.pose is None else abs(face.pose.yaw)
    pitch = 0.0 if face.pose is None else abs(face.pose.pitch)
    limit = OUTLINE_YAW if ratio.outline else WIDEST_YAW
    if ratio.lie != "along":
        if face.profile:
            return "needs a picture from the front"
        if yaw > limit:
            return f"the head is turned {yaw:.0f} degrees; such widths are taken up to {limit:.0f}"
        if face.pose is None and ratio.lie != "across":
            return "the turn of the head cannot be told from these points"
    if ratio.lie != "across" and not face.profile and pitch > WIDEST_PITCH:
        return f"the head nods {pitch:.0f} degrees; heights are taken up to {WIDEST_PITCH:.0f}"
    return None


def _slopes(above: Array, below: Array, parts: tuple[list[Measure], list[Measure]], face: Face) -> Taken:
    """One slope less another, degrees; lines have no direction, so the nearer way round."""
    apart = wrap(2 * (above - below)) / 2
    grade = grade_of(parts[0][0], "mesh")
    floor = 0.0 if witness_of(parts, face) == "hand" else grade.floor / grade.slope
    sigma = math.hypot(_scatter(apart), floor)
    return Taken(value=Quantity(value=float(apart[0]), sigma=sigma), witness=witness_of(parts, face))


def _lengths(parts: list[Measure], points: Array) -> Array:
    """(1 + K,) array: the mean of the lengths in every reading."""
    each = [part.formula(points) for part in parts if part.formula is not None]
    return np.asarray(np.mean(each, axis=0))


def _noise(parts: list[Measure], length: float, face: Face) -> float:
    """Relative error of one length of one face, scatter and pull left out."""
    if length <= 0:
        return 0.0
    grade = grade_of(parts[0], "hand" if all(_by_hand(part, face) for part in parts) else "mesh")
    return math.hypot(grade.floor / 100, math.sqrt(2) * grade.point / 100 / length)


def _scatter(ratios: Array) -> float:
    return float(ratios[1:].std(ddof=1)) if len(ratios) > 2 else 0.0


def _by_hand(part: Measure, face: Face) -> bool:
    return frozenset(part.own_points) <= face.by_hand


def _gaps(part: Measure, face: Face) -> list[int]:
    """Rows of this length that are not there in every reading."""
    return [row for row in part.own_points if row in face.gone]


def _missing(ratio: Ratio, parts: tuple[list[Measure], list[Measure]], face: Face) -> str | None:
    """Which points have to be marked, in words; ``None`` where all are there."""
    rows = {row for side in parts for part in side for row in _gaps(part, face)}
    if not rows:
        return None
    asked = {row for side in parts for part in side for row in part.own_points}
    whole = (key for key in PLACEABLE if not rows.isdisjoint(rows_of(key)))
    marks = {key: set(rows_of(key)) for key in whole if asked.issuperset(rows_of(key))}
    keys = [key for key, own in marks.items() if not any(own < other for other in marks.values())]
    names: dict[str, list[str]] = {}
    for key in keys:
        names.setdefault(PLACEABLE[key].name.split(",")[0], []).append(key)
    said = " and ".join(f"{name} ({', '.join(each)})" for name, each in names.items())
    one = "; one side is enough" if ratio.either else ""
    return f"mark by hand: {said}{one}"
