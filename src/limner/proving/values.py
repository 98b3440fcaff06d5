"""Plants known errors of value: shadows too light, lights too strong."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.errors import UsageError
from limner.proving.pulls import fade

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]


@dataclass(frozen=True, kw_only=True)
class ValueSlip:
    """Lightness added to the shadows and to the lights, in CIE L* (0 black to 100 white)."""

    shadows: float = 0.0
    """Added in full below L* 25, fading to nothing at 55."""
    lights: float = 0.0
    """Added in full above L* 85, fading to nothing at 62."""

    def __post_init__(self) -> None:
        if not (abs(self.shadows) <= 14 and abs(self.lights) <= 11):
            raise UsageError(
                "A slip of value goes up to 14 in the shadows and 11 in the lights, or values change order."
            )

    def of(self, lightness: Array) -> Array:
        """The lightness painted for a lightness seen; both L*, any shape."""
        seen = np.asarray(lightness, dtype=np.float64)
        low = fade((seen - 25) / 30, "quintic")
        high = 1 - fade((seen - 62) / 23, "quintic")
        return np.asarray(np.clip(seen + self.shadows * low + self.lights * high, 0, 100))


def plant_values(pixels: Pixels, slip: ValueSlip) -> Pixels:
    """A copy of the (height, width, 3) sRGB picture with the slip of value in it; hue and chroma stay (CIE L*a*b*)."""
    lab = cv2.cvtColor(pixels.astype(np.float32) / np.float32(255), cv2.COLOR_RGB2LAB)
    lab[..., 0] = slip.of(lab[..., 0])
    back = cv2.cvtColor(lab, cv2.COLOR_LAB2RGB)
    return np.asarray(np.clip(np.rint(back * 255), 0, 255), dtype=np.uint8)
