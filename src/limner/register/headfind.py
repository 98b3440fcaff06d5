"""The big shape on the reference: the head's outline with its hair, the hairline and the sides of the neck.

No detector gives them. The picture is parted into head and ground (Rother, Kolmogorov & Blake 2004, ACM TOG 23(3), as
OpenCV has it), begun from the mesh, and the parting is drawn to the strongest edge near it that goes on from ray to
ray. Where no such edge stands out, the place is not taken at all: a reason is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT
from limner.face.placeable import OUTLINE_HOURS
from limner.face.points import FEATURES
from limner.register.bring import Extent, Sitter
from limner.register.headpath import best_path

Array = NDArray[np.float64]
Plane = NDArray[np.float32]
Mask = NDArray[np.bool_]

WIDE = Extent(px=60.0, margin=1.05, above=0.75)
"""The working frame of the big shape: room for hair on every side, and a brush's width is a few px."""

RAYS = 5.0
"""Degrees from ray to ray."""
_MORE = 3
"""Rays past the ends of the outline, where a path is less sure."""
_OUT = 2.75
"""How far out the outline is looked for, pupil distances from the middle of the head."""
_BAND = 0.11
"""Width of the bands compared on both sides of an edge, pupil distances."""
_GAP = 0.02
"""Left out between them on each side."""
_CLEAR = 9.0
"""Difference of colour (CIE 1976, both bands' means) from which an edge stands out."""
_STRONG = 20.0
"""Difference of colour from which the strongest edge along a ray counts in full."""
_PULL = 0.16
"""Distance from the parting at which the edge has to be as strong again, pupil distances."""
ALONG = 0.13
"""How far along a contour its colours are averaged on each side, pupil distances."""
_ROOM = 0.16
"""What must be seen beyond an outline, pupil distances."""

_CROWN = 0.25
"""What surely is head above the mesh, or above the hairline where that is higher; pupil distances."""
_HAIR = 0.28
"""An outline less far above the hairline than this is not the head's, pupil distances."""
_FOREHEAD = 1.4
"""How far above the brows the hairline is looked for, pupil distances."""

_NECK_TOP, _NECK_STEP, _NECK_ROWS = -0.1, 0.03, 17
"""Where the neck is looked at below the chin: from, every, how often; pupil distances."""
_SHADE = np.array([0.4, 1.0, 1.0])
"""Say of L*, a* and b* in telling the neck from what is beside it: one side of it is often in shade."""
_NECK_SKIN = 12.0
"""Difference of colour from the middle of the neck (CIE 1976) from which it is no longer neck."""
_NECK_LEAST = 12
"""Rows in a run that must show both sides."""

_BLENDS = "the head does not stand out from what is behind it"
_CUT = "the hair runs out of the reference"


