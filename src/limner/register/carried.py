"""The painting's points as its pixels show them: the reference's points carried along the dense correspondence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class CarriedHead:
    """The big shape: points the mesh does not have, in the order of :data:`limner.face.placeable.BEYOND`.

    NaN where there is no number.
    """

    reference: Array
    """(B, 2) array, px of the reference as decoded."""
    painting: Array
    """(B, 2) array, px of the painting as decoded."""
    runs: Array
    """(K, B, 2) array, px: the painting's by each way to compare."""
    doubts: Mapping[str, str] = field(default_factory=dict)
    """Key of a point that has no number -> why."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Carried:
    """What registration says of the painting's points. Coordinates are px of the painting as decoded."""

    points: Array
    """(478, 2) array, px: where each of the reference's points lies in the painting."""

    runs: Array
    """(K, 478, 2) array, px: the same from each independent setting; their scatter is part of the doubt."""

    confidence: Mapping[str, float] = field(default_factory=dict)
    """Feature name -> how far the pixels can be believed there: 1 as usual, less where loose, more where calm."""

    unpainted: Mapping[str, str] = field(default_factory=dict)
    """Feature name -> reason, for each feature that is not on the canvas yet."""

    doubts: Mapping[str, str] = field(default_factory=dict)
    """Feature name -> reason, where the pixels are not believed and the mesh has to speak."""

    refused: str | None = None
    """Why registration as a whole is not believed; ``None`` where it is."""

    cut: frozenset[int] = frozenset()
    """Mesh points outside one of the pictures or at its edge: no paint, or no photograph, says anything of them."""

    by_shapes: bool = False
    """Whether the painting has few tones or broad strokes, and its values' edges spoke beside the paint as it is."""

    head: CarriedHead | None = None
    """The head's outline, hairline and neck; ``None`` where they were not asked."""
