"""What is wrong with the whole, before everything single: in what to mend first, and as the first step of the plan."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from limner.compare.apart import set_whole_apart
from limner.compare.corrections import WHOLE, with_plan
from limner.compare.placement import with_placement
from limner.compare.placeplan import placing
from limner.compare.ranking import LINES
from limner.compare.wording import rounded
from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT
from limner.result import AuditResult, Correction, Quantity, WholeFinding

_NOTHING = Quantity(value=None, sigma=None)


def with_whole_plan(result: AuditResult) -> AuditResult:
    """The result with its plan, and what to mend first; it begins with the head's place and a drawn stretch.

    Measures and all later steps are those of the painting without the stretch. What a camera may have done is not to be
    mended, and is no step.
    """
    result = set_whole_apart(with_placement(result))
    stretch = next((f for f in result.whole if f.id == "stretch" and f.call == "off"), None)
    if stretch is None or result.evened_points is None:
        planned = with_plan(result)
    else:
        rest = with_plan(replace(result, painting_points=result.evened_points))
        steps = (_first(stretch, result), *(replace(step, step=step.step + 1) for step in rest.corrections))
        planned = replace(rest, painting_points=result.painting_points, corrections=steps)
    place = placing(result)
    if place is not None:
        after = [replace(step, step=step.step + 1) for step in planned.corrections]
        planned = replace(planned, corrections=(place, *after))
    first = [f.text for f in result.whole if f.call == "off" and f.cause == "drawing" and f.text]
    mend = planned.mend_first if result.off or not first else ()
    return replace(planned, mend_first=(*first, *mend)[:LINES])


def _first(stretch: WholeFinding, result: AuditResult) -> Correction:
    """The stretch as the first step: the whole face is brought back to its proportions about the middle of the eyes."""
    pupils = result.painting_points[[PUPIL_RIGHT, PUPIL_LEFT]]
    apart = float(np.linalg.norm(pupils[1] - pupils[0]))
    amount = abs(stretch.deviation)
    back = 100 * amount / (100 + amount)
    told, doubt = rounded(back, stretch.sigma)
    lean = abs(stretch.axis or 0.0)
    upright, level = lean < 22.5, lean > 67.5
    way = "shorter for its width" if upright else "narrower for its length" if level else "narrower along its own line"
    points = result.painting_points if result.evened_points is None else result.evened_points
    off = np.linalg.norm(result.should_be - points, axis=1)[np.isfinite(result.point_sigma)]
    change, none = Quantity(value=-back, sigma=stretch.sigma), _NOTHING
    x, y = pupils.mean(axis=0)
    return Correction(
        step=1,
        level="head",
        unit=WHOLE,
        name="the whole face",
        centre=(float(x), float(y)),
        dx=none,
        dy=none,
        dx_mm=none,
        dy_mm=none,
        along=change if upright else none,
        across=change if level else none,
        turn=none,
        remains=Quantity(
            value=float(np.sqrt(np.nanmean(off**2))) / apart, sigma=float(np.nanmean(result.point_sigma)) / apart
        ),
        text=f"The whole face: {told} % {way}, about the middle of the eyes (give or take {doubt} %).",
        mends=stretch.explains,
        left_off=len(result.off),
    )
