"""The points of one face in one picture, as repeated detection gives them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

POINT_COUNT = 478
PUPIL_RIGHT, PUPIL_LEFT = 468, 473
"""Mesh indices of the pupil centres; right and left are the sitter's."""


@dataclass(frozen=True, kw_only=True, eq=False)
class FacePoints:
    """Mesh points of one face; right and left are the sitter's own."""

    mean: Array
    """(478, 2) array, px of the decoded picture, x to picture right, y down; NaN where nobody has seen the point."""

    runs: Array
    """(K, 478, 2) array, px: the repeated readings whose mean is ``mean``. K >= 1."""

    depth: Array
    """(478,) array: relative depth in px-like units as the mesh gives it (smaller is nearer)."""

    box: tuple[float, float, float, float]
    """x0, y0, x1, y1 in px round the points."""

    found_by: str
    """Which search found it: plain, padded, tiled, turned, equalised, or hand."""

    hand: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    """Key of every point placed by hand, also those the mesh does not have -> x, y and one standard deviation along
    each axis, px of the decoded picture."""

    @property
    def spread(self) -> Array:
        """(478,) array, px: root mean square distance of the runs from their mean (K - 1 below the line)."""
        if len(self.runs) < 2:
            return np.zeros(len(self.mean))
        square = ((self.runs - self.mean) ** 2).sum(axis=2).sum(axis=0)
        return np.asarray(np.sqrt(square / (len(self.runs) - 1)), dtype=np.float64)

    @property
    def relative_spread(self) -> Array:
        """(478,) array: ``spread`` in pupil distances; NaN where a pupil is not there."""
        return self.spread / self.pupil_distance

    @property
    def pupil_distance(self) -> float:
        """Distance between the pupil centres, px."""
        return float(np.linalg.norm(self.mean[PUPIL_LEFT] - self.mean[PUPIL_RIGHT]))
