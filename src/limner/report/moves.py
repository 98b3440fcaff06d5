"""Where the painting has to move: one move for a whole feature, or one for each of its points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limner.compare.apart import features_apart
from limner.compare.calibration import WIDE
from limner.compare.corrections import PLACED, WHOLE, after
from limner.compare.wording import rounded
from limner.face.byhand import FACE_IN_PUPILS
from limner.face.points import FEATURES, NAMED_POINTS
from limner.report.called import Called
from limner.report.words import UNIT_LENGTHS
from limner.result import AuditResult, Correction, MeasureResult

Array = NDArray[np.float64]

NOTICED = {"eye": 0.032, "mouth": 0.047, "brow": 0.055, "nose": 0.063, "face": 0.095}
"""Region -> the shift that viewers notice, in pupil distances: 2, 3, 3.5, 4 and 6 mm (eyelid, mouth corner, brow, nose
tip, chin; review of facial asymmetry, Aesthet Surg J 2017;37(4):375-385) over the mean pupil distance, 63.26 mm
(ANSUR II, men and women)."""

_ALIKE = 0.35
"""Points that go this share of their common way apart from it, or less, still go as one; our choice."""

_GOOD_PART = 0.25
"""A step makes a move where it goes this share of the move's way; our choice."""

_GROUPS = {
    "brow_right": ("bo_right", "bp_right", "bi_right"),
    "brow_left": ("bi_left", "bp_left", "bo_left"),
    "eye_right": ("ex_right", "ps_right", "en_right", "pi_right"),
    "eye_left": ("en_left", "ps_left", "ex_left", "pi_left"),
    "nose": ("al_right", "sn", "al_left"),
    "lips": ("ch_right", "ls", "ch_left", "li"),
    "chin": ("gn",),
    "jaw_right": ("go_right",),
    "jaw_left": ("go_left",),
    "cheek_right": ("zy_right",),
    "cheek_left": ("zy_left",),
}

_OF_OUTLINE = {"jaw_right": "jaw", "jaw_left": "jaw", "cheek_right": "face", "cheek_left": "face"}
"""Group of points -> the feature they belong to, where it has another name."""

_OF_STEPS = {
    "eyes": ("eye_right", "eye_left"),
    "brows": ("brow_right", "brow_left"),
    "mouth": ("lips",),
    "upper_lip": ("lips",),
    "lower_lip": ("lips",),
    "face": ("jaw_right", "jaw_left", "cheek_right", "cheek_left", "chin"),
}
"""What a step of the plan moves -> the groups of points it moves, where that is not the one of its name."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Move:
    """One arrow: from where a thing is to where it should be."""

    name: str
    """What has to move, side said as the sitter's."""
    start: Array
    """(2,) array, px of the decoded painting: where it is, or would be once a drawn stretch is taken out."""
    end: Array
    """(2,) array, px of the decoded painting: where it should be."""
    share: Array
    """(2,) array: the way, in the unit of :func:`told_in`; right and down."""
    doubt: float
    """Half width of its 95 % interval, in the same unit."""
    weight: float
    """How often the noticed shift it is."""
    steps: tuple[int, ...] = ()
    """Steps of the plan that make it, or a good part of it."""

    @property
    def words(self) -> list[str]:
        """The way in the picture's directions, one entry for each that is more than doubt."""
        amounts = [rounded(abs(part), self.doubt / WIDE)[0] for part in self.share]
        ways = (
            f"toward picture {'right' if self.share[0] > 0 else 'left'} {amounts[0]}",
            f"{'down' if self.share[1] > 0 else 'up'} {amounts[1]}",
        )
        larger = int(np.argmax(np.abs(self.share)))
        told = [axis for axis in (1, 0) if axis == larger or abs(self.share[axis]) > self.doubt]
        return [ways[axis] for axis in told]


