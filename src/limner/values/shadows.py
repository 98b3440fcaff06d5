"""The shapes of the shadows: the edge between light and shadow, and cast shadows; where they are painted elsewhere."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.compare.calls import call_for
from limner.values.bring import UNIT
from limner.values.edges import plain
from limner.values.faces import Faces, Plane
from limner.values.masses import softened, thresholds
from limner.values.shadowedge import CASTS, Line, Shadow, lines, outlines, shadow_of
from limner.values.shadowshift import Part, Shift, shifts_of
from limner.values.steps import NOISE
from limner.valuesresult import Amount, Paint, ShadowShape, ValueFinding, ValuePlan

Array = NDArray[np.float64]

SOFT = 0.03
"""Gaussian, pupil distances, before light is parted from shadow: strokes are no shadows (our choice)."""
DISPLACED = 0.15
"""Of an eye's width: a shadow's edge that far off is called off (our choice)."""
MENDS: Mapping[Paint, str] = {
    "opaque": "Bring the light back with opaque paint.",
    "glaze": "Carry the shadow on with thin transparent paint.",
}


@dataclass(frozen=True, kw_only=True)
class Scale:
    """How lengths on the painting are told."""

    pupil_distance: float
    """px of the decoded painting."""
    mm_per_px: Amount


def shadows(
    faces: Faces, plan: ValuePlan, even: Plane, scatter: float, scale: Scale, strict: float
) -> tuple[list[ValueFinding], tuple[ShadowShape, ...]]:
    """Findings on the shadows' edges, shape by shape and zone by zone, and the shapes as lines on the painting.

    The two-value threshold of the reference parts light from shadow in both; ``even`` are the painted values in the
    sitter's range, ``scatter`` how the regions scatter about it. Nothing is said where light and shadow lie too near
    each other to have an edge.
    """
    # A block-in parts light from shadow where this painter chose to; its shapes are judged by that edge.
    broad = faces.aim is not faces.reference
    if broad:
        seen = softened(faces.aim, SOFT)
        shadow = shadow_of(faces, seen, thresholds(seen[faces.outline].astype(np.float64), 2)[0])
    else:
        cut = plan.thresholds[0]
        shadow = faces.brought.sitter.kept.made(
            ("shadow", cut), lambda: shadow_of(faces, softened(faces.reference, SOFT), cut)
        )
    if shadow is None:
        return [], ()
    painted = softened(even, SOFT)
    doubt = float(np.hypot(NOISE, min(scatter, 0.5)))
    shifts = shifts_of(shadow.edge, shadow.parts, painted, doubt, broad=broad)
    told = zip(shadow.parts, shifts, strict=True)
    found = [_displaced(faces, shadow, part, shift, scale, strict) for part, shift in told if shift is not None]
    return found, _shapes(faces, shadow, painted)


def _displaced(faces: Faces, shadow: Shadow, part: Part, shift: Shift, scale: Scale, strict: float) -> ValueFinding:
    name, middle, eye = part.name, part.middle, shadow.eye
    cast, length, sigma = name in CASTS, float(np.hypot(*shift.move)) / UNIT, shift.sigma
    start = faces.in_painting(float(middle[0]), float(middle[1]))
    way = _on_the_painting(faces, middle, shift.move)
    share, threshold, doubt = length / eye, strict * DISPLACED, sigma / UNIT / eye
    call = plain(call_for(share, doubt, threshold))
    if call == "slight" and share < 1.96 * doubt:
        call = "true"  # a length is never negative, so that chance alone makes one
    mm = scale.mm_per_px.value
    in_mm = Amount(value=None, sigma=None)
    told = f"{100 * share:.0f} % of an eye's width too far {direction(way)}, give or take {196 * doubt:.0f}"
    if mm is not None:
        px = length * scale.pupil_distance
        doubt_mm = float(np.hypot(sigma / UNIT * scale.pupil_distance * mm, px * (scale.mm_per_px.sigma or 0)))
        in_mm = Amount(value=px * mm, sigma=doubt_mm)
        told = f"{in_mm.value:.0f} mm too far {direction(way)}, give or take {max(1.96 * doubt_mm, 0.5):.0f}"
    paint: Paint = "opaque" if shift.lighter else "glaze"
    return ValueFinding(
        kind="cast shadow" if cast else "shadow edge",
        region=name,
        amount=Amount(value=share, sigma=doubt),
        unit="eye widths",
        call=call,
        threshold=threshold,
        source="our choice",
        text=f"The {name} lies {told}." if cast else f"The shadow's edge on the {name} lies {told}.",
        paint=paint,
        mend=MENDS[paint],
        place=start,
        move=(float(way[0]), float(way[1])),
        move_mm=in_mm,
    )


def _on_the_painting(faces: Faces, at: Array, shift: Array) -> Array:
    """(2,) array: a move in the frame as one on the painting, turned with its head; pupil distances."""
    length = float(np.hypot(*shift))
    if length < 1e-6:
        return np.zeros(2)
    ends = np.array([faces.in_painting(float(x), float(y)) for x, y in (at, at + 40 * shift / length)])
    way = ends[1] - ends[0]
    return np.asarray(way / max(float(np.hypot(*way)), 1e-6) * length / UNIT)


def _shapes(faces: Faces, shadow: Shadow, painted: Plane) -> tuple[ShadowShape, ...]:
    """The edges as lines on the painting: of each cast shadow, and of light and shadow everywhere else."""
    dark = outlines(painted < shadow.edge.cut)
    return tuple(
        ShadowShape(
            name=shape.name,
            belongs=_in_the_painting(faces, shape.lines),
            painted=_in_the_painting(faces, lines(dark, shape.within)),
        )
        for shape in shadow.shapes
    )


def _in_the_painting(faces: Faces, drawn: list[Line]) -> tuple[tuple[tuple[float, float], ...], ...]:
    """Lines of the frame, px of the decoded painting."""
    there = [np.round(faces.brought.to_painting[line[:, 1], line[:, 0]].astype(np.float64), 2) for line in drawn]
    return tuple(tuple((x, y) for x, y in line.tolist()) for line in there)


def direction(way: Array) -> str:
    """The picture's direction, or two where neither is much the larger.

    >>> direction(np.array([3.0, -0.5])), direction(np.array([-2.0, 1.5]))
    ('toward picture right', 'down and toward picture left')
    """
    across = "toward picture right" if way[0] > 0 else "toward picture left"
    upward = "down" if way[1] > 0 else "up"
    if abs(way[0]) > 2 * abs(way[1]):
        return across
    return upward if abs(way[1]) > 2 * abs(way[0]) else f"{upward} and {across}"
