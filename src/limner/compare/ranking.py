"""In what order findings are told: worst first in the table, large shapes first when it comes to mending."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from limner.compare.calibration import WIDE
from limner.compare.wording import finding, finding_of_both
from limner.measure.declare import Measure
from limner.result import Call, MeasureResult

LINES = 5
"""At most so many sentences are said of what to mend first."""

_READ: tuple[Call, ...] = ("off", "slight", "true")
_REST: tuple[Call, ...] = ("unsure", "intended", "held", "not painted yet", "not measured")
_GROUPS: tuple[tuple[Call, ...], ...] = (_READ, *((call,) for call in _REST))

LARGE_FIRST = 0.8
"""What one step down from large shapes to small takes off a story's weight when five are chosen (limner's choice)."""

AFTERTHOUGHTS = ("shape", "alignment")
"""Stories that mostly follow from a width, a height or a place, and are then not told again."""

FOLLOWS: Mapping[str, tuple[tuple[str, int], ...]] = {
    "between_eyes": (("eye_width_left", -1), ("eye_width_right", -1)),
    "across_eyes": (("eye_width_left", 1), ("eye_width_right", 1)),
    "iris_width_left": (("eye_width_left", 1),),
    "iris_width_right": (("eye_width_right", 1),),
    "brow_height_left": (("brow_left_y", -1),),
    "brow_height_right": (("brow_right_y", -1),),
    "nose_y": (("nose_length", 1),),
    "philtrum": (("mouth_y", 1), ("nose_y", -1), ("nose_length", -1)),
    "lower_face": (("nose_y", -1), ("nose_length", -1)),
    "chin_height": (("mouth_y", -1), ("lower_face", 1)),
    "chin_y": (("lower_face", 1),),
    "face_height": (("lower_face", 1), ("nose_length", 1)),
    "head_height": (("head_top", 1), ("lower_face", 1)),
    "head_shape_area": (("head_shape_width", 1), ("head_height", 1)),
    "brows_eyes_angle": (("brow_axis", -1),),
    "eyes_mouth_angle": (("mouth_axis", 1),),
    "brows_mouth_angle": (("mouth_axis", 1), ("brow_axis", -1)),
    "nose_base_mouth_angle": (("mouth_axis", 1), ("nose_base_axis", -1)),
    "mouth_jaw_angle": (("mouth_axis", -1), ("jaw_axis", 1)),
    "nose_centre_angle": (("centre_axis", 1), ("nose_axis", -1)),
}
"""Measure -> what it follows from where that is off too, and whether it then goes the same way (1) or the other (-1).

