"""The sitter's face and the painted face in turn at one place and size: what jumps is off."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from limner.report.auditpage.stage import stage_of
from limner.report.chalk import Look, Sheet, text_width

if TYPE_CHECKING:
    from limner.auditing import Examined

STILL = 1000
"""Milliseconds each face stays: one change a second, well below the three flashes of WCAG 2.2, 2.3.1."""
NAMES = ("the reference", "as painted")


def blink_pair(found: Examined) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """The reference laid where it belongs on the painting, and the painting: two (H, W, 3) arrays of one size.

    The reference is only scaled, turned and shifted as a whole, by what is held. Each says in a corner which it is.
    """
    stage = stage_of(found)
    first, second = (
        _named(pixels, name) for pixels, name in zip((stage.reference, stage.painting), NAMES, strict=True)
    )
    return first, second


def _named(pixels: NDArray[np.uint8], name: str) -> NDArray[np.uint8]:
    look = Look()
    sheet = Sheet(Image.fromarray(np.ascontiguousarray(pixels)), look)
    sheet.tag(name, (18 + text_width(name, look.text) / 2, 10 + 0.6 * look.text), look.white)
    return sheet.finished()
