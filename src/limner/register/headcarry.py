"""The big shape carried to the painting: across each contour, the shift at which paint and photograph look alike.

A contour says nothing of moves along itself, so only the move across it is asked: the colours met on the way across,
averaged a little along the contour, are compared at every shift by their normalised correlation, and along the head's
outline the shifts are chosen together, without jumps. Several smoothings give the scatter. Where the painting has no
such edge, or several, the place gets no number but a reason.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.face.facepoints import POINT_COUNT, PUPIL_LEFT, PUPIL_RIGHT, FacePoints
from limner.face.placeable import ALL_COUNT, BEYOND
from limner.pictures.picture import Picture
from limner.register.bring import Brought, Sitter, apply, lay, sitter_of, turned_back
from limner.register.carried import CarriedHead
from limner.register.headfind import ALONG, WIDE, Lines, find_lines
from limner.register.headpath import best_path

Array = NDArray[np.float64]
Plane = NDArray[np.float32]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class Glance:
    """One way to compare; lengths in pupil distances."""

    blur: float
    across: float
    """Standard deviation of the window across the contour."""
    colour: float
    """Say of a* and b* against L*."""


GLANCES = (
    Glance(blur=0.025, across=0.10, colour=0.7),
    Glance(blur=0.04, across=0.15, colour=0.7),
    Glance(blur=0.035, across=0.11, colour=0.0),
)

_REACH = 0.4
"""Farthest shift, pupil distances."""
_STIFF = 0.01
"""Cost of one working px of difference from ray to ray, squared."""
_USUAL = 0.5
"""Shift that costs as much as half the greatest likeness, pupil distances."""
_ALIKE = 0.8
"""Least correlation at the chosen shift, mean of the glances. Where the ground was painted over in another colour and
the shift was wrong, it was 0.4 to 0.8; on faithful copies 0.9 and more."""
_SPREAD = 0.025
"""Greatest scatter of the glances' shifts, pupil distances."""
_EDGE, _EDGE_SHARE = 5.0, 0.25
"""Least difference of colour across the painted edge (CIE 1976), and least share of the reference's."""
_ROOM = 0.1
"""What the photo of the canvas must show beyond, pupil distances."""

NO_EDGE = "nothing like the reference's edge is painted there"
UNCLEAR = "the painted edge could lie in more than one place"
CUT = "it runs out of the photo of the canvas"


def carry_head(
    reference: Picture,
    points: FacePoints,
    painting: Picture,
    found: FacePoints,
    marks: Mapping[str, tuple[float, float, float]] = MappingProxyType({}),
) -> CarriedHead:
    """Find the big shape on the reference and say where it lies in the painting.

    Args:
        reference: the photograph worked from.
        points: its mesh points.
        painting: the photo of the canvas.
        found: the points found in it.
        marks: points placed by hand on the reference, as in :attr:`FacePoints.hand`; what the mesh does not have of
            them is carried instead of what is looked for.
    """
    sitter = sitter_of(reference, points, WIDE)
    brought = lay(sitter, painting.pixels, found.mean) if isinstance(sitter, Sitter) else sitter
    if not isinstance(brought, Brought):
        return _nothing(brought.reason)
    size = reference.pixels.shape[1], reference.pixels.shape[0]
    lines = brought.sitter.kept.made("lines", lambda: find_lines(brought.sitter, size))
    asked = _asked(lines, brought, {key: mark for key, mark in marks.items() if key in BEYOND})
    shifts, alike = _shifts(brought, asked)
    doubts = {**asked.reasons, **_doubts(brought, asked, shifts, alike, painting)}
    more = ALL_COUNT - POINT_COUNT
    runs, own = np.full((len(GLANCES), more, 2), np.nan), np.full((more, 2), np.nan)
    back = turned_back(brought.from_reference)
    for key, row in asked.keys.items():
        if key not in doubts:
            own[BEYOND[key] - POINT_COUNT] = apply(back, asked.places[row])
            there = asked.places[row] + shifts[:, row, None] * asked.across[row]
            runs[:, BEYOND[key] - POINT_COUNT] = apply(brought.to_painting, there)
    return CarriedHead(reference=own, painting=runs.mean(axis=0), runs=runs, doubts=doubts)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Asked:
    """The places whose shift is asked: first the outline's, as a chain, then single ones."""

    places: Array
    """(M, 2) array, working px."""
    across: Array
    """(M, 2) array, unit vectors."""
    clear: Mask
    """(M,) array: whether the reference shows an edge there."""
    chain: int
    """How many of them are the outline's."""
    keys: Mapping[str, int]
    """Key of a point -> its row."""
    reasons: Mapping[str, str]
    """Key -> why it cannot be asked."""

    @property
    def along(self) -> Array:
        """(M, 2) array, unit vectors."""
        return np.stack([-self.across[:, 1], self.across[:, 0]], axis=1)


