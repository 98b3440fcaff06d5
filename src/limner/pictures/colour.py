"""Colour profiles: whatever a picture was stored in becomes sRGB."""

from __future__ import annotations

import io
import struct
from collections.abc import Sequence

import numpy as np
from PIL import Image, ImageCms

from limner.notices import Notice

Chromaticity = tuple[float, float]

# CIE xy of the primaries and D65; Display P3: SMPTE EG 432-1 primaries with the sRGB curve; Adobe RGB (1998) 4.3.
D65: Chromaticity = (0.3127, 0.3290)
DISPLAY_P3: tuple[Chromaticity, ...] = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
REC_2020: tuple[Chromaticity, ...] = ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046))
ADOBE_RGB: tuple[Chromaticity, ...] = ((0.640, 0.330), (0.210, 0.710), (0.150, 0.060))

# ICC.1:2010 10.16, parametric curve type 3: (gamma, a, b, c, d) of IEC 61966-2-1.
SRGB_CURVE = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)

_PROFILE_MODES = {"RGB", "L", "CMYK", "LAB"}


def to_srgb(image: Image.Image, profile: bytes | None) -> tuple[Image.Image, tuple[Notice, ...]]:
    """Bring an 8-bit picture (RGB, L, CMYK or LAB) to sRGB, mode RGB.

    Relative colorimetric with black-point compensation; colours outside sRGB are clipped. Without a profile RGB and
    grey are taken as sRGB, CMYK by plain complement, which is said in a notice.
    """
    if image.mode not in _PROFILE_MODES:
        image = image.convert("RGB")
    if image.mode == "LAB":
        return _transform(image, ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB"))), ()
    if not profile:  # an RGB picture as it is: converted it would only be copied
        return image if image.mode == "RGB" else image.convert("RGB"), _unprofiled(image.mode)
    try:
        return _transform(image, ImageCms.ImageCmsProfile(io.BytesIO(profile))), ()
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        text = "The picture's colour profile cannot be used, so its colours were taken as sRGB and may be off."
        return image.convert("RGB"), (Notice(code="profile_unusable", text=text),)


def _transform(image: Image.Image, source: ImageCms.ImageCmsProfile) -> Image.Image:
    transform = ImageCms.buildTransform(
        source,
        ImageCms.createProfile("sRGB"),
        image.mode,
        "RGB",
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
    )
    if image.mode == "RGB" and _changes_nothing(transform):
        return image
    out = ImageCms.applyTransform(image, transform)
    if out is None:
        raise ValueError("no picture came back from the colour transform")
    return out


def _changes_nothing(transform: ImageCms.ImageCmsTransform) -> bool:
    """Whether no colour of a 9 x 9 x 9 grid moves by more than one level: most pictures are sRGB already."""
    steps = np.linspace(0, 255, 9).round().astype(np.uint8)
    grid = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(27, 27, 3)
    after = ImageCms.applyTransform(Image.fromarray(grid), transform)
    return after is not None and int(np.abs(np.asarray(after).astype(int) - grid).max()) <= 1


def _unprofiled(mode: str) -> tuple[Notice, ...]:
    if mode == "CMYK":
        text = "The picture is CMYK without a colour profile: its colours are rough; export it as sRGB."
        return (Notice(code="cmyk_without_profile", text=text),)
    text = "The picture carries no colour profile; its colours were taken as sRGB."
    return (Notice(code="no_profile", text=text),)


def rgb_profile(primaries: Sequence[Chromaticity], curve: Sequence[float], *, white: Chromaticity = D65) -> bytes:
    """An ICC v4 display profile from three primaries and one parametric curve.

    ``primaries``: CIE xy of red, green, blue; ``curve``: one gamma, or the five values of ``SRGB_CURVE``. For pictures
    that name their colour space without carrying its profile. The white is adapted to D50 by the Bradford matrix
    (ICC.1:2010 annex E).
    """
    bradford = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
    d50 = np.array([0.9642, 1.0, 0.8249])
    white_xyz = _xyz(white)
    adapt = np.linalg.inv(bradford) @ np.diag((bradford @ d50) / (bradford @ white_xyz)) @ bradford
    columns = np.array([_xyz(p) for p in primaries]).T
    columns = adapt @ (columns * np.linalg.solve(columns, white_xyz))
    kind = 0 if len(curve) == 1 else 3
    shape = b"para" + struct.pack(">IHH", 0, kind, 0) + _fixed(curve)
    tags = {
        b"desc": _text(b"mluc", "stated colour space"),
        b"cprt": _text(b"mluc", "no rights claimed"),
        b"wtpt": b"XYZ \0\0\0\0" + _fixed(d50),
        b"chad": b"sf32\0\0\0\0" + _fixed(adapt.ravel()),
        **{tag: b"XYZ \0\0\0\0" + _fixed(columns[:, i]) for i, tag in enumerate((b"rXYZ", b"gXYZ", b"bXYZ"))},
        **dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), shape),
    }
    return _assemble(tags, d50)


def _xyz(xy: Chromaticity) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    x, y = xy
    return np.array([x / y, 1.0, (1 - x - y) / y])


def _fixed(values: Sequence[float] | np.ndarray[tuple[int], np.dtype[np.float64]]) -> bytes:
    """s15Fixed16Number each (ICC.1:2010 4.6)."""
    return b"".join(struct.pack(">i", round(float(v) * 65536)) for v in values)


def _text(kind: bytes, words: str) -> bytes:
    coded = words.encode("utf-16-be")
    return kind + struct.pack(">III2s2sII", 0, 1, 12, b"en", b"US", len(coded), 28) + coded


def _assemble(tags: dict[bytes, bytes], d50: np.ndarray[tuple[int], np.dtype[np.float64]]) -> bytes:
    table, body, start = b"", b"", 128 + 4 + 12 * len(tags)
    for tag, payload in tags.items():
        table += struct.pack(">4sII", tag, start + len(body), len(payload))
        body += payload + b"\0" * (-len(payload) % 4)
    size = start + len(body)
    header = struct.pack(">I4sI4s4s4s", size, b"\0" * 4, 0x04300000, b"mntr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H4s", 2020, 1, 1, 0, 0, 0, b"acsp") + b"\0" * 28 + _fixed(d50)
    header += b"\0" * (128 - len(header))
    return header + struct.pack(">I", len(tags)) + table + body
