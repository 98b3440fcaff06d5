"""What is wrong with the face as a whole: a stretch that it all shares, a turn or a tip of the head.

A common stretch is said once. Every single measure is then told as it is without it, so that it is not said again as
ten deviations. Who made it, the camera or the hand, is known only where the canvas was straightened at a known size.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limner.compare.calibration import WIDE
from limner.compare.deviation import Framed
from limner.compare.wording import degrees, rounded
from limner.face.facepoints import FacePoints
from limner.face.turning import Turning, turning
from limner.measure.frames import HEAD_FEATURES, eye_line_frame
from limner.measure.geometry import mean_point
from limner.measure.similarity import NoFit
from limner.measure.strain import Strain, fit_strain
from limner.register.carried import Carried
from limner.result import Call, MeasureResult, Pose, WholeCause, WholeFinding

Array = NDArray[np.float64]

STRETCH = 2.0
"""Percent of a common stretch from which it is said; limner's choice, no published figure."""
TURN = 3.0
"""Degrees of turn or tip from which it is said; limner's choice, no published figure."""
SHARED = 0.43
"""Share of the way between the two faces that a stretch must take away to be one: 36 painted stretches of 3 to 8 % took
0.49 and more, 30 turned heads 0.37 at most, 25 paintings with one slip 0.07 at most (six portraits)."""
FLOOR = 0.3
"""Percent, one sigma: 18 painted copies of six portraits were off by 0.13 (root mean square), 36 stretched ones by 0.2,
a mouth out of place moved it by 0.3."""
MESH_READS = 0.3
"""One-sigma share that is left open of what the detector alone reads (limner's choice)."""
CHOICE = "limner's choice, no published figure"


@dataclass(frozen=True, kw_only=True, eq=False)
class Common:
    """A common stretch with the way to take it out of the painting's points."""

    finding: WholeFinding
    matrix: Array
    """(2, 2) array: takes the stretch out, about ``middle``; the pupils stay where they are."""
    middle: Array
    """(2,) array, px of the decoded painting."""

    @property
    def said(self) -> bool:
        """Whether there is a stretch to be taken out."""
        return self.finding.call == "off"

    def without(self, points: Array) -> Array:
        """(..., 2) points of the painting as they would be without the stretch, px."""
        return np.asarray((points - self.middle) @ self.matrix.T + self.middle)

    def within(self, points: Array) -> Array:
        """(..., 2) points put into the stretched painting, px."""
        return np.asarray((points - self.middle) @ np.linalg.inv(self.matrix).T + self.middle)

    def of_painting(self, points: FacePoints) -> FacePoints:
        """The painting's points without the stretch, those by hand too."""
        hand = {}
        for key, (x, y, sigma) in points.hand.items():
            there = self.without(np.array([x, y]))
            hand[key] = (float(there[0]), float(there[1]), sigma)
        return replace(points, mean=self.without(points.mean), runs=self.without(points.runs), hand=hand)

    def of_carried(self, carried: Carried | None) -> Carried | None:
        """What the pixels say, without the stretch."""
        if carried is None:
            return None
        head = carried.head
        if head is not None:
            head = replace(head, painting=self.without(head.painting), runs=self.without(head.runs))
        return replace(carried, points=self.without(carried.points), runs=self.without(carried.runs), head=head)


def common_stretch(
    framed: Framed,
    *,
    without: Collection[str],
    by_pixels: bool,
    proportions: float | None,
    strict: float,
) -> Common | None:
    """The stretch the whole painted face shares.

    Args:
        framed: both faces by the best witness.
        without: features that are not painted yet.
        by_pixels: whether the painting's own pixels gave the points.
        proportions: one-sigma uncertainty in percent of the picture's own proportions where the canvas was straightened
            at a known size; ``None`` where a camera may have stretched it.
        strict: factor on the threshold.

    Returns:
        ``None`` where a pupil or too much of the face is not there.
    """
    source, target = framed.pair.reference[0], framed.pair.painting[0]
    here, there = eye_line_frame(source), eye_line_frame(target)
    if isinstance(here, NoFit) or isinstance(there, NoFit) or not framed.sized:
        return None
    first, second, weights, groups = _places(here.take(source), there.take(target), without)
    strain = fit_strain(first, second, weights, groups) if len(groups) else None
    if strain is None:
        return None
    axes = np.stack([there.across, [-there.across[1], there.across[0]]], axis=1)
    matrix = _pupils_kept(axes @ np.linalg.inv(strain.matrix) @ axes.T, there.across)
    sigma = math.hypot(strain.sigma, FLOOR, proportions or 0.0, 0.0 if by_pixels else MESH_READS * strain.amount)
    finding = _stretch_finding(strain, sigma, STRETCH * strict, "drawing" if proportions else "camera or drawing")
    return Common(finding=finding, matrix=matrix, middle=np.asarray(there.origin))


def _places(source: Array, target: Array, without: Collection[str]) -> tuple[Array, Array, Array, list[str]]:
    first: list[Array] = []
    second: list[Array] = []
    weights: list[float] = []
    groups: list[str] = []
    for feature, (places, weight) in HEAD_FEATURES.items():
        for place in places if feature not in without else ():
            one, other = mean_point(source, place), mean_point(target, place)
            if np.isfinite(one).all() and np.isfinite(other).all():
                first.append(one)
                second.append(other)
                weights.append(weight)
                groups.append(feature)
    return np.array(first), np.array(second), np.array(weights), groups


