"""What a painter names when something is to stay as it is: the parts of a face, and the features each is made of."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT
from limner.face.points import FEATURES

PARTS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "eyes": ("eyes", "eye_right", "eye_left", "iris_right", "iris_left"),
        "eye_right": ("eye_right", "iris_right"),
        "eye_left": ("eye_left", "iris_left"),
        "brows": ("brows", "brow_right", "brow_left"),
        "brow_right": ("brow_right",),
        "brow_left": ("brow_left",),
        "nose": ("nose", "nose_bridge", "nose_base"),
        "mouth": ("lips", "mouth_opening", "upper_lip", "lower_lip"),
        "upper_lip": ("upper_lip",),
        "lower_lip": ("lower_lip",),
        "chin": ("chin",),
        "jaw": ("jaw", "chin"),
        "face": ("face", "jaw", "chin"),
    }
)
"""Part -> what measures name as their feature; ``face`` is its outline."""

NAMES: Mapping[str, str] = MappingProxyType(
    {
        "head": "the whole head",
        "eyes": "both eyes",
        "brows": "both brows",
        "nose": "the nose",
        "mouth": "the mouth",
        "upper_lip": "the upper lip",
        "lower_lip": "the lower lip",
        "chin": "the chin",
        "jaw": "the jaw line",
        "face": "the outline of the face",
        **{f"{kind}_{side}": f"the sitter's {side} {kind}" for kind in ("eye", "brow") for side in ("right", "left")},
    }
)
"""Part -> its plain name, sides said as the sitter's."""

WIDE_PARTS = ("eyes", "brows", "jaw", "face")
"""Parts that span a pupil distance, whatever the face does: they carry size and tilt, the others only a place."""

_PUPILS = {"eye_right": (PUPIL_RIGHT,), "eye_left": (PUPIL_LEFT,), "eyes": (PUPIL_RIGHT, PUPIL_LEFT)}


def rows_in(part: str) -> tuple[int, ...]:
    """Mesh points of a part."""
    rows = [row for name in PARTS[part] if name in FEATURES for row in FEATURES[name].indices]
    return tuple(dict.fromkeys([*rows, *_PUPILS.get(part, ())]))
