"""The value plan: both faces in two to five values, parted where the reference's own values part."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limner.values.faces import Faces, softened
from limner.values.regions import REGIONS
from limner.valuesresult import PlanValue, ValuePlan

Array = NDArray[np.float64]
COUNTS = (2, 3, 4, 5)
NAMES: dict[int, tuple[str, ...]] = {
    2: ("shadows", "lights"),
    3: ("shadows", "half-tones", "lights"),
    4: ("darks", "shadows", "half-tones", "lights"),
    5: ("darks", "shadows", "half-tones", "lights", "highest lights"),
}
SIMPLE = 0.04
"""Gaussian, pupil distances, before a face is parted: masses, no details."""


def plans(faces: Faces) -> tuple[ValuePlan, ...]:
    """The plans in two, three, four and five values."""
    seen, painted = (softened(plane, SIMPLE).astype(np.float64) for plane in (faces.reference, faces.painting))
    inside = faces.outline
    return tuple(_plan(faces, seen[inside], painted[inside], count) for count in COUNTS)


def thresholds(values: Array, count: int) -> tuple[float, ...]:
    """Where ``count`` masses part: half way between the centres of one-dimensional k-means (Lloyd 1982).

    >>> thresholds(np.array([1.0, 1.2, 5.0, 5.2]), 2)
    (3.1,)
    """
    some = np.sort(np.asarray(values, dtype=np.float64))[:: max(len(values) // 3000, 1)]
    centres = np.quantile(some, (np.arange(count) + 0.5) / count)
    for _ in range(40):
        cuts = np.searchsorted(some, (centres[1:] + centres[:-1]) / 2)
        parts = np.split(some, cuts)
        moved = np.array([part.mean() if len(part) else old for part, old in zip(parts, centres, strict=True)])
        if np.allclose(moved, centres, atol=1e-4):
            break
        centres = moved
    return tuple(float(round(v, 6)) for v in (centres[1:] + centres[:-1]) / 2)


def _plan(faces: Faces, seen: Array, painted: Array, count: int) -> ValuePlan:
    cuts = thresholds(seen, count)
    first, second = np.digitize(seen, cuts), np.digitize(painted, cuts)
    masses = []
    for k, name in enumerate(NAMES[count]):
        one, other = first == k, second == k
        either = int((one | other).sum())
        masses.append(
            PlanValue(
                name=name,
                reference_share=float(one.mean()),
                painting_share=float(other.mean()),
                overlap=None if not either else float((one & other).sum() / either),
            )
        )
    return ValuePlan(
        count=count,
        thresholds=cuts,
        masses=tuple(masses),
        agreement=float((first == second).mean()),
        differs=_differs(faces, first != second),
    )


def _differs(faces: Faces, other: NDArray[np.bool_]) -> tuple[str, ...]:
    """The regions most of which have another value, worst first; at most four."""
    plane = np.zeros(faces.size, bool)
    plane[faces.outline] = other
    shares = {id_: float(plane[mask].mean()) for id_, mask in faces.masks.items() if (mask & faces.outline).any()}
    worst = sorted((id_ for id_, share in shares.items() if share > 0.5), key=lambda id_: -shares[id_])
    return tuple(REGIONS[id_].name for id_ in worst[:4])
