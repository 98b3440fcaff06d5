"""Broken, hostile and odd files: one clear sentence, never a traceback, never a touched file, never a half picture."""

from __future__ import annotations

import contextlib
import errno
import io
import os
import socket
import struct
import sys
import time
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageFile
from PIL.WebPImagePlugin import WebPImageFile

from limner.errors import PictureError
from limner.pictures import decode as decoding
from limner.pictures.directories import claims_too_much
from limner.pictures.load import Limits, load_picture

KINDS = ["JPEG", "progressive", "PNG", "WEBP", "lossless", "TIFF", "lzw", "HEIF"]


def scene() -> Image.Image:
    rng = np.random.default_rng(9)
    smooth = np.add.outer(np.arange(90), np.arange(120))[..., None] * [1.0, 0.7, 0.4]
    return Image.fromarray((smooth + rng.normal(20, 6, (90, 120, 3))).clip(0, 255).astype(np.uint8))


def encoded(kind: str) -> bytes:
    pillow_heif.register_heif_opener()
    as_kind, options = {
        "progressive": ("JPEG", {"progressive": True}),
        "lossless": ("WEBP", {"lossless": True}),
        "lzw": ("TIFF", {"compression": "tiff_lzw"}),
    }.get(kind, (kind, {}))
    held = io.BytesIO()
    scene().save(held, as_kind, **options)
    return held.getvalue()


def refused(path: str | Path, **options: Any) -> str:
    """The sentence of the refusal, after the rules that hold for all of them."""
    with pytest.raises(PictureError) as caught:
        load_picture(path, label="painting", **options)
    sentence = str(caught.value)
    assert caught.value.exit_code == 3
    assert sentence.startswith("painting '")
    assert ": expected " in sentence
    assert ", but " in sentence
    assert sentence.endswith(".")
    assert "\n" not in sentence
    assert str(Path(path).parent) not in sentence or str(Path(path).parent) == "."
    return sentence


def png_of(width: int, height: int, depth: int = 8, colour: int = 2) -> bytes:
    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    header = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    pixels = zlib.compress(b"\0" * 5000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")


def jpeg_of(width: int, height: int, progressive: bool = False) -> bytes:
    data = bytearray(encoded("progressive" if progressive else "JPEG"))
    at = data.index(b"\xff\xc2" if progressive else b"\xff\xc0")
    data[at + 5 : at + 9] = struct.pack(">HH", height, width)
    return bytes(data)


def tiff_of(width: int, height: int) -> bytes:
    held = io.BytesIO()
    scene().save(held, "TIFF")
    data = bytearray(held.getvalue())
    for tag, value in ((256, width), (257, height)):
        at = data.index(struct.pack("<H", tag), 8)
        data[at + 2 : at + 12] = struct.pack("<HII", 4, 1, value)
    return bytes(data)


def webp_of_canvas(width: int, height: int) -> bytes:
    extended = b"VP8X" + struct.pack("<I", 10) + b"\0\0\0\0"
    extended += (width - 1).to_bytes(3, "little") + (height - 1).to_bytes(3, "little")
    body = b"WEBP" + extended + encoded("lossless")[12:]
    return b"RIFF" + struct.pack("<I", len(body)) + body


def lossless_webp_of(width: int, height: int) -> bytes:
    data = bytearray(encoded("lossless"))
    data[21:25] = ((width - 1) | (height - 1) << 14).to_bytes(4, "little")
    return bytes(data)


def lossy_webp_of(width: int, height: int) -> bytes:
    data = bytearray(encoded("WEBP"))
    data[26:30] = struct.pack("<HH", width, height)
    return bytes(data)


def jpeg_in_scans(width: int, height: int) -> bytes:
    """A baseline JPEG whose first scan holds one of three components."""
    data = jpeg_of(width, height)
    at = data.index(b"\xff\xda")
    return data[:at] + b"\xff\xda" + struct.pack(">HBBB", 8, 1, 1, 0) + b"\0\x3f\0" + data[at + 14 :]


def tiff_in_a_tile(side: int, tile: int) -> bytes:
    pixels = zlib.compress(bytes(side * side))
    tags = [(256, side), (257, side), (258, 8), (259, 8), (262, 1), (322, tile), (323, tile)]
    tags += [(324, 8 + 2 + 12 * 9 + 4), (325, len(pixels))]
    table = b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in tags)
    return b"II*\0" + struct.pack("<IH", 8, len(tags)) + table + bytes(4) + pixels


def tiff_with(tag: int, kind: int, value: int) -> bytes:
    held = io.BytesIO()
    scene().save(held, "TIFF", tiffinfo={tag: value} if kind else None)
    return held.getvalue()


def as_bytes(image: Image.Image, kind: str) -> bytes:
    held = io.BytesIO()
    image.save(held, kind)
    return held.getvalue()