@dataclass(frozen=True, kw_only=True, eq=False)
class Lines:
    """Places on the reference's big shape and the way across each; working px."""

    outline: Array
    """(M, 2) array: the head's outline with its hair, one place a ray, clockwise from below picture left."""
    across: Array
    """(M, 2) array: unit vectors outwards."""
    clear: Mask
    """(M,) array: whether an edge stands out there and room is seen beyond it."""
    keys: Mapping[str, int]
    """Key of a point of the outline, the top of the head among them -> its row in ``outline``."""
    single: Mapping[str, tuple[Array, Array]]
    """Key of any other point -> its place and the unit vector across its edge."""
    reasons: Mapping[str, str]
    """Key -> why that point was not taken."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Head:
    """The reference in the working frame with what every search needs of it."""

    lab: Plane
    places: Array
    unit: float
    seen: tuple[float, float, float, float]
    """x0, y0, x1, y1: the part of the frame that the picture fills."""

    @property
    def up(self) -> Array:
        """Unit vector up the face."""
        d = self.places[PUPIL_LEFT] - self.places[PUPIL_RIGHT]
        return np.asarray(np.array([d[1], -d[0]]) / np.linalg.norm(d))

    @property
    def middle(self) -> Array:
        """Middle of the head: a little above the root of the nose."""
        return np.asarray(self.places[168] + 0.2 * self.unit * self.up)

    def shows(self, where: Array, room: float = 0.0) -> Mask:
        """(...) array: whether the picture shows (..., 2) places and ``room`` px round them."""
        x0, y0, x1, y1 = self.seen
        x, y = where[..., 0], where[..., 1]
        return np.asarray((x >= x0 + room) & (x <= x1 - room) & (y >= y0 + room) & (y <= y1 - room))


def find_lines(sitter: Sitter, size: tuple[int, int]) -> Lines:
    """Find the big shape on the reference.

    Args:
        sitter: the reference in the :data:`WIDE` frame.
        size: width and height of the reference as decoded, px.
    """
    (x0, y0), (x1, y1) = (np.array([[0, 0], size]) @ sitter.from_reference[:, :2].T) + sitter.from_reference[:, 2]
    height, width = sitter.lab.shape[:2]
    seen = max(float(x0), 0.0), max(float(y0), 0.0), min(float(x1), width - 1.0), min(float(y1), height - 1.0)
    soft = np.asarray(cv2.GaussianBlur(sitter.lab, (0, 0), 0.025 * WIDE.px), dtype=np.float32)
    head = _Head(lab=soft, places=sitter.places, unit=WIDE.px, seen=seen)
    single, why = _hairline(head)
    outline, across, clear, keys, reasons = _outline(head, single["tr"][0] if single else None)
    sides, why_neck = _neck(head)
    if single and not _higher(head, outline, single["tr"][0]):
        clear = np.zeros_like(clear)
        reasons = dict.fromkeys(keys, _BLENDS)
    return Lines(
        outline=outline,
        across=across,
        clear=clear,
        keys=keys,
        single={**single, **sides},
        reasons={**reasons, **why, **why_neck},
    )


def _outline(head: _Head, hairline: Array | None) -> tuple[Array, Array, Mask, dict[str, int], dict[str, str]]:
    turn = np.radians(np.arange(8 * 30.0 - _MORE * RAYS, 16 * 30.0 + (_MORE + 0.5) * RAYS, RAYS))
    ways = np.stack([np.sin(turn), -np.cos(turn)], axis=1)
    radii = np.arange(0.85, _OUT, 1 / head.unit) * head.unit
    where = head.middle + ways[:, None] * radii[None, :, None]
    shown = head.shows(where)
    above = 0.0 if hairline is None else float((hairline - head.places[10]) @ head.up)
    parting = _parting(head, max(above, 0.0) + _CROWN * head.unit)
    edge = _edges(head.lab, where, ways)
    inside = _sample(parting, where)[..., 0] > 0.5
    edge = np.where(shown, edge, 0.0)
    last = np.where((inside & shown).any(axis=1), inside.shape[1] - 1 - (inside & shown)[:, ::-1].argmax(axis=1), 0)
    far = np.abs(np.arange(len(radii))[None] - last[:, None]) / (_PULL * head.unit)
    strength = edge / np.maximum(np.where(far < 1, edge, 0.0).max(axis=1, keepdims=True), _STRONG)
    path = best_path(strength - 0.5 * np.minimum(far, 2.0) ** 2, stiff=0.005)
    rows = np.arange(len(ways))
    outline = where[rows, path]
    across = _normals(outline, ways)
    clear = (edge[rows, path] > _CLEAR) & head.shows(outline + _ROOM * head.unit * ways) & (far[rows, path] < 1)
    clear &= np.convolve(clear, [1, 1, 1], mode="same") >= 2
    keys = {f"ho_{hour}": _MORE + round(((hour - 8) % 12) * 30 / RAYS) for hour in OUTLINE_HOURS}
    keys["v"] = _top(head, outline)
    seen = head.shows(outline + _ROOM * head.unit * ways)
    reasons = {key: _BLENDS if seen[row] else _CUT for key, row in keys.items() if not clear[row]}
    return outline, across, clear, keys, reasons


def _higher(head: _Head, outline: Array, hairline: Array) -> bool:
    """Whether the outline leaves room for hair over the forehead; where it does not it is only the hairline."""
    aside = np.abs((outline - hairline) @ np.array([-head.up[1], head.up[0]]))
    rise = (outline - hairline) @ head.up
    over = rise[(aside < 0.3 * head.unit)]
    return bool(len(over) and over.max() > _HAIR * head.unit)


def _parting(head: _Head, crown: float) -> Plane:
    """(h, w, 1) array: 1 for the head with hair, neck and shoulders, 0 for the ground."""
    x0, y0, x1, y1 = (int(n) for n in np.round(head.seen))
    step = 2
    part = cv2.resize(head.lab[y0 : y1 + 1, x0 : x1 + 1], None, fx=1 / step, fy=1 / step, interpolation=cv2.INTER_AREA)
    eight = np.clip(part * [2.55, 1, 1] + [0, 128, 128], 0, 255).astype(np.uint8)
    unit = head.unit / step
    y, x = np.mgrid[0 : part.shape[0], 0 : part.shape[1]]
    away = (np.stack([x, y], axis=-1) - (head.middle - [x0, y0]) / step) / unit
    rise, aside = away @ head.up, away @ np.array([-head.up[1], head.up[0]])
    mask = np.full(part.shape[:2], cv2.GC_PR_BGD, dtype=np.uint8)
    mask[(aside / 1.3) ** 2 + ((rise - 0.1) / 1.65) ** 2 < 1] = cv2.GC_PR_FGD
    mask[(rise < -1.9) & (np.abs(aside) < 1.6)] = cv2.GC_PR_FGD
    mask[(rise > -0.5) & ((aside / 2.05) ** 2 + (rise / 2.3) ** 2 > 1)] = cv2.GC_BGD
    face = head.places[list(FEATURES["face"].indices)]
    # Above the brows what lies next to the mesh is head too, be it skin or hair.
    lift = np.clip((face - head.places[9]) @ head.up / head.unit / 0.6, 0, 1)[:, None]
    outwards = (face - head.places[9]) / np.linalg.norm(face - head.places[9], axis=1, keepdims=True)
    face = face + crown * lift * outwards
    cv2.fillPoly(mask, [np.round((face - [x0, y0]) / step).astype(np.int32)], int(cv2.GC_FGD))
    models = np.zeros((1, 65)), np.zeros((1, 65))
    cv2.setRNGSeed(7)
    cv2.grabCut(eight, mask, None, *models, 2, cv2.GC_INIT_WITH_MASK)  # type: ignore[call-overload]
    taken = ((mask == cv2.GC_FGD) | (mask == cv2.GC_PR_FGD)).astype(np.uint8)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5))
    taken = np.asarray(cv2.morphologyEx(taken, cv2.MORPH_OPEN, kernel), dtype=np.uint8)
    _, labels = cv2.connectedComponents(taken)
    nose = np.clip(np.round((head.places[4] - [x0, y0]) / step).astype(int), 0, [part.shape[1] - 1, part.shape[0] - 1])
    own = (labels == labels[nose[1], nose[0]]).astype(np.float32)
    whole = np.zeros((*head.lab.shape[:2], 1), dtype=np.float32)
    size = x1 + 1 - x0, y1 + 1 - y0
    whole[y0 : y1 + 1, x0 : x1 + 1, 0] = cv2.resize(own, size, interpolation=cv2.INTER_LINEAR)
    return whole


def _edges(lab: Plane, where: Array, ways: Array) -> Array:
    """(M, R) array: difference of colour between what lies beyond (M, R, 2) places and what lies before them."""
    steps = np.linspace(_GAP, _GAP + _BAND, 4, dtype=np.float32) * np.float32(WIDE.px)
    here, out = where.astype(np.float32), ways[:, None].astype(np.float32)
    beyond, before = (sum(_sample(lab, here + sign * step * out) for step in steps) for sign in (1, -1))
    # Neighbouring rays are averaged, so that a single strand of hair is no outline.
    apart = (beyond - before) / np.float32(len(steps))
    apart = np.asarray(cv2.blur(apart, (1, 3), borderType=cv2.BORDER_REPLICATE), dtype=np.float64)
    return np.asarray(np.linalg.norm(apart, axis=-1))


def _normals(line: Array, ways: Array) -> Array:
    """(M, 2) unit vectors across a line, on the side of ``ways``."""
    smooth = np.stack(
        [np.convolve(np.pad(line[:, k], 3, mode="edge"), np.ones(7) / 7, "valid") for k in (0, 1)], axis=1
    )
    along = np.gradient(smooth, axis=0)
    across = np.stack([-along[:, 1], along[:, 0]], axis=1)
    across /= np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-9)
    across *= np.sign((across * ways).sum(axis=1, keepdims=True)) + 1e-12
    mixed = across + 0.5 * ways
    return np.asarray(mixed / np.linalg.norm(mixed, axis=1, keepdims=True))


def _top(head: _Head, outline: Array) -> int:
    """Row of the outline's place straight up the face from its middle."""
    away = outline - head.middle
    aside = np.abs(away @ np.array([-head.up[1], head.up[0]]))
    return int(np.where(away @ head.up > 0, aside, np.inf).argmin())


