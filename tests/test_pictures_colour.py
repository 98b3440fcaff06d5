"""Colour profiles: known colours in known spaces against conversions worked out here from the definitions."""

from __future__ import annotations

import io
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageCms

from limner.pictures.colour import ADOBE_RGB, DISPLAY_P3, REC_2020, SRGB_CURVE, rgb_profile
from limner.pictures.load import load_picture
from limner.pictures.picture import Picture

Array = np.ndarray[Any, np.dtype[Any]]
SRGB = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
ROSE, SKIN, OLIVE, DUSK, GREY = (200, 120, 130), (224, 172, 105), (96, 110, 60), (60, 50, 90), (128, 128, 128)


def npm(primaries: Any, white: Any = (0.3127, 0.3290)) -> Array:
    """The matrix from linear RGB to XYZ, from chromaticities alone (SMPTE RP 177)."""
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in primaries]).T
    x, y = white
    return columns * np.linalg.solve(columns, [x / y, 1.0, (1 - x - y) / y])


def linear(v: Any) -> Array:
    v = np.asarray(v, float)
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def coded(v: Any) -> Array:
    v = np.clip(v, 0, 1)
    return np.where(v <= 0.0031308, v * 12.92, 1.055 * v ** (1 / 2.4) - 0.055) * 255


def expected(rgb: Any, primaries: Any, gamma: float | None = None) -> Array:
    values = np.asarray(rgb, float) / 255
    light = linear(values) if gamma is None else values**gamma
    return coded(np.linalg.solve(npm(SRGB), npm(primaries) @ light))


def load(tmp_path: Path, image: Image.Image, kind: str = "PNG", **options: Any) -> Picture:
    image.save(tmp_path / "a", kind, **options)
    return load_picture(tmp_path / "a", label="reference")


def patch(rgb: Any) -> Image.Image:
    return Image.new("RGB", (32, 32), tuple(rgb))


@pytest.mark.parametrize("rgb", [ROSE, SKIN, OLIVE, DUSK, GREY, (255, 255, 255), (0, 0, 0), (30, 25, 20)])
@pytest.mark.parametrize(
    ("primaries", "curve", "gamma"),
    [(DISPLAY_P3, SRGB_CURVE, None), (ADOBE_RGB, (563 / 256,), 563 / 256), (REC_2020, SRGB_CURVE, None)],
    ids=["Display P3", "Adobe RGB (1998)", "BT.2020 primaries"],
)
def test_wide_colours_are_brought_to_srgb(tmp_path: Path, primaries: Any, curve: Any, gamma: Any, rgb: Any) -> None:
    picture = load(tmp_path, patch(rgb), icc_profile=rgb_profile(primaries, curve))
    assert np.abs(picture.pixels[8, 8] - expected(rgb, primaries, gamma)).max() <= 1.5
    assert picture.notices == ()


def test_the_conversion_does_something() -> None:
    """A P3 skin tone taken as sRGB would be this far off, so the test above would see a profile that is ignored."""
    assert np.abs(expected(SKIN, DISPLAY_P3) - SKIN).max() > 8


def test_p3_red_lies_outside_srgb_and_is_clipped(tmp_path: Path) -> None:
    """Linear sRGB of P3 red by CSS Color 4's matrices is (1.2249, -0.0420, -0.0196): every channel clips."""
    light = np.linalg.solve(npm(SRGB), npm(DISPLAY_P3) @ [1.0, 0.0, 0.0])
    assert light == pytest.approx([1.2249, -0.0420, -0.0196], abs=2e-4)
    picture = load(tmp_path, patch((255, 0, 0)), icc_profile=rgb_profile(DISPLAY_P3, SRGB_CURVE))
    assert tuple(picture.pixels[8, 8]) == (255, 0, 0)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF", "HEIF"])
def test_the_profile_is_found_in_every_kind_of_file(tmp_path: Path, kind: str) -> None:
    pillow_heif.register_heif_opener()
    options = {"JPEG": {"quality": 100, "subsampling": 0}, "WEBP": {"lossless": True}, "HEIF": {"quality": 100}}
    profile = rgb_profile(DISPLAY_P3, SRGB_CURVE)
    picture = load(tmp_path, patch(SKIN), kind, icc_profile=profile, **options.get(kind, {}))
    assert np.abs(picture.pixels[16, 16] - expected(SKIN, DISPLAY_P3)).max() <= 3.5


