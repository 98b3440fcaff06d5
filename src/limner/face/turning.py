"""How far a painted head is turned or tipped against its reference: by what lies nearer moving past what lies farther.

The painted places are brought onto the sitter's own by ``y = A x + d z + t``, with x where the reference has them and z
how far each lies behind the picture plane there, from a neutral face turned as the reference is. A turn of the head
shows in d alone. A face that is stretched, or a canvas photographed from the side, shows in A and is not taken for one,
and how the sitter is built differs from the neutral face in both pictures alike.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.face.points import FEATURES
from limner.face.pose import MODEL_INDICES, NEUTRAL_FACE
from limner.result import Pose

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Place:
    """One place of the face with where it lies on the neutral one."""

    rows: tuple[int, ...]
    group: str
    """What it is drawn with: one group has one say, and is left out as a whole."""
    features: tuple[str, ...]
    """Features it belongs to: not painted yet with them."""
    at: tuple[float, float, float]
    """mm, as :data:`limner.face.pose.NEUTRAL_FACE`."""


def _known(key: str, group: str, *features: str) -> Place:
    return Place(rows=(MODEL_INDICES[key],), group=group, features=features, at=NEUTRAL_FACE[key])


# What the table of pose.py does not have is limner's own, by the same way: the landmarker's mesh, mean of 18 portraits.
PLACES: tuple[Place, ...] = (
    Place(rows=(6, 168), group="root of the nose", features=("nose",), at=(0.0, 11.4, -4.1)),
    _known("ex_right", "right eye", "eye_right"),
    _known("en_right", "right eye", "eye_right"),
    _known("ex_left", "left eye", "eye_left"),
    _known("en_left", "left eye", "eye_left"),
    _known("prn", "nose", "nose"),
    _known("sn", "nose", "nose"),
    Place(rows=(129,), group="nose", features=("nose",), at=(-20.9, 47.3, -0.5)),
    Place(rows=(358,), group="nose", features=("nose",), at=(20.9, 47.3, -0.5)),
    _known("ch_right", "mouth", "lips"),
    _known("ch_left", "mouth", "lips"),
    Place(rows=FEATURES["lips"].indices, group="mouth", features=("lips",), at=(0.0, 76.3, -4.2)),
    _known("gn", "chin", "face"),
    Place(rows=FEATURES["brow_right"].indices, group="right brow", features=("brow_right",), at=(-35.5, -4.4, 9.0)),
    Place(rows=FEATURES["brow_left"].indices, group="left brow", features=("brow_left",), at=(35.5, -4.4, 9.0)),
)
"""The outline of the cheeks is left out: what is seen there is another place of the head once it turns."""

LEAST_GROUPS = 6
FLOOR_MM = 0.25
"""Within so much of the sitter's 63 mm between the pupils a place counts in full."""
ROUNDS = 10
NOISE = 0.6
"""Degrees, one sigma, that is always left: 18 painted copies of six portraits were off by 0.24 to the side and 0.32 up
or down (root mean square), 29 paintings with one feature drawn in the wrong place or size by 0.46 and 0.51."""
FEW = 1.21
"""On the jackknife's sigma: Student's t for seven degrees of freedom against the normal distribution, 2.365 / 1.96."""
SHAPE = 0.12
"""One-sigma share of a turn that the neutral face's depths leave open: turns of 4, 8 and 12 degrees planted with each
sitter's own depths were read as 0.94 of themselves to the side and 0.82 up or down (30 paintings of six portraits)."""


@dataclass(frozen=True, kw_only=True)
class Turning:
    """How a head is turned against another, degrees."""

    yaw: float
    """Positive: further to picture right."""
    pitch: float
    """Positive: chin further up."""
    sigma_yaw: float
    """One-sigma uncertainty: from leaving out one group after another, what copies scatter, and the neutral depths."""
    sigma_pitch: float


