"""The study before the first stroke: placement, values, warm and cool, and the measures for the dividers."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from limner.errors import UsageError
from limner.report.clean import clean
from limner.sheet.dividerpage import divider_pages
from limner.sheet.marks import Page
from limner.sheet.paper import PAPERS
from limner.sheet.pdf import to_pdf
from limner.sheet.placepage import place_page
from limner.sheet.placing import Placement
from limner.sheet.png import to_png
from limner.sheet.reading import Sitter
from limner.sheet.tones import By
from limner.sheet.valuepage import value_page

MOST_LINES = 60
"""Lines of a grid each way past which it hides what it lies on."""


@dataclass(frozen=True, kw_only=True)
class Print:
    """A print of the reference, whole, as it hangs beside the easel."""

    size: tuple[float, float]
    """Its two sides, mm, in either order."""

    def mm_per_px(self, placement: Placement) -> float:
        """Millimetres on the print for each px of the decoded reference: the picture fills the print."""
        sides = sorted(self.size)
        return max(side / px for side, px in zip(sides, sorted(placement.picture), strict=True))

    def said(self, placement: Placement) -> str:
        """One sentence: how the picture lies on the print."""
        across, down = sorted(self.size) if placement.picture[0] <= placement.picture[1] else sorted(self.size)[::-1]
        factor = self.mm_per_px(placement)
        wide, high = (px * factor for px in placement.picture)
        size = f"{across:g} x {down:g} mm"
        if wide - across < 0.01 * across and high - down < 0.01 * down:
            return f"Print: the whole reference on {size}."
        return (
            f"Print: {size} has other proportions than the reference, which was taken to fill it, with "
            f"{100 - 100 * min(across / wide, down / high):.0f} % cut off. If yours has a white edge, give the size of "
            "the picture in it."
        )


@dataclass(frozen=True, kw_only=True)
class Grid:
    """A grid on the canvas, counted from its upper left corner."""

    step: float
    """mm of the canvas."""


def grid_of(text: str | None, canvas: tuple[float, float]) -> Grid | None:
    """A grid as a painter writes it: so many squares across, or a side in mm.

    Raises UsageError where it is neither, or has too many lines.

    >>> grid_of("8", (400.0, 500.0)), grid_of("50mm", (400.0, 500.0))
    (Grid(step=50.0), Grid(step=50.0))
    """
    if text is None:
        return None
    word = text.strip().lower()
    try:
        step = float(word.removesuffix("mm")) if word.endswith("mm") else canvas[0] / int(word)
    except (ValueError, ZeroDivisionError, OverflowError) as error:
        raise UsageError(
            f"--grid: expected how many squares across, as 8, or their side, as 50mm; got '{text}'."
        ) from error
    if not (0 < step < math.inf and max(canvas) / step <= MOST_LINES):
        raise UsageError(f"--grid: expected at most {MOST_LINES} squares along a side of the canvas; got '{text}'.")
    return Grid(step=step)


def study_pages(
    sitter: Sitter,
    placement: Placement,
    *,
    paper: str = "a4",
    print_: Print | None = None,
    grid: Grid | None = None,
    by: By = "face",
) -> tuple[Page, ...]:
    """The pages of the study: placement, values and warmth, the divider table."""
    size = PAPERS[paper]
    step = None if grid is None else grid.step
    factor = None if print_ is None else print_.mm_per_px(placement)
    said = () if print_ is None else (print_.said(placement),)
    title = title_of(sitter, placement)
    return (
        place_page(sitter, placement, size, title=title, grid=step),
        value_page(sitter, placement, size, title=title, grid=step, by=by),
        *divider_pages(sitter, placement, size, title=title, on_print=factor, said=said, grid=step),
    )


def title_of(sitter: Sitter, placement: Placement) -> str:
    """What stands at the head of every page."""
    width, height = placement.canvas
    return f"limner study: {clean(sitter.picture.name)}, canvas {width:g} x {height:g} mm"


def render_study(pages: tuple[Page, ...], kind: Literal["pdf", "png"], *, title: str) -> bytes:
    """The pages as a PDF, or one PNG with the pages under each other."""
    return to_pdf(pages, title=title) if kind == "pdf" else to_png(pages)