def find_moves(result: AuditResult, *, most: int = 8) -> list[Move]:
    """Return the moves, strongest first: past the uncertainty, and past half of what is noticed (as "slight" is).

    A feature whose points all go the same way within the uncertainty gets one move. A feature that is not painted yet
    gets none, nor does one that is held or meant so, nor one of whose measures none is called off. A step of the plan
    that shifts a feature without a move is a move itself, so that no plan is without its arrows.
    """
    hidden = features_apart(result) | {m.feature for m in result.measures if m.call == "not painted yet"}
    unit, called = _unit(result), Called(result.measures)
    carried = _carried(result)
    found: dict[str, list[Move]] = {}
    for feature, keys in _GROUPS.items():
        if not hidden & {feature, _OF_OUTLINE.get(feature, feature)}:
            moves = _of_feature(result, feature, keys, unit, called)
            strong = [(move, on) for move, on in moves if move.weight >= 0.5 * result.settings.strict]
            found[feature] = [replace(move, steps=_by_steps(move, on, carried)) for move, on in strong]
    planned = [
        _of_step(result, step, unit)
        for step in result.corrections
        if _is_shift(step) and not any(found.get(group) for group in _groups_of(step))
    ]
    shown = [move for moves in found.values() for move in moves]
    room = max(most - len(planned), 0)
    return sorted([*planned[:most], *sorted(shown, key=_weight)[:room]], key=_weight)


def _weight(move: Move) -> float:
    return -move.weight


def _groups_of(step: Correction) -> tuple[str, ...]:
    return _OF_STEPS.get(step.unit, (step.unit,))


def _is_shift(step: Correction) -> bool:
    """Whether a step shifts a feature; one of the whole head is no move within the drawing."""
    length = float(np.hypot(step.dx.value or 0.0, step.dy.value or 0.0))
    within = all(group in _GROUPS for group in _groups_of(step))
    return within and length > 0 and bool(np.isfinite(step.centre).all())


def _of_step(result: AuditResult, step: Correction, unit: float) -> Move:
    """The shift of a step, from the middle of what it moves."""
    way = np.array([step.dx.value or 0.0, step.dy.value or 0.0]) * unit
    doubt = WIDE * max(part.sigma or 0.0 for part in (step.dx, step.dy) if part.value) * unit
    per_px = _mm_per_px(result) or 100 / unit
    start = np.array(step.centre, dtype=np.float64)
    region = NAMED_POINTS[_GROUPS[_groups_of(step)[0]][0]].region
    noticed = NOTICED.get(region, NOTICED["face"]) * _pupils(result, unit)
    return Move(
        name=step.name.removeprefix("the "),
        start=start,
        end=start + way,
        share=way * per_px,
        doubt=doubt * per_px,
        weight=float(np.hypot(*way)) / noticed,
        steps=(step.step,),
    )


def _carried(result: AuditResult) -> list[tuple[int, Array]]:
    """For each step within the drawing, its number and the (478, 2) ways, px of the painting, it moves the points."""
    within = [step for step in result.corrections if step.unit not in (WHOLE, PLACED)]
    still = result.painting_points
    return [(step.step, after(replace(result, corrections=(step,))) - still) for step in within]


def _by_steps(move: Move, keys: Sequence[str], carried: list[tuple[int, Array]]) -> tuple[int, ...]:
    """The steps that bring these named points a good part of the move's way."""
    way = move.end - move.start
    places = [list(NAMED_POINTS[key].indices) for key in keys]
    made = ((step, np.mean([ways[rows].mean(axis=0) for rows in places], axis=0)) for step, ways in carried)
    return tuple(step for step, part in made if float(part @ way) >= _GOOD_PART * float(way @ way))


def after_stretch(result: AuditResult) -> Correction | None:
    """The plan's step that takes a drawn stretch out of the whole face: the moves are what is left after it."""
    first = next((step for step in result.corrections if step.unit == WHOLE), None)
    return first if result.evened_points is not None else None


def told_in(result: AuditResult) -> str:
    """What moves are told in, as a sentence: millimetres where the canvas is known."""
    if _mm_per_px(result):
        return "Numbers: millimetres on the canvas."
    return f"Numbers: percent of {UNIT_LENGTHS[result.scale.by]}."


