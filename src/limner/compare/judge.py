"""From what both witnesses say to one result for each measure: number, doubt, threshold, call and reason."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from limner.compare.calibration import WIDE, grade_of, owed_to_bend, reads_small, sigma_for
from limner.compare.calls import asked_at, call_for, threshold_at
from limner.compare.deviation import Framed, Reading, read
from limner.compare.holding import owed_to, place_measure, sized_by_pupils
from limner.compare.parts import PARTS
from limner.compare.witness import Testimony
from limner.face.facepoints import POINT_COUNT
from limner.face.placeable import BEYOND
from limner.face.points import FEATURES
from limner.measure.catalogue import CATALOGUE, NOT_SEEN, between
from limner.measure.declare import PUPIL_FEATURES, PUPILS, Measure
from limner.measure.heads import HEADS
from limner.measure.similarity import NoFit
from limner.result import Call, MeasureResult, Quantity, Witness
from limner.settings import Settings, Stage

FINDER_ALONE = "read by the face finder alone"
READS_SMALL = f"{FINDER_ALONE}: sizes read small"
"""Reason of every reading of a kind the face finder pulls toward the ordinary face, where it had to speak alone."""
CUT_OFF = "part of it lies outside the picture or at its edge"

_NOTHING = Quantity(value=None, sigma=None)

_STANDS_FOR = {"percent": "pupil_distance", "percent of pupil distance": "mouth_x", "degrees": "mouth_axis"}
"""Unit of a deviation -> the measure whose error says how surely the pupils give size, place and level."""


@dataclass(frozen=True, kw_only=True)
class Terms:
    """What a reading is judged by."""

    settings: Settings
    stage: Stage


def judge_all(testimony: Testimony, terms: Terms) -> tuple[MeasureResult, ...]:
    """Every measure of the catalogue, the painter's own, and what cannot be seen; in catalogue order.

    Raises:
        UsageError: if a point of ``settings.between`` is unknown.
    """
    own = [between(first, second) for first, second in terms.settings.between]
    marked = [
        measure for measure in HEADS.values() if testimony.hands.touches(measure) or _asked_of(measure, testimony)
    ]
    measures = {measure.id: measure for measure in (*CATALOGUE.values(), *marked, *own)}
    judged = [judge(measure, testimony, terms) for measure in measures.values()]
    return (*judged, *_not_seen({name for measure in marked for name in (measure.id, measure.feature)}))


def judge(measure: Measure, testimony: Testimony, terms: Terms) -> MeasureResult:
    """One measure."""
    share = testimony.hands.share(measure.own_points)
    if share != "all" and testimony.missing(measure.features) is not None:
        return _unpainted(measure, testimony)
    believed = all(testimony.believed(feature) for feature in measure.features)
    why_not = _not_asked(measure, testimony, terms)
    if why_not is None and share == "none":
        why_not = _no_big_shape(measure, testimony, believed)
    if why_not is not None:
        return _without_number(measure, "not measured", why_not)
    witness: Witness = "hand" if share != "none" else "pixels" if believed else testimony.finder
    mixed = believed or (share != "none" and isinstance(testimony.pixels, Framed))
    framed = testimony.pixels if mixed else testimony.found
    reading = framed if isinstance(framed, NoFit) else read(measure, framed)
    if isinstance(framed, NoFit) or isinstance(reading, NoFit):
        return _without_number(measure, "not measured", reading.reason if isinstance(reading, NoFit) else "")
    return _with_number(measure, reading, testimony, terms, witness)


def _not_asked(measure: Measure, testimony: Testimony, terms: Terms) -> str | None:
    """Why there is nothing to be read, whoever reads; ``None`` where there is."""
    if not asked_at(measure, terms.stage):
        return "not asked of a block-in"
    if testimony.hands.is_one_mark(measure):
        return "its two edges were not placed apart"
    return None if testimony.cut.isdisjoint(measure.own_points) else CUT_OFF


def _unpainted(measure: Measure, testimony: Testimony) -> MeasureResult:
    """Not painted yet is said of what would be painted; what is only measured from it lacks a measure, not paint."""
    subject = (measure.feature,) if measure.feature in FEATURES else measure.about.needs
    reason = testimony.missing(subject)
    if reason is not None:
        return _without_number(measure, "not painted yet", reason)
    lacking = next(feature for feature in measure.features if testimony.missing((feature,)) is not None)
    what = "a pupil" if lacking in PUPIL_FEATURES else f"the {FEATURES[lacking].name}"
    return _without_number(measure, "not measured", f"measured with the help of {what}, not painted yet")


def _asked_of(measure: Measure, testimony: Testimony) -> bool:
    """Whether the pixels were asked for this measure of the big shape; of ears they never are without a mark."""
    return testimony.head is not None and measure.feature != "ears"


def _no_big_shape(measure: Measure, testimony: Testimony, believed: bool) -> str | None:
    """Why the pixels give no number for a measure of the big shape; ``None`` where they do, or for another measure."""
    rows = [row for row in measure.own_points if row >= POINT_COUNT]
    if not rows or testimony.head is None:
        return None
    said = testimony.head.doubts
    reason = next((said[key] for key, row in BEYOND.items() if row in rows and key in said), None)
    if reason is not None or believed:
        return reason
    return testimony.doubt_about(measure.features) or f"what it is measured from is {FINDER_ALONE}"


def _with_number(
    measure: Measure, reading: Reading, testimony: Testimony, terms: Terms, witness: Witness
) -> MeasureResult:
    confidence = testimony.confidence_in(measure.features) if witness == "pixels" else 1.0
    few = testimony.few_tones or terms.stage == "block-in"
    extra = math.hypot(
        _scale_doubt(measure, testimony, witness),
        _held_doubt(measure, testimony),
        owed_to_bend(measure, witness, testimony.bent(measure.features), few=few),
    )

    def sigma_at(deviation: float) -> float:
        own = sigma_for(
            measure,
            witness,
            reading.spread,
            confidence,
            deviation=deviation,
            size=reading.size,
            few=testimony.few_tones,
            broad=terms.stage == "block-in",
        )
        return math.hypot(own, extra, _not_by_hand(measure, testimony, witness, deviation, reading.size))

    sigma = sigma_at(reading.deviation)
    published = measure.limit.value
    if measure.kind == "gap" and reading.size:
        published /= reading.size
    threshold = threshold_at(published, sigma_at(0.0), terms.stage, terms.settings.strict)
    call = call_for(reading.deviation, sigma, threshold)
    reference = _reference_sigma(measure, reading, testimony)
    painting = math.hypot(reference, _in_value(measure, reading, sigma))
    return MeasureResult(
        id=measure.id,
        name=measure.name,
        family=measure.family,
        feature=measure.feature,
        unit=measure.unit,
        reference=Quantity(value=reading.reference, sigma=reference),
        painting=Quantity(value=reading.painting, sigma=painting),
        deviation=reading.deviation,
        sigma=sigma,
        threshold=threshold,
        call=call,
        reason=_reason(measure, testimony, witness, call),
        witness=witness,
        source=measure.limit.source,
    )


def _scale_doubt(measure: Measure, testimony: Testimony, witness: Witness) -> float:
    """What a length read by the pixels owes to pupils that only the face finder has found, in percent."""
    framed = testimony.pixels
    if witness != "pixels" or measure.placed or measure.unit != "percent" or not isinstance(framed, Framed):
        return 0.0
    if not sized_by_pupils(framed.scales.hold) or all(testimony.believed(eye) for eye in PUPIL_FEATURES):
        return 0.0
    pupils = CATALOGUE["pupil_distance"]
    found = read(pupils, testimony.found) if isinstance(testimony.found, Framed) else testimony.found
    spread = found.spread if isinstance(found, Reading) else 0.0
    return sigma_for(pupils, testimony.finder, spread, size=1.0)


def _held_doubt(measure: Measure, testimony: Testimony) -> float:
    """What a measure owes to the one part that it is measured from, where one is held; in its own unit."""
    framed = testimony.pixels if isinstance(testimony.pixels, Framed) else testimony.found
    if not isinstance(framed, Framed) or framed.scales.part is None:
        return 0.0
    hold = framed.scales.hold
    believed = isinstance(testimony.pixels, Framed) and all(testimony.believed(f) for f in PARTS[hold])
    few = testimony.few_tones
    place = sigma_for(CATALOGUE[place_measure(hold)], "pixels" if believed else testimony.finder, 0.0, few=few)
    sitter = framed.pair.reference[0]
    pupils = float(np.linalg.norm(sitter[PUPILS[0]] - sitter[PUPILS[1]]))
    return owed_to(hold, measure.unit, place, sitter, pupils)


def _not_by_hand(
    measure: Measure, testimony: Testimony, witness: Witness, deviation: float, size: float | None
) -> float:
    """What a measure by hand owes to its points that are not: in one picture only, or those its size hangs on."""
    hands, framed = testimony.hands, testimony.pixels if isinstance(testimony.pixels, Framed) else testimony.found
    if witness != "hand" or hands.alone:
        return 0.0
    owed = 0.0
    rest = hands.rest(measure.own_points)
    if rest != "none":
        believed = rest == "neither" and all(testimony.believed(feature) for feature in measure.features)
        by: Witness = "pixels" if believed else "mesh"
        owed = sigma_for(measure, by, 0.0, deviation=deviation, size=size, few=testimony.few_tones)
    if isinstance(framed, Framed) and framed.scales.hold == "eyes" and hands.share(PUPILS) == "all":
        return owed
    pupils: Witness = "pixels" if all(testimony.believed(eye) for eye in PUPIL_FEATURES) else "mesh"
    stands_for = CATALOGUE[_STANDS_FOR[measure.unit]]
    return math.hypot(owed, sigma_for(stands_for, pupils, 0.0, size=1.0, few=testimony.few_tones))


def _reference_sigma(measure: Measure, reading: Reading, testimony: Testimony) -> float:
    """Of the reference's own value: scatter and the error of who placed its points, in the unit of the value."""
    if measure.pair is not None:
        return 0.0
    by_hand = frozenset(measure.own_points) <= testimony.hands.reference
    grade = grade_of(measure, "hand" if by_hand else "mesh")
    ends = math.sqrt(2) * grade.point / (reading.size or 1.0)
    error = _in_value(measure, reading, math.hypot(grade.floor, ends))
    return math.hypot(reading.spread_reference, error) / grade.slope


