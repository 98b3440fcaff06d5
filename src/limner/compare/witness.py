"""Who gave the painting's points: its own pixels where they are believed, the repeated detection elsewhere."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from limner.compare.bends import bends
from limner.compare.deviation import Framed, Normaliser, Pair, frame_up, pair_up
from limner.compare.hands import Hands, carried_with_rows, hands_of, with_head, with_rows
from limner.face.facepoints import POINT_COUNT, FacePoints
from limner.face.points import FEATURES
from limner.measure.declare import PUPIL_FEATURES
from limner.measure.similarity import NoFit
from limner.register.carried import Carried, CarriedHead
from limner.result import Witness
from limner.settings import Hold

Array = NDArray[np.float64]
T = TypeVar("T")

PART_OF: Mapping[str, str] = MappingProxyType(
    {
        "upper_lip": "lips",
        "lower_lip": "lips",
        "mouth_opening": "lips",
        "iris_left": "eye_left",
        "iris_right": "eye_right",
        "jaw": "face",
        "chin": "face",
        "nose_bridge": "nose",
        "nose_base": "nose",
    }
)
"""A part of a feature is doubted, or not painted yet, with the whole of it."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Testimony:
    """What can be said of the painting's points, and by whom."""

    pixels: Framed | NoFit
    """By the painting's pixels, with the detected points put in where the pixels are not believed."""
    found: Framed | NoFit
    """By repeated detection, or by hand, alone."""
    finder: Witness
    """``mesh``, or ``hand`` where the painting's points were placed by hand."""
    best: Array
    """(N, 2) array, px of the decoded painting: each point by the best witness; the mesh's 478 first, then by hand."""
    confidence: Mapping[str, float] = field(default_factory=dict)
    doubts: Mapping[str, str] = field(default_factory=dict)
    unpainted: Mapping[str, str] = field(default_factory=dict)
    refused: str | None = None
    """Why the pixels say nothing at all; ``None`` where they do."""
    hands: Hands = field(default_factory=Hands)
    sitter: Array = field(default_factory=lambda: np.zeros((0, 2)))
    """(N, 2) array, px of the decoded reference, the same rows as ``best``."""
    cut: frozenset[int] = frozenset()
    """Mesh points outside one of the pictures or at its edge that no hand has placed in the painting."""
    few_tones: bool = False
    """Whether the painting has few tones or broad strokes, so that its pixels are worth less."""
    bends: Mapping[str, float] = field(default_factory=dict)
    """How far the face round each feature is bent, where the pixels speak; percent of the pupil distance."""
    head: CarriedHead | None = None
    """What the pixels say of the big shape; ``None`` where they were not asked or are not believed at all."""

    def believed(self, feature: str) -> bool:
        """Whether the pixels speak for this feature."""
        return self.refused is None and isinstance(self.pixels, Framed) and _look_up(self.doubts, feature) is None

    def confidence_in(self, features: tuple[str, ...]) -> float:
        """The least confidence of these features; 1, the usual one, where nothing is said."""
        known = [_look_up(self.confidence, feature) for feature in features]
        return min((value for value in known if value is not None), default=1.0)

    def bent(self, features: tuple[str, ...]) -> float:
        """How far the face is bent round these features, the most; percent of the pupil distance.

        Of a part with too few points round it, how far round the whole.
        """
        return max((_look_up(self.bends, feature) or 0.0 for feature in features), default=0.0)

    def doubt_about(self, features: tuple[str, ...]) -> str | None:
        """Why the pixels are not believed for these features, the first reason there is."""
        reasons = (_look_up(self.doubts, feature) for feature in features)
        return next((reason for reason in reasons if reason is not None), self.refused)

    def missing(self, features: tuple[str, ...]) -> str | None:
        """Why one of these features has no number yet; ``None`` where all are painted."""
        reasons = (_look_up(self.unpainted, feature) for feature in features)
        return next((reason for reason in reasons if reason is not None), None)


