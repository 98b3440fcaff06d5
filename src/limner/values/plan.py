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
    inside, kept = faces.outline, faces.brought.sitter.kept
    seen = kept.made("simple", lambda: softened(faces.reference, SIMPLE).astype(np.float64))
    painted = softened(faces.painting, SIMPLE).astype(np.float64)
    return tuple(_plan(faces, seen[inside], painted[inside], count) for count in COUNTS)


def _plan(faces: Faces, seen: Array, painted: Array, count: int) -> ValuePlan:
    cuts = faces.brought.sitter.kept.made(("cuts", count), lambda: thresholds(seen, count))
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
    flat, inside = plane.ravel(), faces.outline.ravel()
    shares = {id_: float(flat[there].mean()) for id_, there in faces.places.items() if inside[there].any()}
    worst = sorted((id_ for id_, share in shares.items() if share > 0.5), key=lambda id_: -shares[id_])
    return tuple(REGIONS[id_].name for id_ in worst[:4])
