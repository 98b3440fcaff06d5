"""The same drawing as an SVG: one group for each layer, the painting embedded, nothing loaded from elsewhere."""

from __future__ import annotations

import base64
import io
from xml.etree import ElementTree as ET

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from limner.report.chalk import Colour, Look, Pen, text_width

Array = NDArray[np.float64]

SPACE = "http://www.w3.org/2000/svg"
LETTERS = "Helvetica, Arial, sans-serif"
QUALITY = 92
"""Of the embedded painting (JPEG)."""


class Drawing(Pen):
    """An SVG that is drawn on; its user unit is one px of the sheet."""

    def __init__(self, size: tuple[int, int], look: Look, *, mm_per_px: float | None = None) -> None:
        """Begin a sheet of a size in px; with ``mm_per_px`` it also has a true size in millimetres."""
        self.look = look
        width, height = size
        factor, unit = (mm_per_px, "mm") if mm_per_px else (1.0, "")
        self._root = ET.Element(
            "svg",
            {
                "xmlns": SPACE,
                "version": "1.1",
                "width": f"{number(width * factor)}{unit}",
                "height": f"{number(height * factor)}{unit}",
                "viewBox": f"0 0 {width} {height}",
            },
        )
        ET.SubElement(self._root, "title").text = "What to move on the painting"
        ET.SubElement(self._root, "rect", {"width": str(width), "height": str(height), "fill": colour_of(look.board)})
        self._group = self._root

    def finished(self) -> bytes:
        """Return the SVG's text, UTF-8."""
        ET.indent(self._root, " ")
        body: bytes = ET.tostring(self._root, encoding="utf-8")
        return b'<?xml version="1.0" encoding="UTF-8"?>\n' + body + b"\n"

    def layer(self, name: str, title: str) -> None:
        """What is drawn from here on belongs to this layer."""
        self._group = ET.SubElement(self._root, "g", {"id": name})
        ET.SubElement(self._group, "title").text = title

    def picture(self, picture: Image.Image, at: tuple[float, float]) -> None:
        """Put a picture in, its upper left corner at ``at``; its pixels only, no metadata."""
        held = io.BytesIO()
        picture.convert("RGB").save(held, "JPEG", quality=QUALITY)
        data = base64.b64encode(held.getvalue()).decode()
        box = {"x": number(at[0]), "y": number(at[1]), "width": str(picture.width), "height": str(picture.height)}
        ET.SubElement(self._group, "image", {**box, "href": f"data:image/jpeg;base64,{data}"})

    def stroke(self, points: Array, colour: Colour, width: float, *, dashed: bool = False) -> None:
        """A bare line with round ends through (N, 2) points."""
        look = {
            "points": _joined(points),
            "fill": "none",
            "stroke": colour_of(colour),
            "stroke-width": number(width),
            "stroke-linejoin": "round",
            "stroke-linecap": "round",
        }
        if dashed:
            look["stroke-dasharray"] = " ".join(number(part) for part in self.look.dash)
        ET.SubElement(self._group, "polyline", look)

    def fill(self, points: Array, colour: Colour) -> None:
        """A filled outline."""
        ET.SubElement(self._group, "polygon", {"points": _joined(points), "fill": colour_of(colour)})

    def disc(self, at: Array, radius: float, colour: Colour) -> None:
        """A filled circle."""
        look = {"cx": number(at[0]), "cy": number(at[1]), "r": number(radius), "fill": colour_of(colour)}
        ET.SubElement(self._group, "circle", look)

    def write(self, text: str, at: tuple[float, float], colour: Colour, *, size: int | None = None) -> None:
        """Write one line of text, its upper left corner at ``at``."""
        self._words(text, at[0], at[1], colour, size or self.look.text)

    def tag(self, text: str, at: tuple[float, float], colour: Colour, *, size: int | None = None) -> None:
        """Write a short word on the paint, its middle at ``at``, with a dark edge round its letters."""
        size = size or self.look.text
        left, top = at[0] - text_width(text, size) / 2, at[1] - 0.62 * size
        edge = {
            "stroke": colour_of(self.look.edge),
            "stroke-width": number(4 * self.look.rim),
            "stroke-linejoin": "round",
        }
        self._words(text, left, top, self.look.edge, size, edge)
        self._words(text, left, top, colour, size)

    def _words(
        self, text: str, left: float, top: float, colour: Colour, size: int, more: dict[str, str] | None = None
    ) -> None:
        """As wide as the other letters were reckoned, so that no word leaves its room."""
        look = {
            "x": number(left),
            "y": number(top + 0.95 * size),
            "font-family": LETTERS,
            "font-size": str(size),
            "textLength": number(text_width(text, size)),
            "lengthAdjust": "spacingAndGlyphs",
            "fill": colour_of(colour),
        }
        ET.SubElement(self._group, "text", {**look, **(more or {})}).text = text


def number(value: float) -> str:
    """A number as SVG has it, to a hundredth.

    >>> number(3.0), number(2.126), number(-0.001)
    ('3', '2.13', '0')
    """
    return f"{round(float(value), 2) + 0.0:.2f}".rstrip("0").rstrip(".")


def colour_of(colour: Colour) -> str:
    """A colour as SVG has it.

    >>> colour_of((255, 10, 0))
    '#ff0a00'
    """
    return "#" + "".join(f"{part:02x}" for part in colour)


def _joined(points: Array) -> str:
    return " ".join(f"{number(x)},{number(y)}" for x, y in np.asarray(points))
