"""The comparison of two faces: everything of an audit's result that comes from their points."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.compare.belongs import belongs, named, point_sigma, spread
from limner.compare.calibration import owed_to_bend, sigma_for
from limner.compare.canons.beside import beside
from limner.compare.canons.habits import habits
from limner.compare.canons.taking import face_of
from limner.compare.deviation import Framed, Normaliser, Reading, read
from limner.compare.judge import Terms, differs
from limner.compare.parts import NAMES
from limner.compare.poses import pose_notices
from limner.compare.ranking import mend_first, ranked
from limner.compare.weighed import Faces, weigh
from limner.compare.whole import LEANS, Common
from limner.compare.witness import Testimony
from limner.compare.wording import rounded
from limner.face.facepoints import POINT_COUNT, FacePoints
from limner.measure.catalogue import CATALOGUE, between
from limner.measure.declare import PUPIL_FEATURES
from limner.measure.heads import HEADS
from limner.measure.similarity import NoFit, Similarity
from limner.notices import Notice
from limner.register.carried import Carried
from limner.result import CanonRow, DriftVector, HabitRow, MeasureResult, Pose, ScaleReport, WholeFinding, Witness
from limner.settings import Settings, Stage

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class View:
    """What is known of a picture beside its points."""

    scale: float = 1.0
    """Decoded px per stored px."""
    pose: Pose | None = None
    proportions: float | None = None
    """One-sigma uncertainty in percent of length against width on the canvas, where it was straightened at a known
    size; ``None`` where a camera may have stretched the picture."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison:
    """The pieces of an :class:`limner.result.AuditResult` that come from the points; same names, same meaning."""

    scale: ScaleReport
    measures: tuple[MeasureResult, ...]
    canons: tuple[CanonRow, ...]
    drift: tuple[DriftVector, ...]
    habits: tuple[HabitRow, ...]
    mend_first: tuple[str, ...]
    warnings: tuple[Notice, ...]
    painting_points: Array
    should_be: Array
    more_points: Array
    more_should_be: Array
    point_sigma: Array
    points: Mapping[str, Mapping[str, tuple[float, float]]]
    spread: Mapping[str, Mapping[str, float]]
    whole: tuple[WholeFinding, ...]
    evened_points: Array | None


def compare(
    reference: FacePoints,
    painting: FacePoints,
    *,
    carried: Carried | None = None,
    of_reference: View | None = None,
    of_painting: View | None = None,
    settings: Settings | None = None,
    stage: Stage = "block-in",
) -> Comparison:
    """Compares a painted face with the reference's.

    Args:
        reference: points of the reference, px as decoded.
        painting: points found in the painting, px as decoded.
        carried: the painting's points as its pixels show them; ``None`` where they were not asked.
        of_reference: scale and pose of the reference; ``None`` stands for a picture decoded whole, pose unknown.
        of_painting: the same for the painting.
        settings: choices of the audit; ``None`` takes the defaults.
        stage: stage of the painting.

    Raises:
        FaceError: if the two faces cannot be brought to one size.
        UsageError: if a point of ``settings.between`` is unknown.
    """
    settings = settings or Settings()
    here, there = of_reference or View(), of_painting or View()
    normaliser = normaliser_for(reference, painting)
    terms = Terms(settings=settings, stage=stage)
    faces = Faces(reference=reference, painting=painting, carried=carried, normaliser=normaliser)
    weighed = weigh(faces, terms, (here.pose, there.pose), there.proportions)
    testimony, framed = weighed.testimony, weighed.framed
    measures = ranked(weighed.judged)
    canons = beside(face_of(reference, here.pose), testimony, terms, there.pose)
    own = {measure.id: measure for measure in (between(*ends) for ends in settings.between)}
    scale = _scale_report(framed, testimony, here.scale / there.scale)
    notices = (
        *_scale_notices(scale, framed, settings, testimony),
        *_one_eye(scale, measures),
        *(() if any(f.id == "turn" for f in weighed.whole) else pose_notices(here.pose, there.pose)),
        *_stretched(weighed.whole),
        *_leaning(weighed.common),
        *_of_paint(carried, settings),
    )
    should, evened = belongs(weighed.framed_as_seen, framed, testimony, weighed.common)
    seen = weighed.seen
    return Comparison(
        scale=scale,
        measures=measures,
        canons=canons.rows,
        drift=canons.drift,
        habits=habits(measures, canons.rows),
        mend_first=mend_first(measures, {**CATALOGUE, **HEADS, **own}),
        warnings=notices,
        painting_points=seen.best[:POINT_COUNT],
        should_be=should[:POINT_COUNT],
        more_points=seen.best[POINT_COUNT:],
        more_should_be=should[POINT_COUNT:],
        point_sigma=point_sigma(framed, testimony)[:POINT_COUNT],
        points=named(seen.sitter / here.scale, seen.best / there.scale, seen.hands),
        spread=spread({"reference": (reference, here.scale), "painting": (painting, there.scale)}, testimony.hands),
        whole=weighed.whole,
        evened_points=evened,
    )


def normaliser_for(reference: FacePoints, painting: FacePoints) -> Normaliser:
    """The distance between the pupils; root of the nose to chin where one of the four pupils is not there."""
    pupils = [[468, 473]]
    both = all(np.isfinite(face.mean[pupils]).all() for face in (reference, painting))
    return "pupils" if both else "n-gn"