def turning(reference: Array, painting: Array, pose: Pose, without: Collection[str] = ()) -> Turning | None:
    """How the painted head is turned against the reference's.

    Args:
        reference: (478, 2) array, px.
        painting: (478, 2) array, px.
        pose: of the reference.
        without: features that are not painted yet.

    Returns:
        The two angles; ``None`` where fewer than :data:`LEAST_GROUPS` groups of places are there in both.

    >>> face = np.full((478, 2), np.nan)
    >>> turning(face, face, Pose(yaw=0.0, pitch=0.0, roll=0.0, sigma=0.5)) is None
    True
    """
    used = [
        place
        for place in PLACES
        if not set(place.features) & set(without)
        and np.isfinite(reference[list(place.rows)]).all()
        and np.isfinite(painting[list(place.rows)]).all()
    ]
    groups = tuple(dict.fromkeys(place.group for place in used))
    if len(groups) < LEAST_GROUPS:
        return None
    seen = np.array([place.at for place in used]) @ rotation(pose).T
    here, there = (
        np.array([points[list(place.rows)].mean(axis=0) for place in used]) for points in (reference, painting)
    )
    here, there = here - here.mean(axis=0), there - there.mean(axis=0)
    flat = seen[:, :2] - seen[:, :2].mean(axis=0)
    size = float((flat * here).sum() / (flat**2).sum())
    if size <= 0:
        return None
    member = np.array([groups.index(place.group) for place in used])
    weights = 1.0 / np.bincount(member)[member]
    basis = np.column_stack([here / size, seen[:, 2] - seen[:, 2].mean(), np.ones(len(used))])

    def angles(of: NDArray[np.bool_]) -> Array:
        return _angles(_fitted(basis[of], (there / size)[of], weights[of]))

    whole = angles(np.ones(len(used), dtype=bool))
    left = np.array([angles(member != k) for k in range(len(groups))])
    spread = (len(groups) - 1) / len(groups) * ((left - left.mean(axis=0)) ** 2).sum(axis=0)
    sigma = np.sqrt(FEW**2 * spread + NOISE**2 + (SHAPE * whole) ** 2)
    return Turning(yaw=float(whole[0]), pitch=float(whole[1]), sigma_yaw=float(sigma[0]), sigma_pitch=float(sigma[1]))


def rotation(pose: Pose) -> Array:
    """(3, 3) array that takes the upright neutral face to the face as seen: Rz(roll) Rx(-pitch) Ry(-yaw)."""
    yaw, pitch, roll = np.radians([-pose.yaw, -pose.pitch, pose.roll])
    about_y = [[np.cos(yaw), 0, np.sin(yaw)], [0, 1, 0], [-np.sin(yaw), 0, np.cos(yaw)]]
    about_x = [[1, 0, 0], [0, np.cos(pitch), -np.sin(pitch)], [0, np.sin(pitch), np.cos(pitch)]]
    about_z = [[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]]
    return np.asarray(np.array(about_z) @ np.array(about_x) @ np.array(about_y), dtype=np.float64)


def _fitted(basis: Array, target: Array, weights: Array) -> Array:
    """(4, 2) array: rows for x, y, z and 1, by the least sum of distances."""
    kept = weights
    fitted = np.zeros((4, 2))
    for _ in range(ROUNDS):
        held = (basis * kept[:, None]).T
        fitted = np.linalg.solve(held @ basis + 1e-9 * np.eye(4), held @ target)
        kept = weights / np.maximum(np.linalg.norm(target - basis @ fitted, axis=1), FLOOR_MM)
    return np.asarray(fitted)


def _angles(fitted: Array) -> Array:
    """(2,) array, degrees: the turn to picture right and the tip of the chin upward."""
    flat = fitted[:2].T
    first, _, second = np.linalg.svd(flat)
    away = (first @ second).T @ fitted[2] / np.sqrt(max(abs(float(np.linalg.det(flat))), 1e-12))
    sines = np.clip([-away[0], away[1]], -1.0, 1.0)
    return np.asarray(np.degrees(np.arcsin(sines)))
