"""What a decoded picture is to the rest of limner."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.notices import Notice


@dataclass(frozen=True, kw_only=True, eq=False)
class Picture:
    """A decoded, upright, sRGB picture. Its pixels are read-only."""

    pixels: NDArray[np.uint8]
    """(height, width, 3) array, sRGB, channel order red, green, blue."""

    name: str
    """Base name of the file, or a given label; never a full path."""

    digest: str | None
    """SHA-256 of the file's bytes as hex; ``None`` for a picture handed over as an array."""

    full_size: tuple[int, int]
    """Width and height in px of the whole upright picture as stored."""

    scale: float = 1.0
    """Decoded px per stored px, at most 1: large pictures are decoded at reduced scale."""

    focal_35mm: float | None = None
    """35 mm equivalent focal length in mm from EXIF, if stated."""

    taken: str | None = None
    """EXIF time the photograph was taken, ``YYYY-MM-DDTHH:MM:SS``, if stated."""

    notices: tuple[Notice, ...] = ()
    """Remarks from decoding (for example: no colour profile, taken as sRGB)."""
