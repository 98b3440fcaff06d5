"""What a different turn of the head does to the comparison."""

from __future__ import annotations

import math

from limner.notices import Notice
from limner.result import Pose

FLAG = 5.0
"""Degrees of difference from which the painter is told."""


def pose_notices(reference: Pose | None, painting: Pose | None) -> tuple[Notice, ...]:
    """A notice for each axis about which the two heads differ by five degrees or more.

    A head turned by the yaw y shows its widths shortened by ``cos y`` (flat face, far camera): 5 degrees cost 0.4 %,
    15 degrees 3.4 %, 30 degrees 13.4 %. Roll is taken out by the eye line and needs no notice.

    >>> level = Pose(yaw=0.0, pitch=0.0, roll=0.0, sigma=1.0)
    >>> pose_notices(level, level)
    ()
    >>> [n.code for n in pose_notices(level, Pose(yaw=20.0, pitch=-8.0, roll=9.0, sigma=1.0))]
    ['pose_differs', 'pose_differs']
    """
    if reference is None or painting is None:
        return ()
    notices = []
    turn = painting.yaw - reference.yaw
    if abs(turn) >= FLAG:
        notices.append(
            Notice(code="pose_differs", text=_turned(reference.yaw, painting.yaw, _doubt(reference, painting)))
        )
    tilt = painting.pitch - reference.pitch
    if abs(tilt) >= FLAG:
        way = "up" if tilt > 0 else "down"
        notices.append(
            Notice(
                code="pose_differs",
                text=f"The painted head is tipped {abs(tilt):.0f} degrees further {way} than the sitter's, "
                f"give or take {_doubt(reference, painting):.0f}: heights in the face differ for that reason alone.",
            )
        )
    return tuple(notices)


def _turned(reference: float, painting: float, doubt: float) -> str:
    change = width_change(reference, painting)
    way = "picture right" if painting > reference else "picture left"
    effect = (
        f"widths across the face come out {abs(change):.0f} % {'wider' if change > 0 else 'narrower'}"
        if abs(change) >= 0.5
        else "widths across the face change by less than half a percent, but one half of the face narrows"
    )
    return (
        f"The painted head is turned {abs(painting - reference):.0f} degrees further toward {way} than the sitter's, "
        f"give or take {doubt:.0f}: "
        f"for that reason alone {effect}. Read the widths with that in mind; no step of the plan turns the head."
    )


def width_change(reference: float, painting: float) -> float:
    """Percent by which widths across the face change between two yaws, degrees.

    >>> [round(width_change(0.0, yaw), 1) for yaw in (5.0, 10.0, 15.0, 20.0, 30.0)]
    [-0.4, -1.5, -3.4, -6.0, -13.4]
    """
    return 100 * (math.cos(math.radians(painting)) / math.cos(math.radians(reference)) - 1)


def _doubt(reference: Pose, painting: Pose) -> float:
    return max(1.0, 1.96 * math.hypot(reference.sigma, painting.sigma))