def _stretched(whole: tuple[WholeFinding, ...]) -> tuple[Notice, ...]:
    """What a camera may have done, said once, with how much it explains."""
    said = [f for f in whole if f.id == "stretch" and f.call == "off" and f.cause != "drawing"]
    return tuple(
        Notice(
            code="face_stretched",
            text=f"{f.text} Everything else is told without it: {len(f.explains)} measures "
            "would depart for this reason alone.",
        )
        for f in said
    )


def _leaning(common: Common | None) -> tuple[Notice, ...]:
    """A camera that stood a little beside the canvas, where what is taken out for it is not next to nothing."""
    if common is None or common.lean < LEANS:
        return ()
    text = (
        "The camera seems to have stood a little beside the canvas: over one pupil distance lengths grow by "
        f"{common.lean:.1f} %. Measures are told without it; a photo with the whole canvas in it tells for certain."
    )
    return (Notice(code="slight_lean", text=text),)


def _scale_report(framed: Framed, testimony: Testimony, to_stored: float) -> ScaleReport:
    scales = framed.scales
    held = float(scales.held[0])
    eyes = held if scales.eyes is None else float(scales.eyes[0])
    head = float(scales.head.scale[0]) if isinstance(scales.head, Similarity) else eyes
    ratio = eyes / head
    sigma = ratio * _scale_sigma(framed, testimony) / 100
    return ScaleReport(
        hold=scales.hold,
        scale=held * to_stored,
        eyes=eyes * to_stored,
        head=head * to_stored,
        sigma=sigma,
        disagree=framed.normaliser == "pupils" and differs(ratio, sigma) and testimony.missing(PUPIL_FEATURES) is None,
        by=framed.normaliser,
    )


def _scale_sigma(framed: Framed, testimony: Testimony) -> float:
    """Percent, of the eyes' scale against the head's."""
    measure = CATALOGUE["pupil_distance"]
    by_pixels = isinstance(testimony.pixels, Framed) and all(testimony.believed(eye) for eye in PUPIL_FEATURES)
    witness: Witness = "pixels" if by_pixels else testimony.finder
    reading = read(measure, framed)
    spread, size = (reading.spread, reading.size) if isinstance(reading, Reading) else (0.0, None)
    confidence = testimony.confidence_in(PUPIL_FEATURES) if by_pixels else 1.0
    owed = owed_to_bend(measure, witness, testimony.bent(PUPIL_FEATURES), few=testimony.few_tones)
    return math.hypot(sigma_for(measure, witness, spread, confidence, size=size, few=testimony.few_tones), owed)


def _scale_notices(scale: ScaleReport, framed: Framed, settings: Settings, testimony: Testimony) -> tuple[Notice, ...]:
    notices = []
    if scale.disagree:
        ratio = scale.eyes / scale.head
        amount, doubt = rounded(abs(100 * (ratio - 1)), 100 * scale.sigma)
        way = "wider" if ratio > 1 else "narrower"
        notices.append(
            Notice(
                code="scales_disagree",
                text=f"The painted pupils stand {amount} % {way} apart for this head than the sitter's, give or take "
                f"{doubt}. Everything else depends on it: compare `--hold eyes` with `--hold head` before mending.",
            )
        )
    if framed.normaliser == "n-gn":
        notices.append(
            Notice(
                code="no_pupil_distance",
                text="A pupil is not there, so sizes are set against the distance from the root of the nose to the "
                "chin, and nothing that needs the eye line is measured.",
            )
        )
    elif scale.hold != settings.hold:
        why = (
            "a pupil is not painted yet"
            if testimony.missing(PUPIL_FEATURES)
            else f"{NAMES[settings.hold]} could not be fitted"
        )
        other = "the whole head" if scale.hold == "head" else "the distance between the pupils"
        notices.append(Notice(code="hold_changed", text=f"Sizes are held by {other}, because {why}."))
    if not framed.sized:
        notices.append(Notice(code="no_size", text=f"Nothing is measured yet: {framed.unsized}."))
    if isinstance(framed.scales.head, NoFit):
        notices.append(
            Notice(code="no_head_fit", text=f"The head as a whole was not fitted: {framed.scales.head.reason}.")
        )
    return tuple(notices)


def _one_eye(scale: ScaleReport, measures: Sequence[MeasureResult]) -> tuple[Notice, ...]:
    """That one eye alone stands wrong while the eyes are held: then all the rest would be moved for its sake."""
    calls = {
        side: {m.call for m in measures if m.id in (f"eye_{side}_x", f"eye_{side}_y")} for side in ("right", "left")
    }
    wrong = [side for side, found in calls.items() if "off" in found]
    if scale.hold != "eyes" or len(wrong) != 1 or {"true"} not in calls.values():
        return ()
    text = (
        f"The sitter's {wrong[0]} eye alone stands wrong in this head, and the eyes are held: the rest of the face is "
        "told and moved as it fits them. With `--hold head` that eye is moved instead."
    )
    return (Notice(code="scale_one_eye", text=text),)


def _of_paint(carried: Carried | None, settings: Settings) -> tuple[Notice, ...]:
    """How the paint was read, where it could not be or was in more than the usual way."""
    if carried is None or settings.witness == "mesh":
        return ()
    if carried.refused is None:
        text = "The painting has few tones or broad strokes, so the edges of its values were read as drawing too."
        return (Notice(code="shapes_spoke", text=text),) if carried.by_shapes else ()
    text = f"The paint itself could not be read: {carried.refused}. The face finder speaks alone: sizes read small."
    return (Notice(code="pixels_refused", text=text),)
