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
from limner.compare.wording import rounded
from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT, FacePoints
from limner.measure.askew import Askew, fit_askew, fit_lean, undone
from limner.measure.frames import HEAD_FEATURES, Frame, eye_line_frame
from limner.measure.geometry import mean_point
from limner.measure.similarity import NoFit
from limner.measure.strain import Strain, amount_and_axis, fit_strain
from limner.register.carried import Carried
from limner.result import Call, MeasureResult, WholeCause, WholeFinding

Array = NDArray[np.float64]

STRETCH = 2.0
"""Percent of a common stretch from which it is said; limner's choice, no published figure."""
SHARED = 0.43
"""Share of the way between the two faces that a stretch must take away to be one: 36 painted stretches of 3 to 8 % took
0.49 and more, 30 turned heads 0.37 at most, 25 paintings with one slip 0.07 at most (six portraits)."""
FLOOR = 0.3
"""Percent, one sigma: 18 painted copies of six portraits were off by 0.13 (root mean square), 36 stretched ones by 0.2,
a mouth out of place moved it by 0.3."""
LEANS, ASKEW = 0.75, 1.5
"""Percent by which lengths grow over one pupil distance: from where a lean that is taken out is told, and from where
the face is said to be seen askew (limner's choice). At the first the chin, almost two pupil distances from the eyes, is
moved by more than 1 %; the second is two and a half times what photos taken with care usually have."""
MESH_READS = 0.3
"""One-sigma share that is left open of what the face finder alone reads (limner's choice)."""
_ROUNDS = 12
"""To bring points into a stretched painting: each round leaves at most some fifth of what was off."""
CHOICE = "limner's choice, no published figure"


