"""Everything that can be read in an output: what is packed, encoded or embedded in it, down to the last picture."""

from __future__ import annotations

import base64
import binascii
import contextlib
import io
import re
import struct
import warnings
import zlib
from collections.abc import Iterator

from PIL import Image

BARE = {
    "png": {b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"IEND"},
    "webp": {b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ANIM", b"ANMF"},
}
"""The parts of a file that hold a picture and nothing about it."""
_BASE64 = re.compile(rb"[A-Za-z0-9+/]{64,}={0,2}")
_STREAM = re.compile(rb"stream\r?\n(.*?)endstream", re.DOTALL)


def layers(data: bytes) -> Iterator[bytes]:
    """The bytes, and all that is found unpacked from them, and from that."""
    yield data
    for found in (*_packed(data), *_encoded(data)):
        yield from layers(found)


def _encoded(data: bytes) -> Iterator[bytes]:
    if data[:4] in {b"\x89PNG", b"GIF8", b"RIFF"} or data[:2] == b"\xff\xd8":
        return
    for match in _BASE64.finditer(data):
        with contextlib.suppress(binascii.Error):
            yield base64.b64decode(match[0])


def _packed(data: bytes) -> Iterator[bytes]:
    if data.startswith(b"\x89PNG"):
        for kind, body in png_parts(data):
            if kind in {b"zTXt", b"iTXt", b"iCCP"}:
                yield from (_inflated(body[k + 1 :]) for k in range(len(body)) if body[k] == 0)
    if data.startswith(b"%PDF"):
        for match in _STREAM.finditer(data):
            body = match[1].strip()
            yield _inflated(base64.a85decode(body[:-2]) if body.endswith(b"~>") else body)


def _inflated(body: bytes) -> bytes:
    try:
        return zlib.decompressobj().decompress(body)
    except zlib.error:
        return b""


def png_parts(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = 8
    while at + 8 <= len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        yield data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        at += 12 + length


def webp_parts(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = 12
    while at + 8 <= len(data):
        (length,) = struct.unpack("<I", data[at + 4 : at + 8])
        yield data[at : at + 4], data[at + 8 : at + 8 + length]
        at += 8 + length + length % 2


def jpeg_parts(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Marker and body of each part in front of the picture itself."""
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF and data[at + 1] != 0xDA:
        (length,) = struct.unpack(">H", data[at + 2 : at + 4])
        yield data[at + 1], data[at + 4 : at + 2 + length]
        at += 2 + length


def beside_the_picture(data: bytes) -> set[str]:
    """What a PNG, WebP, JPEG or GIF holds but its pixels; empty also for what is none of them."""
    if data.startswith(b"\x89PNG"):
        return {kind.decode("latin-1") for kind, _ in png_parts(data)} - {kind.decode() for kind in BARE["png"]}
    if data.startswith(b"RIFF"):
        return {kind.decode("latin-1") for kind, _ in webp_parts(data)} - {kind.decode() for kind in BARE["webp"]}
    if data.startswith(b"\xff\xd8"):
        apart = {f"APP{marker - 0xE0}" for marker, _ in jpeg_parts(data) if 0xE0 < marker < 0xF0}
        return apart | {"comment" for marker, _ in jpeg_parts(data) if marker == 0xFE}
    if data.startswith(b"GIF8"):
        with warnings.catch_warnings(), Image.open(io.BytesIO(data)) as image:
            return set(image.info) & {"comment", "exif", "xmp"}
    return set()