def test_a_heic_that_names_p3_without_carrying_a_profile(tmp_path: Path) -> None:
    """Primaries 12, curve 13 of ITU-T H.273."""
    heif = pillow_heif.from_pillow(patch(SKIN))
    heif.save(tmp_path / "a", quality=100, color_primaries=12, transfer_characteristics=13, matrix_coefficients=6)
    picture = load_picture(tmp_path / "a", label="reference")
    assert np.abs(picture.pixels[16, 16] - expected(SKIN, DISPLAY_P3)).max() <= 3.5


def test_a_heic_for_hdr_screens_is_read_with_a_warning(tmp_path: Path) -> None:
    heif = pillow_heif.from_pillow(patch(SKIN))
    heif.save(tmp_path / "a", quality=100, color_primaries=9, transfer_characteristics=16, matrix_coefficients=9)
    assert "hdr_curve" in [n.code for n in load_picture(tmp_path / "a", label="reference").notices]


def test_an_srgb_profile_changes_nothing(tmp_path: Path) -> None:
    noise = np.random.default_rng(0).integers(0, 256, (64, 64, 3), dtype=np.uint8)
    for profile in (
        ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes(),
        rgb_profile(SRGB, SRGB_CURVE),
    ):
        picture = load(tmp_path, Image.fromarray(noise), icc_profile=profile)
        assert np.array_equal(picture.pixels, noise)
        assert picture.notices == ()


def test_a_png_that_says_srgb_needs_no_remark(tmp_path: Path) -> None:
    plain = io.BytesIO()
    patch(SKIN).save(plain, "PNG")
    data = plain.getvalue()
    chunk = b"sRGB\0"
    stated = data[:33] + struct.pack(">I", 1) + chunk + struct.pack(">I", _crc(chunk)) + data[33:]
    (tmp_path / "a").write_bytes(stated)
    assert load_picture(tmp_path / "a", label="reference").notices == ()


def _crc(data: bytes) -> int:
    import zlib

    return zlib.crc32(data)


def test_the_profile_made_from_chromaticities_is_what_littlecms_reads_back() -> None:
    """Colorants against the definition, brought to D50 by the Bradford matrix (here: the published linear form)."""
    profile = ImageCms.ImageCmsProfile(io.BytesIO(rgb_profile(DISPLAY_P3, SRGB_CURVE))).profile
    bradford = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
    d65, d50 = npm(DISPLAY_P3) @ [1, 1, 1], np.array([0.9642, 1.0, 0.8249])
    columns = np.linalg.solve(bradford, ((bradford @ d50) / (bradford @ d65))[:, None] * (bradford @ npm(DISPLAY_P3)))
    read = np.array([profile.red_primary[0], profile.green_primary[0], profile.blue_primary[0]]).T
    assert np.abs(read - columns).max() < 2e-5
    assert profile.media_white_point[0] == pytest.approx(d50, abs=2e-5)


def test_grey_with_a_curve_of_its_own(tmp_path: Path) -> None:
    """A linear grey of 51/255 is 20 % light, sRGB code 124."""
    picture = load(tmp_path, Image.new("L", (8, 8), 51), icc_profile=grey_profile(1.0))
    assert coded(51 / 255) == pytest.approx(124, abs=0.6)
    assert np.abs(picture.pixels.astype(int) - 124).max() <= 1
    clear = Image.merge("LA", [Image.new("L", (8, 8), 51), Image.new("L", (8, 8), 0)])
    assert np.all(load(tmp_path, clear, icc_profile=grey_profile(1.0)).pixels == 255)


def test_alpha_survives_the_profile(tmp_path: Path) -> None:
    rgba = Image.new("RGBA", (8, 8), (*SKIN, 128))
    picture = load(tmp_path, rgba, icc_profile=rgb_profile(DISPLAY_P3, SRGB_CURVE))
    over_white = 255 + (expected(SKIN, DISPLAY_P3) - 255) * 128 / 255
    assert np.abs(picture.pixels[4, 4] - over_white).max() <= 2


INKS = {
    (0, 0, 0, 0): (100, 0, 0),
    (255, 0, 0, 0): (60, -30, -30),
    (0, 255, 0, 0): (50, 55, 0),
    (0, 0, 255, 0): (90, -5, 60),
    (0, 0, 0, 255): (0, 0, 0),
}


@pytest.mark.parametrize("kind", ["JPEG", "TIFF"])
@pytest.mark.parametrize("ink", list(INKS))
def test_cmyk_with_a_profile(tmp_path: Path, kind: str, ink: tuple[int, ...]) -> None:
    options = {"quality": 100} if kind == "JPEG" else {}
    picture = load(tmp_path, Image.new("CMYK", (16, 16), ink), kind, icc_profile=cmyk_profile(), **options)
    assert np.abs(picture.pixels[8, 8] - srgb_of_lab(INKS[ink])).max() <= 2
    assert picture.notices == ()


