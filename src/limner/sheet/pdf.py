"""Pages to PDF: the same bytes every time, letters and pictures inside, and nothing of the machine or the painter."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from functools import singledispatch
from typing import Any

from PIL import Image

from limner.sheet.letters import name_of, printable
from limner.sheet.marks import Area, Mark, Page, Raster, Stroke, Window, Words

POINT = 25.4 / 72
"""mm; the unit of PDF."""


def to_pdf(pages: Sequence[Page], *, title: str) -> bytes:
    """A PDF with these pages at 1:1, which asks the printing program not to fit it to the paper.

    ``title`` is its only metadata besides limner's name; the dates in it are fixed.
    """
    from reportlab.pdfgen.canvas import Canvas

    held = io.BytesIO()
    canvas = Canvas(held, invariant=1, pageCompression=1)
    canvas.setTitle(printable(title))
    canvas.setAuthor("")
    canvas.setSubject("")
    canvas.setCreator("limner")
    canvas.setProducer("limner")
    canvas.setViewerPreference("PrintScaling", "None")
    for page in pages:
        canvas.setPageSize((page.width / POINT, page.height / POINT))
        # From here on the unit is a millimetre, counted from the upper left corner, y down.
        canvas.transform(1 / POINT, 0, 0, -1 / POINT, 0, page.height / POINT)
        canvas.setLineCap(1)
        canvas.setLineJoin(1)
        _all(page.marks, canvas)
        canvas.showPage()
    canvas.save()
    return held.getvalue()


def _all(marks: Iterable[Mark], canvas: Any) -> None:
    for mark in marks:
        _put(mark, canvas)


@singledispatch
def _put(mark: Any, _canvas: Any) -> None:
    raise TypeError(f"a sheet has no {type(mark).__name__}")


@_put.register
def _(mark: Stroke, canvas: Any) -> None:
    canvas.setLineWidth(mark.pen.width)
    canvas.setStrokeColorRGB(*mark.pen.ink)
    canvas.setDash(list(mark.pen.dash))
    # A dash with round ends would grow by its own width, and fine gaps would close.
    canvas.setLineCap(0 if mark.pen.dash else 1)
    canvas.drawPath(_path(mark.points, canvas, closed=mark.closed), stroke=1, fill=0)


@_put.register
def _(mark: Area, canvas: Any) -> None:
    canvas.setFillColorRGB(*mark.ink)
    canvas.drawPath(_path(mark.points, canvas, closed=True), stroke=0, fill=1)


@_put.register
def _(mark: Words, canvas: Any) -> None:
    canvas.saveState()
    canvas.translate(*mark.at)
    canvas.scale(1, -1)
    if mark.upward:
        canvas.rotate(90)
    canvas.setFillColorRGB(*mark.ink)
    canvas.setFont(name_of(bold=mark.bold), mark.size)
    draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}
    draw[mark.anchor](0, 0, printable(mark.text))
    canvas.restoreState()


@_put.register
def _(mark: Raster, canvas: Any) -> None:
    from reportlab.lib.utils import ImageReader

    held = io.BytesIO()
    picture = Image.fromarray(mark.pixels)
    if mark.photo:
        picture.convert("RGB").save(held, "JPEG", quality=90, subsampling=0)
    else:
        picture.save(held, "PNG")
    held.seek(0)
    x, y, w, h = mark.box
    canvas.saveState()
    canvas.translate(x, y + h)
    canvas.scale(1, -1)
    canvas.drawImage(ImageReader(held), 0, 0, w, h)
    canvas.restoreState()


@_put.register
def _(mark: Window, canvas: Any) -> None:
    x, y, w, h = mark.box
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(x, y, w, h)
    canvas.clipPath(clip, stroke=0, fill=0)
    canvas.translate(x, y)
    canvas.scale(mark.factor, mark.factor)
    canvas.translate(-mark.origin[0], -mark.origin[1])
    _all(mark.marks, canvas)
    canvas.restoreState()


def _path(points: Any, canvas: Any, *, closed: bool) -> Any:
    path = canvas.beginPath()
    rows = [(float(x), float(y)) for x, y in points]
    path.moveTo(*rows[0])
    for row in rows[1:]:
        path.lineTo(*row)
    if closed:
        path.close()
    return path