def _asked(lines: Lines, brought: Brought, marks: Mapping[str, tuple[float, float, float]]) -> _Asked:
    single = dict(lines.single)
    for key, (x, y, _) in marks.items():
        place = apply(brought.from_reference, np.array([x, y]))
        single[key] = place, _way(key, place, brought.places)
    found = {key: row for key, row in lines.keys.items() if lines.clear[row] and key not in marks}
    chain = len(lines.outline)
    keys = {**found, **{key: chain + k for k, key in enumerate(single)}}
    ends = [np.stack([pair[k] for pair in single.values()]) if single else np.zeros((0, 2)) for k in (0, 1)]
    return _Asked(
        places=np.concatenate([lines.outline, ends[0]]),
        across=np.concatenate([lines.across, ends[1]]),
        clear=np.concatenate([lines.clear, np.ones(len(single), dtype=bool)]),
        chain=chain,
        keys=keys,
        reasons={key: reason for key, reason in lines.reasons.items() if key not in marks},
    )


def _way(key: str, place: Array, face: Array) -> Array:
    """Unit vector across the contour on which a point placed by hand lies."""
    eye_line = face[PUPIL_LEFT] - face[PUPIL_RIGHT]
    aside = eye_line / np.linalg.norm(eye_line)
    up = np.array([aside[1], -aside[0]])
    if key.startswith("ho_"):
        away = place - face[168]
        return np.asarray(away / max(float(np.linalg.norm(away)), 1e-9))
    if key.startswith(("nt_", "nb_")):
        return np.asarray(aside if key.endswith("left") else -aside)
    return np.asarray(-up if key == "pn" or key.startswith("sba_") else up)


def _shifts(brought: Brought, asked: _Asked) -> tuple[Array, Array]:
    """(K, M) shifts across each contour, working px, and (K, M) correlations there."""
    made = [_one(brought, asked, glance) for glance in GLANCES]
    return np.stack([shift for shift, _ in made]), np.stack([alike for _, alike in made])


def _one(brought: Brought, asked: _Asked, glance: Glance) -> tuple[Array, Array]:
    reach, half = round(_REACH * WIDE.px), round(2.2 * glance.across * WIDE.px)
    offsets = np.arange(-reach - half, reach + half + 1.0)
    whose = ("profiles", glance, asked.places.tobytes(), asked.across.tobytes())
    own = brought.sitter.kept.made(whose, lambda: _profiles(brought.reference, asked, offsets, glance))
    painted = _profiles(brought.painting, asked, offsets, glance)
    window = np.exp(-0.5 * (np.arange(-half, half + 1) / (glance.across * WIDE.px)) ** 2)
    like = _correlations(own[:, reach : reach + 2 * half + 1], painted, window / window.sum())
    tried = np.arange(-reach, reach + 1.0)
    score = like - 0.5 * (tried / (_USUAL * WIDE.px)) ** 2
    score[: asked.chain] *= np.where(asked.clear[: asked.chain], 1.0, 0.1)[:, None]
    columns = score.argmax(axis=1)
    columns[: asked.chain] = best_path(score[: asked.chain], _STIFF)
    rows = np.arange(len(columns))
    inner = np.clip(columns, 1, len(tried) - 2)
    before, here, after = (like[rows, inner + k] for k in (-1, 0, 1))
    bend = before - 2 * here + after
    fine = np.where(bend < -1e-6, 0.5 * (before - after) / np.minimum(bend, -1e-6), 0.0)
    return tried[inner] + np.clip(fine, -1, 1), like[rows, columns]


