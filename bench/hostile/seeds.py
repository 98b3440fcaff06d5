"""Small valid files of every kind limner reads, made here, and the bombs: small files that claim or become a lot."""

from __future__ import annotations

import io
import json
import struct
import zipfile
import zlib
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import pillow_heif
from PIL import Image, ImageCms, PngImagePlugin

from limner.face.placeable import PLACEABLE
from limner.pictures.colour import ADOBE_RGB, DISPLAY_P3, SRGB_CURVE, rgb_profile

SIDE = 24
DIGEST = "0123456789abcdef" * 4


def _scene(mode: str = "RGB", side: int = SIDE) -> Image.Image:
    rng = np.random.default_rng(5)
    smooth = np.add.outer(np.arange(side) * 5, np.arange(side) * 4)[..., None] * [1.0, 0.7, 0.4]
    pixels = (smooth + rng.normal(20, 6, (side, side, 3))).clip(0, 255).astype(np.uint8)
    return Image.fromarray(pixels).convert(mode)


def _saved(image: Image.Image, kind: str, **options: Any) -> bytes:
    held = io.BytesIO()
    image.save(held, kind, **options)
    return held.getvalue()


@cache
def pictures() -> dict[str, tuple[bytes, ...]]:
    """Kind -> small pictures of it, in the ways such files are stored."""
    pillow_heif.register_heif_opener()
    text = PngImagePlugin.PngInfo()
    text.add_itxt("Comment", "a sitter", zip=True)
    text.add_text("Title", "x" * 90, zip=True)
    grey16 = Image.fromarray(np.asarray(_scene("L")).astype(np.uint16) * 257)
    tiff = ("raw", "tiff_lzw", "tiff_adobe_deflate", "packbits", "jpeg")
    return {
        "JPEG": (
            _saved(_scene(), "JPEG", quality=70, exif=exif()),
            _saved(_scene("L"), "JPEG"),
            _saved(_scene("CMYK"), "JPEG"),
        ),
        "progressive JPEG": (_saved(_scene(), "JPEG", progressive=True, quality=70),),
        "PNG": (
            _saved(_scene("RGBA"), "PNG", pnginfo=text, dpi=(90, 90)),
            _saved(_scene("P"), "PNG", transparency=3),
            _saved(_scene("1"), "PNG"),
            _saved(grey16, "PNG"),
        ),
        "WebP": (_saved(_scene(), "WEBP", quality=60), _saved(_scene("RGBA"), "WEBP", exif=exif())),
        "lossless WebP": (
            _saved(_scene(), "WEBP", lossless=True),
            _saved(_scene(), "WEBP", save_all=True, append_images=[_scene("L")], lossless=True),
        ),
        "TIFF": (
            *(_saved(_scene(), "TIFF", compression=way) for way in tiff),
            _saved(_scene("LAB"), "TIFF"),
            _saved(grey16, "TIFF"),
            _saved(_scene("1"), "TIFF", compression="group4"),
        ),
        "HEIC": (heic(),),
    }


@cache
def heic() -> bytes:
    """A HEIC with EXIF."""
    held = io.BytesIO()
    pillow_heif.from_pillow(_scene(side=64)).save(held, quality=40, exif=exif())
    return held.getvalue()


@cache
def exif() -> bytes:
    """An EXIF block (TIFF structure) with a turn, a time, a focal length, a place and a maker's note."""
    block = Image.Exif()
    block[0x0112] = 6
    block[0x010F] = "A maker"
    more = block.get_ifd(0x8769)
    more[0x9003] = "2024:03:04 10:11:12"
    more[0xA405] = 52
    more[0xA001] = 1
    more[0x927C] = b"\0\1\2\3" * 8
    place = block.get_ifd(0x8825)
    place[1], place[2] = "N", (51.0, 30.0, 0.5)
    return bytes(block.tobytes())


@cache
def profiles() -> tuple[bytes, ...]:
    """Colour profiles: matrix and curve, a table, Lab, and a CMYK table."""
    made = (ImageCms.ImageCmsProfile(ImageCms.createProfile(name)).tobytes() for name in ("sRGB", "LAB", "XYZ"))
    return (*made, rgb_profile(DISPLAY_P3, SRGB_CURVE), rgb_profile(ADOBE_RGB, (2.2,)), cmyk_profile())


