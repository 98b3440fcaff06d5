"""The one way pictures come in: a path or an array becomes a :class:`Picture`."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from limner.errors import PictureError
from limner.pictures.decode import DecodeLimits, decode, reduce_by
from limner.pictures.modes import to_eight_bit
from limner.pictures.picture import Picture
from limner.pictures.reading import read_picture_bytes, refusal

TARGET = 1500
"""px the long side keeps at least. A 12-megapixel photograph (4032 x 3024) is read at half scale, 2016 x 1512; a JPEG
decodes at a half, a quarter or an eighth for far less than whole. Every kind of file is divided by a whole number, so
that one decoded pixel is a whole block of stored ones, and nothing stays longer than twice this."""


@dataclass(frozen=True, kw_only=True)
class Limits:
    """How much of a picture is accepted; checked before anything is decoded."""

    file_bytes: int = 300_000_000
    """Bytes of the file."""

    pixels: int = 220_000_000
    """Pixels as stored: a 200-megapixel phone photograph passes."""

    held: int = 110_000_000
    """Pixels in memory at once. JPEG decoded at reduced scale counts reduced; all others count whole."""


def load_picture(
    source: str | Path | NDArray[Any], *, label: str, limits: Limits | None = None, target: int = TARGET
) -> Picture:
    """Read a picture: upright, sRGB, 8 bits, transparent parts on white, its pixels read-only.

    ``source``: the path of a JPEG, PNG, WebP, TIFF or HEIC file, or an array of shape (H, W), (H, W, 3) or (H, W, 4),
    sRGB in the order red, green, blue(, alpha), as uint8, uint16 or float in 0..1. ``label`` names its role in messages
    ("reference", "painting"). ``target``: the long side, px, that a large picture keeps at least when it is reduced;
    a picture smaller than twice that is not reduced. A decoded pixel (x, y), centres at whole numbers, lies at
    ``(x + 0.5) / scale - 0.5`` of the stored picture (in a mirrored or turned picture whose side is no multiple of
    ``1 / scale``, up to one stored pixel beside it).

    The file is only read. EXIF gives orientation, 35 mm focal length and time; nothing else of it is kept.

    Raises :class:`PictureError`, one sentence with what was expected, what came and what to do.
    """
    limits = limits or Limits()
    if isinstance(source, np.ndarray):
        return _from_array(source, label, limits, target)
    read = read_picture_bytes(source, label=label, most_bytes=limits.file_bytes)
    bounds = DecodeLimits(pixels=limits.pixels, held=limits.held, target=target)
    decoded = decode(read.data, f"{label} '{read.name}'", bounds)
    return Picture(
        pixels=_locked(np.asarray(decoded.image)),
        name=read.name,
        digest=read.digest,
        full_size=decoded.full_size,
        scale=decoded.scale,
        focal_35mm=decoded.focal_35mm,
        taken=decoded.taken,
        notices=decoded.notices,
    )


def _from_array(array: NDArray[Any], label: str, limits: Limits, target: int) -> Picture:
    if array.ndim not in (2, 3) or (array.ndim == 3 and array.shape[2] not in (3, 4)) or 0 in array.shape:
        expected = "an array of shape (height, width), (height, width, 3) or (height, width, 4)"
        raise refusal(label, expected=expected, came=f"its shape is {array.shape}", do="rearrange it")
    if array.shape[0] * array.shape[1] > limits.held:
        raise refusal(
            label,
            expected=f"at most {limits.held / 1e6:.0f} million pixels",
            came=f"the array has {array.shape[1]} x {array.shape[0]}",
            do="hand over a smaller one",
        )
    image = Image.fromarray(np.ascontiguousarray(_bytes_of(array, label)))
    factor = reduce_by(max(image.size), target)
    full = image.size
    if factor > 1:
        image = image.reduce(factor)
    if image.mode == "RGBA":
        paper = Image.new("RGB", image.size, "white")
        paper.paste(image.convert("RGB"), mask=image.getchannel("A"))
        image = paper
    pixels = np.array(image.convert("RGB"))
    return Picture(pixels=_locked(pixels), name=label, digest=None, full_size=full, scale=1.0 / factor)


def _bytes_of(array: NDArray[Any], label: str) -> NDArray[Any]:
    if array.dtype == np.uint8:
        return array
    if array.dtype == np.uint16:
        return to_eight_bit(array)
    if not np.issubdtype(array.dtype, np.floating):
        raise _bad_values(label, f"it holds {array.dtype}")
    low, high = float(np.min(array)), float(np.max(array))
    if not (low >= 0.0 and high <= 1.0):  # also when either is not a number
        raise _bad_values(label, f"its numbers run from {low:.3g} to {high:.3g}")
    return np.rint(np.asarray(array, dtype=np.float64) * 255).astype(np.uint8)


def _bad_values(label: str, came: str) -> PictureError:
    return refusal(label, expected="uint8, uint16 or floating-point numbers in 0..1", came=came, do="convert it first")


def _locked(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    pixels.flags.writeable = False
    return pixels