Eyes painted too wide leave too little between them, and their irises are too wide with them: the painter is told of
the eyes.
"""

_DOWN_THE_FACE = (
    *("head", "hairline", "head_top", "ears", "face", "brows", "brow_right", "brow_left"),
    *("eyes", "eye_right", "eye_left"),
    *("iris_right", "iris_left", "nose", "upper_lip", "lips", "mouth_opening", "lower_lip", "jaw", "chin", "neck"),
)


def ranked(measures: Sequence[MeasureResult]) -> tuple[MeasureResult, ...]:
    """Those with a believable number by weight, then the unsure, then what has no number; ties in catalogue order."""
    order = {call: place for place, group in enumerate(_GROUPS) for call in group}
    return tuple(sorted(measures, key=lambda m: (order[m.call], -m.weight)))


def top_down(measures: Sequence[MeasureResult]) -> tuple[MeasureResult, ...]:
    """From hair to chin, for a walk down the face; within a feature as they came."""
    place = {feature: number for number, feature in enumerate(_DOWN_THE_FACE)}
    return tuple(sorted(measures, key=lambda m: place.get(m.feature, len(place))))


def surely(measure: MeasureResult) -> float:
    """How heavy what is surely there is: the deviation less its give or take, as a share of what a viewer notices.

    It says what to mend first among what is equally large: 12 %, give or take 3, goes before 22 %, give or take 18, for
    nine percent of the one are surely there, and four of the other. 0 where nothing is.
    """
    if measure.deviation is None or measure.sigma is None or not measure.threshold:
        return 0.0
    return max(abs(measure.deviation) - WIDE * measure.sigma, 0.0) / measure.threshold


def heaviness(measures: Sequence[MeasureResult]) -> Mapping[str, float]:
    """How heavy each measure that is off is: what is surely there of it, or of what follows from it on that feature.

    A brow that is too high, give or take much, stands too far above its eye, give or take little: one error, told once,
    and as sure as the surer of the two.
    """
    off = {m.id: m for m in measures if m.call == "off"}
    heavy = {id_: surely(m) for id_, m in off.items()}
    deviations = {id_: m.deviation or 0.0 for id_, m in off.items()}
    for m in off.values():
        for cause in _causes(m, deviations):
            if off[cause].feature == m.feature:
                heavy[cause] = max(heavy[cause], surely(m))
    return heavy


def mend_first(measures: Sequence[MeasureResult], catalogue: Mapping[str, Measure]) -> tuple[str, ...]:
    """What to mend first where there is no plan, at most five plain sentences, large shapes before small.

    Measures that tell one story (the mouth line against the eye line, and one mouth corner against the other) give one
    sentence, the strongest; what follows from another finding (:data:`FOLLOWS`) is not told again. Area, outline and
    alignments are told only where nothing plainer is off about that feature. The five heaviest stories, large shapes
    counting for more, are told in the order of mending: what all the rest depends on, the big shapes, the parts. How
    heavy a story is says what is surely there of it (:func:`heaviness`).
    """
    told = stories(measures, catalogue)
    if not told:
        return (_nothing_left(measures),)
    heavy = heaviness(measures)
    told.sort(key=lambda story: -heavy[story[0].id] * LARGE_FIRST ** catalogue[story[0].id].about.level)
    told = told[:LINES]
    told.sort(key=lambda story: _place(catalogue[story[0].id], heavy[story[0].id]))
    return tuple(told_of(story, catalogue) for story in told)


def stories(measures: Sequence[MeasureResult], catalogue: Mapping[str, Measure]) -> list[list[MeasureResult]]:
    """What is off, one list for each thing that is wrong, surest first; what follows from another is left out."""
    off = [m for m in measures if m.call == "off" and m.id in catalogue]
    deviations = {m.id: m.deviation or 0.0 for m in off}
    heavy = heaviness(measures)
    off = [m for m in off if not _causes(m, deviations)]
    found: dict[tuple[str, str], list[MeasureResult]] = {}
    for result in sorted(off, key=lambda m: -heavy[m.id]):
        found.setdefault(catalogue[result.id].story, []).append(result)
    plain = {feature for feature, aspect in found if aspect not in AFTERTHOUGHTS}
    return [story for (part, aspect), story in found.items() if aspect not in AFTERTHOUGHTS or part not in plain]


def outlines_told_plainer(measures: Sequence[MeasureResult], catalogue: Mapping[str, Measure]) -> frozenset[str]:
    """Ids of areas and outlines that depart where a width, height, place or tilt of the same feature departs as much.

    They tell one error over again. As much: off where they are off; where they are slight, off or slight.
    """
    departing = [(m, catalogue[m.id].story) for m in measures if m.call in ("off", "slight") and m.id in catalogue]
    plain = {(part, m.call) for m, (part, aspect) in departing if aspect not in AFTERTHOUGHTS}
    return frozenset(
        m.id
        for m, (part, aspect) in departing
        if aspect == "shape" and ((part, "off") in plain or (part, m.call) in plain)
    )


def _place(measure: Measure, heavy: float) -> tuple[int, bool, float]:
    """Where a finding stands in the order of mending: by level, the head before what is in it, then what is sure."""
    return measure.about.level, measure.family != "head", -heavy


def _causes(measure: MeasureResult, off: Mapping[str, float]) -> list[str]:
    """Ids of what else is off and explains it."""
    own = measure.deviation or 0.0
    return [cause for cause, way in FOLLOWS.get(measure.id, ()) if off.get(cause, 0.0) * way * own > 0]


def told_of(story: Sequence[MeasureResult], catalogue: Mapping[str, Measure]) -> str:
    """One sentence for what is wrong; for both sides where they are wrong alike."""
    worst = next((m for m in story if m.family != "angle"), story[0])
    measure = catalogue[worst.id]
    if measure.side:
        other_id = _other_side(worst.id, measure.side)
        other = next((m for m in story if m.id == other_id), None)
        if other is not None and _same_way(worst, other):
            right, left = (worst, other) if measure.side == "right" else (other, worst)
            return finding_of_both(measure, right, left)
    return finding(measure, worst)


def _other_side(id_: str, side: str) -> str:
    other = "left" if side == "right" else "right"
    return "_".join(other if part == side else part for part in id_.split("_"))


def _same_way(one: MeasureResult, other: MeasureResult) -> bool:
    return one.deviation is not None and other.deviation is not None and one.deviation * other.deviation > 0


def _nothing_left(measures: Sequence[MeasureResult]) -> str:
    counts = {call: sum(m.call == call for m in measures) for call in ("slight", "true", "unsure", "not painted yet")}
    if counts["slight"] + counts["true"] == 0:
        if counts["not painted yet"]:
            return "There is nothing on the canvas yet that could be measured."
        return "Nothing could be read finely enough to say what to mend: see below what would settle it."
    second = f" ({counts['slight']} only at a second look)" if counts["slight"] else ""
    text = f"Nothing is left above what a viewer notices{second}: it is time to stop."
    if counts["not painted yet"]:
        text = (
            f"Nothing that is painted is off above what a viewer notices{second}: go on with what is not painted yet."
        )
    if counts["unsure"]:
        text += f" {counts['unsure']} could not be read finely enough to tell."
    return text