def _hairline(head: _Head) -> tuple[dict[str, tuple[Array, Array]], dict[str, str]]:
    """The first lasting change of colour up the middle of the forehead."""
    up, aside = head.up, np.array([-head.up[1], head.up[0]])
    start = head.places[9]
    rise = np.arange(0.0, _FOREHEAD * head.unit, 1.0)
    lanes = np.linspace(-0.14, 0.14, 7) * head.unit
    where = start + rise[:, None, None] * up + lanes[None, :, None] * aside
    strip = _sample(head.lab, where)
    brow = int(np.clip((head.places[151] - start) @ up, 6, len(rise) - 2))
    skin = strip[: brow + 1].reshape(-1, 3)
    usual, spread = np.median(skin, axis=0), float(np.linalg.norm(skin.std(axis=0)))
    off = np.linalg.norm(np.median(strip, axis=1) - usual, axis=1)
    far = max(12.0, 3.0 * spread)
    lasting = int(0.14 * head.unit)
    if spread > 9:
        return {}, {"tr": "hair or shadow lies over the forehead"}
    for row in range(brow, len(rise) - lasting):
        if (off[row : row + lasting] > far).all():
            break
    else:
        return {}, {"tr": "no hairline is seen above the forehead"}
    near = slice(max(row - int(0.1 * head.unit), 0), row + int(0.3 * head.unit))
    edge = _edges(head.lab, where[near].transpose(1, 0, 2), np.repeat(up[None], len(lanes), axis=0)).mean(axis=0)
    best = near.start + int(edge.argmax())
    place = start + rise[best] * up
    if edge.max() < _CLEAR or not head.shows(place, _ROOM * head.unit):
        return {}, {"tr": "no hairline is seen above the forehead"}
    return {"tr": (place, up)}, {}