def _mm_per_px(result: AuditResult) -> float | None:
    return result.canvas.mm_per_px.value if result.canvas else None


def _pupils(result: AuditResult, unit: float) -> float:
    return unit if result.scale.by == "pupils" else unit * FACE_IN_PUPILS


def _of_feature(
    result: AuditResult, feature: str, keys: tuple[str, ...], unit: float, called: Called
) -> list[tuple[Move, tuple[str, ...]]]:
    """The moves of one feature, each with the named points it moves."""
    is_at, should, sigma = _places(result, keys)
    there = np.isfinite(is_at).all(axis=1) & np.isfinite(should).all(axis=1) & np.isfinite(sigma)
    if not there.any():
        return []
    keys = tuple(key for key, known in zip(keys, there, strict=True) if known)
    is_at, should, sigma = is_at[there], should[there], sigma[there]
    way = should - is_at
    stands = np.array([called.doubt_of_end(key) for key in keys]) * unit
    stands = np.maximum(stands, _doubt_of_place(result.measures, feature) / 100 * unit)
    limit = np.maximum(WIDE * sigma, stands)
    off = [called.off(key) for key in keys]
    noticed = NOTICED.get(NAMED_POINTS[keys[0]].region, NOTICED["face"]) * _pupils(result, unit)

    def move(name: str, start: Array, shift: Array, doubt: float) -> Move:
        return Move(
            name=name,
            start=start,
            end=start + shift,
            share=shift * per_px,
            doubt=doubt * per_px,
            weight=float(np.hypot(*shift)) / noticed,
        )

    mean = way.mean(axis=0)
    common = float(np.sqrt((limit**2).mean()))
    per_px = _mm_per_px(result) or 100 / unit
    apart_by = np.hypot(*(way - mean).T)
    whole = float(np.hypot(*mean))
    together = len(keys) > 1 and whole > common and bool((apart_by <= np.maximum(limit, _ALIKE * whole)).all())
    if together:
        if not any(off):
            return []
        return [(move(f"the whole {_feature_name(feature)}", is_at.mean(axis=0), mean, common), keys)]
    apart = zip(keys, is_at, way, limit, off, strict=True)
    return [
        (move(NAMED_POINTS[key].name, at, shift, doubt), (key,))
        for key, at, shift, doubt, told in apart
        if told and np.hypot(*shift) > doubt
    ]


def _doubt_of_place(measures: Sequence[MeasureResult], feature: str) -> float:
    """Half width of the 95 % interval of where a feature stands, percent of the distance between the pupils.

    A move is told no more surely than the table tells the place of the feature; 0 where the table has none.
    """
    places = (m for m in measures if m.feature == feature and m.family == "position" and m.deviation is not None)
    return max((WIDE * (m.sigma or 0.0) for m in places), default=0.0)


def _unit(result: AuditResult) -> float:
    """The length shares are told in, px of the decoded painting, as it should be there."""
    if result.scale.by == "pupils":
        return result.reference.pupil_distance * result.scale.scale * result.painting.scale
    n, gn = (result.should_be[list(NAMED_POINTS[key].indices)].mean(axis=0) for key in ("n", "gn"))
    return float(np.linalg.norm(gn - n))


def _feature_name(feature: str) -> str:
    return {"lips": "mouth"}.get(feature, FEATURES[feature].name)


def _places(result: AuditResult, keys: tuple[str, ...]) -> tuple[Array, Array, Array]:
    """Return where the named points are, where they should be ((K, 2) arrays, px) and the sigma of the way, (K,)."""
    indices = [list(NAMED_POINTS[key].indices) for key in keys]
    even = result.evened_points if after_stretch(result) else None
    painted = result.painting_points if even is None else even
    is_at = np.array([painted[i].mean(axis=0) for i in indices])
    should = np.array([result.should_be[i].mean(axis=0) for i in indices])
    sigma = np.array([result.point_sigma[i].mean() for i in indices])
    return is_at, should, sigma
