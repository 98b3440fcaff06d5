"""How much of a picture its decoder keeps in memory at once, told from its header before anything is decoded."""

from __future__ import annotations

from collections.abc import Iterator

from PIL import Image

from limner.pictures.kinds import Kind, png_chunks

WEBP_COST = 2
"""A WebP's decoder keeps 16 bytes for each pixel, twice what others need (measured: 109 million pixels, 1.74 GB)."""
_TILE_WIDTH, _TILE_LENGTH = 322, 323

# ITU-T T.81, table B.1: start of frame (all but DHT, JPG and DAC, which share the range), start of scan,
# and the markers that stand without a length.
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_PROGRESSIVE = frozenset({0xC2, 0xC6, 0xCA, 0xCE})
_SCAN = 0xDA
_BARE = frozenset({0x00, 0x01, *range(0xD0, 0xDA), 0xFF})
MOST_PARTS = 100_000
"""Chunks of a PNG, markers before the pixels of a JPEG. A PNG of 300 MB in chunks of 8 kB has 37,000, a JPEG some
hundred; decoders take microseconds for each, so that millions of empty ones would hold them up for minutes."""


def held_at_once(pixels: int, kind: Kind, data: bytes, *, reduced: int) -> int:
    """Pixels that have to be in memory at once, each counted as 8 bytes, of a picture that has ``pixels``.

    ``reduced``: what a JPEG's sides are divided by while decoding. Only a JPEG whose pixels come in one scan is reduced
    as it streams in; any other has all its coefficients in memory first.
    """
    if kind == "JPEG":
        return pixels // reduced**2 if in_one_scan(data) else pixels
    return pixels * WEBP_COST if kind == "WebP" else pixels


def tile_size(image: Image.Image) -> int:
    """Pixels of one tile of a TIFF, 0 for any other: it is decoded whole, also where it is larger than the picture."""
    tags = getattr(image, "tag_v2", {})
    try:
        return int(tags.get(_TILE_WIDTH, 0)) * int(tags.get(_TILE_LENGTH, 0))
    except (TypeError, ValueError):
        return 0


def webp_size(data: bytes) -> tuple[int, int]:
    """Width and height by the header of a WebP (RFC 9649, 2.5 to 2.7; RFC 6386, 9.1); none where it has no such header.

    >>> webp_size(b"RIFF....WEBPVP8X" + bytes(4) + bytes(4) + bytes.fromhex("7f0200df0100"))
    (640, 480)
    """
    form, body = data[12:16], data[20:30]
    if form == b"VP8X":
        return 1 + int.from_bytes(body[4:7], "little"), 1 + int.from_bytes(body[7:10], "little")
    if form == b"VP8L":
        bits = int.from_bytes(body[1:5], "little")
        return 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
    if form == b"VP8 ":
        return int.from_bytes(body[6:8], "little") & 0x3FFF, int.from_bytes(body[8:10], "little") & 0x3FFF
    return 0, 0


def in_one_scan(data: bytes) -> bool:
    """Whether a JPEG is not progressive and its first scan holds all components (ITU-T T.81, B.2.2 and B.2.3).

    >>> in_one_scan(bytes.fromhex("ffd8 ffc0000b080010001001011100 ffda0008010100003f00"))
    True
    """
    components = 0
    for at in _markers(data):
        marker = data[at + 1]
        if marker == _SCAN:
            return 0 < components == int.from_bytes(data[at + 4 : at + 5], "big")
        if marker in _FRAMES and at + 9 < len(data):
            components = 0 if marker in _PROGRESSIVE else data[at + 9]
    return False


def in_too_many_parts(kind: Kind, data: bytes) -> bool:
    """Whether a JPEG or PNG is cut into more parts than any picture needs."""
    parts = {"JPEG": _markers, "PNG": png_chunks}.get(kind)
    return parts is not None and any(number > MOST_PARTS for number, _ in enumerate(parts(data), start=1))


def _markers(data: bytes) -> Iterator[int]:
    """Where each marker of a JPEG begins, up to the first scan."""
    at = 2
    while at + 1 < len(data) and data[at] == 0xFF:
        yield at
        marker = data[at + 1]
        if marker == _SCAN:
            return
        if marker in _BARE:
            at += 1 if marker == 0xFF else 2
        else:
            at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
