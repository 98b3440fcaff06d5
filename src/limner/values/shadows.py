"""The shapes of the shadows: the edge between light and shadow, and cast shadows; where they are painted elsewhere."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.compare.calls import call_for
from limner.face.points import FEATURES
from limner.values.bring import UNIT
from limner.values.edges import plain
from limner.values.faces import Faces, Mask, Plane
from limner.values.masses import softened, thresholds
from limner.values.shadowshift import Edge, Shift, onto_the_edge, shift_of
from limner.values.steps import NOISE, Range
from limner.valuesresult import Amount, Paint, ShadowShape, ValueFinding, ValuePlan

Array = NDArray[np.float64]

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
_ZONE_OF = {region: name for name, regions in ZONES.items() for region in regions}
CASTS: Mapping[str, tuple[int, ...]] = {
    "cast shadow of the nose": FEATURES["nose_base"].indices,
    "shadow under the sitter's right brow": (46, 53, 52, 65, 55),
    "shadow under the sitter's left brow": (276, 283, 282, 295, 285),
    "shadow under the lower lip": (146, 91, 181, 84, 17, 314, 405, 321, 375),
}
"""Cast shadows -> mesh points of the edge they hang from."""
HANGS = 0.1
"""Pupil distances between that edge and the shadow that hangs from it, at most (our choice)."""
LEAST_SHAPE, MOST_SHAPE = 0.008, 0.3
"""Squared pupil distances: less is a line, more is the dark side of the face and no shape of its own (our choice)."""
MENDS: Mapping[Paint, str] = {
    "opaque": "Bring the light back with opaque paint.",
    "glaze": "Carry the shadow on with thin transparent paint.",
}


@dataclass(frozen=True, kw_only=True)
class Scale:
    """How lengths on the painting are told."""

    pupil_distance: float
    """px of the decoded painting."""
    mm_per_px: Amount


def shadows(
    faces: Faces, plan: ValuePlan, whole: Range, scale: Scale, strict: float
) -> tuple[list[ValueFinding], tuple[ShadowShape, ...]]:
    """Findings on the shadows' edges, shape by shape and zone by zone, and the shapes as lines on the painting.

    The two-value threshold of the reference parts light from shadow in both; the painted range is undone first. Nothing
    is said where light and shadow lie too near each other to have an edge.
    """
    seen, painted = softened(faces.aim, 0.03), softened(whole.undone(faces.painting), 0.03)
    inside = faces.flesh
    # A block-in parts light from shadow where this painter chose to; its shapes are judged by that edge.
    broad = faces.aim is not faces.reference
    cut = thresholds(seen[faces.outline].astype(np.float64), 2)[0] if broad else plan.thresholds[0]
    light, dark = seen[inside & (seen >= cut)], seen[inside & (seen < cut)]
    if min(len(light), len(dark)) < 0.05 * inside.sum() or float(np.median(light) - np.median(dark)) < CLEAR:
        return [], ()
    at, normal, steep = _boundary(seen, cut, inside)
    if len(at) < 12:
        return [], ()
    edge = Edge(at=onto_the_edge(at, normal, seen, cut), normal=normal, steep=steep, painted=painted, cut=cut)
    casts = _casts(faces, inside & (seen < cut))
    owner = _owners(edge, casts)
    zone = np.array([_zone(region) for region in faces.regions_at(at)])
    zone[owner != ""] = ""
    doubt = float(np.hypot(NOISE, min(whole.scatter, 0.5)))
    found = []
    for names, named in ((casts, owner), (ZONES, zone)):
        for name in names:
            part = edge.part(named == name)
            shift = shift_of(part, doubt, broad=broad)
            if shift is not None:
                found.append(_displaced(faces, name, part, shift, scale, strict))
    return found, _shapes(faces, casts, seen < cut, painted < cut)


def _boundary(seen: Plane, cut: float, inside: Mask) -> tuple[Array, Array, Array]:
    """Places on the shadow's edge in the reference, the way to the light, steps per px there; at most 400 of each."""
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
    length = np.hypot(*slope.T).astype(np.float64)
    return places, np.asarray(slope / length[:, None], dtype=np.float64), length / UNIT


