"""Both witnesses heard and every measure judged, without a stretch or a lean that the whole face shares."""

from __future__ import annotations

from dataclasses import dataclass, replace

from limner.compare.deviation import Framed, Normaliser
from limner.compare.judge import Terms, judge_all
from limner.compare.turned import turn_findings
from limner.compare.whole import Common, common_stretch, explained
from limner.compare.witness import Testimony, hear
from limner.errors import FaceError
from limner.face.facepoints import POINT_COUNT, FacePoints
from limner.measure.similarity import NoFit
from limner.register.carried import Carried
from limner.result import MeasureResult, Pose, WholeFinding


@dataclass(frozen=True, kw_only=True, eq=False)
class Faces:
    """What is compared."""

    reference: FacePoints
    painting: FacePoints
    carried: Carried | None
    normaliser: Normaliser


@dataclass(frozen=True, kw_only=True, eq=False)
class Weighed:
    """What both witnesses say, and what it is called."""

    seen: Testimony
    """Of the painting as it is seen."""
    framed_as_seen: Framed
    testimony: Testimony
    """The same without a common stretch that is off, or a slight lean of the camera."""
    framed: Framed
    common: Common | None
    judged: tuple[MeasureResult, ...]
    """Of the painting without the stretch or lean."""
    whole: tuple[WholeFinding, ...]


def weigh(faces: Faces, terms: Terms, poses: tuple[Pose | None, Pose | None], proportions: float | None) -> Weighed:
    """Hear both witnesses and judge.

    Args:
        faces: what is compared, px as decoded.
        terms: what it is judged by.
        poses: turn of the head in the reference and in the painting, as the points alone give it.
        proportions: see :func:`limner.compare.whole.common_stretch`.

    Raises:
        FaceError: if the two faces cannot be brought to one size.
    """
    seen = testimony = _heard(faces, terms)
    framed_as_seen = framed = _framed(seen)
    by_pixels, strict = isinstance(seen.pixels, Framed), terms.settings.strict
    sitter, painted = (points[:POINT_COUNT] for points in (seen.sitter, seen.best))
    broad = terms.stage == "block-in"
    whole = turn_findings(
        sitter, painted, poses, without=seen.unpainted, by_pixels=by_pixels, broad=broad, strict=strict
    )
    common = common_stretch(
        framed,
        without=seen.unpainted,
        by_pixels=by_pixels,
        proportions=proportions,
        strict=strict,
        leaning=by_pixels and not seen.few_tones and proportions is None and not any(f.call == "off" for f in whole),
    )
    if common is not None and common.taken_out:
        even = replace(faces, painting=common.of_painting(faces.painting), carried=common.of_carried(faces.carried))
        testimony = _heard(even, terms)
        framed = _framed(testimony)
    judged = judge_all(testimony, terms)
    if common is not None:
        stretch = common.finding
        if common.said:
            stretch = replace(stretch, explains=explained(judge_all(seen, terms), judged))
        whole = (stretch, *whole)
    return Weighed(
        seen=seen,
        framed_as_seen=framed_as_seen,
        testimony=testimony,
        framed=framed,
        common=common,
        judged=judged,
        whole=whole,
    )


def best_framed(testimony: Testimony) -> Framed | NoFit:
    """Both faces as the best witness has them."""
    return testimony.pixels if isinstance(testimony.pixels, Framed) else testimony.found


def _heard(faces: Faces, terms: Terms) -> Testimony:
    return hear(
        faces.reference,
        faces.painting,
        faces.carried,
        hold=terms.settings.hold,
        normaliser=faces.normaliser,
        pixels_allowed=terms.settings.witness != "mesh",
    )


def _framed(testimony: Testimony) -> Framed:
    framed = best_framed(testimony)
    if isinstance(framed, NoFit):
        raise FaceError(
            f"Expected two faces that can be brought to one size; {framed.reason}. Place the points by hand."
        )
    return framed
