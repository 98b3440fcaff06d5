"""From one audit to what a series keeps of it: the only place of this room that looks inside an audit's result."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from limner.compare.apart import features_apart
from limner.compare.millimetres import pupils_apart
from limner.face.points import FEATURES
from limner.report.moves import find_moves
from limner.result import AuditResult, Correction
from limner.series.compare import Z95
from limner.series.record import Amount, Largest, Meant, Reading, Record, Shift, Tone
from limner.values.apart import places_apart

Array = NDArray[np.float64]

_CHEEKS = ((234, 93, 132, 58), (288, 361, 323, 454))
PARTS: Mapping[str, tuple[int, ...]] = MappingProxyType(
    {
        **{part: FEATURES[part].indices for part in ("brow_right", "brow_left", "eye_right", "eye_left")},
        "nose": FEATURES["nose"].indices,
        "lips": FEATURES["lips"].indices,
        "outline": (*_CHEEKS[0], *FEATURES["jaw"].indices, *_CHEEKS[1]),
    }
)
"""What the typical error is taken over -> its points; together they are the face, and no point is in two of them."""

_MASSES = ("too light", "too dark", "lights", "darks", "shadows apart", "half-tones missing")
"""Kinds of findings that speak of large masses."""
_SMALL_CODES = ("no_profile", "cmyk", "profile", "first_page", "hdr", "transparent")


def record_of(result: AuditResult, taken: str | None) -> Record:
    """What is kept of one audit."""
    unit = pupils_apart(result)
    return Record(
        name=result.painting.name,
        digest=result.painting.digest,
        taken=taken,
        stage=result.stage,
        stage_guessed=result.stage_guessed,
        pupil_mm=_pupil_mm(result, unit),
        readings=tuple(
            Reading(
                id=m.id,
                name=m.name,
                family=m.family,
                feature=m.feature,
                unit=m.unit,
                deviation=_six(m.deviation),
                sigma=_six(m.sigma),
                threshold=_six(m.threshold),
                call=m.call,
                reason=m.reason,
                witness=m.witness,
                reference=_six(m.reference.value),
            )
            for m in result.measures
        ),
        shifts=_shifts(result, unit),
        tones=_tones(result),
        values_off=None if result.values is None else tuple(f.text for f in result.values.off),
        masses=None if result.values is None else tuple(f.text for f in result.values.off if f.kind in _MASSES),
        mend_first=result.mend_first,
        largest=_largest(result),
        notices=tuple(notice.text for notice in result.warnings if not notice.code.startswith(_SMALL_CODES)),
        values_meant=tuple(
            Meant(reason=one.reason or one.name, text=text) for one in result.apart for text in one.values
        ),
    )


def _pupil_mm(result: AuditResult, unit: float) -> Amount | None:
    if result.canvas is None or result.canvas.mm_per_px.value is None:
        return None
    scale = result.canvas.mm_per_px
    return Amount(value=round(unit * (scale.value or 0.0), 6), sigma=round(unit * (scale.sigma or 0.0), 6))


def _shifts(result: AuditResult, unit: float) -> tuple[Shift, ...]:
    """For each part that is neither held nor meant so, the mean squared distance of its points from where they belong.

    Along the outline of the face no point has a place of its own, so there only the way across it counts. The points of
    one part err together; what chance adds to the mean square is the mean variance for each of its k directions:
    E = d^2 + k s^2, and its variance 4 d^2 s^2 + 2 k s^4 (a sum of k squared normal variables).
    """
    hidden = features_apart(result) | {m.feature for m in result.measures if m.call == "not painted yet"}
    found = []
    for part, rows in PARTS.items():
        should = result.should_be[list(rows)]
        way = (result.painting_points[list(rows)] - should) / unit
        if part == "outline":
            way = _across(way, should)
        sigma = result.point_sigma[list(rows)] / unit
        there = np.isfinite(way).all(axis=1) & np.isfinite(sigma)
        if {part, "face" if part == "outline" else part} & hidden or not there.any():
            continue
        noise, k = float((sigma[there] ** 2).mean()), way.shape[1]
        square = float((way[there] ** 2).sum(axis=1).mean())
        spread = math.sqrt(4 * max(square - k * noise, 0.0) * noise + 2 * k * noise**2)
        found.append(Shift(feature=part, square=round(square, 9), chance=round(k * noise, 9), sigma=round(spread, 9)))
    return tuple(found)


def _across(way: Array, line: Array) -> Array:
    """(N, 1) array: the part of each way that goes across a line drawn through (N, 2) points."""
    along = np.gradient(line, axis=0)
    length = np.linalg.norm(along, axis=1)
    normal = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.where(length > 0, length, np.nan)[:, None]
    return np.asarray((way * normal).sum(axis=1, keepdims=True))


def _tones(result: AuditResult) -> tuple[Tone, ...]:
    if result.values is None:
        return ()
    meant = places_apart(result)
    return tuple(
        Tone(
            region=region.id,
            name=region.name,
            difference=round(region.difference.value, 6),
            sigma=round(region.difference.sigma or 0.0, 6),
        )
        for region in result.values.regions
        if region.difference.value is not None and region.id not in meant
    )


def _largest(result: AuditResult) -> Largest | None:
    """The longest move that is more than doubt: of the plan of corrections where there is one."""
    if result.corrections:
        return _largest_step(result.corrections)
    moves = find_moves(replace(result, canvas=None), most=100)  # in shares of the pupils, whatever is known
    if not moves:
        return None
    move = max(moves, key=lambda m: float(np.hypot(*m.share)))
    length, doubt = float(np.hypot(*move.share)) / 100, move.doubt / 100
    text = f"{move.name}, {_ways(move.share, move.doubt)}"
    return Largest(text=text, size=Amount(value=round(length, 6), sigma=round(doubt / Z95, 6)))


def _largest_step(plan: Sequence[Correction]) -> Largest | None:
    sure: list[tuple[float, float, Correction]] = []
    for step in plan:
        if step.level == "placement":  # the whole head on the canvas is no move within the drawing
            continue
        length = math.hypot(step.dx.value or 0.0, step.dy.value or 0.0)
        sigma = math.hypot(step.dx.sigma or 0.0, step.dy.sigma or 0.0) / math.sqrt(2)
        if length > Z95 * sigma and length > 0:
            sure.append((length, sigma, step))
    if not sure:
        return None
    length, sigma, step = max(sure, key=lambda row: row[0])
    share = 100 * np.array([step.dx.value or 0.0, step.dy.value or 0.0])
    text = f"{step.name}, {_ways(share, 100 * Z95 * sigma)}"
    return Largest(text=text, size=Amount(value=round(length, 6), sigma=round(sigma, 6)))


def _ways(share: Array, doubt: float) -> str:
    ways = ("right" if share[0] > 0 else "left", "down" if share[1] > 0 else "up")
    larger = int(np.argmax(np.abs(share)))
    told = [axis for axis in (1, 0) if axis == larger or abs(share[axis]) > doubt]
    return " and ".join(ways[axis] if axis else f"toward picture {ways[axis]}" for axis in told)


def _six(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), 6)