def test_cmyk_without_a_profile_is_rough_and_says_so(tmp_path: Path) -> None:
    for kind in ("JPEG", "TIFF"):
        picture = load(tmp_path, Image.new("CMYK", (16, 16), (0, 255, 255, 0)), kind)
        assert np.abs(picture.pixels[8, 8].astype(int) - (255, 0, 0)).max() <= 3
        assert [n.code for n in picture.notices] == ["cmyk_without_profile"]


def test_a_lab_tiff(tmp_path: Path) -> None:
    """CIELAB (60, 20, 30), stored as L * 255/100 and signed a, b."""
    data = np.zeros((8, 8, 3), np.uint8)
    data[...] = (153, 20, 30)
    picture = load(tmp_path, Image.frombytes("LAB", (8, 8), data.tobytes()), "TIFF")
    assert np.abs(picture.pixels[4, 4] - srgb_of_lab((60, 20, 30))).max() <= 2


@pytest.mark.parametrize("spoil", ["noise", "cut", "other space", "text"])
def test_a_profile_that_cannot_be_used_costs_a_remark_not_the_picture(tmp_path: Path, spoil: str) -> None:
    whole = rgb_profile(DISPLAY_P3, SRGB_CURVE)
    profile = {
        "noise": np.random.default_rng(1).bytes(600),
        "cut": whole[:200],
        "other space": cmyk_profile(),
        "text": b"sRGB, honestly",
    }[spoil]
    picture = load(tmp_path, patch(SKIN), icc_profile=profile)
    assert tuple(picture.pixels[8, 8]) == SKIN
    assert [n.code for n in picture.notices] == ["profile_unusable"]


def srgb_of_lab(lab: Any) -> Array:
    """CIE 15: L*a*b* under D50 to XYZ, Bradford to D65, sRGB."""
    L, a, b = lab
    fy = (L + 16) / 116
    f = np.array([fy + a / 500, fy, fy - b / 200])
    xyz = np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)) * [0.9642, 1.0, 0.8249]
    bradford = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
    d65, d50 = npm(SRGB) @ [1, 1, 1], np.array([0.9642, 1.0, 0.8249])
    cone = (bradford @ xyz) * (bradford @ d65) / (bradford @ d50)
    return coded(np.linalg.solve(npm(SRGB), np.linalg.solve(bradford, cone)))


def icc(kind: bytes, space: bytes, connection: bytes, tags: dict[bytes, bytes]) -> bytes:
    """A version 2 profile (ICC.1:2001-04 6)."""
    table, body, start = b"", b"", 132 + 12 * len(tags)
    for name, payload in tags.items():
        table += struct.pack(">4sII", name, start + len(body), len(payload))
        body += payload + b"\0" * (-len(payload) % 4)
    head = struct.pack(">I4sI4s4s4s", start + len(body), b"\0" * 4, 0x02100000, kind, space, connection)
    head += struct.pack(">6H4s", 2020, 1, 1, 0, 0, 0, b"acsp") + b"\0" * 28 + struct.pack(">3i", 63190, 65536, 54061)
    return head.ljust(128, b"\0") + struct.pack(">I", len(tags)) + table + body


def grey_profile(gamma: float) -> bytes:
    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256))
    white = b"XYZ \0\0\0\0" + struct.pack(">3i", 63190, 65536, 54061)
    return icc(b"mntr", b"GRAY", b"XYZ ", {b"wtpt": white, b"kTRC": curve})


def cmyk_profile() -> bytes:
    """A printer of 16 corners (lut16Type, ICC.1:2001-04 6.5.9): the inks above, and dark grey where inks overlap."""
    table = b""
    for i in range(16):
        ink = tuple(255 * (i >> shift & 1) for shift in (3, 2, 1, 0))
        L, a, b = INKS.get(ink, (0, 0, 0) if ink[3] else (30, 0, 0))
        table += struct.pack(">3H", round(L * 652.8), round((a + 128) * 256), round((b + 128) * 256))
    line = struct.pack(">2H", 0, 65535)
    identity = struct.pack(">9i", *(65536 * (i % 4 == 0) for i in range(9)))
    lut = b"mft2\0\0\0\0" + bytes((4, 3, 2, 0)) + identity + struct.pack(">2H", 2, 2) + line * 4 + table + line * 3
    white = b"XYZ \0\0\0\0" + struct.pack(">3i", 63190, 65536, 54061)
    return icc(b"prtr", b"CMYK", b"Lab ", {b"wtpt": white, b"A2B0": lut})
