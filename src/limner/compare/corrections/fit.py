"""How one unit has to move: one shift, two sizes and a turn by weighted least squares, and how sure each of them is."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.compare.corrections.units import Part, Unit
from limner.face.byhand import FACE_IN_PUPILS
from limner.result import MeasureResult

Array = NDArray[np.float64]

WAYS = ("x", "y", "along", "across", "turn")
_IN = {"x": "position", "y": "position", "along": "size", "across": "size", "turn": "angle"}


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """How a unit has to move, from where it is painted to where it belongs; px, shares and radians."""

    amounts: Array
    """(5,) array in the order of :data:`WAYS`; 0 for a way that is not asked."""
    sigma: Array
    """(5,) array: one-sigma uncertainty of each; infinite for a way that is not asked."""
    explained: float
    """Share, 0 to 1, of the squared distances that this movement takes away."""


def design(part: Part, points: Array) -> Array:
    """(N, 2, 5) array: how each point of a part moves for one unit of each way, about the part's middle."""
    places = points[list(part.rows)]
    off = places - places.mean(axis=0)
    first, second = points[list(part.axis)]
    axis = (second - first) / max(float(np.linalg.norm(second - first)), 1e-9)
    normal = np.array([-axis[1], axis[0]])
    columns = np.zeros((len(places), 2, 5))
    columns[:, 0, 0] = columns[:, 1, 1] = 1
    columns[:, :, 2] = (off @ axis)[:, None] * axis
    columns[:, :, 3] = (off @ normal)[:, None] * normal
    columns[:, :, 4] = np.stack([-off[:, 1], off[:, 0]], axis=1)  # clockwise as seen, y down
    return columns


def fit(
    unit: Unit, painted: Array, should: Array, sigma: Array, measures: Mapping[str, MeasureResult], pupils: float
) -> Fit:
    """Fit a unit.

    Args:
        unit: what moves.
        painted: (478, 2) array, px: where the points are now.
        should: (478, 2) array, px: where they belong.
        sigma: (478,) array, px: of each point's way.
        measures: what the audit read, by id: their doubt is the movement's, since a feature's points err together.
        pupils: px between the pupils as they should be.
    """
    asked = [k for k, way in enumerate(WAYS) if way in unit.ways]
    rows = np.concatenate([list(part.rows) for part in unit.parts])
    columns = np.concatenate([design(part, painted) for part in unit.parts])[:, :, asked]
    ways = (should - painted)[rows]
    weight = 1 / np.maximum(sigma[rows], 1e-3)
    a = (columns * weight[:, None, None]).reshape(-1, len(asked))
    b = (ways * weight[:, None]).reshape(-1)
    solved = np.linalg.lstsq(a, b, rcond=None)[0]
    amounts, doubt = np.zeros(5), np.full(5, np.inf)
    amounts[asked] = solved
    for k in asked:
        doubt[k] = _doubt(unit, WAYS[k], measures, pupils)
    left = ((b - a @ solved) ** 2).sum()
    return Fit(amounts=amounts, sigma=doubt, explained=float(1 - left / max((b**2).sum(), 1e-12)))


def _doubt(unit: Unit, way: str, measures: Mapping[str, MeasureResult], pupils: float) -> float:
    """One-sigma uncertainty of one way of moving: px, share or radians; infinite where no measure was read finely."""
    known = [m for id_ in unit.ways[way] if (m := measures.get(id_)) is not None and m.sigma is not None]
    if not known or all(m.call == "unsure" for m in known):
        return float("inf")
    if _IN[way] == "position":
        return pupils * min(_of_place(m) for m in known)
    least = float(min(m.sigma for m in known if m.sigma is not None))
    return math.radians(least) if _IN[way] == "angle" else least / 100


def _of_place(measure: MeasureResult) -> float:
    """How surely a measure tells a place along its way, one sigma in pupil distances."""
    sigma = measure.sigma or 0.0
    if measure.unit == "degrees":
        return math.radians(sigma) / FACE_IN_PUPILS  # the length of the centre line
    if measure.unit == "percent":
        return sigma / 100 * abs(measure.reference.value or 0.0) / 2
    return sigma / 100


def moved(unit: Unit, points: Array, amounts: Array) -> Array:
    """(478, 2) array: the points after the unit has moved."""
    after = points.copy()
    for part in unit.parts:
        after[list(part.rows)] += design(part, points) @ amounts
    return np.asarray(after, dtype=np.float64)