def cmyk_profile() -> bytes:
    """A printing profile with a table of two steps a colour (ICC.1:2010 10.10, lut8Type)."""
    grid = np.array(np.meshgrid(*[[0, 1]] * 4, indexing="ij")).reshape(4, -1).T
    light = (255 * (1 - 0.9 * grid.max(axis=1))).astype(np.uint8)
    table = np.stack([light, np.full_like(light, 128), np.full_like(light, 128)], axis=1).tobytes()
    matrix = struct.pack(">9i", *(65536, 0, 0, 0, 65536, 0, 0, 0, 65536))
    ramp = bytes(range(256))
    lut = b"mft1" + bytes(4) + bytes((4, 3, 2, 0)) + matrix + ramp * 4 + table + ramp * 3
    start = 128 + 4 + 12
    header = struct.pack(">I4sI4s4s4s", start + len(lut), bytes(4), 0x02400000, b"prtr", b"CMYK", b"Lab ")
    header += struct.pack(">6H4s", 2024, 1, 1, 0, 0, 0, b"acsp")
    header += bytes(28) + struct.pack(">3i", 63190, 65536, 54061)
    return header.ljust(128, b"\0") + struct.pack(">I4sII", 1, b"A2B0", start, len(lut)) + lut


def with_exif(block: bytes, where: str) -> bytes:
    """A picture that carries an EXIF block, whatever the block is."""
    if where == "JPEG":
        bare = _bare("JPEG")
        body = b"Exif\0\0" + block.removeprefix(b"Exif\0\0")
        return bare[:2] + b"\xff\xe1" + struct.pack(">H", min(len(body) + 2, 65535)) + body[:65533] + bare[2:]
    if where == "PNG":
        return _png_with(b"eXIf", block.removeprefix(b"Exif\0\0"))
    return _webp_with(b"EXIF", block, flag=8)


def with_profile(profile: bytes, where: str, mode: str) -> bytes:
    """A picture that carries a colour profile, whatever the profile is."""
    if where == "JPEG":
        body = b"ICC_PROFILE\0\x01\x01" + profile[:65000]
        bare = _bare("JPEG", mode)
        return bare[:2] + b"\xff\xe2" + struct.pack(">H", len(body) + 2) + body + bare[2:]
    if where == "PNG":
        return _png_with(b"iCCP", b"icc\0\0" + zlib.compress(profile, 1))
    return _webp_with(b"ICCP", profile, flag=32)


@cache
def _bare(kind: str, mode: str = "RGB") -> bytes:
    return _saved(_scene(mode), kind)


def chunk(name: bytes, data: bytes) -> bytes:
    """One chunk of a PNG."""
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def _png_with(name: bytes, data: bytes) -> bytes:
    bare = _bare("PNG")
    return bare[:33] + chunk(name, data) + bare[33:]


def _webp_with(name: bytes, data: bytes, *, flag: int) -> bytes:
    size = (SIDE - 1).to_bytes(3, "little") * 2
    head = b"VP8X" + struct.pack("<I", 10) + bytes((flag, 0, 0, 0)) + size
    more = name + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2)
    pixels = _bare("WEBP")[12:]
    body = b"WEBP" + head + (more + pixels if name == b"ICCP" else pixels + more)
    return b"RIFF" + struct.pack("<I", len(body)) + body


def points() -> bytes:
    """A points file with every sort of entry."""
    held = {
        "schema": "limner.points/1",
        "picture": {"width": 640, "height": 480, "sha256": DIGEST},
        "points": {
            "tr": {"x": 320.25, "y": 40, "sigma": 2.5, "source": "hand"},
            "ex_right": {"x": 250, "y": 200.5, "source": "found"},
            "sa_left": {"x": 0, "y": 480},
        },
        "unseen": ["ex_left"],
    }
    return json.dumps(held, indent=1).encode()


WORDS_OF_POINTS = tuple(
    word.encode()
    for word in (
        *sorted(PLACEABLE)[:12],
        *('"x"', '"points"', '"unseen"', "null", "true", "NaN", "Infinity", "-1", "1e999", "1" + "0" * 400, "{", "]"),
        *("\\u0000", "\\ud800", "\ufeff", "\x1b[2J", '"sigma": 0.0001', "1e-320", "[" * 3000, '{"a":' * 3000),
    )
)

