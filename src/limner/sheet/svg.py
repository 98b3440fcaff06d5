"""One page to SVG, its unit the millimetre."""

from __future__ import annotations

import base64
import itertools
from collections.abc import Iterable, Iterator
from functools import singledispatch
from xml.etree import ElementTree as ET

from limner.pictures.write import encode_png
from limner.sheet.letters import FAMILY, printable
from limner.sheet.marks import Area, Ink, Mark, Page, Raster, Stroke, Window, Words

SPACE = "http://www.w3.org/2000/svg"


def to_svg(page: Page, *, title: str) -> bytes:
    """An SVG 1.1 picture of the page at 1:1: width and height in mm, one user unit a millimetre."""
    root = ET.Element(
        "svg",
        {
            "xmlns": SPACE,
            "version": "1.1",
            "width": f"{_number(page.width)}mm",
            "height": f"{_number(page.height)}mm",
            "viewBox": f"0 0 {_number(page.width)} {_number(page.height)}",
        },
    )
    ET.SubElement(root, "title").text = printable(title)
    ET.SubElement(root, "rect", {"width": "100%", "height": "100%", "fill": "#ffffff"})
    _all(page.marks, root, itertools.count(1))
    ET.indent(root, " ")
    body: bytes = ET.tostring(root, encoding="utf-8")
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + body + b"\n"


def _number(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".")


def _colour(ink: Ink) -> str:
    return "#" + "".join(f"{round(255 * part):02x}" for part in ink)


def _all(marks: Iterable[Mark], parent: ET.Element, count: Iterator[int]) -> None:
    for mark in marks:
        _put(mark, parent, count)


@singledispatch
def _put(mark: object, _parent: ET.Element, _count: Iterator[int]) -> None:
    raise TypeError(f"a sheet has no {type(mark).__name__}")


@_put.register
def _(mark: Stroke, parent: ET.Element, _count: Iterator[int]) -> None:
    look = {
        "points": _points(mark.points),
        "fill": "none",
        "stroke": _colour(mark.pen.ink),
        "stroke-width": _number(mark.pen.width),
        "stroke-linejoin": "round",
        "stroke-linecap": "butt" if mark.pen.dash else "round",
    }
    if mark.pen.dash:
        look["stroke-dasharray"] = " ".join(_number(part) for part in mark.pen.dash)
    ET.SubElement(parent, "polygon" if mark.closed else "polyline", look)


@_put.register
def _(mark: Area, parent: ET.Element, _count: Iterator[int]) -> None:
    ET.SubElement(parent, "polygon", {"points": _points(mark.points), "fill": _colour(mark.ink)})


@_put.register
def _(mark: Words, parent: ET.Element, _count: Iterator[int]) -> None:
    x, y = (_number(part) for part in mark.at)
    look = {
        "x": x,
        "y": y,
        "font-family": FAMILY,
        "font-size": _number(mark.size),
        "text-anchor": mark.anchor,
        "fill": _colour(mark.ink),
    }
    if mark.bold:
        look["font-weight"] = "bold"
    if mark.upward:
        look["transform"] = f"rotate(-90 {x} {y})"
    ET.SubElement(parent, "text", look).text = printable(mark.text)


@_put.register
def _(mark: Raster, parent: ET.Element, _count: Iterator[int]) -> None:
    data = base64.b64encode(encode_png(mark.pixels)).decode()
    box = dict(zip(("x", "y", "width", "height"), (_number(part) for part in mark.box), strict=True))
    ET.SubElement(parent, "image", {**box, "preserveAspectRatio": "none", "href": f"data:image/png;base64,{data}"})


@_put.register
def _(mark: Window, parent: ET.Element, count: Iterator[int]) -> None:
    x, y = mark.box[:2]
    name = f"window-{next(count)}"
    clip = ET.SubElement(parent, "clipPath", {"id": name})
    box = dict(zip(("x", "y", "width", "height"), (_number(part) for part in mark.box), strict=True))
    ET.SubElement(clip, "rect", box)
    outer = ET.SubElement(parent, "g", {"clip-path": f"url(#{name})"})
    left, top = x - mark.factor * mark.origin[0], y - mark.factor * mark.origin[1]
    move = f"translate({_number(left)} {_number(top)}) scale({_number(mark.factor)})"
    _all(mark.marks, ET.SubElement(outer, "g", {"transform": move}), count)


def _points(points: object) -> str:
    return " ".join(f"{_number(float(x))},{_number(float(y))}" for x, y in points)  # type: ignore[attr-defined]
