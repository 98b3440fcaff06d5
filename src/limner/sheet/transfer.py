"""The transfer drawing before the first stroke: the sitter's outlines at 1:1 where they will stand on the canvas."""

from __future__ import annotations

import numpy as np

from limner.face.placeable import PLACEABLE
from limner.report.clean import clean
from limner.sheet.keypage import Note, Section
from limner.sheet.marks import Mark, Words, hull, line
from limner.sheet.outlines import BELONGS, ON_FILM, outlines
from limner.sheet.placing import Placement
from limner.sheet.reading import Sitter
from limner.sheet.sheets import EDGE, OneToOne, how_to, sides
from limner.sheet.tones import SHADE, shadow_edges


def transfer_sheet(sitter: Sitter, placement: Placement, *, film: bool = False, mirror: bool = False) -> OneToOne:
    """The drawing to transfer: outlines, and where the shadow shape of two values ends."""
    pen = ON_FILM if film else BELONGS
    drawn = outlines(sitter.points.mean, sitter.more, placement.place, pen)
    shadows = shadow_edges(sitter, placement)
    width, height = placement.canvas
    points = sitter.points.mean[np.isfinite(sitter.points.mean).all(axis=1)]
    return OneToOne(
        canvas=placement.canvas,
        face=hull([placement.place(points)]),
        marks=(*shadows, *drawn, *_placed_by_hand(sitter, placement)),
        title=f"limner transfer drawing: {clean(sitter.picture.name)}, canvas {width:g} x {height:g} mm",
        sections=(
            how_to(film=film, mirror=mirror),
            Section(
                heading="The lines",
                notes=(
                    Note(text="the sitter's outlines", pen=pen),
                    Note(text="where light parts from shadow, in two values", pen=SHADE),
                    Note(text="edge of the canvas", pen=EDGE),
                    Note(text=sides(mirror=mirror)),
                ),
            ),
            Section(heading="The placement", notes=tuple(Note(text=text) for text in placed(placement))),
        ),
        film=film,
        mirror=mirror,
    )


def _placed_by_hand(sitter: Sitter, placement: Placement) -> list[Mark]:
    """A small cross at every point the painter has placed, with its name."""
    marks: list[Mark] = []
    for key, (px, py, _) in sitter.points.hand.items():
        x, y = (float(part) for part in placement.place(np.array([px, py])))
        marks += [line(x - 1.5, y, x + 1.5, y, ON_FILM), line(x, y - 1.5, x, y + 1.5, ON_FILM)]
        marks.append(Words(text=PLACEABLE[key].name, at=(x + 1.0, y - 0.8), size=1.8))
    return marks


def placed(placement: Placement) -> tuple[str, ...]:
    """The placement in sentences."""
    width, height = placement.canvas
    return (f"Canvas {width:g} mm wide and {height:g} mm high, as written.", *placement.said())
