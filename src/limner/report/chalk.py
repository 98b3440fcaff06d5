"""Lines, arrows and words as chalk on charcoal: a dark edge round a light core, legible on any paint."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from limner.report.clean import words

Array = NDArray[np.float64]
Colour = tuple[int, int, int]

FINE = 2
"""Drawn so many times larger and brought down, for smooth edges."""
SHAFT = 4.0
"""Width of an arrow's shaft, px."""


@dataclass(frozen=True, kw_only=True)
class Look:
    """The chalks and the board."""

    board: Colour = (43, 41, 39)
    """Charcoal ground of the margins."""
    edge: Colour = (24, 22, 21)
    """Edge round every line that lies on paint."""
    white: Colour = (250, 247, 238)
    """White chalk: where things belong."""
    red: Colour = (238, 141, 104)
    """Red chalk: as painted."""
    grey: Colour = (176, 171, 163)
    """Grey chalk: leaders and small print."""
    line: float = 2.2
    """Width of a line's core, px."""
    rim: float = 1.6
    """Width of the edge on each side, px."""
    dash: tuple[float, float] = (9.0, 7.0)
    """Length of a dash and of the gap after it, px."""
    text: int = 23
    """Height of the letters, px."""


class Pen:
    """What a layer draws with; coordinates are px of the sheet, counted from its left and top edge."""

    look: Look

    def layer(self, name: str, title: str) -> None:
        """What is drawn from here on belongs to this layer."""

    def stroke(self, points: Array, colour: Colour, width: float, *, dashed: bool = False) -> None:
        """A bare line with round ends through (N, 2) points."""
        raise NotImplementedError

    def fill(self, points: Array, colour: Colour) -> None:
        """A filled outline."""
        raise NotImplementedError

    def disc(self, at: Array, radius: float, colour: Colour) -> None:
        """A filled circle."""
        raise NotImplementedError

    def write(self, text: str, at: tuple[float, float], colour: Colour, *, size: int | None = None) -> None:
        """Write one line of text, its upper left corner at ``at``."""
        raise NotImplementedError

    def tag(self, text: str, at: tuple[float, float], colour: Colour, *, size: int | None = None) -> None:
        """Write a short word on the paint, its middle at ``at``, with a dark edge round its letters."""
        raise NotImplementedError

    def line(
        self, points: Array, colour: Colour, *, dashed: bool = False, width: float | None = None, rim: bool = True
    ) -> None:
        """Draw a line through (N, 2) points, with a dark edge unless there is no ``rim``."""
        width = self.look.line if width is None else width
        if rim:
            self.stroke(points, self.look.edge, width + 2 * self.look.rim, dashed=dashed)
        self.stroke(points, colour, width, dashed=dashed)

    def arrow(self, start: Array, end: Array, colour: Colour, *, width: float = SHAFT) -> None:
        """Draw an arrow; its head is part of its length, and a very short one is all head."""
        along = end - start
        length = float(np.hypot(*along))
        if length == 0.0:
            return
        along = along / length
        across = np.array([-along[1], along[0]])
        head = min(max(4.2 * width, 0.3 * length), max(length, 2.6 * width))
        neck = end - along * head
        tip = np.array([end, neck + across * head * 0.5, neck - across * head * 0.5])
        shaft = np.array([start, neck + along])
        rim = self.look.rim
        if length > head:
            self.stroke(shaft, self.look.edge, width + 2 * rim)
        centre = tip.mean(axis=0)
        self.fill(centre + (tip - centre) * (1 + 3.2 * rim / head), self.look.edge)
        if length > head:
            self.stroke(shaft, colour, width)
        self.fill(tip, colour)

    def dot(self, at: Array, colour: Colour, radius: float = 4.0) -> None:
        """Draw a dot with a dark edge."""
        self.disc(at, radius + self.look.rim, self.look.edge)
        self.disc(at, radius, colour)


