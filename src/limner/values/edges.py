"""Edges harder or softer than the sitter's, and the edge between light and shadow displaced."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.compare.calls import call_for
from limner.face.points import FEATURES
from limner.values.bring import UNIT, read_at
from limner.values.faces import Faces, Plane
from limner.values.masses import softened
from limner.values.steps import Range
from limner.valuesresult import Amount, ValueCall, ValueFinding, ValuePlan

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
CLEAR = 1.5
"""Steps between the middle of the lights and that of the shadows, below which the shadow has no edge to follow."""
DISPLACED = 0.15
"""Of an eye's width: a shadow's edge that far off is called off (our choice)."""
EYE = 0.46
"""Width of an eye in pupil distances, where the sitter's own cannot be taken."""
ZONES: Mapping[str, tuple[str, ...]] = {
    "sitter's right cheek": ("cheek_right", "face_side_right", "under_eye_right", "mouth_side_right", "jaw_right"),
    "sitter's left cheek": ("cheek_left", "face_side_left", "under_eye_left", "mouth_side_left", "jaw_left"),
    "forehead": ("forehead_top", "forehead", "temple_right", "temple_left", "between_brows"),
    "nose": (
        "nose_bridge", "nose_side_right", "nose_side_left", "nose_ball", "nose_wing_right", "nose_wing_left",
        "nose_underside",
    ),
    "upper-lip area": ("philtrum", "lip_area_right", "lip_area_left"),
    "chin": ("chin", "under_lip", "neck"),
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Scale:
    """How lengths on the painting are told."""

    pupil_distance: float
    """px of the decoded painting."""
    mm_per_px: Amount


def edges(faces: Faces, whole: Range, strict: float) -> list[ValueFinding]:
    """Every edge that is clear in both pictures, against the hardness of the painting as a whole."""
    painting = whole.undone(faces.painting)
    read = {id_: _hardness(faces, painting, indices) for id_, (_, indices) in EDGES.items()}
    told = {id_: pair for id_, pair in read.items() if pair is not None}
    if len(told) < 4:
        return []
    usual = float(np.median([ratio for ratio, _ in told.values()]))
    return [_edge(id_, ratio - usual, sigma, strict) for id_, (ratio, sigma) in told.items()]


def _edge(id_: str, ratio: float, sigma: float, strict: float) -> ValueFinding:
    threshold = strict * float(np.log(RATIO))
    sigma = float(np.hypot(sigma, 0.12))
    call = _plain(call_for(ratio, sigma, threshold))
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


def _hardness(faces: Faces, painting: Plane, indices: tuple[int, ...]) -> tuple[float, float] | None:
    """Logarithm of painted over seen hardness of one edge, and its sigma; ``None`` where there is no clear edge."""
    at, across = _along(faces.brought.points[list(indices)])
    offsets = np.linspace(-REACH, REACH, 27) * UNIT
    places = at[:, None] + offsets[:, None] * across[:, None]
    found = [_sharp(_read(plane, places)) for plane in (faces.reference, painting)]
    clear = (found[0][1] > LEAST_CONTRAST) & (found[1][1] > LEAST_CONTRAST)
    if clear.sum() < 5:
        return None
    ratio = np.log(found[1][0][clear] / found[0][0][clear])
    spread = 1.4826 * float(np.median(np.abs(ratio - np.median(ratio))))
    # Neighbouring samples read the same stroke: about one in three is free.
    return float(np.median(ratio)), float(1.25 * spread / np.sqrt(clear.sum() / 3))


def _sharp(profile: Array) -> tuple[Array, Array]:
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


def _read(plane: Plane, places: Array) -> Array:
    return np.asarray(read_at(plane, places), dtype=np.float64)


def shadow_edges(faces: Faces, plan: ValuePlan, whole: Range, scale: Scale, strict: float) -> list[ValueFinding]:
    """The edge between light and shadow, zone by zone: which way and how far it is off."""
    seen, painted = softened(faces.reference, 0.03), softened(whole.undone(faces.painting), 0.03)
    cut = plan.thresholds[0]
    inside = faces.flesh
    light, dark = seen[inside & (seen >= cut)], seen[inside & (seen < cut)]
    if min(len(light), len(dark)) < 0.05 * inside.sum() or float(np.median(light) - np.median(dark)) < CLEAR:
        return []
    at, normal = _boundary(seen, cut, inside)
    if len(at) < 12:
        return []
    offsets = np.linspace(-0.3, 0.3, 41) * UNIT
    places = at[:, None] + offsets[:, None] * normal[:, None]
    moved = _crossing(_read(painted, places), cut, offsets) - _crossing(_read(seen, places), cut, offsets)
    zone = np.array([_zone(faces.region_at(float(x), float(y))) for x, y in at])
    out = []
    for name in ZONES:
        some = (zone == name) & np.isfinite(moved)
        if some.sum() >= 10:
            out.append(_displaced(faces, name, at[some], normal[some], moved[some], scale, strict))
    return out


def _boundary(seen: Plane, cut: float, inside: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Places on the shadow's edge in the reference and the direction toward the light; at most 400 of each."""
    gx, gy = (cv2.Sobel(seen, cv2.CV_32F, *way, scale=UNIT / 8) for way in ((1, 0), (0, 1)))
    steep = np.hypot(gx, gy)
    over = seen >= cut
    edge = (over[:-1, :-1] != over[1:, :-1]) | (over[:-1, :-1] != over[:-1, 1:])
    well_inside = cv2.erode(inside.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    edge &= well_inside[:-1, :-1] & (steep[:-1, :-1] > 3.0)
    rows, columns = np.nonzero(edge)
    keep = slice(None, None, max(len(rows) // 400, 1))
    rows, columns = rows[keep], columns[keep]
    slope = np.stack([gx[rows, columns], gy[rows, columns]], axis=1)
    places = np.stack([columns, rows], axis=1).astype(np.float64)
    return places, np.asarray(slope / np.hypot(*slope.T)[:, None], dtype=np.float64)


def _crossing(profile: Array, cut: float, offsets: Array) -> Array:
    """Offset nearest to nothing at which each (N, K) profile rises through the cut; NaN where it does not."""
    low, high = profile[:, :-1] - cut, profile[:, 1:] - cut
    rises = (low < 0) & (high >= 0)
    share = np.where(rises, -low / np.where(rises, high - low, 1), 0)
    where = offsets[:-1] + share * (offsets[1] - offsets[0])
    apart = np.where(rises, np.abs(where), np.inf)
    best = apart.argmin(axis=1)
    rows = np.arange(len(profile))
    return np.where(np.isfinite(apart[rows, best]), where[rows, best], np.nan)


def _zone(region: str) -> str:
    return next((name for name, regions in ZONES.items() if region in regions), "")


def _displaced(
    faces: Faces, name: str, at: Array, normal: Array, moved: Array, scale: Scale, strict: float
) -> ValueFinding:
    middle = float(np.median(moved))
    spread = 1.4826 * float(np.median(np.abs(moved - middle)))
    sigma = float(np.hypot(0.015 * UNIT, 1.25 * spread / np.sqrt(len(moved) / 6))) / UNIT
    toward = normal.mean(axis=0)
    toward = toward / max(float(np.hypot(*toward)), 1e-6)
    x, y = (float(v) for v in np.median(at, axis=0))
    start, end = faces.in_painting(x, y), faces.in_painting(x + 40 * toward[0], y + 40 * toward[1])
    way = np.array([end[0] - start[0], end[1] - start[1]])
    way = way / max(float(np.hypot(*way)), 1e-6) * middle / UNIT
    eye = _eye_width(faces)
    share, threshold = abs(middle) / UNIT / eye, strict * DISPLACED
    call = _plain(call_for(share, sigma / eye, threshold))
    mm = scale.mm_per_px.value
    length = abs(middle) / UNIT * scale.pupil_distance
    in_mm = Amount(value=None, sigma=None)
    if mm is not None:
        in_mm = Amount(
            value=length * mm,
            sigma=float(np.hypot(sigma * scale.pupil_distance * mm, length * (scale.mm_per_px.sigma or 0))),
        )
    told = f"{in_mm.value:.0f} mm" if in_mm.value is not None else f"{100 * share:.0f} % of an eye's width"
    return ValueFinding(
        kind="shadow edge",
        region=name,
        amount=Amount(value=share, sigma=sigma / eye),
        unit="eye widths",
        call=call,
        threshold=threshold,
        source="our choice",
        text=f"The shadow's edge on the {name} lies {told} too far {_direction(way)}.",
        paint="opaque" if middle < 0 else "glaze",
        mend="Bring the light back with opaque paint."
        if middle > 0
        else "Carry the shadow on with thin transparent paint.",
        place=start,
        move=(float(way[0]), float(way[1])),
        move_mm=in_mm,
    )


def _eye_width(faces: Faces) -> float:
    p = faces.brought.points
    widths = [float(np.hypot(*(p[a] - p[b]))) / UNIT for a, b in ((33, 133), (263, 362))]
    return float(np.nanmax(widths)) if np.isfinite(widths).any() else EYE


def _direction(way: Array) -> str:
    if abs(way[0]) >= abs(way[1]):
        return "toward picture right" if way[0] > 0 else "toward picture left"
    return "down" if way[1] > 0 else "up"


def _plain(call: str) -> ValueCall:
    return "off" if call == "off" else "slight" if call == "slight" else "true" if call == "true" else "unsure"
