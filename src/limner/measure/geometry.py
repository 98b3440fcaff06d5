"""Plain geometry on points: distances, angles, areas and how two outlines differ. y runs down in all of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_DENSER = 0.5
"""Between two points of an outline one more is looked from, when the greatest gap is looked for."""


def mean_point(points: Array, indices: Sequence[int]) -> Array:
    """Mean of some points.

    Args:
        points: (..., N, 2) array.
        indices: which of the N.

    Returns:
        (..., 2) array.
    """
    if len(indices) == 1:  # nearly always, and a mean of one is slow
        return np.asarray(points[..., indices[0], :])
    return np.asarray(np.add.reduce(points[..., list(indices), :], axis=-2) / len(indices))


def distance(points: Array, a: Sequence[int], b: Sequence[int]) -> Array:
    """Distance between the mean of the points ``a`` and the mean of the points ``b``.

    Args:
        points: (..., N, 2) array.
        a: indices of the one end.
        b: indices of the other.

    Returns:
        (...) array in the points' unit; zero where the ends coincide.

    >>> float(distance(np.array([[0.0, 0.0], [3.0, 4.0]]), [0], [1]))
    5.0
    >>> float(distance(np.array([[1.0, 1.0], [1.0, 1.0]]), [0], [1]))
    0.0
    """
    line = mean_point(points, b) - mean_point(points, a)
    return np.asarray(np.hypot(line[..., 0], line[..., 1]))


def line_angle(points: Array, a: Sequence[int], b: Sequence[int]) -> Array:
    """Angle of the line from ``a`` to ``b`` against the x axis, degrees, positive clockwise as seen.

    Args:
        points: (..., N, 2) array.
        a: indices whose mean is the start.
        b: indices whose mean is the end.

    Returns:
        (...) array above -180 to 180; NaN where the ends coincide, for then there is no line.

    >>> float(line_angle(np.array([[0.0, 0.0], [1.0, 1.0]]), [0], [1]))
    45.0
    >>> float(line_angle(np.array([[2.0, 2.0], [2.0, 2.0]]), [0], [1]))
    nan
    """
    line = mean_point(points, b) - mean_point(points, a)
    angle = np.degrees(np.arctan2(line[..., 1], line[..., 0]))
    return np.asarray(np.where((line == 0).all(axis=-1), np.nan, angle))


def wrap(angle: Array) -> Array:
    """Degrees brought to above -180 up to 180.

    >>> wrap(np.array([190.0, -180.0, 5.0])).tolist()
    [-170.0, 180.0, 5.0]
    """
    return np.asarray(180.0 - np.mod(180.0 - angle, 360.0))


def area(points: Array, outline: Sequence[int]) -> Array:
    """Area inside an outline by the shoelace formula.

    Args:
        points: (..., N, 2) array.
        outline: indices in drawing order, closed by itself.

    Returns:
        (...) array, unit squared, not negative.

    >>> float(area(np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 3.0], [0.0, 3.0]]), [0, 1, 2, 3]))
    6.0
    """
    ring = points[..., [*outline, outline[0]], :]
    x, y = ring[..., 0], ring[..., 1]
    twice = (x[..., :-1] * y[..., 1:] - x[..., 1:] * y[..., :-1]).sum(axis=-1)
    return np.asarray(np.abs(twice) / 2)


def greatest_extent(points: Array, outline: Sequence[int]) -> Array:
    """Greatest distance between two points of an outline: its size for percentages.

    Args:
        points: (..., N, 2) array.
        outline: indices.

    Returns:
        (...) array in the points' unit.
    """
    ring = points[..., list(outline), :]
    x, y = ring[..., 0], ring[..., 1]
    squares = (x[..., :, None] - x[..., None, :]) ** 2 + (y[..., :, None] - y[..., None, :]) ** 2
    return np.asarray(np.sqrt(squares.max(axis=(-1, -2))))


def overlap(first: Array, second: Array) -> Array:
    """Shared part of two outlines: area of the intersection over area of the union.

    Args:
        first: (..., N, 2) array, an outline in drawing order.
        second: (..., M, 2) array.

    Returns:
        (...) array from 0, nothing shared, to 1, the same shape; NaN where either has no area.

    >>> square = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]])
    >>> float(overlap(square, square + [1.0, 0.0])) == 2 / 6
    True
    >>> float(overlap(square, square * 0.0))
    nan
    """
    import shapely

    one, other = _polygons(first), _polygons(second)
    shared = shapely.area(shapely.intersection(one, other))
    apart_one, apart_other = shapely.area(one), shapely.area(other)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = shared / (apart_one + apart_other - shared)
    return np.asarray(np.where((apart_one > 0) & (apart_other > 0), share, np.nan), dtype=np.float64)


def greatest_gap(first: Array, second: Array) -> Array:
    """How far two outlines lie apart where they lie farthest apart (Hausdorff distance of the lines).

    Args:
        first: (..., N, 2) array, an outline in drawing order.
        second: (..., M, 2) array.

    Returns:
        (...) array in the points' unit; zero for the same shape.

    >>> square = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]])
    >>> float(greatest_gap(square, square + [0.5, 0.0]))
    0.5
    """
    import shapely

    one, other = (shapely.linearrings(_flat(outline)) for outline in (first, second))
    gap = shapely.hausdorff_distance(one, other, densify=_DENSER)
    return np.asarray(gap, dtype=np.float64).reshape(first.shape[:-2])


def _flat(outline: Array) -> Array:
    return np.asarray(outline.reshape(-1, *outline.shape[-2:]))


def _polygons(outline: Array) -> NDArray[np.object_]:
    """One valid shapely polygon for each outline; an outline that crosses itself keeps its enclosed parts."""
    import shapely

    shapes = shapely.polygons(_flat(outline))
    crossed = ~shapely.is_valid(shapes)
    if crossed.any():
        shapes[crossed] = shapely.make_valid(shapes[crossed])
    return np.asarray(shapes).reshape(outline.shape[:-2])
