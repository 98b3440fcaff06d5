"""The whole of values and colour: two pictures with their points in, one report out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from limner.pictures.picture import Picture
from limner.result import AuditResult
from limner.settings import Stage, State
from limner.values import mend
from limner.values.bring import UNIT, bring
from limner.values.catchlights import catchlight_findings, eye_lights
from limner.values.colour import colour_findings, colours, is_monochrome, with_colour
from limner.values.edges import edges
from limner.values.faces import Faces, Plane, faces_of, flesh_of
from limner.values.lights import (
    NO_STRIP,
    families,
    half_tones,
    light_steps,
    scattered,
    scattered_finding,
    shadows_apart,
)
from limner.values.match import match
from limner.values.plan import plans
from limner.values.regions import REGIONS
from limner.values.shadows import Scale, shadows
from limner.values.steps import (
    MOST_LOST,
    SOURCE,
    Range,
    fit_range,
    glare_share,
    in_steps,
    judge,
    read_regions,
    uneven_light,
)
from limner.values.surface import surface_notes
from limner.values.ways import parse_match
from limner.valuesresult import (
    Amount,
    Highlight,
    LampReport,
    RegionValue,
    ValueFinding,
    ValueMatch,
    ValuePlan,
    ValuesReport,
)

if TYPE_CHECKING:
    from limner.values.lamps import LampPhoto

Array = NDArray[np.float64]

UNEVEN = 0.35
"""Stops over two pupil distances from which uneven light is told and doubted (our choice)."""
GLARE = 0.004
"""Share of the face from which shine is told (our choice)."""
NOT_KNOWN = Amount(value=None, sigma=None)
_ORDER = {"off": 0, "slight": 1, "unsure": 2, "true": 3}


@dataclass(frozen=True, kw_only=True, eq=False)
class Asked:
    """What values are read from, beside the pictures."""

    reference_points: Array
    """(478, 2) array, px of the decoded reference."""
    painting_points: Array
    """(478, 2) array, px of the decoded painting."""
    stage: Stage
    strict: float = 1.0
    match: str = "face"
    mm_per_px: Amount = NOT_KNOWN
    lamps: tuple[LampPhoto, ...] = ()
    """Further photos of the painting with the lamp moved."""
    state: State | None = None


def with_values(
    result: AuditResult, reference: Picture, painting: Picture, lamps: tuple[LampPhoto, ...] = ()
) -> AuditResult:
    """The result with its values, where they are asked for; ``lamps`` are further photos of the painting.

    Raises UsageError for a way of matching that cannot be used on these pictures.
    """
    if not result.settings.values:
        return result
    return replace(result, values=read_values(reference, painting, asked_in(result, lamps)))


def asked_in(result: AuditResult, lamps: tuple[LampPhoto, ...] = ()) -> Asked:
    """What values are read from in an audit."""
    canvas = None if result.canvas is None else result.canvas.mm_per_px
    return Asked(
        reference_points=result.reference_points,
        painting_points=result.painting_points,
        stage=result.stage,
        strict=result.settings.strict,
        match=result.settings.match,
        mm_per_px=NOT_KNOWN if canvas is None else Amount(value=canvas.value, sigma=canvas.sigma),
        lamps=lamps,
        state=result.settings.state,
    )


def faces_in(reference: Picture, painting: Picture, asked: Asked) -> Faces | None:
    """Both faces in one frame and one exposure; ``None`` where the points are too few.

    Raises UsageError for a way of matching that cannot be used.
    """
    way = parse_match(asked.match)
    brought = bring(reference.pixels, painting.pixels, asked.reference_points, asked.painting_points)
    if brought is None:
        return None
    flesh = flesh_of(brought)
    shine = None
    if asked.lamps:
        from limner.values.lamps import together

        brought, shine = together(brought, asked.lamps, flesh)
    faces = faces_of(brought, match(brought, flesh, way, reference, painting), flesh, asked.stage, shine)
    eyes = eye_lights(brought, reference.pixels, painting.pixels, faces.matched.gain)
    return replace(faces, eyes=eyes)


def read_values(reference: Picture, painting: Picture, asked: Asked) -> ValuesReport | None:
    """Compare values and colour place by place; ``None`` where the points are too few.

    Raises UsageError for a way of matching that cannot be used.
    """
    faces = faces_in(reference, painting, asked)
    return None if faces is None else report_on(faces, asked)


def report_on(faces: Faces, asked: Asked) -> ValuesReport:
    """What is found in two faces that were brought together."""
    readings = read_regions(faces)
    whole = fit_range(readings)
    fall, fall_sigma = uneven_light(faces)
    over = 2 * UNIT * float(np.hypot(*fall))
    uneven = over > UNEVEN and over > 1.96 * fall_sigma
    regions = judge(
        readings,
        whole,
        stage=asked.stage,
        strict=asked.strict,
        uneven=fall if uneven else None,
        centres=faces.centres,
    )
    monochrome = is_monochrome(faces)
    found = None if monochrome else colours(regions, {r.region.id for r in readings if r.colour_held})
    if found is not None:
        regions = with_colour(regions, found)
    told = plans(faces)
    even = whole.undone(faces.painting)
    highlights = () if asked.stage == "block-in" else scattered(faces, whole)
    apart = float(np.hypot(*(asked.painting_points[473] - asked.painting_points[468])))
    scale = Scale(pupil_distance=apart, mm_per_px=asked.mm_per_px)
    displaced, shapes = shadows(faces, told[0], even, whole.scatter, scale, asked.strict)
    findings = [
        *_steps(faces, regions),
        *scattered_finding(highlights, asked.strict, lamps=faces.shine is not None),
        *_of_the_whole(faces, asked, even, told),
        *displaced,
        *([] if found is None else colour_findings(faces, regions, found, asked.strict)),
    ]
    glare = glare_share(faces, even)
    return ValuesReport(
        match=ValueMatch(
            by=faces.matched.by,
            gain=faces.matched.gain,
            said=faces.matched.said,
            blind_to=faces.matched.blind_to,
            tone_known=faces.matched.tone_known,
            uneven=Amount(value=over, sigma=fall_sigma),
            uneven_way=_falls(fall) if uneven else "",
            glare=glare,
        ),
        monochrome=monochrome,
        regions=tuple(regions),
        slope=Amount(value=whole.slope, sigma=whole.sigma),
        plans=told,
        highlights=highlights,
        findings=tuple(sorted(findings, key=lambda f: (_ORDER[f.call], -f.weight))),
        notes=(
            *_notes(faces, whole, regions, monochrome=monochrome, uneven=over if uneven else 0.0, glare=glare),
            *surface_notes(faces.shine, asked.state),
        ),
        lamps=_lamps(faces),
        shadows=shapes,
        state=asked.state,
    )


def _of_the_whole(faces: Faces, asked: Asked, even: Plane, told: tuple[ValuePlan, ...]) -> list[ValueFinding]:
    """What goes beyond one region; of a block-in no lights, no half-tones and no edges are to be asked yet."""
    found = [*half_tones(told[1], asked.stage), *shadows_apart(faces, told[0], even)]
    if asked.stage == "block-in":
        return found
    return [
        *catchlight_findings(faces.eyes, asked.stage, asked.strict),
        *families(faces, asked.stage, asked.strict),
        *light_steps(faces, told[0], even, asked.strict),
        *found,
        *edges(faces, even, asked.strict),
    ]


def _lamps(faces: Faces) -> LampReport | None:
    if faces.shine is None:
        return None
    return LampReport(
        photos=faces.shine.photos,
        dropped=tuple(
            Highlight(
                place=faces.in_painting(x, y),
                region=REGIONS[faces.regions_at(np.array([[x, y]]))[0]].name,
                area=area,
                height=height,
            )
            for x, y, area, height in faces.shine.glints
        ),
        repeatability=faces.shine.repeatability,
    )


def _steps(faces: Faces, regions: list[RegionValue]) -> list[ValueFinding]:
    out = []
    for r in regions:
        steps, sigma = r.local.value or 0.0, r.local.sigma or 0.0
        nothing = r.lost_reference > MOST_LOST
        paint = "none" if nothing else mend.for_value(steps)
        text = f"The {r.name} is {in_steps(steps)} too {'light' if steps > 0 else 'dark'}"
        if r.id.startswith("eye_white") and steps > 0:
            text = f"The {r.name} is too white by {in_steps(steps)}"
        text += f", give or take {1.96 * sigma:.1f}."
        if nothing:
            text = f"The {r.name}: the reference holds nothing here."
        aim = f" Aim at value {r.reference:.1f}." if r.call in ("off", "slight") else ""
        out.append(
            ValueFinding(
                kind="nothing held" if nothing else "too light" if steps > 0 else "too dark",
                region=r.id,
                amount=Amount(value=None, sigma=None) if nothing else r.local,
                unit="steps",
                call=r.call,
                threshold=r.threshold,
                source=SOURCE,
                text=text,
                paint=paint,
                mend=mend.SAYS[paint] + aim,
                place=faces.in_painting(*faces.centres[r.id]),
            )
        )
    return out


def _notes(
    faces: Faces, whole: Range, regions: list[RegionValue], *, monochrome: bool, uneven: float, glare: float
) -> list[str]:
    out = []
    if monochrome:
        out.append("The painting is in one colour: colour is left out.")
    if not faces.matched.tone_known:
        width = "less" if whole.slope < 1 else "more"
        if abs(whole.slope - 1) > max(0.1, 1.96 * whole.sigma):
            out.append(
                f"Values over the face spread {abs(whole.slope - 1) * 100:.0f} % {width} than the sitter's; whether "
                f"paint or camera does that is unsure: {NO_STRIP}."
            )
        else:
            out.append(f"How far the values spread over the face is unsure: {NO_STRIP}.")
    if uneven:
        out.append(f"Light on the canvas seems uneven by {uneven:.1f} stops across the face; it was not taken out.")
    if glare > GLARE:
        out.append(f"{100 * glare:.1f} % of the face looks like the shine of wet paint; it was not taken out.")
    empty = [REGIONS[r.id].name for r in regions if r.lost_reference > MOST_LOST]
    if empty:
        out.append(f"The reference holds nothing here: {', '.join(empty[:4])}.")
    out.append("How thick the paint lies is not measured.")
    return out


def _falls(fall: Array) -> str:
    """The picture's direction toward the darker end."""
    if abs(fall[0]) >= abs(fall[1]):
        return "toward picture left" if fall[0] > 0 else "toward picture right"
    return "up" if fall[1] > 0 else "down"
