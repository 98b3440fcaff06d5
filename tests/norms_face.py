"""A flat neutral face with the mean lengths of a published survey, and edits of it, for tests that need no picture.

Lengths: 3D Facial Norms (Weinberg et al. 2016, Cleft Palate Craniofac J 53(6):e185-e197), men at age 25, mm. Laid flat,
n, sn, ls, sto, li and gn lie on one line, so lengths along it add up as they do not quite in the survey: n-sn, sn-ls,
ls-sto, sto-li and n-gn are kept as published. Iris: Rufer et al. 2005, Cornea 24(3):259-261, 11.71 mm.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from limner.face.facepoints import FacePoints
from limner.face.points import FEATURES

Array = NDArray[np.float64]

EN_EN, EX_EN, AL_AL, CH_CH, ZY_ZY, GO_GO = 32.74, 28.71, 35.91, 50.10, 137.12, 103.69
N_GN, N_SN, SN_LS, LS_STO, STO_LI = 126.64, 56.65, 16.33, 7.59, 8.72
IRIS = 11.71
IPD = EN_EN + EX_EN
"""The pupils stand in the middle of the openings."""
ROOT = -3.0
"""y of n against the pupils, mm; not published, any value will do."""


def _ring(points: Array, feature: str, centre: tuple[float, float], radii: tuple[float, float], start: float) -> None:
    """Lays an outline on an ellipse, from an angle in degrees on, anticlockwise as seen."""
    indices = list(FEATURES[feature].indices)
    turn = np.radians(start) - 2 * np.pi * np.arange(len(indices)) / len(indices)
    points[indices] = np.stack([np.cos(turn), np.sin(turn)], axis=1) * radii + centre


def norms_mm() -> Array:
    """(478, 2) array, mm from the middle between the pupils, x to picture right, y down."""
    points = np.random.default_rng(7).uniform((-30.0, -20.0), (30.0, 80.0), (478, 2))
    _ring(points, "face", (0.0, 30.0), (ZY_ZY / 2, ROOT + N_GN - 30.0), -90.0)
    for side, sign in (("right", -1.0), ("left", 1.0)):
        middle = sign * IPD / 2
        _ring(points, f"eye_{side}", (middle, 0.0), (EX_EN / 2, 5.5), 180.0 if side == "right" else 0.0)
        if side == "left":  # this ring is listed the other way round
            indices = list(FEATURES["eye_left"].indices)
            points[indices, 1] *= -1
        pupil = 468 if side == "right" else 473
        points[pupil] = (middle, 0.0)
        edges = [(-1, 0), (0, -1), (1, 0), (0, 1)]
        if side == "right":  # listed from the inner edge over the top
            edges = [(1, 0), (0, -1), (-1, 0), (0, 1)]
        points[pupil + 1 : pupil + 5] = np.array(edges) * IRIS / 2 + (middle, 0.0)
        top, bottom = FEATURES[f"brow_{side}"].indices[:5], FEATURES[f"brow_{side}"].indices[5:]
        along = sign * np.linspace(50.0, 12.0, 5)
        arch = np.array([-19.0, -22.0, -23.5, -23.0, -21.0])
        points[list(top)] = np.stack([along, arch], axis=1)
        points[list(bottom)] = np.stack([along[::-1], arch[::-1] + 5.0], axis=1)
    _nose_and_mouth(points)
    points[[234, 454]] = [(-ZY_ZY / 2, 18.0), (ZY_ZY / 2, 18.0)]
    points[[172, 397]] = [(-GO_GO / 2, 88.0), (GO_GO / 2, 88.0)]
    points[152] = (0.0, ROOT + N_GN)
    return points


def _nose_and_mouth(points: Array) -> None:
    base = ROOT + N_SN
    _ring(points, "nose", (0.0, (ROOT + base) / 2), (AL_AL / 2 - 2.0, N_SN / 2), -90.0)
    points[[168, 6, 197, 195, 5, 4]] = np.stack([np.zeros(6), np.linspace(ROOT, base - 9.0, 6)], axis=1)
    points[[129, 358]] = [(-AL_AL / 2, base - 6.0), (AL_AL / 2, base - 6.0)]
    points[2] = (0.0, base)
    line = base + SN_LS + LS_STO
    _ring(points, "lips", (0.0, line), (CH_CH / 2, 8.0), 180.0)
    indices = list(FEATURES["lips"].indices)
    points[indices, 1] = 2 * line - points[indices, 1]
    points[[61, 291]] = [(-CH_CH / 2, line), (CH_CH / 2, line)]
    points[[0, 13, 14, 17]] = [(0.0, base + SN_LS), (0.0, line), (0.0, line), (0.0, line + STO_LI)]


def norms_px(scale: float = 4.0, turn: float = 0.0, centre: tuple[float, float] = (400.0, 300.0)) -> Array:
    """The same in px of a picture in which the head is turned clockwise by so many degrees."""
    return place(norms_mm(), scale=scale, turn=turn, centre=centre)


def place(points: Array, *, scale: float, turn: float = 0.0, centre: tuple[float, float] = (0.0, 0.0)) -> Array:
    """Scaled, turned clockwise as seen, shifted."""
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    return np.asarray(scale * points @ np.array([[c, s], [-s, c]]) + centre)


def widened(points: Array, indices: Sequence[int], factor: float, height: float = 1.0) -> Array:
    """Some points moved away from their middle: across by a factor, upright by another."""
    out = points.copy()
    middle = (points[list(indices)].min(axis=0) + points[list(indices)].max(axis=0)) / 2
    out[list(indices)] = (points[list(indices)] - middle) * (factor, height) + middle
    return out


def turned(points: Array, indices: Sequence[int], degrees: float) -> Array:
    """Some points turned clockwise about their middle."""
    out = points.copy()
    middle = points[list(indices)].mean(axis=0)
    out[list(indices)] = place(points[list(indices)] - middle, scale=1.0, turn=degrees, centre=tuple(middle))
    return out


def moved(points: Array, indices: Sequence[int], dx: float, dy: float) -> Array:
    """Some points shifted."""
    out = points.copy()
    out[list(indices)] += (dx, dy)
    return out


EYE_RIGHT, EYE_LEFT = FEATURES["eye_right"].indices, FEATURES["eye_left"].indices
MOUTH = tuple(dict.fromkeys((*FEATURES["lips"].indices, *FEATURES["mouth_opening"].indices)))


def face_points(
    points: Array, *, noise: float = 0.0, runs: int = 6, seed: int = 0, found_by: str = "plain"
) -> FacePoints:
    """A face as detection would give it: readings scattered by so many px about the points, which stay the mean."""
    scatter = np.random.default_rng(seed).normal(0.0, noise, (runs, *points.shape)) if noise else np.zeros((1, 478, 2))
    scatter -= scatter.mean(axis=0)
    low, high = np.nanmin(points, axis=0), np.nanmax(points, axis=0)
    return FacePoints(
        mean=points,
        runs=points + scatter,
        depth=np.zeros(len(points)),
        box=(float(low[0]), float(low[1]), float(high[0]), float(high[1])),
        found_by=found_by,
    )