@dataclass(frozen=True, kw_only=True, eq=False)
class Common:
    """A common stretch with the way to take it out of the painting's points."""

    finding: WholeFinding
    frame: Frame
    """The painting's eye line, px as decoded."""
    back: Array
    """(8,) array: takes the stretch out, in the frame, as :func:`limner.measure.askew.undone`; pupils stay in place."""
    lean: float = 0.0
    """Percent by which a camera a little beside the canvas draws lengths larger over one pupil distance, where ``back``
    takes out this and no stretch; else 0."""

    @property
    def said(self) -> bool:
        """Whether there is a stretch to be taken out."""
        return self.finding.call == "off"

    @property
    def taken_out(self) -> bool:
        """Whether measures are told without a stretch or a lean."""
        return self.said or self.lean > 0

    def without(self, points: Array) -> Array:
        """(..., 2) points of the painting as they would be without the stretch, px."""
        return self._placed(undone(self.back, self._framed(points)))

    def within(self, points: Array) -> Array:
        """(..., 2) points put into the stretched painting, px: what :meth:`without` brings back to them."""
        wanted = self._framed(points)
        found = wanted
        for _ in range(_ROUNDS):
            found = found + wanted - undone(self.back, found)
        return self._placed(found)

    def _framed(self, points: Array) -> Array:
        return np.asarray((points - self.frame.origin) @ self._axes / self.frame.unit)

    def _placed(self, points: Array) -> Array:
        return np.asarray(points @ self._axes.T * self.frame.unit + self.frame.origin)

    @property
    def _axes(self) -> Array:
        x, y = self.frame.across
        return np.array([[x, -y], [y, x]])

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
    leaning: bool = False,
) -> Common | None:
    """The stretch the whole painted face shares.

    Args:
        framed: both faces by the best witness.
        without: features that are not painted yet.
        by_pixels: whether the painting's own pixels gave the points.
        proportions: one-sigma uncertainty in percent of the picture's own proportions where the canvas was straightened
            at a known size; ``None`` where a camera may have stretched it.
        strict: factor on the threshold.
        leaning: whether a slight lean of the camera is looked for, where nothing more is the matter.

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
    mesh = 0.0 if by_pixels else MESH_READS * strain.amount
    askew = fit_askew(second, first, weights, groups) if proportions is None else None
    if askew is not None and _is_said(askew, strict):
        finding, back = _askew_finding(askew, math.hypot(askew.sigma, FLOOR, mesh), STRETCH * strict), askew.back
    else:
        sigma = math.hypot(strain.sigma, FLOOR, proportions or 0.0, mesh)
        finding = _stretch_finding(strain, sigma, STRETCH * strict, "drawing" if proportions else "camera or drawing")
        (a, b), (c, d) = np.linalg.inv(strain.matrix)
        back = np.array([a, b, 0.0, c, d, 0.0, 0.0, 0.0])
    lean = fit_lean(second, first, weights, groups) if leaning and finding.call != "off" else None
    if lean is not None:
        back = np.array([1.0, 0.0, 0.0, 0.0, 1.0, 0.0, *lean])
    much = 0.0 if lean is None else 150 * math.hypot(*lean)
    return Common(finding=finding, frame=there, back=_pupils_kept(back, there.take(target)), lean=much)


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


def _pupils_kept(back: Array, framed: Array) -> Array:
    """The same map, turned, sized and laid so that the pupils stay where they are; ``framed``: (N, 2), in the frame."""
    pupils = framed[[PUPIL_RIGHT, PUPIL_LEFT]]
    first, second = pupils @ [1, 1j]
    one, other = undone(back, pupils) @ [1, 1j]
    factor = (second - first) / (other - one)
    turn = np.array([[factor.real, -factor.imag], [factor.imag, factor.real]])
    linear = turn @ back[:6].reshape(2, 3)
    # Of the bend, which is small, the turn is left out, which is small too.
    kept = np.concatenate([linear.ravel(), abs(factor) * back[6:]])
    kept[[2, 5]] += (pupils - undone(kept, pupils)).mean(axis=0)
    return np.asarray(kept)


def _is_said(askew: Askew, strict: float) -> bool:
    """Whether the perspective is clear, and more than the lean that a photo taken with care has too."""
    amount, _ = amount_and_axis(askew.long, askew.shear)
    return askew.clear and (askew.side > ASKEW or amount > STRETCH * strict)


def _askew_finding(askew: Askew, sigma: float, threshold: float) -> WholeFinding:
    amount, axis = amount_and_axis(askew.long, askew.shear)
    told, doubt = rounded(amount, sigma)
    x, y = askew.toward
    way = ("to picture right" if x > 0 else "to picture left") if abs(x) >= abs(y) else "below" if y > 0 else "above"
    shape = "longer than wide" if abs(axis) <= 45 else "wider than long"
    much = f"about {told} % {shape} (give or take {doubt}), and larger {way}"
    if amount <= WIDE * sigma:
        much = f"larger {way}, by about {askew.side:.1f} % over one pupil distance"
    return WholeFinding(
        id="stretch",
        name="stretch of the whole face, in perspective",
        unit="percent",
        deviation=amount if abs(axis) <= 45 else -amount,
        sigma=sigma,
        threshold=threshold,
        call="off",
        axis=axis,
        cause="camera or drawing",
        reason=None,
        source=CHOICE,
        text=f"The whole face is seen askew: {much}, as by a "
        "camera beside the canvas. Camera or drawing, a photo without its canvas cannot tell (--canvas 400x500mm).",
    )


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


def explained(raw: Sequence[MeasureResult], told: Sequence[MeasureResult]) -> tuple[str, ...]:
    """Ids of the measures that depart with the common stretch in them and no longer without it."""
    rest: Mapping[str, MeasureResult] = {m.id: m for m in told}
    return tuple(m.id for m in raw if m.call in ("off", "slight") and m.id in rest and _milder(m.call, rest[m.id].call))


def _milder(before: Call, after: Call) -> bool:
    order = ("off", "slight", "true")
    return after in order and order.index(after) > order.index(before)
