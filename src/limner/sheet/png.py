"""Pages to one PNG picture, one under the other; for a screen, not for measuring."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache, singledispatch

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from limner.pictures.write import encode_png
from limner.sheet.letters import face, name_of, printable
from limner.sheet.marks import Area, Ink, Mark, Page, Raster, Stroke, Window, Words

Array = NDArray[np.float64]

FINE = 2
"""Drawn so many times larger and brought down, for smooth edges."""
GAP = 4.0
"""mm between two pages."""


@dataclass(frozen=True, kw_only=True)
class _Plane:
    """What is drawn on: px = scale * mm + shift."""

    image: Image.Image
    scale: float
    shift: tuple[float, float] = (0.0, 0.0)

    def px(self, points: Array) -> list[tuple[float, float]]:
        return [(float(x), float(y)) for x, y in np.asarray(points) * self.scale + self.shift]

    def box(self, box: tuple[float, float, float, float]) -> tuple[int, int, int, int]:
        x, y, w, h = box
        (x0, y0), (x1, y1) = self.px(np.array([[x, y], [x + w, y + h]]))
        return round(x0), round(y0), round(x1), round(y1)


def to_png(pages: Sequence[Page], *, dpi: int = 150) -> bytes:
    """One PNG with the pages under each other, a narrow grey strip between them."""
    scale = dpi / 25.4
    shown = [_page(page, scale) for page in pages]
    gap = round(GAP * scale)
    width, height = max(s.width for s in shown), sum(s.height for s in shown) + gap * (len(shown) - 1)
    board = Image.new("RGB", (width, height), (150, 150, 150))
    top = 0
    for sheet in shown:
        board.paste(sheet, ((width - sheet.width) // 2, top))
        top += sheet.height + gap
    return encode_png(np.asarray(board))


def _page(page: Page, scale: float) -> Image.Image:
    fine = scale * FINE
    size = (round(page.width * scale) * FINE, round(page.height * scale) * FINE)
    plane = _Plane(image=Image.new("RGB", size, "white"), scale=fine)
    _all(page.marks, plane)
    return plane.image.reduce(FINE)


def _all(marks: Iterable[Mark], plane: _Plane) -> None:
    for mark in marks:
        _put(mark, plane)


def _colour(ink: Ink) -> tuple[int, int, int]:
    return (round(255 * ink[0]), round(255 * ink[1]), round(255 * ink[2]))


@singledispatch
def _put(mark: object, _plane: _Plane) -> None:
    raise TypeError(f"a sheet has no {type(mark).__name__}")


@_put.register
def _(mark: Stroke, plane: _Plane) -> None:
    points = np.vstack([mark.points, mark.points[:1]]) if mark.closed else mark.points
    draw = ImageDraw.Draw(plane.image)
    width = max(1, round(mark.pen.width * plane.scale))
    for piece in dashed(points, mark.pen.dash) if mark.pen.dash else [points]:
        draw.line(plane.px(piece), fill=_colour(mark.pen.ink), width=width, joint="curve")


@_put.register
def _(mark: Area, plane: _Plane) -> None:
    ImageDraw.Draw(plane.image).polygon(plane.px(mark.points), fill=_colour(mark.ink))


@_put.register
def _(mark: Words, plane: _Plane) -> None:
    font = _font(name_of(bold=mark.bold), max(1, round(mark.size * plane.scale)))
    text = printable(mark.text)
    (at,) = plane.px(np.array([mark.at]))
    anchor = {"start": "ls", "middle": "ms", "end": "rs"}[mark.anchor]
    if not mark.upward:
        ImageDraw.Draw(plane.image).text(at, text, font=font, fill=_colour(mark.ink), anchor=anchor)
        return
    long = round(font.getlength(text)) + 4
    tall = round(2 * mark.size * plane.scale)
    strip = Image.new("L", (long, 2 * tall), 0)
    start = {"start": 2, "middle": long // 2, "end": long - 2}[mark.anchor]
    ImageDraw.Draw(strip).text((start, tall), text, font=font, fill=255, anchor=anchor)
    turned = strip.rotate(90, expand=True)
    corner = (round(at[0]) - tall, round(at[1]) - (long - start))
    plane.image.paste(_colour(mark.ink), corner, turned)


@_put.register
def _(mark: Raster, plane: _Plane) -> None:
    x0, y0, x1, y1 = plane.box(mark.box)
    if x1 > x0 and y1 > y0:
        smooth = Image.Resampling.LANCZOS if mark.photo else Image.Resampling.NEAREST
        plane.image.paste(Image.fromarray(mark.pixels).resize((x1 - x0, y1 - y0), smooth), (x0, y0))


@_put.register
def _(mark: Window, plane: _Plane) -> None:
    x0, y0, x1, y1 = plane.box(mark.box)
    if not (x1 > x0 and y1 > y0):
        return
    part = plane.image.crop((x0, y0, x1, y1))
    scale = plane.scale * mark.factor
    (corner,) = plane.px(np.array([mark.box[:2]]))
    shift = (corner[0] - x0 - scale * mark.origin[0], corner[1] - y0 - scale * mark.origin[1])
    _all(mark.marks, _Plane(image=part, scale=scale, shift=shift))
    plane.image.paste(part, (x0, y0))


def dashed(points: Array, pattern: Sequence[float]) -> Iterator[Array]:
    """The pieces of a line through (N, 2) points that a dash pattern (dash, gap, dash, gap ...) shows.

    >>> [piece.tolist() for piece in dashed(np.array([[0.0, 0.0], [10.0, 0.0]]), (4.0, 2.0))]
    [[[0.0, 0.0], [4.0, 0.0]], [[6.0, 0.0], [10.0, 0.0]]]
    """
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    start, step = 0.0, 0
    while start < at[-1]:
        end = min(start + pattern[step % len(pattern)], float(at[-1]))
        if step % 2 == 0:
            inner = points[(at > start) & (at < end)]
            ends = [[float(np.interp(s, at, points[:, k])) for k in (0, 1)] for s in (start, end)]
            yield np.vstack([ends[0], inner, ends[1]])
        start, step = end, step + 1


@cache
def _font(name: str, size: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(face(name).face.filename, size)
