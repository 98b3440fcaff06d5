"""What kind of picture some bytes are, told from the bytes alone; the name's ending is not trusted."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

Kind = Literal["JPEG", "PNG", "WebP", "TIFF", "HEIC"]

_HEIF_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"mif2", b"miaf"}
_TIFF_STARTS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")

# Starts of files a painter may well hand over, and what they are called in a refusal.
_OTHERS: tuple[tuple[bytes, str], ...] = (
    (b"GIF8", "a GIF"),
    (b"BM", "a BMP"),
    (b"%PDF", "a PDF"),
    (b"8BPS", "a layered file of an image editor"),
    (b"gimp xcf", "a layered file of an image editor"),
    (b"FUJIFILMCCD-RAW", "a camera raw file"),
    (b"IIRO", "a camera raw file"),
    (b"IIU\0", "a camera raw file"),
    (b"\0\0\0\x0cJXL ", "a JPEG XL"),
    (b"\xff\x0a", "a JPEG XL"),
    (b"\0\0\0\x0cjP  ", "a JPEG 2000"),
    (b"<?xml", "an XML or SVG text"),
    (b"<svg", "an SVG drawing"),
    (b"<!DOCTYPE html", "a web page"),
    (b"<html", "a web page"),
    (b"PK\x03\x04", "a ZIP archive"),
)
_CAMERA_RAW = "a camera raw file"


def kind_of(data: bytes) -> Kind | None:
    """The kind of picture, or ``None`` when it is none that limner reads."""
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WebP"
    if data.startswith(_TIFF_STARTS):
        return None if data[8:10] == b"CR" else "TIFF"
    if _brands(data) & _HEIF_BRANDS and b"avif" not in _brands(data):
        return "HEIC"
    return None


def words_for(data: bytes) -> str:
    """What to call bytes that are no picture limner reads."""
    brands = _brands(data)
    if data.startswith(_TIFF_STARTS) or b"crx " in brands:
        return _CAMERA_RAW
    if brands:
        return "an AVIF" if brands & {b"avif", b"avis"} else "a film"
    for start, words in _OTHERS:
        if data.startswith(start):
            return words
    head = data[:4096]
    return "text" if head.isascii() and b"\0" not in head else "not a picture limner knows"


def cut_short(kind: Kind, data: bytes) -> bool:
    """Whether the container itself says that bytes are missing at the end."""
    if kind == "PNG":
        return all(data[at + 4 : at + 8] != b"IEND" for at in png_chunks(data))
    if kind == "WebP":
        return int.from_bytes(data[4:8], "little") + 8 > len(data)
    return False


def _brands(data: bytes) -> set[bytes]:
    """Major and compatible brands of an ISO base media file (ISO/IEC 14496-12, 4.3)."""
    if data[4:8] != b"ftyp":
        return set()
    size = min(int.from_bytes(data[:4], "big"), 1024)
    return {data[8:12]} | {data[i : i + 4] for i in range(16, min(size, len(data)) - 3, 4)}


def png_chunks(data: bytes) -> Iterator[int]:
    """Where each chunk of a PNG begins."""
    at = 8
    while at + 12 <= len(data):
        yield at
        at += 12 + int.from_bytes(data[at : at + 4], "big")
