"""The faces of a series beside each other on one sheet, and one after the other as a blink."""

from __future__ import annotations

import io
from typing import Literal

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from limner.errors import UsageError
from limner.pictures.write import encode_animation
from limner.report.clean import clean
from limner.series.record import Record
from limner.series.run import Run

_PAPER, _INK, _PALE = (246, 244, 240), (40, 38, 36), (120, 116, 110)
_GAP, _LINES, _MOST = 14, 40, 8
_STILL = 900
"""Milliseconds each face stays; the last stays twice as long."""


def contact(run: Run) -> bytes:
    """PNG: every face at the same place and size, its number, day and stage under it; skipped photos have a blank.

    Raises:
        UsageError: when no photo could be audited.
    """
    shown = _faces(run)
    size = next(face.size for _, face in shown if face is not None)
    across = min(len(shown), _MOST) if len(shown) <= 2 * _MOST else max(_MOST, round((len(shown) * 1.6) ** 0.5))
    small = size if across <= _MOST else (size[0] // 2, size[1] // 2)
    cell = (small[0] + _GAP, small[1] + _GAP + _LINES)
    down = -(-len(shown) // across)
    sheet = Image.new("RGB", (across * cell[0] + _GAP, down * cell[1] + _GAP), _PAPER)
    draw = ImageDraw.Draw(sheet)
    for k, (words, face) in enumerate(shown):
        x, y = _GAP + k % across * cell[0], _GAP + k // across * cell[1]
        if face is None:
            draw.rectangle([x, y, x + small[0] - 1, y + small[1] - 1], outline=_PALE)
        else:
            sheet.paste(face if small == size else face.resize(small, Image.Resampling.LANCZOS), (x, y))
        for line, text in enumerate(words):
            font = ImageFont.load_default(13)
            draw.text((x, y + small[1] + 4 + 16 * line), _cut(text, font, small[0]), fill=_INK, font=font)
    held = io.BytesIO()
    sheet.save(held, "PNG", compress_level=6)
    return held.getvalue()


def blink(run: Run, kind: Literal["gif", "webp"]) -> bytes:
    """An animation through the faces, in order, without end; the photo's number stands in a corner.

    Raises:
        UsageError: when no photo could be audited.
    """
    frames = []
    for words, face in _faces(run):
        if face is None:
            continue
        ImageDraw.Draw(face).text((8, 6), words[0].split(".")[0], fill="white", stroke_width=2, stroke_fill="black",
                                  font=ImageFont.load_default(20))  # fmt: skip
        frames.append(face)
    times = [_STILL] * (len(frames) - 1) + [2 * _STILL]
    return encode_animation([np.asarray(frame) for frame in frames], times, kind)


def _faces(run: Run) -> list[tuple[tuple[str, str], Image.Image | None]]:
    if not any(run.faces):
        raise UsageError("There is no face to show: no photo could be audited.")
    found: list[tuple[tuple[str, str], Image.Image | None]] = []
    for photo, face in zip(run.series.photos, run.faces, strict=True):
        words = _words(photo) if isinstance(photo, Record) else (clean(photo.name), "skipped")
        picture = None if face is None else Image.open(io.BytesIO(face)).convert("RGB")
        found.append(((f"{run.series.number(photo)}. {words[0]}", words[1]), picture))
    return found


def _words(photo: Record) -> tuple[str, str]:
    return clean(photo.name), f"{(photo.taken or '')[:10]} {photo.stage}, {len(photo.off)} off".strip()


def _cut(text: str, font: ImageFont.FreeTypeFont | ImageFont.ImageFont, width: int) -> str:
    while text and font.getlength(text) > width:
        text = text[:-1]
    return text