class Sheet(Pen):
    """A picture that is drawn on."""

    def __init__(self, base: Image.Image, look: Look) -> None:
        self.base = base.convert("RGB")
        self.look = look
        self._layer = Image.new("RGBA", (base.width * FINE, base.height * FINE), (*look.edge, 0))
        self._draw = ImageDraw.Draw(self._layer)

    def finished(self) -> NDArray[np.uint8]:
        """Return the picture with everything drawn on it as (H, W, 3) uint8."""
        layer = self._layer.resize(self.base.size, Image.Resampling.BOX)
        self.base.paste(layer, mask=layer.getchannel("A"))
        return np.asarray(self.base, dtype=np.uint8)

    def write(self, text: str, at: tuple[float, float], colour: Colour, *, size: int | None = None) -> None:
        """Write one line of text, its upper left corner at ``at``."""
        place = (at[0] * FINE, at[1] * FINE)
        self._draw.text(place, text, font=font((size or self.look.text) * FINE), fill=(*colour, 255))

    def tag(self, text: str, at: tuple[float, float], colour: Colour, *, size: int | None = None) -> None:
        """Write a short word on the paint, its middle at ``at``, with a dark edge round its letters."""
        self._draw.text(
            (at[0] * FINE, at[1] * FINE),
            text,
            font=font((size or self.look.text) * FINE),
            fill=(*colour, 255),
            stroke_width=round(2 * self.look.rim * FINE),
            stroke_fill=(*self.look.edge, 255),
            anchor="mm",
        )

    def disc(self, at: Array, radius: float, colour: Colour) -> None:
        """A filled circle."""
        low, high = (at - radius) * FINE, (at + radius) * FINE
        self._draw.ellipse((*low, *high), fill=(*colour, 255))

    def stroke(self, points: Array, colour: Colour, width: float, *, dashed: bool = False) -> None:
        """A bare line with round ends through (N, 2) points."""
        thick = width * FINE
        for piece in dashes(points, *self.look.dash) if dashed else [np.asarray(points)]:
            fine = piece * FINE
            line = [(float(x), float(y)) for x, y in fine]
            self._draw.line(line, fill=(*colour, 255), width=round(thick), joint="curve")
            for x, y in (fine[0], fine[-1]):
                self._draw.ellipse((x - thick / 2, y - thick / 2, x + thick / 2, y + thick / 2), fill=(*colour, 255))

    def fill(self, points: Array, colour: Colour) -> None:
        """A filled outline."""
        fine = points * FINE
        self._draw.polygon([(float(x), float(y)) for x, y in fine], fill=(*colour, 255))


def font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """Return Pillow's own scalable font; nothing is looked up on the machine."""
    return ImageFont.load_default(size)


def text_width(text: str, size: int) -> float:
    """Return how wide one line of text is, px."""
    return float(font(size).getlength(text))


def wrapped(text: str, size: int, width: float) -> list[str]:
    """Return the text in lines no wider than ``width`` px; a word that is wider stands alone."""
    lines: list[str] = []
    for word in words(text):
        if lines and text_width(f"{lines[-1]} {word}", size) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def smooth(points: Array, *, closed: bool, steps: int = 6) -> Array:
    """Return a Catmull-Rom curve through (N, 2) points, so that a coarse outline does not look angular.

    >>> corner = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]])
    >>> smooth(corner, closed=False, steps=2).round(4).tolist()
    [[0.0, 0.0], [0.5, -0.0625], [1.0, 0.0], [1.0625, 0.5], [1.0, 1.0]]
    """
    p = np.asarray(points, dtype=np.float64)
    ring = np.vstack([p[-1], p, p[0], p[1]]) if closed else np.vstack([p[0], p, p[-1]])
    t = (np.arange(steps) / steps)[:, None]
    pieces = []
    for i in range(1, len(ring) - 2):
        p0, p1, p2, p3 = ring[i - 1 : i + 3]
        pieces.append(
            0.5 * (2 * p1 + (p2 - p0) * t + (2 * p0 - 5 * p1 + 4 * p2 - p3) * t**2 + (3 * p1 - p0 - 3 * p2 + p3) * t**3)
        )
    return np.vstack([*pieces, ring[-2][None]])


def ellipse(points: Array, steps: int = 48) -> Array:
    """(steps, 2) array: the ellipse whose half axes reach four points that are given in their order round it.

    >>> ellipse(np.array([[2.0, 0.0], [0.0, 1.0], [-2.0, 0.0], [0.0, -1.0]]), 4).round(6).tolist()
    [[2.0, 0.0], [0.0, 1.0], [-2.0, 0.0], [-0.0, -1.0]]
    """
    turn = np.linspace(0.0, 2 * np.pi, steps, endpoint=False)[:, None]
    across, down = (points[0] - points[2]) / 2, (points[1] - points[3]) / 2
    return np.asarray(points.mean(axis=0) + np.cos(turn) * across + np.sin(turn) * down)


def outline(points: Array, *, closed: bool) -> Array:
    """Return the curve that a feature's (N, 2) points are drawn by: an iris, which has four, as an ellipse."""
    if closed and len(points) == 4:
        ring = ellipse(points)
        return np.vstack([ring, ring[:1]])
    return smooth(points, closed=closed)


def dashes(points: Array, dash: float, gap: float) -> Sequence[Array]:
    """Return the pieces of a line through (N, 2) points that a dashed one shows; lengths in px.

    >>> [piece.tolist() for piece in dashes(np.array([[0.0, 0.0], [10.0, 0.0]]), 4.0, 2.0)]
    [[[0.0, 0.0], [4.0, 0.0]], [[6.0, 0.0], [10.0, 0.0]]]
    """
    steps = np.hypot(*np.diff(points, axis=0).T)
    at = np.concatenate([[0.0], np.cumsum(steps)])
    pieces = []
    for start in np.arange(0.0, at[-1], dash + gap):
        end = min(start + dash, at[-1])
        inner = points[(at > start) & (at < end)]
        ends = [[np.interp(s, at, points[:, k]) for k in (0, 1)] for s in (start, end)]
        pieces.append(np.vstack([ends[0], inner, ends[1]]))
    return pieces
