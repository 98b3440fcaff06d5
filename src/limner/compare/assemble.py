"""The comparison of two faces: everything of an audit's result that comes from their points."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.compare.calibration import sigma_for
from limner.compare.canons.beside import beside
from limner.compare.canons.habits import habits
from limner.compare.canons.taking import face_of
from limner.compare.deviation import Framed, Normaliser, Reading, read
from limner.compare.hands import Hands
from limner.compare.judge import Terms, differs, judge_all
from limner.compare.poses import pose_notices
from limner.compare.ranking import mend_first, ranked
from limner.compare.witness import Testimony, hear
from limner.compare.wording import rounded
from limner.errors import FaceError
from limner.face.facepoints import POINT_COUNT, FacePoints
from limner.face.placeable import PLACEABLE, rows_of
from limner.face.points import FEATURES
from limner.measure.catalogue import CATALOGUE, between
from limner.measure.declare import PUPIL_FEATURES
from limner.measure.heads import HEADS
from limner.measure.similarity import NoFit, Similarity, fit_similarity
from limner.notices import Notice
from limner.register.carried import Carried
from limner.result import CanonRow, DriftVector, HabitRow, MeasureResult, Pose, ScaleReport, Witness
from limner.settings import Settings, Stage

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class View:
    """What is known of a picture beside its points."""

    scale: float = 1.0
    """Decoded px per stored px."""
    pose: Pose | None = None


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
    testimony = hear(
        reference,
        painting,
        carried,
        hold=settings.hold,
        normaliser=normaliser,
        pixels_allowed=settings.witness != "mesh",
    )
    framed = best_framed(testimony)
    if isinstance(framed, NoFit):
        raise FaceError(
            f"Expected two faces that can be brought to one size; {framed.reason}. Place the points by hand."
        )
    terms = Terms(settings=settings, stage=stage)
    measures = ranked(judge_all(testimony, terms))
    canons = beside(face_of(reference, here.pose), testimony, terms, there.pose)
    own = {measure.id: measure for measure in (between(*ends) for ends in settings.between)}
    scale = _scale_report(framed, testimony, here.scale / there.scale)
    notices = (
        *_scale_notices(scale, framed, settings, testimony),
        *pose_notices(here.pose, there.pose),
        *_refusals(carried, settings),
    )
    return Comparison(
        scale=scale,
        measures=measures,
        canons=canons.rows,
        drift=canons.drift,
        habits=habits(measures, canons.rows),
        mend_first=mend_first(measures, {**CATALOGUE, **HEADS, **own}),
        warnings=notices,
        painting_points=testimony.best[:POINT_COUNT],
        should_be=_should_be(framed)[:POINT_COUNT],
        more_points=testimony.best[POINT_COUNT:],
        more_should_be=_should_be(framed)[POINT_COUNT:],
        point_sigma=_point_sigma(framed, testimony)[:POINT_COUNT],
        points=_named(testimony.sitter / here.scale, testimony.best / there.scale, testimony.hands),
        spread=_spread({"reference": (reference, here.scale), "painting": (painting, there.scale)}, testimony.hands),
    )


def normaliser_for(reference: FacePoints, painting: FacePoints) -> Normaliser:
    """The distance between the pupils; root of the nose to chin where one of the four pupils is not there."""
    pupils = [[468, 473]]
    both = all(np.isfinite(face.mean[pupils]).all() for face in (reference, painting))
    return "pupils" if both else "n-gn"


def best_framed(testimony: Testimony) -> Framed | NoFit:
    """Both faces as the best witness has them."""
    return testimony.pixels if isinstance(testimony.pixels, Framed) else testimony.found


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
    return sigma_for(measure, witness, spread, testimony.confidence_in(PUPIL_FEATURES) if by_pixels else 1.0, size=size)


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
            "a pupil is not painted yet" if testimony.missing(PUPIL_FEATURES) else "the whole head could not be fitted"
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


def _refusals(carried: Carried | None, settings: Settings) -> tuple[Notice, ...]:
    if carried is None or carried.refused is None or settings.witness == "mesh":
        return ()
    text = f"The paint itself could not be read ({carried.refused}), so the face finder speaks alone: sizes read small."
    return (Notice(code="pixels_refused", text=text),)


def _should_be(framed: Framed) -> Array:
    """Where the reference's points belong in the painting, under what is held."""
    source, target = framed.pair.reference[0], framed.pair.painting[0]
    fit: Similarity | NoFit = framed.scales.head
    if isinstance(fit, Similarity):
        fit = Similarity(factor=fit.factor[:1], shift=fit.shift[:1])
    if framed.scales.hold == "eyes" and framed.normaliser == "pupils":
        fit = fit_similarity(source[None, [468, 473]], target[None, [468, 473]])
    elif framed.scales.hold == "eyes":
        fit = fit_similarity(source[None, [168, 152]], target[None, [168, 152]])
    if isinstance(fit, NoFit):
        raise FaceError(f"Expected two faces that can be laid on each other; {fit.reason}. Place the points by hand.")
    return np.asarray(fit(source[None])[0])


