"""The sitter's shadow: its edge in parts, its cast shadows, its lines; one for all paintings but a block-in's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.face.points import FEATURES
from limner.values.bring import UNIT
from limner.values.faces import Faces, Mask, Plane
from limner.values.shadowshift import Edge, Part, onto_the_edge

Array = NDArray[np.float64]
Line = NDArray[np.int32]
"""(N, 2) array, px of the frame."""

CLEAR = 1.5
"""Steps between the middle of the lights and that of the shadows, below which the shadow has no edge to follow."""
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


@dataclass(frozen=True, kw_only=True, eq=False)
class Shape:
    """A shadow's shape, or the edge of light and shadow outside all of them."""

    name: str
    lines: list[Line]
    """The sitter's edge."""
    within: Mask
    """Where the painted edge counts as its own."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Shadow:
    """What of the sitter's shadow is looked for in a painting."""

    edge: Edge
    parts: tuple[Part, ...]
    """The edge cast shadow by cast shadow and zone by zone."""
    shapes: tuple[Shape, ...]
    eye: float
    """Width of an eye, pupil distances."""


def shadow_of(faces: Faces, seen: Plane, cut: float) -> Shadow | None:
    """The shadow below a value; ``None`` where light and shadow lie too near each other to have an edge.

    ``seen`` are the sitter's values, softened.
    """
    inside = faces.flesh
    light, dark = seen[inside & (seen >= cut)], seen[inside & (seen < cut)]
    if min(len(light), len(dark)) < 0.05 * inside.sum() or float(np.median(light) - np.median(dark)) < CLEAR:
        return None
    at, normal, steep = _boundary(seen, cut, inside)
    if len(at) < 12:
        return None
    edge = Edge(at=onto_the_edge(at, normal, seen, cut), normal=normal, steep=steep, cut=cut)
    casts = _casts(faces, inside & (seen < cut))
    owner = _owners(edge, casts)
    zone = np.array([_ZONE_OF.get(region, "") for region in faces.regions_at(at)])
    named = np.where(owner == "", zone, owner)
    whole, parts = _in_parts(edge, {name: named == name for name in (*casts, *ZONES)})
    shapes = _shapes(faces, casts, seen < cut)
    return Shadow(edge=whole, parts=parts, shapes=shapes, eye=_eye_width(faces))


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


def _in_parts(edge: Edge, named: Mapping[str, Mask]) -> tuple[Edge, tuple[Part, ...]]:
    """The edge put in order part after part, without what belongs to none, and where each part is in it."""
    order = [np.flatnonzero(some) for some in named.values()]
    whole, parts, start = edge.of(np.concatenate(order)), [], 0
    for name, some in zip(named, order, strict=True):
        if len(some):
            end = start + len(some)
            middle = np.median(whole.at[start:end], axis=0)
            steep = float(np.median(whole.steep[start:end]))
            parts.append(Part(name=name, places=slice(start, end), middle=middle, steep=steep))
            start = end
    return whole, tuple(parts)


def _shapes(faces: Faces, casts: Mapping[str, Mask], dark: Mask) -> tuple[Shape, ...]:
    inside = cv2.erode(faces.flesh.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    every = np.zeros(faces.size, bool)
    out = []
    for name, mask in casts.items():
        wide = 2 * round(0.15 * UNIT) + 1
        round_it = cv2.dilate(mask.astype(np.uint8), np.ones((wide, wide), np.uint8)) > 0
        every |= round_it
        within = inside & round_it
        out.append(Shape(name=name, lines=lines(outlines(mask), within), within=within))
    rest = inside & ~every
    return (*out, Shape(name="edge of light and shadow", lines=lines(outlines(dark), rest), within=rest))


def outlines(dark: Mask) -> list[Line]:
    """Edges of a dark shape."""
    found = cv2.findContours(dark.view(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)[0]
    return [np.asarray(outline[:, 0], dtype=np.int32) for outline in found]


def lines(outlined: list[Line], inside: Mask) -> list[Line]:
    """Edges of a dark shape, every fourth place of them; where a shape only ends at the mask there is no edge."""
    least = 0.12 * UNIT
    out = []
    for outline in outlined:
        there = inside[outline[:, 1], outline[:, 0]]
        if there.sum() < least - 1:
            continue
        if there.all():
            runs = [np.vstack([outline, outline[:1]])]
        else:
            first = int(np.argmin(there))
            places, there = np.roll(outline, -first, axis=0), np.roll(there, -first)
            ends = np.flatnonzero(np.diff(np.concatenate([[False], there, [False]]).astype(np.int8)))
            runs = [places[a:b] for a, b in ends.reshape(-1, 2) if b - a >= least]
        out += [run[::4] for run in runs if len(run) >= least]
    return out


def _eye_width(faces: Faces) -> float:
    p = faces.brought.points
    widths = [float(np.hypot(*(p[a] - p[b]))) / UNIT for a, b in ((33, 133), (263, 362))]
    return float(np.nanmax(widths)) if np.isfinite(widths).any() else EYE
