"""Where the number of a step stands: by what it moves, for a pair by each of the two, and on no line that is drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.compare.corrections.units import PAIRS
from limner.face.points import FEATURES
from limner.result import AuditResult, Correction

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

STRAYS = 0.7
"""How much further a number may stand from its feature rather than a quarter turn away from where it is looked for."""
FAR = 2.5
"""Heights of its half from which on a number is led to."""
_AWAY = np.arange(1.5, 9.0, 0.25)
"""Halves of a number's height at which places are tried."""
_KEPT_FREE = ("brow_right", "brow_left", "eye_right", "eye_left", "lips")
_TURNS = np.radians(np.arange(0.0, 360.0, 15.0))
_WAYS = np.column_stack([np.cos(_TURNS), np.sin(_TURNS)])


def stands_at(result: AuditResult, step: Correction) -> list[Array]:
    """(2,) arrays, px of the decoded painting: the middles of what the step moves, where they are before it.

    Two for a pair whose points are all there, else one; none where the middle is not known.
    """
    middle = np.array(step.centre, dtype=np.float64)
    if not np.isfinite(middle).all():
        return []
    pair = next((unit for unit in PAIRS if unit.id == step.unit), None)
    if pair is None:
        return [middle]
    points = result.painting_points if result.evened_points is None else result.evened_points
    each = np.array([points[list(part.rows)].mean(axis=0) for part in pair.parts])
    if not np.isfinite(each).all():
        return [middle]
    return list(each - each.mean(axis=0) + middle)  # earlier steps may have moved both


@dataclass(frozen=True, kw_only=True, eq=False)
class Mark:
    """One number of a step, and its arrow."""

    step: int
    start: Array
    """(2,) array: the middle of what moves."""
    end: Array
    """(2,) array: where that has to be; ``start`` where it is not shifted."""
    number: Array
    """(2,) array: the middle of the number."""
    leader: bool
    """Whether the number stands so far off that a line has to lead to it."""


def set_out(
    arrows: Sequence[tuple[int, Array, Array]],
    lines: Sequence[Array],
    shapes: Sequence[Array],
    *,
    size: float,
    box: tuple[Array, Array],
) -> list[Mark]:
    """Give every arrow the place of its number: behind it, or beside what is only sized or turned; on no line.

    Args:
        arrows: of each the step, start and end; all lengths in one unit.
        lines: (N, 2) arrays: what is drawn.
        shapes: (N, 2) arrays: outlines of eyes, brows and mouth, in which no number stands.
        size: half the height of a number with the room it needs.
        box: upper left and lower right corner of where numbers may stand.
    """
    middle = np.mean([start for _, start, _ in arrows], axis=0) if arrows else np.zeros(2)
    drawn = [dotted(np.vstack([line, line[:1]]), size / 2) for line in shapes]
    drawn += [dotted(line, size / 2) for line in lines]
    drawn += [dotted(np.array([start, end]), size / 2) for _, start, end in arrows]
    taken, marks = np.zeros((0, 2)), []
    for step, start, end in arrows:
        way = end - start
        long = float(np.hypot(*way))
        outward = np.array([1.0 if start[0] >= middle[0] else -1.0, 0.0])
        behind = -way / long if long > size / 4 else outward
        around = start + size * (_AWAY[:, None, None] * _WAYS).reshape(-1, 2)
        allowed = ((around > box[0] + size) & (around < box[1] - size)).all(axis=1)
        for shape in shapes:
            allowed &= ~within(around, shape)
        number = around[_clearest(around, allowed, behind, np.vstack(drawn), taken, size)]
        taken = np.vstack([taken, number])
        leader = bool(np.hypot(*(number - start)) > FAR * size)
        marks.append(Mark(step=step, start=start, end=end, number=number, leader=leader))
    return marks


def _clearest(around: Array, allowed: Bools, behind: Array, drawn: Array, taken: Array, size: float) -> int:
    """Which of the places round a start is near, that way rather than another, and leaves lines and numbers readable.

    Where none does, the one with the most room that is on no other number.
    """
    cost = (_AWAY[:, None] * (1 + STRAYS * (1 - _WAYS @ behind))).ravel()
    room = np.hypot(*(around[:, None] - drawn).transpose(2, 0, 1)).min(axis=1)
    if len(taken):
        apart = np.hypot(*(around[:, None] - taken).transpose(2, 0, 1)).min(axis=1) >= 2 * size
        allowed = allowed & apart if (allowed & apart).any() else apart
    room = np.where(allowed, room, 0.0)
    free = room >= size
    return int(np.argmin(np.where(free, cost, np.inf)) if free.any() else np.argmax(room))


def inside_box(place: Array, box: tuple[Array, Array]) -> bool:
    """Whether a place lies between the upper left and the lower right corner."""
    return bool((place >= box[0]).all() and (place <= box[1]).all())


def shapes_of(result: AuditResult) -> list[Array]:
    """Outlines, px of the decoded painting, that no number may cover: as painted, and where they belong."""
    faces = (result.painting_points, result.should_be)
    lines = [points[list(FEATURES[name].indices)] for name in _KEPT_FREE for points in faces]
    return [line for line in lines if np.isfinite(line).all()]


def within(places: Array, ring: Array) -> Bools:
    """(N,) array: which of (N, 2) places lie inside an outline, by the lines to picture right that cross it.

    >>> square = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]])
    >>> within(np.array([[1.0, 1.0], [3.0, 1.0], [-1.0, 1.0]]), square).tolist()
    [True, False, False]
    """
    x, y = places[:, :1], places[:, 1:]
    (ax, ay), (bx, by) = ring.T, np.roll(ring, -1, axis=0).T
    crosses = (ay > y) != (by > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = ax + (y - ay) * (bx - ax) / (by - ay)
    return np.asarray((crosses & (x < at)).sum(axis=1) % 2 == 1)


def dotted(line: Array, every: float) -> Array:
    """Points along an (N, 2) line, ``every`` so far or nearer; gaps in it are left out.

    >>> dotted(np.array([[0.0, 0.0], [2.0, 0.0]]), 1.0).tolist()
    [[0.0, 0.0], [1.0, 0.0], [2.0, 0.0]]
    """
    line = line[np.isfinite(line).all(axis=1)]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.linspace(0.0, along[-1], int(np.ceil(along[-1] / every)) + 1) if len(line) else np.zeros(0)
    return np.column_stack([np.interp(at, along, line[:, k]) for k in (0, 1)]) if len(line) else np.zeros((0, 2))