def _point_sigma(framed: Framed, testimony: Testimony) -> Array:
    """Scatter of each point's displacement and the calibrated error of a position, px of the painting."""
    frame = framed.frames["eyes"]
    if isinstance(frame, NoFit):
        frame = (framed.pair.reference, framed.pair.painting)
    off = (frame[1] - frame[0])[1:]
    off = off - off.mean(axis=0)
    scatter = np.sqrt((off**2).sum(axis=-1).sum(axis=0) / max(2 * (len(off) - 1), 1))
    known = _known_sigma(testimony, len(scatter)) / 100
    unit = float(np.linalg.norm(framed.pair.reference[0, 473] - framed.pair.reference[0, 468]))
    if framed.normaliser == "n-gn" or not np.isfinite(unit):
        unit = float(np.linalg.norm(framed.pair.reference[0, 152] - framed.pair.reference[0, 168]))
    return np.asarray(np.hypot(scatter, known) * unit * framed.scales.held[0])


def _known_sigma(testimony: Testimony, count: int) -> Array:
    """(count,) array: calibrated one-sigma error of a point's place by who gave it, percent of the pupil distance."""
    inside, contour = CATALOGUE["mouth_x"], CATALOGUE["chin_y"]
    by_pixels = isinstance(testimony.pixels, Framed)
    known = np.full(count, sigma_for(inside, "pixels" if by_pixels else testimony.finder, 0.0))
    for feature in FEATURES.values():
        witness: Witness = "pixels" if by_pixels and testimony.believed(feature.id) else testimony.finder
        measure = contour if feature.region == "face" else inside
        confidence = testimony.confidence_in((feature.id,)) if witness == "pixels" else 1.0
        known[list(feature.indices)] = sigma_for(measure, witness, 0.0, confidence)
    return known


def _named(reference: Array, painting: Array, hands: Hands) -> Mapping[str, Mapping[str, tuple[float, float]]]:
    """Named points in px of the stored pictures; one that is not there in a picture is left out of it."""
    named: dict[str, dict[str, tuple[float, float]]] = {}
    for key in (key for key in PLACEABLE if not hands.hides(key)):
        for which, points in (("reference", reference), ("painting", painting)):
            x, y = points[list(rows_of(key))].mean(axis=0)
            if np.isfinite(x) and np.isfinite(y):
                named.setdefault(key, {})[which] = (float(x), float(y))
    return named


def _spread(found: Mapping[str, tuple[FacePoints, float]], hands: Hands) -> Mapping[str, Mapping[str, float]]:
    """Scatter of the repeated readings of each named mesh point that no hand has placed, px of the stored pictures."""
    named: dict[str, dict[str, float]] = {}
    for which, (points, scale) in found.items():
        spread = points.spread / scale
        for key in (key for key in PLACEABLE if not hands.hides(key) and key not in points.hand):
            rows = list(rows_of(key))
            if max(rows) < POINT_COUNT and np.isfinite(spread[rows]).all() and len(points.runs) > 1:
                named.setdefault(key, {})[which] = float(np.sqrt((spread[rows] ** 2).mean()))
    return named