def _neck(head: _Head) -> tuple[dict[str, tuple[Array, Array]], dict[str, str]]:
    """Both sides of the neck in a run of rows under the chin, drawn as two straight lines."""
    keys = ("nt_right", "nt_left", "nb_right", "nb_left")

    def not_taken(reason: str) -> tuple[dict[str, tuple[Array, Array]], dict[str, str]]:
        return {}, dict.fromkeys(keys, reason)

    down, aside = -head.up, np.array([-head.up[1], head.up[0]])
    drops = (_NECK_TOP + _NECK_STEP * np.arange(_NECK_ROWS)) * head.unit
    start = head.places[152] + drops[:, None] * down
    out = np.arange(0.3, 1.25, 1 / head.unit) * head.unit
    rows = int(head.shows(start, ALONG * head.unit).sum())
    if rows < _NECK_LEAST:
        return not_taken("the neck runs out of the reference")
    lanes = np.linspace(-0.15, 0.15, 5)[None, :, None] * head.unit * aside
    usual = np.median(_sample(head.lab, start[:, None] + lanes + 0.12 * head.unit * down), axis=1)
    found = []
    for sign in (-1.0, 1.0):
        where = start[:rows, None] + sign * out[None, :, None] * aside
        edge = _edges(head.lab, where, np.repeat(sign * aside[None], rows, axis=0))
        edge = np.where(head.shows(where, 0.05 * head.unit), edge, 0.0)
        lab = _sample(head.lab, where)
        other = np.linalg.norm((lab - usual[:rows, None]) * _SHADE, axis=-1) > _NECK_SKIN
        passed = np.cumsum(other, axis=1) / head.unit / 0.1
        near = np.where(passed < 1, edge, 0.0).max(axis=1, keepdims=True)
        path = best_path(edge / np.maximum(near, _STRONG) - np.minimum(passed, 2.0), stiff=0.05)
        line = np.polyfit(drops[:rows], out[path], 1)
        stray = np.abs(out[path] - np.polyval(line, drops[:rows])) / head.unit
        strong = np.median(edge[np.arange(rows), path])
        if strong < _CLEAR or np.sqrt((stray**2).mean()) > 0.025 or abs(line[0]) > 0.45:
            return not_taken("the neck does not stand out from what is beside it")
        found.append((sign, line))
    single = {}
    for abbr, drop in (("nt", drops[0] + 0.06 * head.unit), ("nb", drops[rows - 1] - 0.06 * head.unit)):
        for side, (sign, line) in zip(("right", "left"), found, strict=True):
            place = head.places[152] + drop * down + sign * np.polyval(line, drop) * aside
            single[f"{abbr}_{side}"] = (np.asarray(place), sign * aside)
    return single, {}


def _sample(plane: Plane, where: Array) -> Array:
    """(..., k) array: the (h, w, k) plane at (..., 2) places."""
    flat = where.reshape(len(where), -1, 2).astype(np.float32)
    drawn = cv2.remap(plane, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(drawn, dtype=np.float64).reshape(*where.shape[:-1], -1)
