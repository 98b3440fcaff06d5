"""The value plan: both faces in two to five values, parted where the reference's own values part."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limner.values.faces import Faces
from limner.values.masses import COUNTS, SIMPLE, softened, thresholds
from limner.values.regions import REGIONS
from limner.valuesresult import PlanValue, ValuePlan

Array = NDArray[np.float64]
NAMES: dict[int, tuple[str, ...]] = {
    2: ("shadows", "lights"),
    3: ("shadows", "half-tones", "lights"),
    4: ("darks", "shadows", "half-tones", "lights"),
    5: ("darks", "shadows", "half-tones", "lights", "highest lights"),
}


def plans(faces: Faces) -> tuple[ValuePlan, ...]:
    """The plans in two, three, four and five values."""
    inside, kept = faces.inside, faces.brought.sitter.kept
    seen = kept.made("simple", lambda: softened(faces.reference, SIMPLE).ravel()[inside].astype(np.float64))
    painted = softened(faces.painting, SIMPLE).ravel()[inside].astype(np.float64)
    return tuple(_plan(faces, seen, painted, count) for count in COUNTS)


def _plan(faces: Faces, seen: Array, painted: Array, count: int) -> ValuePlan:
    kept = faces.brought.sitter.kept
    cuts = kept.made(("cuts", count), lambda: thresholds(seen, count))
    first, second = kept.made(("masses", count), lambda: _parted(seen, cuts)), _parted(painted, cuts)
    shares = np.bincount(first * count + second, minlength=count**2).reshape(count, count)
    total = max(len(seen), 1)
    masses = []
    for k, name in enumerate(NAMES[count]):
        one, other, both = int(shares[k].sum()), int(shares[:, k].sum()), int(shares[k, k])
        masses.append(
            PlanValue(
                name=name,
                reference_share=one / total,
                painting_share=other / total,
                overlap=None if not one + other else both / (one + other - both),
            )
        )
    return ValuePlan(
        count=count,
        thresholds=cuts,
        masses=tuple(masses),
        agreement=int(np.trace(shares)) / total,
        differs=_differs(faces, first != second),
    )


def _parted(values: Array, cuts: tuple[float, ...]) -> NDArray[np.uint8]:
    """(N,) array: which of the masses each value belongs to, darkest first."""
    number = np.zeros(len(values), np.uint8)
    for cut in cuts:
        number += values >= cut
    return number


def _differs(faces: Faces, other: NDArray[np.bool_]) -> tuple[str, ...]:
    """The regions most of which have another value, worst first; at most four."""
    plane = np.zeros(faces.outline.size, bool)
    plane[faces.inside] = other
    shares = dict(zip(faces.places.ids, faces.places.means(plane), strict=True))
    worst = sorted((id_ for id_, share in shares.items() if share > 0.5), key=lambda id_: -shares[id_])
    return tuple(REGIONS[id_].name for id_ in worst[:4])
