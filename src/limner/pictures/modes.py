"""Every way a picture stores its pixels becomes 8 bits a channel."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image

_TIFF_PHOTOMETRIC = 262
_PLAIN = {mode: mode for mode in ("L", "LA", "RGB", "RGBA", "CMYK", "LAB")}
_PLAIN |= {"1": "L", "La": "LA", "PA": "RGBA", "RGBa": "RGBA"}


def eight_bit(image: Image.Image) -> Image.Image:
    """Any mode becomes one of L, LA, RGB, RGBA, CMYK, LAB, 8 bits a channel."""
    if image.mode.startswith("I"):
        return Image.fromarray(to_eight_bit(_grey16(image)))
    wanted = _PLAIN.get(image.mode, "RGB")
    if "transparency" in image.info:
        wanted = {"L": "LA", "RGB": "RGBA"}.get(wanted, wanted)
    return image if image.mode == wanted else image.convert(wanted)


def _grey16(image: Image.Image) -> NDArray[np.uint16]:
    grey = np.asarray(image).astype(np.uint16)
    tags = getattr(image, "tag_v2", {})
    return ~grey if tags.get(_TIFF_PHOTOMETRIC) == 0 else grey


def to_eight_bit(values: NDArray[np.uint16]) -> NDArray[np.uint8]:
    """0..65535 to 0..255, rounded to the nearest."""
    table = ((np.arange(65536, dtype=np.uint32) + 128) // 257).astype(np.uint8)
    return table[values]


def without_alpha(image: Image.Image) -> Image.Image:
    """The colours alone: mode RGB or L; other modes as they are."""
    if image.mode == "RGBA":
        return image.convert("RGB")
    return image.getchannel("L") if image.mode == "LA" else image


def alpha_of(image: Image.Image) -> Image.Image | None:
    """The alpha channel, if anything in it is not fully opaque."""
    if image.mode not in ("LA", "RGBA"):
        return None
    alpha = image.getchannel("A")
    return None if alpha.getextrema() == (255, 255) else alpha
