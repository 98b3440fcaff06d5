"""Hand-placed points joined with what was detected: the hand wins, with its own uncertainty."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Mapping
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from limner.errors import FaceError
from limner.face.byhand import HandPoint, HandPoints, check_belongs
from limner.face.facepoints import POINT_COUNT, FacePoints
from limner.face.placeable import PLACEABLE
from limner.face.points import FEATURES
from limner.pictures.picture import Picture

Array = NDArray[np.float64]

RUNS = 16
"""Readings made where there are none: enough that their scatter is the stated one and not a matter of luck."""

LEAST_POINTS = 2
"""Fewer make no length."""

_FOLLOWS = {78: 61, 308: 291, 469: 468, 470: 468, 471: 468, 472: 468, 474: 473, 475: 473, 476: 473, 477: 473}
"""Mesh points that go with another: the corners of the mouth's opening with the mouth's, the iris with its pupil."""

_STAYS = (10,)
"""Mesh point that holds the outline at the top of the forehead, where no named point does."""


def join_by_hand(found: FacePoints | None, placed: HandPoints, picture: Picture) -> FacePoints:
    """The face's points with those placed by hand in them.

    A detected point yields to one placed by hand; the outline between two moved points moves with them; a point said
    not to be seen is NaN. Without a detection everything not in the file is NaN, and the file's ``found`` points count.
    The readings of a hand-placed point scatter by its stated uncertainty, the same each time for the same picture.

    Args:
        found: what was detected; ``None`` where nothing was, or nothing is to be.
        placed: points in px of the stored picture.
        picture: the picture they were placed on.

    Raises:
        UsageError: if they were placed on another picture.
        FaceError: without a detection, if fewer than two points are given.
    """
    check_belongs(placed, picture)
    used = placed.by_hand if found is not None else dict(placed.points)
    if found is None and len(used) < LEAST_POINTS:
        raise FaceError(
            f"No face was found in '{picture.name}' and its points file holds {len(used)} points: at least "
            f"{LEAST_POINTS} are needed. Place more with: limner points."
        )
    base = _nothing() if found is None else _enough_runs(found)
    hand = {key: _decoded(used[key], placed.sigma_of(key), picture) for key in PLACEABLE if key in used}
    runs = _moved(base, hand, picture.digest or picture.name)
    for key in placed.unseen:
        runs[:, list(PLACEABLE[key].indices)] = np.nan
    mean = runs.mean(axis=0)
    return FacePoints(
        mean=mean,
        runs=runs,
        depth=base.depth,
        box=_box(mean, base.box if found is not None else None),
        found_by="hand" if found is None else found.found_by,
        hand=hand,
    )


def mesh_by_hand(hand: Iterable[str]) -> frozenset[int]:
    """The mesh points that the named keys stand for.

    >>> sorted(mesh_by_hand(["sto", "tr"]))
    [13, 14]
    """
    return frozenset(index for key in hand for index in PLACEABLE[key].indices)


def _decoded(point: HandPoint, sigma: float, picture: Picture) -> tuple[float, float, float]:
    scale = picture.scale
    return point.x * scale, point.y * scale, sigma * scale


def _nothing() -> FacePoints:
    empty = np.full((RUNS, POINT_COUNT, 2), np.nan)
    return FacePoints(mean=empty[0], runs=empty, depth=np.zeros(POINT_COUNT), box=(0, 0, 0, 0), found_by="hand")


def _enough_runs(found: FacePoints) -> FacePoints:
    """A single reading repeated: it has no scatter of its own, and the hand's needs room."""
    if len(found.runs) > 1:
        return found
    runs = np.repeat(found.runs, RUNS, axis=0)
    return FacePoints(mean=found.mean, runs=runs, depth=found.depth, box=found.box, found_by=found.found_by)


def _moved(base: FacePoints, hand: Mapping[str, tuple[float, float, float]], seed: str) -> Array:
    """(K, 478, 2) array, px: the readings with the hand's points in them and the outlines between following."""
    runs: Array = base.runs.copy()
    fixed: set[int] = set()
    # Points that stand for several of the mesh first, so that one set for itself (an edge of the lips) keeps its place.
    for key in sorted(hand, key=lambda k: -len(PLACEABLE[k].indices)):
        indices = PLACEABLE[key].indices
        if not indices:
            continue
        x, y, sigma = hand[key]
        places = np.array([x, y]) + sigma * scatter(f"{seed}/{key}", len(runs))
        old = runs[:, list(indices)].mean(axis=1)
        step = places - old
        for index in indices:
            runs[:, index] = places if np.isnan(runs[:, index]).any() else runs[:, index] + step
        fixed.update(indices)
    if not np.isnan(base.runs).all():
        _let_outlines_follow(runs, base.runs, base.mean, fixed)
    return runs


def scatter(seed: str, count: int) -> Array:
    """(count, 2) array with mean 0 and standard deviation exactly 1 along each axis, from the seed alone.

    Zero where a single reading leaves no room for any.
    """
    if count < 2:
        return np.zeros((count, 2))
    draws = np.random.default_rng(zlib.crc32(seed.encode())).standard_normal((count, 2))
    draws -= draws.mean(axis=0)
    return np.asarray(draws / draws.std(axis=0, ddof=1))


def _let_outlines_follow(runs: Array, old: Array, mean: Array, fixed: set[int]) -> None:
    """Move what lies between named points by what those moved, in proportion to the way along the outline."""
    named = {index for point in PLACEABLE.values() for index in point.indices} | set(_STAYS)
    done = set(named) | set(_FOLLOWS)
    for index, leader in _FOLLOWS.items():
        if leader in fixed and index not in fixed:
            runs[:, index] += runs[:, leader] - old[:, leader]
    for feature in FEATURES.values():
        anchors = [place for place, index in enumerate(feature.indices) if index in named or index in _FOLLOWS]
        if not anchors or not fixed.intersection(feature.indices):
            continue
        for index, one, other, share in _between(mean, feature.indices, anchors, closed=feature.closed):
            if index not in done:
                step = (1 - share) * (runs[:, one] - old[:, one]) + share * (runs[:, other] - old[:, other])
                runs[:, index] += step
                done.add(index)


def _between(
    mean: Array, outline: tuple[int, ...], anchors: list[int], *, closed: bool
) -> Iterable[tuple[int, int, int, float]]:
    """Each outline point that is no anchor, the anchors before and after it, and its share of the way between them."""
    count = len(outline)
    ends = [*anchors, anchors[0] + count] if closed else anchors
    for start, end in pairwise(ends):
        way = [outline[place % count] for place in range(start, end + 1)]
        steps = np.linalg.norm(np.diff(mean[way], axis=0), axis=1)
        along = np.cumsum(steps) / max(float(steps.sum()), 1e-9)
        for index, share in zip(way[1:-1], along[:-1], strict=True):
            yield index, way[0], way[-1], float(share)


def _box(mean: Array, old: tuple[float, float, float, float] | None) -> tuple[float, float, float, float]:
    seen = mean[np.isfinite(mean).all(axis=1)]
    if old is not None or not len(seen):
        return old or (0.0, 0.0, 0.0, 0.0)
    (x0, y0), (x1, y1) = seen.min(axis=0), seen.max(axis=0)
    return float(x0), float(y0), float(x1), float(y1)
