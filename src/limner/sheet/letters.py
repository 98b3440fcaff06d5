"""The letters of a sheet: one open typeface, carried by the PDF itself, and how wide its words are."""

from __future__ import annotations

from functools import cache
from typing import Any

from limner.report.clean import clean, words

PLAIN, BOLD = "limner-plain", "limner-bold"
_FILES = {PLAIN: "Vera.ttf", BOLD: "VeraBd.ttf"}  # Bitstream Vera, which comes with reportlab
FAMILY = "'Bitstream Vera Sans', 'DejaVu Sans', Verdana, sans-serif"


@cache
def face(name: str) -> Any:
    """The registered typeface of that name."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    font = TTFont(name, _FILES[name])
    pdfmetrics.registerFont(font)
    return font


def name_of(*, bold: bool) -> str:
    """The name the PDF knows a typeface by; it is registered on the way."""
    name = BOLD if bold else PLAIN
    face(name)
    return name


def printable(text: str) -> str:
    r"""The text on one line, with a question mark for every letter the typeface does not have.

    >>> printable("sitter \u5927.jpg")
    'sitter ?.jpg'
    """
    known = face(PLAIN).face.charToGlyph
    return "".join(char if ord(char) in known else "?" for char in clean(text)).strip()


def width_of(text: str, size: float, *, bold: bool = False) -> float:
    """How wide a line of text is, mm, for letters of ``size`` mm."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(stringWidth(text, name_of(bold=bold), size))


def wrapped(text: str, size: float, width: float, *, bold: bool = False) -> list[str]:
    """The text in lines no wider than ``width`` mm; a word that is wider is cut.

    >>> wrapped("one two three", 4.0, 20.0)
    ['one two', 'three']
    """
    lines: list[str] = []
    for word in words(printable(text)):
        while width_of(word, size, bold=bold) > width and len(word) > 1:
            keep = max(1, int(len(word) * width / width_of(word, size, bold=bold)))
            lines.append(word[:keep])
            word = word[keep:]  # noqa: PLW2901 - what is left of it
        if lines and width_of(f"{lines[-1]} {word}", size, bold=bold) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def fitted(text: str, size: float, width: float) -> str:
    """The text cut to ``width`` mm, with three dots where something was cut."""
    text = printable(text)
    if width_of(text, size) <= width:
        return text
    while text and width_of(f"{text}...", size) > width:
        text = text[:-1]
    return f"{text.rstrip()}..."