def hear(
    reference: FacePoints,
    painting: FacePoints,
    carried: Carried | None,
    *,
    hold: Hold,
    normaliser: Normaliser,
    pixels_allowed: bool = True,
) -> Testimony:
    """Sets both witnesses side by side.

    Args:
        reference: points of the reference.
        painting: points found in the painting.
        carried: points of the painting as its pixels show them, if they were asked.
        hold: what stays put.
        normaliser: the length everything is divided by.
        pixels_allowed: ``False`` uses of ``carried`` only what is not painted yet.
    """
    hands = hands_of(reference, painting)
    reference, painting = with_rows(reference), with_rows(painting)
    asked = carried is not None and carried.refused is None and pixels_allowed
    head = carried.head if carried is not None and asked else None
    if head is not None:
        # Against a mark in the painting alone stands nothing: what the hand meant on the reference is not known.
        reference = with_head(reference, head.reference, head.reference[None], hands.reference | hands.painting)
        painting = with_head(painting, head.painting, head.runs, hands.painting)
    carried = None if carried is None else carried_with_rows(carried)
    cut = frozenset() if carried is None else carried.cut - hands.painting
    finder: Witness = "hand" if painting.found_by == "hand" else "mesh"
    unpainted = carried.unpainted if carried is not None else {}
    without = frozenset(unpainted)
    eyeless = any(_look_up(unpainted, feature) is not None for feature in PUPIL_FEATURES)

    def framed(pair: Pair) -> Framed | NoFit:
        return frame_up(pair, hold, normaliser=normaliser, without=without, pupils=not eyeless)

    found = framed(pair_up(reference.mean, reference.runs, painting.mean, painting.runs))
    if carried is None or carried.refused is not None or not pixels_allowed:
        refused = "the painting's pixels were not asked" if carried is None else carried.refused
        return Testimony(
            pixels=NoFit(refused or "only the face finder was asked"),
            found=found,
            finder=finder,
            best=painting.mean,
            unpainted=unpainted,
            refused=refused or "only the face finder was asked",
            cut=cut,
            hands=hands,
            sitter=reference.mean,
        )
    pair = _mixed(reference, painting, carried, hands)
    unseen = [row for feature in FEATURES.values() if _look_up(unpainted, feature.id) for row in feature.indices]
    return Testimony(
        pixels=framed(pair),
        found=found,
        finder=finder,
        best=pair.painting[0],
        confidence=carried.confidence,
        doubts=carried.doubts,
        unpainted=unpainted,
        cut=cut,
        hands=hands,
        sitter=reference.mean,
        few_tones=carried.by_shapes,
        bends=bends(pair.reference[0], pair.painting[0], cut.union(unseen)),
        head=head,
    )


def _mixed(reference: FacePoints, painting: FacePoints, carried: Carried, hands: Hands) -> Pair:
    """The carried points against the reference's mean; where the pixels are doubted, the detected points of both.

    The detector's own error on the reference is in both the reference's points and the carried ones, and cancels.
    What was placed by hand in the painting, or said not to be seen there, is as the hand has it.
    """
    taken = np.zeros(len(reference.mean), dtype=bool)
    for feature in FEATURES.values():
        if _look_up(carried.doubts, feature.id) is not None:
            taken[list(feature.indices)] = True
    for part, pupil in zip(PUPIL_FEATURES, (468, 473), strict=True):
        taken[pupil] = _look_up(carried.doubts, part) is not None
    taken[list(hands.painting)] = True
    taken[POINT_COUNT:] = True
    taken |= ~np.isfinite(painting.mean).all(axis=1)
    found = pair_up(reference.mean, reference.runs, painting.mean, painting.runs)
    shown = pair_up(reference.mean, reference.mean[None], carried.points, carried.runs)
    count = max(len(found.reference), len(shown.reference)) - 1
    order = np.arange(count)

    def runs(stack: Array) -> Array:
        return np.concatenate([stack[:1], stack[1:][order % (len(stack) - 1)]])

    mask = taken[None, :, None]
    return Pair(
        reference=np.where(mask, runs(found.reference), runs(shown.reference)),
        painting=np.where(mask, runs(found.painting), runs(shown.painting)),
    )


def _look_up(said: Mapping[str, T], feature: str) -> T | None:
    """What is said of a feature, or of the whole it is a part of."""
    return said[feature] if feature in said else said.get(PART_OF.get(feature, ""))
