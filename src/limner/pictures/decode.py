"""Bytes of a picture become an upright, 8-bit sRGB image, reduced while decoding where it is large."""

from __future__ import annotations

import io
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace

from PIL import Image, ImageFile

from limner.notices import Notice
from limner.pictures import colour
from limner.pictures.atonce import WEBP_COST, held_at_once, in_too_many_parts, tile_size, webp_size
from limner.pictures.directories import claims_too_much
from limner.pictures.exif import Exif, read_exif
from limner.pictures.kinds import Kind, cut_short, kind_of, words_for
from limner.pictures.modes import alpha_of, eight_bit, without_alpha
from limner.pictures.reading import KINDS, refusal

_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
_SIDEWAYS = 5
_FIRST_PAGE = "The file holds several pictures; only the first was read."
_TIFF_BITS, _TIFF_SUBFILE, _DNG_VERSION = 258, 254, 50706
# ITU-T H.273 tables 2 and 3: primaries of BT.709 (sRGB's), BT.2020 and Display P3; curves PQ and HLG.
_BT709 = 1
_WIDE_PRIMARIES = {9: colour.REC_2020, 12: colour.DISPLAY_P3}
_HDR_CURVES = (16, 18)
_quiet_lock = threading.Lock()


@dataclass(frozen=True, kw_only=True)
class DecodeLimits:
    """What a decoder may be asked for."""

    pixels: int
    """Most pixels a picture may have as stored."""
    held: int
    """Most pixels that may have to be in memory at once while decoding."""
    target: int
    """The long side, px, that a reduced picture keeps at least."""


@dataclass(frozen=True, kw_only=True)
class Decoded:
    """An upright sRGB image and what its file said about it."""

    image: Image.Image
    """Mode RGB."""
    full_size: tuple[int, int]
    """Width and height as stored, upright."""
    scale: float
    focal_35mm: float | None
    taken: str | None
    notices: tuple[Notice, ...]


def decode(data: bytes, what: str, limits: DecodeLimits) -> Decoded:
    """Decode one picture. ``what`` begins every refusal, for example ``reference 'anna.jpg'``.

    Raises :class:`PictureError` for bytes that are no picture, cut short, damaged or past ``limits``.
    """
    kind = kind_of(data)
    if kind is None:
        do = "give another file, or export it as a JPEG, PNG or TIFF"
        raise refusal(what, expected=KINDS, came=f"the file is {words_for(data)}", do=do)
    if in_too_many_parts(kind, data) or (kind == "TIFF" and claims_too_much(data)):
        raise _damaged(what, kind)
    if cut_short(kind, data):
        raise _cut(what)
    if kind == "WebP":  # whose decoder sets its memory aside as soon as it is opened
        _check_size(webp_size(data), data, kind, what, limits)
    # Decoders meet damaged files with every kind of exception; each one means the same to the painter.
    try:
        with _quiet():
            image = _open(kind, data)
    except ImportError:
        raise
    except Exception as error:
        raise _damaged(what, kind, error) from error
    _check_size(image.size, data, kind, what, limits, tile=tile_size(image))
    _check_depth(image, kind, what)
    full, pages = image.size, bool(getattr(image, "is_animated", False))
    drafted = _draft(image, limits.target) if kind == "JPEG" else 1.0
    try:
        image.load()
        with _quiet():
            exif = read_exif(image)
        plain = eight_bit(image)
    except Exception as error:
        raise _damaged(what, kind, error) from error
    if kind != "JPEG":
        full = image.size
    if kind == "HEIC":
        # The container's own turn is applied while decoding, and EXIF's must then be ignored (ISO/IEC 23008-12 A.2.2).
        exif = replace(exif, turn=1)
    remarks = (Notice(code="first_page", text=_FIRST_PAGE),) if pages else ()
    factor = reduce_by(max(plain.size), limits.target)
    upright, more = _upright(plain.reduce(factor) if factor > 1 else plain, image, exif)
    return Decoded(
        image=upright,
        full_size=(full[1], full[0]) if exif.turn >= _SIDEWAYS else full,
        scale=drafted / factor,
        focal_35mm=exif.focal_35mm,
        taken=exif.taken,
        notices=(*more, *remarks),
    )


def time_taken(data: bytes) -> str | None:
    """When a photo was taken by its EXIF, read without decoding it; ``None`` where that is not stated or damaged."""
    kind = kind_of(data)
    try:
        with _quiet():
            return None if kind is None else read_exif(_open(kind, data)).taken
    except Exception:  # noqa: BLE001 - decoders meet damaged files with every kind of exception
        return None