def _pupils_kept(matrix: Array, across: Array) -> Array:
    """The same map, turned and sized so that the line through the pupils stays as it is."""
    x, y = matrix @ across
    back = np.array([[x, y], [-y, x]]) / (x**2 + y**2)
    own = np.array([[across[0], -across[1]], [across[1], across[0]]])
    return np.asarray(own @ back @ matrix)


def _stretch_finding(strain: Strain, sigma: float, threshold: float, cause: WholeCause) -> WholeFinding:
    amount, reason = strain.amount, None
    call: Call = "slight" if amount > threshold / 2 else "true"
    if WIDE * sigma > threshold and amount <= WIDE * sigma:
        call, reason = "unsure", "the places of the face scatter by more than what is to be seen"
    elif amount > threshold:
        call = "off" if strain.share >= SHARED else "unsure"
        reason = None if call == "off" else "single features or a turn of the head depart more than the whole face does"
    across = abs(strain.axis) > 45
    return WholeFinding(
        id="stretch",
        name="stretch of the whole face",
        unit="percent",
        deviation=-amount if across else amount,
        sigma=sigma,
        threshold=threshold,
        call=call,
        axis=strain.axis,
        cause=cause,
        reason=reason,
        source=CHOICE,
        text=_stretch_said(strain, sigma, cause) if call == "off" else "",
    )


def _stretch_said(strain: Strain, sigma: float, cause: WholeCause) -> str:
    amount, doubt = rounded(strain.amount, sigma)
    much = f"about {amount} % (give or take {doubt})"
    lean = abs(strain.axis)
    by_hand = cause == "drawing"
    if lean < 22.5:
        said = f"The whole face is {much} {'too long for its width' if by_hand else 'longer than wide'}"
    elif lean > 67.5:
        said = f"The whole face is {much} {'too wide for its length' if by_hand else 'wider than long'}"
    else:
        way = "right" if strain.axis > 0 else "left"
        line = f"along a line whose top leans {lean:.0f} degrees to picture {way}"
        said = f"The whole face is drawn out by {much} {line}"
    if by_hand:
        return f"{said}: mend this first, all else is told as it will be then."
    return (
        f"{said}, against the sitter: camera or drawing, a photo without its canvas cannot tell (--canvas 400x500mm)."
    )


def turn_findings(
    reference: Array,
    painting: Array,
    poses: tuple[Pose | None, Pose | None],
    *,
    without: Collection[str],
    by_pixels: bool,
    strict: float,
) -> tuple[WholeFinding, ...]:
    """How the painted head is turned and tipped against the reference's; empty where that cannot be measured.

    The detector alone pulls a face toward the ordinary one: without the paint itself nothing is said here.

    ``reference`` and ``painting``: (478, 2) arrays, px; ``poses``: of both, as the points alone give them.
    """
    if poses[0] is None or poses[1] is None or not by_pixels:
        return ()
    found = turning(reference, painting, poses[0], without)
    if found is None:
        return ()
    return tuple(_turn_finding(axis, found, poses[0], TURN * strict) for axis in ("turn", "tip"))


def _turn_finding(axis: str, found: Turning, pose: Pose, threshold: float) -> WholeFinding:
    value, sigma = (found.yaw, found.sigma_yaw) if axis == "turn" else (found.pitch, found.sigma_pitch)
    size, reason = abs(value), None
    call: Call = "slight" if size > threshold / 2 else "true"
    if size > threshold and size > WIDE * sigma:
        call = "off"
    elif WIDE * sigma > threshold:
        call, reason = "unsure", "the features do not tell one turn: some of them stand in the wrong place"
    return WholeFinding(
        id=axis,
        name="turn of the head" if axis == "turn" else "tip of the head",
        unit="degrees",
        deviation=value,
        sigma=sigma,
        threshold=threshold,
        call=call,
        axis=None,
        cause="drawing",
        reason=reason,
        source=CHOICE,
        text=_turn_said(axis, value, sigma, pose) if call == "off" else "",
    )


def _turn_said(axis: str, value: float, sigma: float, pose: Pose) -> str:
    amount, doubt = rounded(abs(value), sigma)
    if axis == "tip":
        way = "up" if value > 0 else "down"
        said = f"tipped about {amount} {degrees(amount)} too far {way}"
        effect = "heights in the face differ for that reason alone"
    else:
        way = f"too far to picture {'right' if value > 0 else 'left'}"
        ahead = pose.yaw + value
        if abs(pose.yaw) > TURN and abs(ahead) < abs(pose.yaw) and ahead * pose.yaw > 0:
            way = "too far to the front"
        elif abs(pose.yaw) > TURN and value * pose.yaw > 0:
            way = "too far to the side"
        said = f"turned about {amount} {degrees(amount)} {way}"
        effect = "what lies nearer has moved past what lies farther, and one half of the face is narrower"
    return f"The head is painted {said} (give or take {doubt}): mend that first; {effect}."


def explained(raw: Sequence[MeasureResult], told: Sequence[MeasureResult]) -> tuple[str, ...]:
    """Ids of the measures that depart with the common stretch in them and no longer without it."""
    rest: Mapping[str, MeasureResult] = {m.id: m for m in told}
    return tuple(m.id for m in raw if m.call in ("off", "slight") and m.id in rest and _milder(m.call, rest[m.id].call))


def _milder(before: Call, after: Call) -> bool:
    order = ("off", "slight", "true")
    return after in order and order.index(after) > order.index(before)