FILES: dict[str, tuple[Callable[[], bytes], str]] = {
    "empty": (lambda: b"", "the file is empty"),
    "one byte": (lambda: b"\xff", "not a picture limner knows"),
    "text called .jpg": (lambda: b"Dear painter,\nthe photo follows.\n", "the file is text"),
    "random bytes": (lambda: np.random.default_rng(4).bytes(5000), "not a picture limner knows"),
    "zeros": (lambda: b"\0" * 5000, "not a picture limner knows"),
    "a web page": (lambda: b"<!DOCTYPE html><title>404</title>", "a web page"),
    "gif": (lambda: as_bytes(scene(), "GIF"), "a GIF"),
    "bmp": (lambda: as_bytes(scene(), "BMP"), "a BMP"),
    "pdf": (lambda: b"%PDF-1.7\n%...", "a PDF"),
    "psd": (lambda: b"8BPS\0\x01" + b"\0" * 90, "a layered file"),
    "zip": (lambda: b"PK\x03\x04" + b"\0" * 90, "a ZIP"),
    "avif": (lambda: b"\0\0\0\x1cftypavif\0\0\0\0avifmif1miaf" + b"\0" * 90, "an AVIF"),
    "film": (lambda: b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom" + b"\0" * 90, "a film"),
    "newer camera raw": (lambda: b"\0\0\0\x18ftypcrx \0\0\0\0crx isom" + b"\0" * 90, "camera raw"),
    "older camera raw": (lambda: b"II*\0\x10\0\0\0CR\x02\0" + b"\0" * 90, "camera raw"),
    "raw with a small preview first": (lambda: tiff_with(254, 4, 1), "camera raw"),
    "dng": (lambda: tiff_with(50706, 1, 1), "camera raw"),
    "floating-point tiff": (lambda: as_bytes(Image.new("F", (9, 9), 0.5), "TIFF"), "32-bit"),
    "32-bit whole-number tiff": (lambda: as_bytes(Image.new("I", (9, 9), 70000), "TIFF"), "32-bit"),
    "only a JPEG's start": (lambda: b"\xff\xd8\xff\xe0", "a whole picture"),
    "only a PNG's start": (lambda: b"\x89PNG\r\n\x1a\n", "a whole picture"),
    "only a TIFF's start": (lambda: b"II*\0\x08\0\0\0", "a whole picture"),
    "only a HEIC's start": (lambda: b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", "a whole picture"),
    "png without pixels' worth": (lambda: png_of(900, 900), "a whole picture"),
    "png of no width": (lambda: png_of(0, 10), "a whole picture"),
    "png of no known depth": (lambda: png_of(10, 10, depth=5), "damaged"),
    "png bomb": (lambda: png_of(100_000, 100_000), "100000 x 100000"),
    "png bomb, wide": (lambda: png_of(2_000_000_000, 1), "2000000000 x 1"),
    "grey png bomb": (lambda: png_of(60_000, 60_000, colour=0), "60000 x 60000"),
    "jpeg bomb": (lambda: jpeg_of(65_500, 65_500), "65500 x 65500"),
    "progressive jpeg bomb": (lambda: jpeg_of(14_000, 14_000, progressive=True), "at most 110 million"),
    "tiff bomb": (lambda: tiff_of(90_000, 90_000), "90000 x 90000"),
    "webp bomb": (lambda: webp_of_canvas(16_000, 16_000), "16000 x 16000"),
    "webp that needs twice its memory": (lambda: webp_of_canvas(8000, 8000), "at most 55 million"),
    "small file with a large webp": (lambda: lossless_webp_of(16_383, 16_383), "16383 x 16383"),
    "small file with a large lossy webp": (lambda: lossy_webp_of(16_383, 16_383), "16383 x 16383"),
    "jpeg bomb in several scans": (lambda: jpeg_in_scans(14_800, 14_800), "at most 110 million"),
    "tiff bomb in one tile": (lambda: tiff_in_a_tile(64, 30_000), "900 million pixels each"),
}
BOMBS = [case for case, (_, words) in FILES.items() if " x " in words or "million" in words]


@pytest.mark.parametrize("case", FILES)
def test_a_file_that_is_no_usable_picture(tmp_path: Path, case: str) -> None:
    make, words = FILES[case]
    data = make()
    path = tmp_path / "photo.jpg"
    path.write_bytes(data)
    before = path.stat().st_mtime_ns
    assert words in refused(path)
    assert (path.read_bytes(), path.stat().st_mtime_ns) == (data, before)
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("case", BOMBS)
def test_bombs_are_refused_before_anything_is_decoded(
    tmp_path: Path, case: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def decoded(image: ImageFile.ImageFile) -> None:
        raise AssertionError("decoding began")

    monkeypatch.setattr(ImageFile.ImageFile, "load", decoded)
    monkeypatch.setattr(WebPImageFile, "_open", decoded)
    path = tmp_path / "a.png"
    path.write_bytes(FILES[case][0]())
    assert "million pixels" in refused(path)


def test_limits_are_ones_own_to_set(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(encoded("JPEG"))
    size = path.stat().st_size
    assert load_picture(path, label="painting", limits=Limits(file_bytes=size)).full_size == (120, 90)
    assert "MB" in refused(path, limits=Limits(file_bytes=size - 1))
    assert load_picture(path, label="painting", limits=Limits(pixels=10_800)).full_size == (120, 90)
    assert "120 x 90" in refused(path, limits=Limits(pixels=10_799))
    assert "120 x 90" in refused(path, limits=Limits(held=10_799))
    with pytest.raises(PictureError, match="million pixels"):
        load_picture(np.zeros((90, 120)), label="painting", limits=Limits(held=10_799))


def test_a_baseline_jpeg_counts_as_it_is_decoded(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    Image.new("RGB", (3200, 2400)).save(path, quality=50)
    limits = Limits(held=3200 * 2400 // 4)
    assert load_picture(path, label="painting", limits=limits).scale == 0.5
    Image.new("RGB", (3200, 2400)).save(path, quality=50, progressive=True)
    assert "3200 x 2400" in refused(path, limits=limits)


def test_a_picture_in_millions_of_parts_is_refused_at_once(tmp_path: Path) -> None:
    jpeg, png = encoded("JPEG"), encoded("PNG")
    many = {
        "segments": jpeg[:2] + b"\xff\xfe\0\2" * 1_000_000 + jpeg[2:],
        "fill bytes": jpeg[:2] + b"\xff" * 1_000_000 + jpeg[2:],
        "chunks": png[:33] + (bytes(4) + b"abCd" + struct.pack(">I", zlib.crc32(b"abCd"))) * 1_000_000 + png[33:],
    }
    for name, data in many.items():
        path = tmp_path / name
        path.write_bytes(data)
        begun = time.process_time()
        assert "damaged" in refused(path)
        assert time.process_time() - begun < 2, name
    path.write_bytes(jpeg[:2] + b"\xff\xfe\0\2" * 1000 + jpeg[2:])
    assert load_picture(path, label="painting").full_size == (120, 90)


def test_values_of_a_tiff_that_lie_over_each_other_are_not_read(tmp_path: Path) -> None:
    def overlaid(many: int) -> bytes:
        tags = [(256, 24), (257, 24), (258, 8), (259, 1), (262, 1), (273, 8), (279, 576)]
        start = 8 + 2 + 12 * (len(tags) + many) + 4
        table = b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in tags)
        table += b"".join(struct.pack("<HHII", 1000 + k, 7, 90_000, start) for k in range(many))
        return b"II*\0" + struct.pack("<IH", 8, len(tags) + many) + table + bytes(4 + 90_000)

    path = tmp_path / "a.tif"
    path.write_bytes(overlaid(50))
    assert "damaged" in refused(path)
    path.write_bytes(overlaid(1))
    assert load_picture(path, label="painting").full_size == (24, 24)
    assert claims_too_much(overlaid(50))
    assert not claims_too_much(overlaid(1))
    assert not claims_too_much(b"")
    inner = overlaid(50)[8:]  # the same as an inner directory
    outer = b"II*\0" + struct.pack("<IHHHIII", 8, 1, 0x8769, 4, 1, 26, 0)
    assert claims_too_much(outer + inner.replace(struct.pack("<I", 8 + 2 + 12 * 57 + 4), struct.pack("<I", 30)))


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_exif_that_claims_too_much_is_taken_as_not_stated(tmp_path: Path, kind: str) -> None:
    sound = Image.Exif()
    sound[0x0112] = 6
    path = tmp_path / "a"
    scene().save(path, kind, exif=sound.tobytes())
    assert load_picture(path, label="painting").full_size == (90, 120)
    tags = b"".join(struct.pack("<HHII", 1000 + k, 7, 3000, 0) for k in range(200))
    block = b"II*\0" + struct.pack("<IHHHII", 8, 201, 0x0112, 3, 1, 6) + tags + bytes(4 + 3000)
    scene().save(path, kind, exif=block)
    assert load_picture(path, label="painting").full_size == (120, 90)


def test_a_tiff_in_tiles_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    path.write_bytes(tiff_in_a_tile(64, 64))
    assert load_picture(path, label="painting").pixels.shape == (64, 64, 3)


@pytest.mark.parametrize("kind", KINDS)
def test_a_picture_cut_anywhere_is_never_taken_for_whole(tmp_path: Path, kind: str) -> None:
    assert ImageFile.LOAD_TRUNCATED_IMAGES is False
    whole = encoded(kind)
    path = tmp_path / "a"
    path.write_bytes(whole)
    assert load_picture(path, label="painting").full_size == (120, 90)
    for length in sorted({*np.linspace(1, len(whole) - 1, 60).astype(int), *range(len(whole) - 14, len(whole))}):
        path.write_bytes(whole[:length])
        refused(path)


@pytest.mark.parametrize("kind", ["JPEG", "progressive", "PNG"])
def test_a_copy_that_broke_off_and_was_filled_with_zeros(tmp_path: Path, kind: str) -> None:
    """WebP and HEIC carry neither checksum nor end mark: there zeros decode to some picture, and nobody can tell."""
    whole = encoded(kind)
    path = tmp_path / "a"
    for share in (0.3, 0.6, 0.9):
        kept = int(len(whole) * share)
        path.write_bytes(whole[:kept] + b"\0" * (len(whole) - kept))
        refused(path)


@pytest.mark.parametrize("kind", KINDS)
def test_bytes_changed_at_random_give_a_picture_or_a_sentence(tmp_path: Path, kind: str) -> None:
    rng = np.random.default_rng(11)
    whole = encoded(kind)
    path = tmp_path / "a"
    for _ in range(60):
        data = bytearray(whole)
        for at in rng.integers(0, min(len(data), 3000), int(rng.integers(1, 12))):
            data[at] = int(rng.integers(0, 256))
        path.write_bytes(data)
        with contextlib.suppress(PictureError):
            assert load_picture(path, label="painting", limits=Limits(held=4_000_000)).pixels.shape[2] == 3


def test_places_that_hold_no_picture(tmp_path: Path) -> None:
    assert "there is no such file" in refused(tmp_path / "gone.jpg")
    assert "a folder" in refused(tmp_path)
    (tmp_path / "plain").write_bytes(b"x")
    assert "not a folder" in refused(tmp_path / "plain" / "a.jpg")
    assert "so long a name" in refused(tmp_path / ("a" * 300))
    assert "no file can have such a name" in refused(str(tmp_path / "a") + "\0.jpg")
    assert "folder" in refused("")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with a name exist on Unix only")
def test_a_pipe_a_socket_and_a_device_are_not_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    os.mkfifo(tmp_path / "pipe.jpg")
    assert "a pipe" in refused(tmp_path / "pipe.jpg")
    (tmp_path / "link.jpg").symlink_to("pipe.jpg")
    assert "a pipe" in refused(tmp_path / "link.jpg")
    assert "a device" in refused("/dev/zero")
    monkeypatch.chdir(tmp_path)  # the name of a socket may not be long
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind("s.jpg")
        assert "a socket" in refused("s.jpg")


def test_links_that_lead_nowhere(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").symlink_to("gone.jpg")
    assert "there is no such file" in refused(tmp_path / "a.jpg")
    (tmp_path / "b.jpg").symlink_to("b.jpg")
    assert "leads back to itself" in refused(tmp_path / "b.jpg")
    (tmp_path / "c.jpg").symlink_to(tmp_path)
    assert "a folder" in refused(tmp_path / "c.jpg")


@pytest.mark.skipif(sys.platform == "win32" or os.geteuid() == 0, reason="the superuser may read everything")
def test_a_file_one_may_not_read(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(encoded("JPEG"))
    path.chmod(0)
    assert "you may not read it" in refused(path)


@pytest.mark.parametrize(
    ("number", "words"), [(errno.EACCES, "you may not read it"), (errno.EIO, "reading failed"), (errno.ESTALE, "stale")]
)
def test_a_file_that_fails_while_being_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, words: str
) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(encoded("JPEG"))

    def fail(*_: object) -> int:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "open", fail)
    assert words.lower() in refused(path).lower()


def test_a_file_swapped_for_a_pipe_between_looking_and_opening(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    os.mkfifo(tmp_path / "pipe")
    path = tmp_path / "a.jpg"
    path.write_bytes(encoded("JPEG"))
    really = os.open
    monkeypatch.setattr(os, "open", lambda _, flags: really(tmp_path / "pipe", flags))
    assert "a pipe" in refused(path)


def test_too_little_memory_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.png"
    path.write_bytes(encoded("PNG"))

    def fail(_: Image.Image) -> Image.Image:
        raise MemoryError

    monkeypatch.setattr(decoding, "eight_bit", fail)
    assert "not enough memory" in refused(path)


def test_no_decoder_but_the_files_own_sees_it(tmp_path: Path) -> None:
    """A PostScript program called .jpg must not reach an interpreter."""
    path = tmp_path / "a.jpg"
    path.write_bytes(b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\nshowpage\n")
    assert "text" in refused(path)
