"""Where the points of both faces lie: as painted, as they should be, how surely, and by their names."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from limner.compare.calibration import owed_to_bend, sigma_for
from limner.compare.deviation import Framed
from limner.compare.hands import Hands
from limner.compare.whole import Common
from limner.compare.witness import Testimony
from limner.errors import FaceError
from limner.face.facepoints import POINT_COUNT, FacePoints
from limner.face.placeable import PLACEABLE, rows_of
from limner.face.points import FEATURES
from limner.measure.catalogue import CATALOGUE
from limner.measure.geometry import mean_point
from limner.measure.similarity import NoFit, Similarity, fit_similarity
from limner.result import Witness

Array = NDArray[np.float64]


def belongs(seen: Framed, evened: Framed, testimony: Testimony, common: Common | None) -> tuple[Array, Array | None]:
    """Where the reference's points belong in the painting as seen, and its points without a drawn stretch.

    Of a stretch or lean that a camera may have made the reference partakes; one that was drawn is to be mended.
    """
    if common is None or not common.taken_out:
        return _should_be(seen), None
    if common.finding.cause != "drawing":
        return common.within(_should_be(evened)), None
    back = fit_similarity(_should_be(evened)[:POINT_COUNT], _should_be(seen)[:POINT_COUNT])
    points = testimony.best[:POINT_COUNT]
    return _should_be(seen), points if isinstance(back, NoFit) else np.asarray(back(points))


def _should_be(framed: Framed) -> Array:
    """Where the reference's points belong in the painting, under what is held."""
    source, target = framed.pair.reference[0], framed.pair.painting[0]
    fit: Similarity | NoFit = framed.scales.head
    if isinstance(fit, Similarity):
        fit = Similarity(factor=fit.factor[:1], shift=fit.shift[:1])
    part = framed.scales.part
    if part is not None:
        fit = Similarity(factor=part.factor[:1], shift=part.shift[:1])
    elif framed.scales.hold == "eyes" and framed.normaliser == "pupils":
        fit = fit_similarity(source[None, [468, 473]], target[None, [468, 473]])
    elif framed.scales.hold == "eyes":
        fit = fit_similarity(source[None, [168, 152]], target[None, [168, 152]])
    if isinstance(fit, NoFit):
        raise FaceError(f"Expected two faces that can be laid on each other; {fit.reason}. Place the points by hand.")
    return np.asarray(fit(source[None])[0])


def point_sigma(framed: Framed, testimony: Testimony) -> Array:
    """Scatter of each point's displacement and the calibrated error of a position, px of the painting.

    NaN for a point that a picture's edge cuts off.
    """
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
    sigma = np.asarray(np.hypot(scatter, known) * unit * framed.scales.held[0])
    sigma[list(testimony.cut)] = np.nan
    return sigma


def _known_sigma(testimony: Testimony, count: int) -> Array:
    """(count,) array: calibrated one-sigma error of a point's place by who gave it, percent of the pupil distance."""
    inside, contour = CATALOGUE["mouth_x"], CATALOGUE["chin_y"]
    by_pixels = isinstance(testimony.pixels, Framed)
    few = testimony.few_tones
    known = np.full(count, sigma_for(inside, "pixels" if by_pixels else testimony.finder, 0.0, few=few))
    for feature in FEATURES.values():
        witness: Witness = "pixels" if by_pixels and testimony.believed(feature.id) else testimony.finder
        measure = contour if feature.region == "face" else inside
        confidence = testimony.confidence_in((feature.id,)) if witness == "pixels" else 1.0
        owed = owed_to_bend(measure, witness, testimony.bent((feature.id,)), few=few)
        known[list(feature.indices)] = math.hypot(sigma_for(measure, witness, 0.0, confidence, few=few), owed)
    return known


def named(reference: Array, painting: Array, hands: Hands) -> Mapping[str, Mapping[str, tuple[float, float]]]:
    """Named points in px of the stored pictures; one that is not there in a picture is left out of it."""
    named: dict[str, dict[str, tuple[float, float]]] = {}
    for key in (key for key in PLACEABLE if not hands.hides(key)):
        for which, points in (("reference", reference), ("painting", painting)):
            x, y = mean_point(points, rows_of(key)).tolist()
            if math.isfinite(x) and math.isfinite(y):
                named.setdefault(key, {})[which] = (x, y)
    return named


def spread(found: Mapping[str, tuple[FacePoints, float]], hands: Hands) -> Mapping[str, Mapping[str, float]]:
    """Scatter of the repeated readings of each named mesh point that no hand has placed, px of the stored pictures."""
    named: dict[str, dict[str, float]] = {}
    for which, (points, scale) in found.items():
        spread = points.spread / scale
        for key in (key for key in PLACEABLE if not hands.hides(key) and key not in points.hand):
            rows = list(rows_of(key))
            if max(rows) < POINT_COUNT and np.isfinite(spread[rows]).all() and len(points.runs) > 1:
                named.setdefault(key, {})[which] = float(np.sqrt((spread[rows] ** 2).mean()))
    return named