CONFIG = b"""reference = "anna.jpg"
painting = "canvas.jpg"
hold = "eyes"
strict = 0.8
stage = "glaze"
between = [["ch_left", "gn"], ["n", "sn"]]
match = "patch:120,80=5"
canvas = "400x500mm"
corners = "212,80 1630,95 1611,1890 230,1874"
values = true
top = 12

[face]
reference = 1

[points]
painting = "canvas.points.json"
only = false

[series]
order = "time"
jobs = 2

[notes]
"canvas-3.jpg" = "nose repainted"
"""
WORDS_OF_CONFIG = (
    *(b"[", b"]", b"{", b"}", b"=", b'"""', b"'''", b"\n", b"inf", b"nan", b"1e999", b"0x", b"1_0", b"~", b"~x/"),
    *(
        b"[[",
        b"2024-01-01T00:00:00Z",
        b"1979-05-27",
        b"\\u0000",
        b"\\UFFFFFFFF",
        b"\\u001b[2J",
        b"\xff",
        b"\0",
        b"[" * 3000,
    ),
    *(b"a.b.c.d", b'"~nobody/x"', b"=[" * 2000, b"1" * 5000, b"-0.0", b"9" * 400),
    *(b"notes", b"series", b"points"),
)


@cache
def model() -> bytes:
    """A small archive with the names a face model has."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in ("face_detector.tflite", "face_landmarks_detector.tflite"):
            archive.writestr(zipfile.ZipInfo(name), bytes(range(256)) * 2)
    return held.getvalue()


def _png_head(width: int, height: int, depth: int = 8, colour: int = 2) -> bytes:
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0))


def _png_claiming(width: int, height: int, *, colour: int = 2, more: bytes = b"") -> bytes:
    pixels = zlib.compress(bytes(5000))
    return _png_head(width, height, colour=colour) + more + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")


def _zeros(many: int) -> bytes:
    """That many zero bytes, compressed."""
    packer, out = zlib.compressobj(9), bytearray()
    block = bytes(1 << 20)
    for _ in range(many >> 20):
        out += packer.compress(block)
    return bytes(out + packer.flush())


def _jpeg_claiming(width: int, height: int, *, kind: str = "JPEG", scans: bool = False) -> bytes:
    data = bytearray(pictures()[kind][0])
    at = data.index(b"\xff\xc2" if kind != "JPEG" else b"\xff\xc0")
    data[at + 5 : at + 9] = struct.pack(">HH", height, width)
    if scans:
        at = data.index(b"\xff\xda", at)
        data[at : at + 14] = b"\xff\xda" + struct.pack(">HBBB", 8, 1, 1, 0) + b"\0\x3f\0"
    return bytes(data)


def _webp_claiming(width: int, height: int) -> bytes:
    data = bytearray(_webp_with(b"EXIF", b"II*\0", flag=8))
    data[24:30] = (width - 1).to_bytes(3, "little") + (height - 1).to_bytes(3, "little")
    return bytes(data)


def _tiff(tags: dict[int, int], pixels: bytes) -> bytes:
    tags = {**tags, **dict.fromkeys((273, 279) if 322 not in tags else (324, 325), 0)}
    start = 8 + 2 + 12 * len(tags) + 4
    tags |= {273: start, 279: len(pixels)} if 322 not in tags else {324: start, 325: len(pixels)}
    table = b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in sorted(tags.items()))
    return b"II*\0" + struct.pack("<IH", 8, len(tags)) + table + bytes(4) + pixels


def _tiff_claiming(width: int, height: int, **more: int) -> bytes:
    tags = {256: width, 257: height, 258: 8, 259: 8, 262: 1, **{int(k[1:]): v for k, v in more.items()}}
    return _tiff(tags, zlib.compress(bytes(4096)))


def _heic_claiming(width: int, height: int) -> bytes:
    data = bytearray(heic())
    at = data.index(b"ispe")
    data[at + 8 : at + 16] = struct.pack(">II", width, height)
    return bytes(data)


def _tiff_of_tags(many: int) -> bytes:
    """A megabyte in which so many values of a megabyte lie over each other."""
    tags = [(256, 24), (257, 24), (258, 8), (259, 1), (262, 1), (273, 8), (279, 576)]
    start, size = 8 + 2 + 12 * (len(tags) + many) + 4, 1 << 20
    table = b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in tags)
    table += b"".join(struct.pack("<HHII", 1000 + number, 7, size, start) for number in range(many))
    return b"II*\0" + struct.pack("<IH", 8, len(tags) + many) + table + bytes(4 + size)


def _tiff_at_the_limit() -> bytes:
    side = 10_400
    tags = {256: side, 257: side, 258: 16, 259: 8, 262: 1, 278: side}
    return _tiff(tags, _zeros(side * side * 2 + (1 << 20)))


BOMBS: dict[str, Callable[[], bytes]] = {
    "png 100000 x 100000": lambda: _png_claiming(100_000, 100_000),
    "png 2000000000 x 1": lambda: _png_claiming(2_000_000_000, 1),
    "png of 16 bits": lambda: _png_claiming(60_000, 60_000, colour=0),
    "jpeg 65500 x 65500": lambda: _jpeg_claiming(65_500, 65_500),
    "progressive jpeg 14000 x 14000": lambda: _jpeg_claiming(14_000, 14_000, kind="progressive JPEG"),
    "jpeg in several scans": lambda: _jpeg_claiming(14_800, 14_800, scans=True),
    "webp 16383 x 16383": lambda: _webp_claiming(16_383, 16_383),
    "webp 9000 x 9000": lambda: _webp_claiming(9000, 9000),
    "tiff 90000 x 90000": lambda: _tiff_claiming(90_000, 90_000),
    "tiff in one huge tile": lambda: _tiff_claiming(64, 64, t322=30_000, t323=30_000),
    "heic 30000 x 30000": lambda: _heic_claiming(30_000, 30_000),
    "jpeg in 3 million parts": lambda: _bare("JPEG")[:2] + b"\xff\xe5\0\2" * 3_000_000 + _bare("JPEG")[2:],
    "jpeg after 9 million fill bytes": lambda: b"\xff\xd8" + b"\xff" * 9_000_000 + _bare("JPEG")[2:],
    "png in a million parts": lambda: _bare("PNG")[:33] + chunk(b"abCd", b"") * 1_000_000 + _bare("PNG")[33:],
    "tiff of 2000 tags over each other": lambda: _tiff_of_tags(2000),
    "gif 65535 x 65535": lambda: b"GIF89a" + struct.pack("<HHBBB", 65_535, 65_535, 0x80, 0, 0) + bytes(60) + b";",
}
"""Name -> a file that claims a size past the limits, is cut into millions of parts, or is not read: all refused."""

LARGE: dict[str, Callable[[], bytes]] = {
    "iTXt that becomes 200 MB": lambda: _png_claiming(24, 24, more=chunk(b"iTXt", b"a\0\1\0\0\0" + _zeros(200 << 20))),
    "zTXt that becomes 200 MB": lambda: _png_claiming(24, 24, more=chunk(b"zTXt", b"a\0\0" + _zeros(200 << 20))),
    "200 zTXt of 900 kB": lambda: _png_claiming(24, 24, more=chunk(b"zTXt", b"a\0\0" + _zeros(900 << 10)) * 200),
    "profile that becomes 200 MB": lambda: _png_claiming(24, 24, more=chunk(b"iCCP", b"a\0\0" + _zeros(200 << 20))),
    "exif of 2000 tags over each other": lambda: _png_with(b"eXIf", _tiff_of_tags(2000)),
    "png at the limit": lambda: _png_claiming(10_400, 10_500),
    "tiff of 16 bits at the limit": _tiff_at_the_limit,
    "progressive jpeg at the limit": lambda: _jpeg_claiming(10_400, 10_500, kind="progressive JPEG"),
    "jpeg in several scans at the limit": lambda: _jpeg_claiming(10_400, 10_500, scans=True),
    "webp at the limit": lambda: _webp_claiming(7400, 7400),
}
"""Name -> a small file that may be read or refused, but within memory and time."""
