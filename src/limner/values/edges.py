"""Edges harder or softer than the sitter's, against the other edges of the painting."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.compare.calls import call_for
from limner.face.points import FEATURES
from limner.values.bring import UNIT, read_at
from limner.values.faces import Faces, Plane
from limner.values.medians import median, robust
from limner.valuesresult import Amount, ValueCall, ValueFinding

Array = NDArray[np.float64]

_OVAL = FEATURES["face"].indices
EDGES: Mapping[str, tuple[str, tuple[int, ...]]] = {
    "outline_left": ("outline of the sitter's left cheek", _OVAL[6:13]),
    "outline_right": ("outline of the sitter's right cheek", _OVAL[24:31]),
    "chin": ("edge under the chin", _OVAL[15:22]),
    "nose_right": ("edge of the nose, sitter's right", (168, 122, 188, 217, 198, 129)),
    "nose_left": ("edge of the nose, sitter's left", (168, 351, 412, 437, 420, 358)),
    "nose_base": ("edge under the nose", FEATURES["nose_base"].indices),
    "upper_lip": ("upper edge of the lips", (61, 185, 40, 39, 37, 0, 267, 269, 270, 409, 291)),
    "lower_lip": ("lower edge of the lips", (61, 146, 91, 181, 84, 17, 314, 405, 321, 375, 291)),
    "brow_right": ("lower edge of the sitter's right brow", (46, 53, 52, 65, 55)),
    "brow_left": ("lower edge of the sitter's left brow", (276, 283, 282, 295, 285)),
    "lid_right": ("sitter's right upper lid", (33, 246, 161, 160, 159, 158, 157, 173, 133)),
    "lid_left": ("sitter's left upper lid", (263, 466, 388, 387, 386, 385, 384, 398, 362)),
}
REACH = 0.13
"""Pupil distances to either side of an edge that is looked at."""
LEAST_CONTRAST = 0.8
"""Steps across an edge, in both pictures, below which there is no edge to compare (our choice)."""
RATIO = 1.6
"""An edge so many times as hard or as soft, against the others of the painting, is called off (our choice)."""


_Profiles = tuple[Array, Array]
"""(N,) arrays: steepest slope over contrast, and the contrast, of profiles across the edges."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Edges:
    """The sitter's edges."""

    places: Array
    """(N, 27, 2) array, px of the frame: places across the edges, edge after edge."""
    parts: Mapping[str, slice]
    """Id of an edge -> where it is among them."""
    seen: _Profiles


def edges(faces: Faces, even: Plane, strict: float) -> list[ValueFinding]:
    """Every edge that is clear in both pictures, against the hardness of the painting as a whole.

    ``even``: the painted values in the sitter's range.
    """
    sitters = faces.brought.sitter.kept.made("edges", lambda: _sitters(faces))
    painted = _sharp(read_at(even, sitters.places).astype(np.float64))
    read = {id_: _hardness(sitters.seen, painted, part) for id_, part in sitters.parts.items()}
    told = {id_: pair for id_, pair in read.items() if pair is not None}
    if len(told) < 4:
        return []
    usual = median(np.array([ratio for ratio, _ in told.values()]))
    return [_edge(id_, ratio - usual, sigma, strict) for id_, (ratio, sigma) in told.items()]


def _edge(id_: str, ratio: float, sigma: float, strict: float) -> ValueFinding:
    threshold = strict * float(np.log(RATIO))
    sigma = float(np.hypot(sigma, 0.12))
    call = plain(call_for(ratio, sigma, threshold))
    times = float(np.exp(abs(ratio)))
    harder = ratio > 0
    name = EDGES[id_][0]
    return ValueFinding(
        kind="edge",
        region=id_,
        amount=Amount(value=ratio, sigma=sigma),
        unit="logarithm of hardness",
        call=call,
        threshold=threshold,
        source="our choice",
        text=f"The {name} is {times:.1f} times as {'hard' if harder else 'soft'} as the sitter's, beside the other "
        "edges of the painting.",
        paint="opaque",
        mend="Soften it with a dry brush while wet, or with half-tone laid across it."
        if harder
        else "Restate it with opaque paint, one side against the other.",
    )


def _sitters(faces: Faces) -> _Edges:
    offsets = np.linspace(-REACH, REACH, 27) * UNIT
    places, parts, start = [], {}, 0
    for id_, (_, indices) in EDGES.items():
        at, across = _along(faces.brought.points[list(indices)])
        places.append(at[:, None] + offsets[:, None] * across[:, None])
        parts[id_] = slice(start, start + len(at))
        start += len(at)
    every = np.concatenate(places)
    return _Edges(places=every, parts=parts, seen=_sharp(read_at(faces.reference, every).astype(np.float64)))


def _hardness(seen: _Profiles, painted: _Profiles, part: slice) -> tuple[float, float] | None:
    """Logarithm of painted over seen hardness of one edge, and its sigma; ``None`` where there is no clear edge."""
    clear = (seen[1][part] > LEAST_CONTRAST) & (painted[1][part] > LEAST_CONTRAST)
    if clear.sum() < 5:
        return None
    ratio = np.log(painted[0][part][clear] / seen[0][part][clear])
    middle = median(ratio)
    # Neighbouring samples read the same stroke: about one in three is free.
    return middle, float(1.25 * robust(ratio - middle) / np.sqrt(clear.sum() / 3))


def _sharp(profile: Array) -> _Profiles:
    """Steepest slope over contrast, and the contrast, of (N, 27) profiles."""
    contrast = np.ptp(profile, axis=1)
    slope = np.abs(profile[:, 2:] - profile[:, :-2]).max(axis=1)
    return np.asarray(slope / np.maximum(contrast, 1e-3)), np.asarray(contrast)


def _along(line: Array) -> tuple[Array, Array]:
    """Places every 0.04 pupil distances along a line, and the unit normals there."""
    steps = np.hypot(*np.diff(line, axis=0).T)
    at = np.concatenate([[0.0], np.cumsum(steps)])
    where = np.arange(0.02 * UNIT, at[-1], 0.04 * UNIT)
    places = np.stack([np.interp(where, at, line[:, k]) for k in (0, 1)], axis=1)
    piece = np.clip(np.searchsorted(at, where) - 1, 0, len(steps) - 1)
    along = np.diff(line, axis=0)[piece] / np.maximum(steps[piece], 1e-6)[:, None]
    return places, np.stack([-along[:, 1], along[:, 0]], axis=1)


def plain(call: str) -> ValueCall:
    """A call of the measures as one of the values."""
    return "off" if call == "off" else "slight" if call == "slight" else "true" if call == "true" else "unsure"