def reduce_by(long_side: int, target: int) -> int:
    """The whole number a picture's sides are divided by: the largest that keeps ``long_side`` at ``target`` or more."""
    return max(1, long_side // target)


def _upright(plain: Image.Image, image: Image.Image, exif: Exif) -> tuple[Image.Image, tuple[Notice, ...]]:
    """Colours to sRGB, transparent parts onto white, turned as EXIF says. ``image`` still has what the file stated."""
    profile, remarks = _profile(image)
    rgb, more = colour.to_srgb(without_alpha(plain), profile)
    if exif.says_srgb or _states_srgb(image):
        more = tuple(remark for remark in more if remark.code != "no_profile")
    alpha = alpha_of(plain)
    if alpha is not None:
        paper = Image.new("RGB", rgb.size, "white")
        paper.paste(rgb, mask=alpha)
        rgb = paper
        more = (*more, Notice(code="transparent", text="The picture has transparent parts; they were laid on white."))
    if exif.turn in _TURNS:
        rgb = rgb.transpose(_TURNS[exif.turn])
    return rgb, (*remarks, *more)


@contextmanager
def _quiet() -> Iterator[None]:
    """No warnings of the decoder's on the terminal. One at a time: the filters belong to the whole process."""
    with _quiet_lock, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


def _open(kind: Kind, data: bytes) -> ImageFile.ImageFile:
    """Read the header only. The decoder is chosen here, so that no other one sees the bytes."""
    stream = io.BytesIO(data)
    if kind == "JPEG":
        from PIL.JpegImagePlugin import JpegImageFile

        return JpegImageFile(stream)
    if kind == "PNG":
        from PIL.PngImagePlugin import PngImageFile

        return PngImageFile(stream)
    if kind == "WebP":
        from PIL.WebPImagePlugin import WebPImageFile

        return WebPImageFile(stream)
    if kind == "TIFF":
        from PIL.TiffImagePlugin import TiffImageFile

        return TiffImageFile(stream)
    from pillow_heif import HeifImageFile

    opener: Callable[[io.BytesIO], ImageFile.ImageFile] = HeifImageFile
    return opener(stream)


def _check_size(
    size: tuple[int, int], data: bytes, kind: Kind, what: str, limits: DecodeLimits, *, tile: int = 0
) -> None:
    """Refuse what is past the limits; ``tile``: pixels of one tile."""
    width, height = size
    pixels = width * height
    at_once = max(tile, held_at_once(pixels, kind, data, reduced=_draft_factor(max(size), limits.target)))
    if pixels <= limits.pixels and at_once <= limits.held:
        return
    fits = min(limits.pixels, limits.held)
    if kind == "TIFF" and pixels <= fits:
        came = f"the tiles it is stored in have {at_once / 1e6:.0f} million pixels each"
        raise refusal(what, expected="tiles no larger than a picture", came=came, do="export the picture again")
    most = min(limits.pixels, limits.held // WEBP_COST) if kind == "WebP" else fits
    raise refusal(
        what,
        expected=f"at most {(limits.pixels if at_once < pixels else most) / 1e6:.0f} million pixels",
        came=f"it says it has {width} x {height}, {pixels / 1e6:.0f} million",
        do="export a smaller copy",
    )


def _check_depth(image: Image.Image, kind: Kind, what: str) -> None:
    if kind != "TIFF":
        return
    tags = getattr(image, "tag_v2", {})
    if _DNG_VERSION in tags or int(tags.get(_TIFF_SUBFILE, 0) or 0) & 1:
        raise refusal(
            what,
            expected=KINDS,
            came="the file is a camera raw file, of which only the small preview could be read",
            do="develop it and export a JPEG or TIFF",
        )
    if image.mode == "F" or (image.mode == "I" and max(tags.get(_TIFF_BITS, (32,))) > 16):
        raise refusal(
            what,
            expected="8 or 16 bits per channel",
            came="the TIFF holds 32-bit numbers",
            do="export it with 8 or 16 bits",
        )


def _draft_factor(long_side: int, target: int) -> int:
    """JPEG decodes cheaply at a half, a quarter or an eighth: the smallest of these that keeps ``target``."""
    return next(f for f in (8, 4, 2, 1) if f == 1 or long_side // f >= target)


def _draft(image: Image.Image, target: int) -> float:
    factor = _draft_factor(max(image.size), target)
    if factor == 1:
        return 1.0
    stored = image.width
    drafted = image.draft(None, (image.width // factor, image.height // factor))
    # The box is (0, 0, width / divisor, height / divisor), unrounded; the decoded picture is rounded up.
    return 1.0 if drafted is None else drafted[1][2] / stored


def _profile(image: Image.Image) -> tuple[bytes | None, tuple[Notice, ...]]:
    """The embedded colour profile, or one made from what the file says in code numbers."""
    embedded = image.info.get("icc_profile")
    if isinstance(embedded, bytes) and embedded:
        return embedded, ()
    wide = _WIDE_PRIMARIES.get(_coded(image, "color_primaries"))
    remarks: tuple[Notice, ...] = ()
    if _coded(image, "transfer_characteristics") in _HDR_CURVES:
        text = "The picture is stored for high-dynamic-range screens; its values are not reliable: export it as a JPEG."
        remarks = (Notice(code="hdr_curve", text=text),)
    return colour.rgb_profile(wide, colour.SRGB_CURVE) if wide else None, remarks


def _states_srgb(image: Image.Image) -> bool:
    return "srgb" in image.info or _coded(image, "color_primaries") == _BT709


def _coded(image: Image.Image, name: str) -> int:
    """A code point of ITU-T H.273 that a HEIC file carries; 2, which means unspecified, where it carries none."""
    coded = image.info.get("nclx_profile")
    value = coded.get(name) if isinstance(coded, dict) else None
    return int(value) if value is not None else 2


def _damaged(what: str, kind: Kind, error: Exception | None = None) -> Exception:
    words = str(error).lower()
    if "truncated" in words or "unexpected end" in words or isinstance(error, EOFError):
        return _cut(what)
    if isinstance(error, MemoryError):
        came, do = "there is not enough memory to decode it", "export a smaller copy"
    else:
        came, do = f"the {kind} is damaged or of a sort that cannot be decoded", "copy or export the picture again"
    return refusal(what, expected="a whole picture", came=came, do=do)


def _cut(what: str) -> Exception:
    came = "the file ends before the picture does"
    return refusal(what, expected="a whole picture", came=came, do="copy or export the picture again")
