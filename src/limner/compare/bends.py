"""How far the face round a feature is bent against the reference: where much is out of place, less is read finely."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np
from numpy.typing import NDArray

from limner.face.facepoints import POINT_COUNT, PUPIL_LEFT, PUPIL_RIGHT
from limner.face.points import FEATURES

Array = NDArray[np.float64]

ROUND = 0.15
"""How far past a feature's outermost point the face counts, pupil distances. The errors of 910 paintings with known
slips follow what is left within 0.05 to 0.3 about alike, and better where a stretch is taken out too, which is read
well."""
_LEAST_POINTS = 6


def bends(reference: Array, painting: Array, without: Collection[int] = ()) -> Mapping[str, float]:
    """What a shift, a turn, a size and a stretch leave of the face round each feature.

    Args:
        reference: (N, 2) array, px, the mesh's points first.
        painting: (N, 2) array, px, the same rows.
        without: rows that do not count, as those of what is not painted yet.

    Returns:
        Feature -> root mean square distance in percent of the reference's pupil distance. A feature with too few points
        is left out; without the reference's pupils all are.

    >>> rng = np.random.default_rng(1); face = rng.uniform(0, 100, (478, 2))
    >>> face[PUPIL_RIGHT], face[PUPIL_LEFT] = (30, 40), (70, 40)
    >>> seen = face @ [[0, 2], [-2.2, 0]] + 5
    >>> max(bends(face, seen).values()) < 1e-9 < 1 < bends(face, seen + 0.005 * seen**2)["nose"]
    True
    """
    source, target = reference[:POINT_COUNT], painting[:POINT_COUNT]
    unit = float(np.linalg.norm(source[PUPIL_LEFT] - source[PUPIL_RIGHT]))
    if not unit > 0:
        return {}
    there = np.asarray(np.isfinite(source).all(axis=1) & np.isfinite(target).all(axis=1))
    there[[row for row in without if row < POINT_COUNT]] = False
    found = {}
    for feature in FEATURES.values():
        own = source[list(feature.indices)]
        middle = own.mean(axis=0)
        reach = float(np.linalg.norm(own - middle, axis=1).max()) + ROUND * unit
        if not np.isfinite(reach):
            continue
        near = there & (np.linalg.norm(source - middle, axis=1) < reach)
        if near.sum() >= _LEAST_POINTS:
            left = _left(source[near] - middle, target[near])
            found[feature.id] = 100 * float(np.sqrt((left**2).sum(axis=1).mean())) / unit
    return found


def _left(source: Array, target: Array) -> Array:
    """(M, 2) array: the way from where the best straight map of the source lands to the target, in the source's px."""
    terms = np.column_stack([source, np.ones(len(source))])
    straight = np.linalg.lstsq(terms, target, rcond=None)[0]
    size = float(np.sqrt(abs(np.linalg.det(straight[:2]))))
    return np.asarray((target - terms @ straight) / max(size, 1e-9))