def _in_value(measure: Measure, reading: Reading, doubt: float) -> float:
    """A doubt of the deviation in the unit of the value."""
    if measure.kind == "angle":
        return doubt
    if measure.kind == "gap":
        return doubt / 100 * (reading.size or 1.0)
    if measure.kind in ("length", "area"):
        return doubt / 100 * abs(reading.reference)
    return doubt / 100


def _reason(measure: Measure, testimony: Testimony, witness: Witness, call: Call) -> str | None:
    if witness == "mesh" and reads_small(measure, witness):
        doubt = testimony.doubt_about(measure.features) if isinstance(testimony.pixels, Framed) else None
        return f"{READS_SMALL}; {doubt}" if doubt else READS_SMALL
    if call != "unsure":
        return None
    if witness == "pixels":
        return (
            "the paint shows it less finely than a viewer notices: a sharper, larger photo of the canvas may settle it"
        )
    if witness == "hand" and testimony.hands.share(measure.own_points) != "all":
        return "placed by hand in one picture only: place the same points in both"
    if witness == "hand":
        return "points placed by hand are not finer than that: place them again on a larger photo"
    doubt = testimony.doubt_about(measure.features)
    return f"{FINDER_ALONE}; {doubt}" if doubt else FINDER_ALONE


def _without_number(measure: Measure, call: Call, reason: str) -> MeasureResult:
    return MeasureResult(
        id=measure.id,
        name=measure.name,
        family=measure.family,
        feature=measure.feature,
        unit=measure.unit,
        reference=_NOTHING,
        painting=_NOTHING,
        deviation=None,
        sigma=None,
        threshold=None,
        call=call,
        reason=reason,
        witness=None,
        source=measure.limit.source,
    )


def _not_seen(marked: set[str]) -> Iterable[MeasureResult]:
    """What nobody can see, but for what the painter has marked."""
    for id_, (name, reason) in NOT_SEEN.items():
        if id_ in marked:
            continue
        yield MeasureResult(
            id=id_,
            name=name,
            family="head",
            feature=id_,
            unit="percent",
            reference=_NOTHING,
            painting=_NOTHING,
            deviation=None,
            sigma=None,
            threshold=None,
            call="not measured",
            reason=reason,
            witness=None,
            source="",
        )


def differs(ratio: float, sigma: float) -> bool:
    """Whether a ratio departs from 1 by more than its uncertainty."""
    return abs(ratio - 1) > WIDE * sigma