def _profiles(lab: Plane, asked: _Asked, offsets: Array, glance: Glance) -> Array:
    """(M, S, 3) array: mean colour along the contour at each offset across it."""
    soft = cv2.GaussianBlur(lab, (0, 0), glance.blur * WIDE.px)
    lanes = np.linspace(-ALONG, ALONG, 7) * WIDE.px
    along = asked.along
    where = (
        asked.places[:, None, None]
        + offsets[None, :, None, None] * asked.across[:, None, None]
        + lanes[None, None, :, None] * along[:, None, None]
    )
    count = len(asked.places)
    flat = where.reshape(count, -1, 2).astype(np.float32)
    drawn = cv2.remap(soft, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    mean = drawn.reshape(count, len(offsets), len(lanes), 3).mean(axis=2, dtype=np.float64)
    return np.asarray(mean * [1.0, glance.colour, glance.colour])


def _correlations(pattern: Array, painted: Array, window: Array) -> Array:
    """(M, D) array: normalised correlation of (M, W, 3) patterns with every (W, 3) stretch of (M, S, 3) profiles."""
    stretch = np.lib.stride_tricks.sliding_window_view(painted, pattern.shape[1], axis=1)
    own = pattern - (window[:, None] * pattern).sum(axis=1, keepdims=True)
    mean = stretch @ window
    cross = np.einsum("mdcw,mwc->md", stretch, own * window[:, None])
    power = (np.einsum("mdcw,w->mdc", stretch**2, window) - mean**2).sum(axis=-1)
    size = (window[:, None] * own**2).sum(axis=(1, 2))
    return np.asarray(cross / np.sqrt(np.maximum(power, 1.0) * np.maximum(size[:, None], 1.0)))


def _doubts(brought: Brought, asked: _Asked, shifts: Array, alike: Array, painting: Picture) -> dict[str, str]:
    """Key -> why the painting gives no number there."""
    there = asked.places + shifts.mean(axis=0)[:, None] * asked.across
    least = np.maximum(_EDGE_SHARE * _contrast(brought.reference, asked.places, asked.across), _EDGE)
    same = (alike.mean(axis=0) >= _ALIKE) & (_contrast(brought.painting, there, asked.across) >= least)
    # An outline is believed where the rays beside it find the same edge.
    beside = np.convolve(np.pad(same[: asked.chain], 2, mode="edge"), np.ones(5), "valid") >= 4
    same[: asked.chain] &= beside
    sides = np.array([-ALONG, ALONG])[:, None, None] * asked.along
    seen = apply(brought.to_painting, there + WIDE.px * (_ROOM * asked.across + sides))
    size = np.array([painting.pixels.shape[1] - 1, painting.pixels.shape[0] - 1])
    inside: Mask = np.asarray(((seen >= 0) & (seen <= size)).all(axis=(0, 2)))
    spread = shifts.std(axis=0, ddof=1) / WIDE.px
    said = {}
    for key, row in asked.keys.items():
        if not inside[row]:
            said[key] = CUT
        elif not same[row]:
            said[key] = NO_EDGE
        elif spread[row] > _SPREAD:
            said[key] = UNCLEAR
    return said


def _contrast(lab: Plane, places: Array, across: Array) -> Array:
    """(M,) array: difference of colour from one side of a contour to the other."""
    soft = cv2.GaussianBlur(lab, (0, 0), 0.03 * WIDE.px)
    both = np.stack([places + sign * 0.09 * WIDE.px * across for sign in (1.0, -1.0)]).astype(np.float32)
    colour = cv2.remap(soft, both[..., 0], both[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(np.linalg.norm(colour[0] - colour[1], axis=-1), dtype=np.float64)


def _nothing(reason: str) -> CarriedHead:
    none = np.full((ALL_COUNT - POINT_COUNT, 2), np.nan)
    return CarriedHead(
        reference=none,
        painting=none,
        runs=np.repeat(none[None], len(GLANCES), axis=0),
        doubts=dict.fromkeys(BEYOND, reason),
    )
