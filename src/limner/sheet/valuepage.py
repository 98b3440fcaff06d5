"""The shadow shape in two, three and four values, and warm against cool, on one page."""

from __future__ import annotations

import numpy as np

from limner.sheet.letters import fitted, wrapped
from limner.sheet.marks import GREY, Area, Box, Ink, Mark, Page, Pen, Raster, Window, Words, corners_of, rectangle
from limner.sheet.placepage import EDGE, LEAD, MARGIN, TEXT, grid_lines, grid_names
from limner.sheet.placing import Placement
from limner.sheet.reading import Sitter
from limner.sheet.tones import By, Pixels, Tones, edges_of, parted, tones_of, value_picture, warmth_picture
from limner.values.tone import munsell_value

COUNTS = (2, 3, 4)
GAP = 10.0
CAPTION = 17.0
LINE = Pen(width=0.12)
SOURCE = (
    "Values from 0, black, to 10, white, by the lightness of the reference, parted where those of the {by} part best; "
    "shapes too small to paint are left out. A photograph closes its darks: look at the sitter too. "
    "Warm and cool are against the middle colour of the {by}, because a camera's white balance shifts all of it."
)


def value_page(
    sitter: Sitter, placement: Placement, size: tuple[float, float], *, title: str, grid: float | None, by: By = "face"
) -> Page:
    """The page; ``size`` is the paper's, ``by`` whose values the picture is parted by."""
    tones = tones_of(sitter, placement, by)
    words = wrapped(SOURCE.format(by=by), TEXT, size[0] - 2 * MARGIN)
    foot = len(words) * LEAD + 4.0
    room = ((size[0] - 2 * MARGIN - GAP) / 2, (size[1] - 2 * MARGIN - 10.0 - foot) / 2 - CAPTION)
    width, height = placement.canvas
    factor = min(room[0] / width, room[1] / height)
    marks: list[Mark] = [Words(text=fitted(title, 4.2, size[0] - 2 * MARGIN), at=(MARGIN, MARGIN), size=4.2, bold=True)]
    for number in range(4):
        at = (
            MARGIN + (number % 2) * (room[0] + GAP),
            MARGIN + 10.0 + (number // 2) * (room[1] + CAPTION),
        )
        box = (at[0], at[1], width * factor, height * factor)
        if number < len(COUNTS):
            marks += _values(tones, COUNTS[number], placement, box, grid)
        else:
            marks += _warmth(tones, placement, box, grid)
    top = size[1] - MARGIN - foot + 6.0
    marks += [Words(text=text, at=(MARGIN, top + k * LEAD), size=TEXT, ink=GREY) for k, text in enumerate(words)]
    return Page(width=size[0], height=size[1], marks=tuple(marks))


def _values(tones: Tones, count: int, placement: Placement, box: Box, grid: float | None) -> list[Mark]:
    labels, _ = parted(tones, count)
    pixels, means = value_picture(labels, tones)
    factor = box[2] / placement.canvas[0]
    lines = [
        stroke
        for k in range(count - 1)
        for stroke in edges_of((labels <= k) & tones.seen, tones.mm_per_px, Pen(width=LINE.width / factor))
    ]
    seen = max(int(tones.seen.sum()), 1)
    keys = [
        (_ink(pixels, labels == k), f"value {value_of(mean):.1f}", f"{100 * (labels == k).sum() / seen:.0f} %")
        for k, mean in enumerate(means)
    ]
    return [
        _panel(pixels, [*lines, *grid_lines(placement.canvas, grid, factor)], placement, box),
        rectangle(box, EDGE),
        *grid_names(placement.canvas, box, factor, grid),
        *_key(f"{count} values", keys, box),
    ]


def _warmth(tones: Tones, placement: Placement, box: Box, grid: float | None) -> list[Mark]:
    factor = box[2] / placement.canvas[0]
    pixels, parts = warmth_picture(tones)
    seen = max(int(tones.seen.sum()), 1)
    lines = [
        stroke
        for k in (0, 1)
        for stroke in edges_of((parts <= k) & tones.seen, tones.mm_per_px, Pen(width=LINE.width / factor))
    ]
    inks: tuple[Ink, ...] = ((0.27, 0.43, 0.75), (0.59, 0.59, 0.59), (0.80, 0.37, 0.18))
    keys = [
        (ink, name, f"{100 * ((parts == k) & tones.seen).sum() / seen:.0f} %")
        for k, (ink, name) in enumerate(zip(inks, ("C cool", "neither", "W warm"), strict=True))
    ]
    return [
        _panel(pixels, [*lines, *grid_lines(placement.canvas, grid, factor)], placement, box),
        rectangle(box, EDGE),
        *_letters(parts, tones, box),
        *grid_names(placement.canvas, box, factor, grid),
        *_key("warm and cool", keys, box),
    ]


def _letters(parts: np.ndarray, tones: Tones, box: Box) -> list[Mark]:
    """A W or C in the middle of every large warm or cool shape, so that it is told without colour."""
    import cv2

    marks: list[Mark] = []
    scale = box[2] / parts.shape[1]
    for value, letter in ((0, "C"), (2, "W")):
        mask = ((parts == value) & tones.seen).astype(np.uint8)
        count, shapes, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=4)
        for shape in range(1, count):
            if stats[shape, cv2.CC_STAT_AREA] < 0.004 * mask.size:
                continue
            inner = cv2.distanceTransform(np.pad((shapes == shape).astype(np.uint8), 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
            y, x = np.unravel_index(int(np.argmax(inner)), inner.shape)
            at = (box[0] + (float(x) + 0.5) * scale, box[1] + (float(y) + 0.5) * scale + 1.0)
            marks.append(Words(text=letter, at=at, size=2.8, anchor="middle", bold=True))
    return marks


def _panel(pixels: Pixels, lines: list[Mark], placement: Placement, box: Box) -> Window:
    width, height = placement.canvas
    shown = Raster(pixels=pixels, box=(0.0, 0.0, width, height))
    return Window(box=box, origin=(0.0, 0.0), factor=box[2] / width, marks=(shown, *lines))


def _key(name: str, keys: list[tuple[Ink, str, str]], box: Box) -> list[Mark]:
    """Name of the panel and a swatch with words for each of its values, below it."""
    x, y = box[0], box[1] + box[3]
    marks: list[Mark] = [Words(text=name, at=(x, y + 4.6), size=3.2, bold=True)]
    step = box[2] / len(keys)
    for k, (ink, value, share) in enumerate(keys):
        swatch = (x + k * step, y + 6.2, 4.0, 4.0)
        marks += [Area(points=corners_of(swatch), ink=ink), rectangle(swatch, LINE)]
        marks.append(Words(text=value, at=(swatch[0] + 5.0, y + 8.0), size=2.3))
        marks.append(Words(text=share, at=(swatch[0] + 5.0, y + 10.6), size=2.3, ink=GREY))
    return marks


def _ink(pixels: Pixels, where: np.ndarray) -> Ink:
    if not where.any():
        return (1.0, 1.0, 1.0)
    grey = float(pixels[where][0]) / 255
    return (grey, grey, grey)


def value_of(lightness: float) -> float:
    """Munsell value, 0 to 10, of L*.

    >>> round(value_of(51.0), 2)
    5.0
    """
    y = ((lightness + 16) / 116) ** 3 if lightness > 8 else lightness / 903.2963
    return float(munsell_value(np.array(y)))
