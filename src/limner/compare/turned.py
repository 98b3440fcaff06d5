"""A head painted turned or tipped away from the sitter's: a finding in words, with how sure it is."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from limner.compare.calls import call_for
from limner.compare.whole import CHOICE
from limner.compare.wording import degrees, rounded
from limner.face.turning import Turning, turning
from limner.result import Pose, WholeFinding

Array = NDArray[np.float64]

TURN = 3.0
"""Degrees of turn or tip from which it is said; limner's choice, no published figure."""
BROAD = 2.0
"""On sigma, for a block-in: features lie where a broad brush left them, several off the same way (limner's choice)."""


def turn_findings(
    reference: Array,
    painting: Array,
    poses: tuple[Pose | None, Pose | None],
    *,
    without: Collection[str],
    by_pixels: bool,
    broad: bool,
    strict: float,
) -> tuple[WholeFinding, ...]:
    """How the painted head is turned and tipped against the reference's; empty where that cannot be measured.

    The face finder alone pulls a face toward the ordinary one: without the paint itself nothing is said here.

    ``reference`` and ``painting``: (478, 2) arrays, px; ``poses``: of both, as the points alone give them; ``broad``: a
    block-in of a few values.
    """
    if poses[0] is None or poses[1] is None or not by_pixels:
        return ()
    found = turning(reference, painting, poses[0], without)
    if found is None:
        return ()
    if broad:
        found = replace(found, sigma_yaw=BROAD * found.sigma_yaw, sigma_pitch=BROAD * found.sigma_pitch)
    return tuple(_turn_finding(axis, found, poses[0], TURN * strict) for axis in ("turn", "tip"))


def _turn_finding(axis: str, found: Turning, pose: Pose, threshold: float) -> WholeFinding:
    value, sigma = (found.yaw, found.sigma_yaw) if axis == "turn" else (found.pitch, found.sigma_pitch)
    call = call_for(value, sigma, threshold)
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
        reason="the features do not tell one turn: some of them stand in the wrong place" if call == "unsure" else None,
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
