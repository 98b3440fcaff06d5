"""What is taken from EXIF: the way up, the focal length, the time. Never a place, a name or a serial number."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from PIL import Image

from limner.pictures.directories import claims_too_much

# Tags of CIPA DC-008 (EXIF 2.3): the EXIF block, Orientation, FocalLengthIn35mmFilm, ColorSpace,
# DateTimeOriginal and DateTimeDigitized.
_EXIF_IFD, _ORIENTATION, _FOCAL_35MM, _COLOUR_SPACE = 0x8769, 0x0112, 0xA405, 0xA001
_TAKEN = (0x9003, 0x9004)
_SRGB_DECLARED = 1
_IN_TEXT = "Raw profile type exif"
"""Where some writers put EXIF into a PNG, as hexadecimal text after three lines."""


@dataclass(frozen=True, kw_only=True)
class Exif:
    """The only things that are kept."""

    turn: int = 1
    focal_35mm: float | None = None
    taken: str | None = None
    says_srgb: bool = False


def read_exif(image: Image.Image) -> Exif:
    """Hostile EXIF is not worth a refusal: what cannot be read is taken as not stated."""
    try:
        if claims_too_much(_block(image)):
            return Exif()
        exif = image.getexif()
        turn = exif.get(_ORIENTATION, 1)
        more = exif.get_ifd(_EXIF_IFD)
    except Exception:  # noqa: BLE001 - see above
        return Exif()
    return Exif(
        turn=turn if isinstance(turn, int) and 1 <= turn <= 8 else 1,
        focal_35mm=_focal(more.get(_FOCAL_35MM)),
        taken=next((t for t in map(_when, (more.get(tag) for tag in _TAKEN)) if t), None),
        says_srgb=more.get(_COLOUR_SPACE) == _SRGB_DECLARED,
    )


def _block(image: Image.Image) -> bytes:
    """The EXIF block as the file has it; of a TIFF, which is one itself, nothing."""
    held = image.info.get("exif")
    if held is None and _IN_TEXT in image.info:
        held = bytes.fromhex("".join(str(image.info[_IN_TEXT]).split("\n")[3:]))
    return held.removeprefix(b"Exif\0\0") if isinstance(held, bytes) else b""


def _focal(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) and 1 <= value <= 5000 else None


def _when(value: object) -> str | None:
    try:
        # EXIF gives the camera's own clock without a zone, and so it stays.
        return datetime.strptime(str(value).strip("\0 "), "%Y:%m:%d %H:%M:%S").isoformat()  # noqa: DTZ007
    except ValueError:
        return None
