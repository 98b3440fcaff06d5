"""Every sort of picture that painters have comes in upright, in sRGB, 8 bits, with its file untouched."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from hashlib import sha256
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from limner.errors import PictureError
from limner.pictures.load import TARGET, load_picture
from limner.pictures.picture import Picture

RED, GREEN, BLUE, WHITE = (210, 30, 40), (40, 160, 60), (30, 50, 190), (250, 250, 250)
NO_PROFILE = ["no_profile"]


def quarters(width: int = 96, height: int = 64) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """Red top left, green top right, blue bottom left, white bottom right."""
    a = np.zeros((height, width, 3), np.uint8)
    a[: height // 2, : width // 2], a[: height // 2, width // 2 :] = RED, GREEN
    a[height // 2 :, : width // 2], a[height // 2 :, width // 2 :] = BLUE, WHITE
    return a


def encoded(image: Image.Image, kind: str, **options: Any) -> bytes:
    if kind == "HEIF":
        pillow_heif.register_heif_opener()
    held = io.BytesIO()
    image.save(held, kind, **options)
    return held.getvalue()


def load(tmp_path: Path, data: bytes, name: str = "a.jpg", **options: Any) -> Picture:
    """Through the front door, checking that neither the file nor its folder is touched."""
    path = tmp_path / name
    path.write_bytes(data)
    before = path.stat().st_mtime_ns, sorted(tmp_path.iterdir())
    picture = load_picture(path, label="reference", **options)
    assert path.read_bytes() == data
    assert (path.stat().st_mtime_ns, sorted(tmp_path.iterdir())) == before
    assert picture.digest == sha256(data).hexdigest()
    assert picture.pixels.dtype == np.uint8
    assert picture.pixels.ndim == 3
    assert not picture.pixels.flags.writeable
    return picture


def codes(picture: Picture) -> list[str]:
    return [notice.code for notice in picture.notices]


def assert_quarters(pixels: np.ndarray[Any, Any], tolerance: int) -> None:
    height, width = pixels.shape[:2]
    for (fy, fx), colour in zip([(1, 1), (1, 3), (3, 1), (3, 3)], [RED, GREEN, BLUE, WHITE], strict=True):
        seen = pixels[height * fy // 4, width * fx // 4].astype(int)
        assert np.abs(seen - colour).max() <= tolerance, (fy, fx, seen)


@pytest.mark.parametrize(
    ("kind", "options", "tolerance"),
    [
        ("JPEG", {"quality": 95}, 4),
        ("JPEG", {"quality": 95, "progressive": True}, 4),
        ("PNG", {}, 0),
        ("WEBP", {"lossless": True}, 0),
        ("WEBP", {"quality": 95}, 8),
        ("TIFF", {}, 0),
        ("TIFF", {"compression": "tiff_lzw"}, 0),
        ("TIFF", {"compression": "tiff_deflate"}, 0),
        ("TIFF", {"compression": "jpeg", "quality": 95}, 4),
        ("TIFF", {"big_tiff": True}, 0),
        ("HEIF", {"quality": 95}, 8),
        ("MPO", {"quality": 95, "save_all": True, "append_images": [Image.new("RGB", (8, 8))]}, 4),
    ],
)
def test_each_kind_of_file_is_read_whatever_it_is_called(
    tmp_path: Path, kind: str, options: dict[str, Any], tolerance: int
) -> None:
    picture = load(tmp_path, encoded(Image.fromarray(quarters()), kind, **options), "photo.of the.thing")
    assert (picture.full_size, picture.scale, picture.name) == ((96, 64), 1.0, "photo.of the.thing")
    assert picture.pixels.shape == (64, 96, 3)
    assert_quarters(picture.pixels, tolerance)


STORED = {
    1: lambda u: u,
    2: np.fliplr,
    3: lambda u: np.rot90(u, 2),
    4: np.flipud,
    5: lambda u: u.transpose(1, 0, 2),
    6: lambda u: np.rot90(u, 1),
    7: lambda u: np.rot90(u, 2).transpose(1, 0, 2),
    8: lambda u: np.rot90(u, -1),
}
"""How an upright picture is stored under each EXIF Orientation (CIPA DC-008: 6 has row 0 at the right, and so on)."""


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_exif_orientation_is_applied(tmp_path: Path, kind: str, orientation: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    stored = Image.fromarray(np.ascontiguousarray(STORED[orientation](quarters())))
    picture = load(tmp_path, encoded(stored, kind, exif=exif, **({"quality": 95} if kind != "PNG" else {})))
    assert picture.full_size == (96, 64)
    assert picture.pixels.shape == (64, 96, 3)
    assert_quarters(picture.pixels, 8)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_heic_is_turned_once(tmp_path: Path, orientation: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    stored = Image.fromarray(np.ascontiguousarray(STORED[orientation](quarters())))
    picture = load(tmp_path, encoded(stored, "HEIF", exif=exif.tobytes(), quality=95), "a.heic")
    assert picture.full_size == (96, 64)
    assert_quarters(picture.pixels, 8)


@pytest.mark.parametrize("orientation", [0, 9, 77, 65535])
def test_an_orientation_that_does_not_exist_is_ignored(tmp_path: Path, orientation: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    assert_quarters(load(tmp_path, encoded(Image.fromarray(quarters()), "PNG", exif=exif)).pixels, 0)


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
@pytest.mark.parametrize(("kind", "scale"), [("JPEG", 1 / 2), ("PNG", 1 / 2), ("TIFF", 1 / 2)])
def test_a_large_picture_is_reduced_and_says_by_how_much(
    tmp_path: Path, kind: str, scale: float, orientation: int
) -> None:
    """A bright square stays where it was: its middle maps back to within a tenth of a stored pixel."""
    upright = np.full((2001, 3203, 3), 20, np.uint8)
    upright[1000:1100, 600:700] = 240
    exif = Image.Exif()
    exif[0x0112] = orientation
    stored = Image.fromarray(np.ascontiguousarray(STORED[orientation](upright)))
    picture = load(tmp_path, encoded(stored, kind, exif=exif))
    assert picture.full_size == (3203, 2001)
    assert picture.scale == scale
    assert picture.pixels.shape[:2] == (1001, 1602)
    ys, xs = np.nonzero(picture.pixels[:, :, 0] > 128)
    spread = (
        0.1 if orientation == 1 else 1.1
    )  # turned, with an odd side: one stored px beside, and a little JPEG ringing
    assert abs((xs.mean() + 0.5) / picture.scale - 0.5 - 649.5) <= spread
    assert abs((ys.mean() + 0.5) / picture.scale - 0.5 - 1049.5) <= spread


@pytest.mark.parametrize(
    "size", [(4032, 3024), (3024, 4032), (2999, 40), (1600, 1200), (6100, 20), (13000, 16), (60, 26000)]
)
@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_the_long_side_stays_between_the_target_and_twice_the_target(
    tmp_path: Path, kind: str, size: tuple[int, int]
) -> None:
    picture = load(tmp_path, encoded(Image.new("RGB", size, (90, 80, 70)), kind))
    long_side = max(picture.pixels.shape)
    assert min(TARGET, max(size)) <= long_side <= 2 * TARGET
    assert picture.full_size == size
    assert long_side == -(-max(size) // round(1 / picture.scale))
    assert np.all(picture.pixels == (90, 80, 70))


def test_twelve_megapixels_decode_at_half_scale_and_a_target_of_ones_own_is_kept(tmp_path: Path) -> None:
    data = encoded(Image.new("RGB", (4032, 3024)), "JPEG")
    assert load(tmp_path, data).pixels.shape == (1512, 2016, 3)
    assert load(tmp_path, data, target=4032).scale == 1.0
    assert load(tmp_path, data, target=500).scale == 1 / 8


def sixteen(kind: str, channels: int) -> tuple[bytes, np.ndarray[Any, Any]]:
    """A 16-bit ramp with values between the 8-bit steps, and what it is exactly on the scale 0..255."""
    rng = np.random.default_rng(5)
    values = rng.integers(0, 65536, (40, 50, channels), dtype=np.uint16)
    if channels == 4:
        values[..., 3] = 65535
    order = [2, 1, 0, 3][:channels] if channels > 1 else [0]
    ok, data = cv2.imencode("." + kind, values[..., order])
    assert ok
    return data.tobytes(), np.broadcast_to(values[..., :3] / 257.0, (40, 50, 3))


@pytest.mark.parametrize("kind", ["png", "tiff"])
@pytest.mark.parametrize("channels", [1, 3, 4])
def test_sixteen_bits_are_scaled_not_clipped(tmp_path: Path, kind: str, channels: int) -> None:
    data, exact = sixteen(kind, channels)
    picture = load(tmp_path, data)
    assert np.abs(picture.pixels - exact).max() <= 1.0
    assert codes(picture) == NO_PROFILE


def test_sixteen_bit_grey_of_either_byte_order_and_either_polarity(tmp_path: Path) -> None:
    ramp = np.linspace(0, 65535, 64 * 48).reshape(48, 64).astype(np.uint16)
    little = encoded(Image.fromarray(ramp), "TIFF")
    assert np.abs(load(tmp_path, little).pixels[..., 0] - ramp / 257.0).max() <= 0.5
    big = b"MM\0*\0\0\0\x08" + _big_endian_grey(ramp)
    assert np.abs(load(tmp_path, big).pixels[..., 0] - ramp / 257.0).max() <= 0.5
    black_is_high = little.replace(b"\x06\x01\x03\0\x01\0\0\0\x01", b"\x06\x01\x03\0\x01\0\0\0\0")
    assert black_is_high != little
    assert np.abs(load(tmp_path, black_is_high).pixels[..., 0] - (65535 - ramp) / 257.0).max() <= 0.5


def _big_endian_grey(ramp: np.ndarray[Any, Any]) -> bytes:
    height, width = ramp.shape
    tags = [
        (256, 3, width << 16),
        (257, 3, height << 16),
        (258, 3, 16 << 16),
        (259, 3, 1 << 16),
        (262, 3, 1 << 16),
        (273, 4, 8 + 2 + 8 * 12 + 4),
        (278, 3, height << 16),
        (279, 4, ramp.size * 2),
    ]
    out = len(tags).to_bytes(2, "big")
    for tag, kind, value in tags:
        out += tag.to_bytes(2, "big") + kind.to_bytes(2, "big") + (1).to_bytes(4, "big") + value.to_bytes(4, "big")
    return out + b"\0\0\0\0" + ramp.astype(">u2").tobytes()


def test_grey_becomes_three_equal_channels(tmp_path: Path) -> None:
    ramp = np.tile(np.arange(256, dtype=np.uint8), (8, 1))
    for kind, options in (("JPEG", {"quality": 100}), ("PNG", {}), ("TIFF", {}), ("WEBP", {"lossless": True})):
        pixels = load(tmp_path, encoded(Image.fromarray(ramp), kind, **options)).pixels
        assert np.ptp(pixels, axis=2).max() == 0
        assert np.abs(pixels[..., 0].astype(int) - ramp).max() <= 1


def test_black_and_white_line_work(tmp_path: Path) -> None:
    lines = Image.fromarray((np.indices((20, 30)).sum(axis=0) % 5 == 0).astype(np.uint8) * 255).convert("1")
    for kind in ("PNG", "TIFF"):
        pixels = load(tmp_path, encoded(lines, kind)).pixels
        assert set(np.unique(pixels)) == {0, 255}
        assert np.array_equal(pixels[..., 1], np.asarray(lines.convert("L")))


def test_transparent_parts_are_laid_on_white(tmp_path: Path) -> None:
    """Half-covered (100, 0, 50) over white is 255 + (c - 255) * 128/255."""
    rgba = np.zeros((6, 9, 4), np.uint8)
    rgba[:, :3] = (100, 0, 50, 255)
    rgba[:, 3:6] = (100, 0, 50, 128)
    for kind, options in (("PNG", {}), ("WEBP", {"lossless": True, "exact": True}), ("TIFF", {})):
        picture = load(tmp_path, encoded(Image.fromarray(rgba), kind, **options))
        assert tuple(picture.pixels[0, 0]) == (100, 0, 50)
        expected = 255 + (np.array([100, 0, 50]) - 255) * 128 / 255
        assert np.abs(picture.pixels[0, 4] - expected).max() <= 1
        assert tuple(picture.pixels[0, 8]) == (255, 255, 255)
        assert "transparent" in codes(picture)


def test_an_alpha_that_hides_nothing_is_not_mentioned(tmp_path: Path) -> None:
    assert codes(load(tmp_path, encoded(Image.fromarray(quarters()).convert("RGBA"), "PNG"))) == NO_PROFILE


def test_the_edge_of_a_reduced_cut_out_does_not_take_on_the_hidden_colour(tmp_path: Path) -> None:
    rgba = np.zeros((3002, 3002, 4), np.uint8)
    rgba[...] = (0, 255, 0, 0)
    rgba[1001:2001, 1001:2001] = (200, 200, 200, 255)
    picture = load(tmp_path, encoded(Image.fromarray(rgba), "PNG", compress_level=1))
    assert picture.scale == 0.5
    assert np.ptp(picture.pixels, axis=2).max() <= 1


def test_palette_with_and_without_transparency(tmp_path: Path) -> None:
    paletted = Image.fromarray(quarters()).quantize(4)
    assert_quarters(load(tmp_path, encoded(paletted, "PNG")).pixels, 2)
    assert_quarters(load(tmp_path, encoded(paletted, "TIFF")).pixels, 2)
    hidden = paletted.getpixel((1, 1))
    picture = load(tmp_path, encoded(paletted, "PNG", transparency=hidden))
    assert tuple(picture.pixels[1, 1]) == (255, 255, 255)
    assert np.abs(picture.pixels[1, -1].astype(int) - GREEN).max() <= 2
    assert "transparent" in codes(picture)


def test_one_colour_declared_transparent(tmp_path: Path) -> None:
    picture = load(tmp_path, encoded(Image.fromarray(quarters()), "PNG", transparency=RED))
    assert tuple(picture.pixels[0, 0]) == (255, 255, 255)
    assert tuple(picture.pixels[0, -1]) == GREEN
    grey = Image.fromarray(np.repeat(np.array([[9, 90]], np.uint8), 4, axis=0))
    assert load(tmp_path, encoded(grey, "PNG", transparency=9)).pixels[:, :, 0].tolist() == [[255, 90]] * 4


@pytest.mark.parametrize(
    ("kind", "options"), [("PNG", {}), ("WEBP", {"lossless": True}), ("TIFF", {}), ("HEIF", {"quality": 95})]
)
def test_of_several_pictures_the_first_is_read_and_that_is_said(
    tmp_path: Path, kind: str, options: dict[str, Any]
) -> None:
    first = Image.fromarray(quarters())
    data = encoded(first, kind, save_all=True, append_images=[Image.new("RGB", (96, 64), BLUE)] * 2, **options)
    picture = load(tmp_path, data)
    assert_quarters(picture.pixels, 8)
    assert "first_page" in codes(picture)


def test_focal_length_and_time_are_kept_and_nothing_else(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x010F], exif[0x013B], exif[0x0132] = "Secret Camera", "Secret Owner", "2001:01:01 00:00:00"
    inner = exif.get_ifd(0x8769)
    inner[0xA405], inner[0x9003], inner[0xA431], inner[0xA001] = 26, "2024:03:09 17:05:59", "Secret Serial", 1
    place = exif.get_ifd(0x8825)
    place[1], place[2] = "N", (48.0, 12.0, 30.0)
    for kind in ("JPEG", "PNG", "WEBP", "TIFF", "HEIF"):
        data = encoded(Image.fromarray(quarters()), kind, exif=exif.tobytes())
        assert b"Secret Owner" in data
        picture = load(tmp_path, data)
        assert (picture.focal_35mm, picture.taken) == (26.0, "2024-03-09T17:05:59")
        assert codes(picture) == []
        kept = {field: getattr(picture, field) for field in picture.__dataclass_fields__ if field != "pixels"}
        assert "Secret" not in repr(kept)
        assert "48" not in repr(kept).replace(picture.digest or "", "")


@pytest.mark.parametrize("when", ["0000:00:00 00:00:00", "    :  :     :  :  ", "yesterday", "2024:13:40 25:61:61"])
def test_a_time_that_is_none_and_a_focal_length_of_zero_are_not_stated(tmp_path: Path, when: str) -> None:
    exif = Image.Exif()
    inner = exif.get_ifd(0x8769)
    inner[0x9003], inner[0xA405] = when, 0
    picture = load(tmp_path, encoded(Image.fromarray(quarters()), "JPEG", exif=exif))
    assert (picture.taken, picture.focal_35mm) == (None, None)


def test_broken_exif_costs_nothing_but_what_it_said(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    exif = Image.Exif()
    exif[0x0112] = 1
    exif.get_ifd(0x8769)[0xA405] = 26
    whole = exif.tobytes()
    for _ in range(40):
        bytes_ = bytearray(whole)
        for at in rng.integers(6, len(bytes_), 6):
            bytes_[at] = int(rng.integers(0, 256))
        picture = load(tmp_path, encoded(Image.fromarray(quarters()), "JPEG", exif=bytes(bytes_)))
        assert sorted(picture.full_size) == [64, 96]


@pytest.mark.parametrize(
    "name",
    [
        "Änne Müller.jpg",
        "two words.png",
        "new\nline.jpg",
        "-rf.jpg",
        "quote'.jpg",
        "油画.tif",
        "esc\x1b[31m.jpg",
        "a" * 200,
    ],
)
def test_odd_names(tmp_path: Path, name: str) -> None:
    picture = load(tmp_path, encoded(Image.fromarray(quarters()), "PNG"), name)
    assert picture.name == "".join(c if c.isprintable() else "\ufffd" for c in name)


@pytest.mark.skipif(sys.platform != "linux", reason="names that are no Unicode exist on Linux only")
def test_a_name_that_is_no_unicode_can_still_be_printed(tmp_path: Path) -> None:
    path = os.fsencode(tmp_path) + b"/caf\xe9.png"
    with open(path, "wb") as file:  # noqa: PTH123 - a Path of bytes does not exist
        file.write(encoded(Image.fromarray(quarters()), "PNG"))
    picture = load_picture(os.fsdecode(path), label="reference")
    assert picture.name.encode("utf-8").decode() == "caf\ufffd.png"


def test_a_link_to_a_picture_is_followed(tmp_path: Path) -> None:
    (tmp_path / "real.png").write_bytes(encoded(Image.fromarray(quarters()), "PNG"))
    (tmp_path / "link.png").symlink_to("real.png")
    assert load_picture(tmp_path / "link.png", label="reference").name == "link.png"


@pytest.mark.parametrize(
    "array",
    [
        quarters(),
        (quarters().astype(np.uint16) * 257),
        quarters() / 255.0,
        (quarters() / 255.0).astype(np.float32),
        np.dstack([quarters(), np.full((64, 96), 255, np.uint8)]),
        quarters()[:, ::-1][:, ::-1],
        np.asfortranarray(quarters()),
    ],
    ids=["uint8", "uint16", "float64", "float32", "alpha", "view", "fortran"],
)
def test_arrays_come_in_exactly(array: np.ndarray[Any, Any]) -> None:
    picture = load_picture(array, label="painting")
    assert np.array_equal(picture.pixels, quarters())
    assert (picture.name, picture.digest, picture.full_size, picture.scale) == ("painting", None, (96, 64), 1.0)
    assert not picture.pixels.flags.writeable


def test_a_grey_array_and_a_transparent_one() -> None:
    grey = load_picture(np.array([[0.0, 0.5, 1.0]]), label="painting").pixels
    assert grey.tolist() == [[[0] * 3, [128] * 3, [255] * 3]]
    clear = np.zeros((2, 2, 4), np.uint8)
    assert np.all(load_picture(clear, label="painting").pixels == 255)


def test_an_array_is_copied_so_that_its_owner_may_go_on_painting_in_it() -> None:
    array = quarters()
    picture = load_picture(array, label="painting")
    array[...] = 0
    assert_quarters(picture.pixels, 0)
    assert array.flags.writeable


def test_a_large_array_is_reduced_like_a_file(tmp_path: Path) -> None:
    array = np.random.default_rng(1).integers(0, 256, (1600, 3300, 3), dtype=np.uint8)
    from_array = load_picture(array, label="painting")
    assert (from_array.full_size, from_array.scale) == ((3300, 1600), 0.5)
    from_file = load(tmp_path, encoded(Image.fromarray(array), "PNG", compress_level=0))
    assert np.array_equal(from_array.pixels, from_file.pixels)
    exact = array.reshape(800, 2, 1650, 2, 3).mean(axis=(1, 3))
    assert np.abs(from_array.pixels - exact).max() <= 0.5


@pytest.mark.parametrize(
    ("array", "words"),
    [
        (np.zeros((4,)), "shape"),
        (np.zeros((4, 4, 2)), "shape"),
        (np.zeros((4, 4, 3, 1)), "shape"),
        (np.zeros((0, 4, 3)), "shape"),
        (np.zeros((4, 4), dtype=np.int32), "int32"),
        (np.zeros((4, 4), dtype=bool), "bool"),
        (np.zeros((4, 4), dtype=complex), "complex"),
        (np.full((4, 4), 1.5), "1.5"),
        (np.full((4, 4), -0.1), "-0.1"),
        (np.full((4, 4), np.nan), "nan"),
        (np.array([["a"]], dtype=object), "object"),
    ],
)
def test_arrays_that_are_no_pictures_are_refused(array: np.ndarray[Any, Any], words: str) -> None:
    with pytest.raises(PictureError, match=words) as caught:
        load_picture(array, label="painting")
    assert str(caught.value).startswith("painting: expected ")


def test_two_at_once_give_the_same_as_one_after_the_other(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    noise = np.random.default_rng(2).integers(0, 256, (600, 800, 3), dtype=np.uint8)
    path.write_bytes(encoded(Image.fromarray(noise), "JPEG"))
    alone = load_picture(path, label="reference").pixels
    with ThreadPoolExecutor(4) as pool:
        together = list(pool.map(lambda _: load_picture(path, label="reference").pixels, range(12)))
    assert all(np.array_equal(alone, pixels) for pixels in together)


def test_an_ordinary_picture_needs_neither_opencv_nor_the_heic_reader(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(encoded(Image.fromarray(quarters()), "JPEG"))
    code = (
        "import sys; from limner.pictures.load import load_picture; load_picture(sys.argv[1], label='reference');"
        "print([m for m in ('cv2', 'pillow_heif', 'mediapipe') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "a.jpg")], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
