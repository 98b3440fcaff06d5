"""Straight edges of a picture: short segments gathered into long lines, with where along each there is an edge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

WORKING_SIDE = 1000
"""px: the long side of the copy in which lines are looked for."""
_FAINT_SIDE = 500
"""px: the same of the smaller copy in which faint lines are looked for: the fewer its pixels, the less their noise."""
_GREYS, _ZEROS = (2.55, 2.5, 2.5), (0.0, 128.0, 128.0)
"""Grey values per CIELAB unit of each channel as lines are looked for in it, and where its nought lies."""
_SLOW = 0.06
"""Of the longer side: what changes over more than this is light, no edge (limner's choice)."""
_RAISED = 4.0
"""Grey values, one sigma, to which noise is raised: a slope of 5.2 counts as an edge, the detector's 2 / sin 22.5."""
_LEAST_NOISE = 0.04
"""CIELAB units: noise that is taken for less is that of rounding, and is raised no further (limner's choice)."""
_OF_NOISE = 0.6745 * 20**0.5
"""Median of the second differences (without their sign) of noise of one sigma: its own, times the root of the sum of
the kernel's squares."""
_MOST_LINES = 64
_SHORTEST_SEED = 0.02
_SHORTEST_LINE = 0.05


@dataclass(frozen=True, kw_only=True, eq=False)
class Line:
    """One straight line with the stretches of it on which an edge was seen."""

    point: Array
    """(2,) array, px: a point of the line."""
    along: Array
    """(2,) array: unit direction, toward picture right for lines across, downward for upright ones."""
    spans: Array
    """(k, 2) array, px along the line from ``point``: stretches with an edge, in order, not overlapping."""

    @property
    def total(self) -> float:
        """Length of all stretches, px."""
        return float(np.sum(self.spans[:, 1] - self.spans[:, 0]))


def working_copy(pixels: NDArray[np.uint8], side: int = WORKING_SIDE) -> tuple[NDArray[np.float32], float]:
    """CIELAB, reduced by area to ``side`` px: ((h, w, 3) array, px of the copy per px)."""
    scale = min(1.0, side / max(pixels.shape[:2]))
    if scale < 1:
        size = (round(pixels.shape[1] * scale), round(pixels.shape[0] * scale))
        pixels = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    lab: Any = cv2.cvtColor(pixels.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    return lab, scale


def faint_copy(pixels: NDArray[np.uint8]) -> tuple[NDArray[np.float32], float]:
    """The same at ``_FAINT_SIDE``, without what changes slowly, and each channel raised until its noise is even.

    A segment is found where the slope is of some grey values; an edge between two much alike, as a toned ground's
    before a wall, has less, and is straight for so long that it is none of noise's.
    """
    lab, scale = working_copy(pixels, _FAINT_SIDE)
    wide: Any = cv2.GaussianBlur(lab, (0, 0), _SLOW * max(lab.shape[:2]))
    curved: Any = cv2.Laplacian(lab, cv2.CV_32F)
    noise = np.median(np.abs(curved).reshape(-1, 3), axis=0) / _OF_NOISE
    raised = (lab - wide) * (_RAISED / (np.array(_GREYS) * np.maximum(noise, _LEAST_NOISE)))
    return np.asarray(raised + np.array([50.0, 0.0, 0.0]), dtype=np.float32), scale


def find_lines(lab: NDArray[np.float32]) -> tuple[list[Line], list[Line]]:
    """The longest lines across the picture and upright in it, by lightness and by colour."""
    channels = [lab[..., k] * np.float32(_GREYS[k]) + np.float32(_ZEROS[k]) for k in range(3)]
    detector = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD)
    found = []
    for channel in channels:
        segments: Any = detector.detect(np.clip(channel, 0, 255).astype(np.uint8))[0]
        if segments is not None:
            found.append(segments.reshape(-1, 4))
    if not found:
        return [], []
    segments = np.concatenate(found).astype(np.float64)
    flat = np.abs(segments[:, 2] - segments[:, 0]) >= np.abs(segments[:, 3] - segments[:, 1])
    diagonal = float(np.hypot(*lab.shape[:2]))
    return _gather(segments[flat], 0, diagonal), _gather(segments[~flat], 1, diagonal)


def _gather(segments: Array, axis: int, diagonal: float) -> list[Line]:
    """Join segments that lie on one line; the longest lines first."""
    start, end = segments[:, :2], segments[:, 2:]
    backward = end[:, axis] < start[:, axis]
    start, end = np.where(backward[:, None], end, start), np.where(backward[:, None], start, end)
    length = np.hypot(*(end - start).T)
    along = (end - start) / np.maximum(length, 1e-9)[:, None]
    free = np.ones(len(segments), bool)
    lines = []
    for seed in np.argsort(-length, kind="stable"):
        if length[seed] < _SHORTEST_SEED * diagonal:
            break
        if not free[seed]:
            continue
        point, direction = start[seed], along[seed]
        members = _on_line(start, end, along, free, point, direction)
        point, direction = _fit(np.concatenate([start[members], end[members]]), np.tile(length[members], 2), direction)
        members = _on_line(start, end, along, free, point, direction)
        free[members] = False
        free[seed] = False
        spans = _union(np.sort(np.stack([(p[members] - point) @ direction for p in (start, end)], axis=1), axis=1))
        line = Line(point=point, along=direction, spans=spans)
        if line.total >= _SHORTEST_LINE * diagonal:
            lines.append(line)
    return sorted(lines, key=lambda line: -line.total)[:_MOST_LINES]


def _on_line(start: Array, end: Array, along: Array, free: NDArray[np.bool_], point: Array, direction: Array) -> Any:
    normal = np.array([-direction[1], direction[0]])
    far = np.abs((0.5 * (start + end) - point) @ direction)
    off = np.maximum(np.abs((start - point) @ normal), np.abs((end - point) @ normal))
    return free & (off < 1.7 + 0.002 * far) & (np.abs(along @ normal) < 0.07)


def _fit(points: Array, weights: Array, direction: Array) -> tuple[Array, Array]:
    """Total least squares; the direction keeps its sense."""
    if not np.sum(weights):
        return points[0], direction
    middle = np.average(points, axis=0, weights=weights)
    away = points - middle
    _, vectors = np.linalg.eigh((away * weights[:, None]).T @ away)
    along = vectors[:, 1]
    return middle, along if along @ direction > 0 else -along


def _union(spans: Array) -> Array:
    if not len(spans):
        return np.zeros((0, 2))
    joined: list[list[float]] = []
    for low, high in spans[np.argsort(spans[:, 0])]:
        if joined and low <= joined[-1][1] + 1.5:
            joined[-1][1] = max(joined[-1][1], high)
        else:
            joined.append([low, high])
    return np.array(joined)