def _casts(faces: Faces, dark: Mask) -> dict[str, Mask]:
    """The cast shadows of the reference that stand as shapes of their own: name -> where it lies."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(dark.astype(np.uint8), connectivity=4)
    out: dict[str, Mask] = {}
    taken: set[int] = set()
    for name, indices in CASTS.items():
        line = faces.brought.points[list(indices)]
        if not np.isfinite(line).all():
            continue
        near = np.zeros(faces.size, np.uint8)
        cv2.polylines(near, [np.rint(line).astype(np.int32)], False, 1, 2 * round(HANGS * UNIT) + 1)
        below = near.astype(bool) & (np.arange(faces.size[0])[:, None] > float(line[:, 1].min()))
        sizes = {int(k): int(n) for k, n in zip(*np.unique(labels[below & dark], return_counts=True), strict=True) if k}
        k = max(sizes, key=lambda key: sizes[key], default=0)
        area = float(stats[k, cv2.CC_STAT_AREA]) / UNIT**2
        if k and k not in taken and count > 1 and LEAST_SHAPE <= area <= MOST_SHAPE:
            taken.add(k)
            out[name] = np.asarray(labels == k)
    return out


def _owners(edge: Edge, casts: Mapping[str, Mask]) -> NDArray[np.str_]:
    """Name of the cast shadow each place of the edge belongs to; empty where it is the edge of light and shadow."""
    owner = np.full(len(edge.at), "", dtype="<U40")
    behind = np.rint(edge.at - 2 * edge.normal).astype(int)
    for name, mask in casts.items():
        wide = cv2.dilate(mask.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
        row, column = (np.clip(behind[:, k], 0, n - 1) for k, n in ((1, mask.shape[0]), (0, mask.shape[1])))
        owner[wide[row, column]] = name
    return owner


def _zone(region: str) -> str:
    return _ZONE_OF.get(region, "")


def _displaced(faces: Faces, name: str, edge: Edge, shift: Shift, scale: Scale, strict: float) -> ValueFinding:
    cast, length, sigma = name in CASTS, float(np.hypot(*shift.move)) / UNIT, shift.sigma
    middle = np.median(edge.at, axis=0)
    start = faces.in_painting(float(middle[0]), float(middle[1]))
    way = _on_the_painting(faces, middle, shift.move)
    eye = _eye_width(faces)
    share, threshold, doubt = length / eye, strict * DISPLACED, sigma / UNIT / eye
    call = plain(call_for(share, doubt, threshold))
    if call == "slight" and share < 1.96 * doubt:
        call = "true"  # a length is never negative, so that chance alone makes one
    mm = scale.mm_per_px.value
    in_mm = Amount(value=None, sigma=None)
    told = f"{100 * share:.0f} % of an eye's width too far {direction(way)}, give or take {196 * doubt:.0f}"
    if mm is not None:
        px = length * scale.pupil_distance
        doubt_mm = float(np.hypot(sigma / UNIT * scale.pupil_distance * mm, px * (scale.mm_per_px.sigma or 0)))
        in_mm = Amount(value=px * mm, sigma=doubt_mm)
        told = f"{in_mm.value:.0f} mm too far {direction(way)}, give or take {max(1.96 * doubt_mm, 0.5):.0f}"
    paint: Paint = "opaque" if shift.lighter else "glaze"
    return ValueFinding(
        kind="cast shadow" if cast else "shadow edge",
        region=name,
        amount=Amount(value=share, sigma=doubt),
        unit="eye widths",
        call=call,
        threshold=threshold,
        source="our choice",
        text=f"The {name} lies {told}." if cast else f"The shadow's edge on the {name} lies {told}.",
        paint=paint,
        mend=MENDS[paint],
        place=start,
        move=(float(way[0]), float(way[1])),
        move_mm=in_mm,
    )


def _on_the_painting(faces: Faces, at: Array, shift: Array) -> Array:
    """(2,) array: a move in the frame as one on the painting, turned with its head; pupil distances."""
    length = float(np.hypot(*shift))
    if length < 1e-6:
        return np.zeros(2)
    ends = np.array([faces.in_painting(float(x), float(y)) for x, y in (at, at + 40 * shift / length)])
    way = ends[1] - ends[0]
    return np.asarray(way / max(float(np.hypot(*way)), 1e-6) * length / UNIT)


def _shapes(faces: Faces, casts: Mapping[str, Mask], seen: Mask, painted: Mask) -> tuple[ShadowShape, ...]:
    """The edges as lines on the painting: of each cast shadow, and of light and shadow everywhere else."""
    inside = cv2.erode(faces.flesh.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    every = np.zeros(faces.size, bool)
    belongs, is_painted = _outlines(seen), _outlines(painted)
    out = []
    for name, mask in casts.items():
        wide = 2 * round(0.15 * UNIT) + 1
        round_it = cv2.dilate(mask.astype(np.uint8), np.ones((wide, wide), np.uint8)) > 0
        every |= round_it
        within = inside & round_it
        out.append((name, _lines(faces, _outlines(mask), within), _lines(faces, is_painted, within)))
    rest = inside & ~every
    out.append(("edge of light and shadow", _lines(faces, belongs, rest), _lines(faces, is_painted, rest)))
    return tuple(ShadowShape(name=name, belongs=should, painted=is_at) for name, should, is_at in out)


def _outlines(dark: Mask) -> list[NDArray[np.int32]]:
    """Edges of a dark shape, each an (N, 2) array, px of the frame."""
    found = cv2.findContours(dark.astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)[0]
    return [np.asarray(outline[:, 0], dtype=np.int32) for outline in found]


def _lines(
    faces: Faces, outlines: list[NDArray[np.int32]], inside: Mask
) -> tuple[tuple[tuple[float, float], ...], ...]:
    """Edges of a dark shape as lines, px of the decoded painting; where it only ends at the mask there is no edge."""
    out = []
    for outline in outlines:
        places = outline
        there = inside[places[:, 1], places[:, 0]]
        if there.all():
            runs = [np.vstack([places, places[:1]])]
        else:
            first = int(np.argmin(there))
            places, there = np.roll(places, -first, axis=0), np.roll(there, -first)
            ends = np.flatnonzero(np.diff(np.concatenate([[False], there, [False]]).astype(int)))
            runs = [places[a:b] for a, b in ends.reshape(-1, 2)]
        for run in runs:
            if len(run) >= 0.12 * UNIT:
                line = faces.brought.to_painting[run[::4, 1], run[::4, 0]]
                out.append(tuple((round(float(x), 2), round(float(y), 2)) for x, y in line))
    return tuple(out)


def _eye_width(faces: Faces) -> float:
    p = faces.brought.points
    widths = [float(np.hypot(*(p[a] - p[b]))) / UNIT for a, b in ((33, 133), (263, 362))]
    return float(np.nanmax(widths)) if np.isfinite(widths).any() else EYE


def direction(way: Array) -> str:
    """The picture's direction, or two where neither is much the larger.

    >>> direction(np.array([3.0, -0.5])), direction(np.array([-2.0, 1.5]))
    ('toward picture right', 'down and toward picture left')
    """
    across = "toward picture right" if way[0] > 0 else "toward picture left"
    upward = "down" if way[1] > 0 else "up"
    if abs(way[0]) > 2 * abs(way[1]):
        return across
    return upward if abs(way[1]) > 2 * abs(way[0]) else f"{upward} and {across}"
