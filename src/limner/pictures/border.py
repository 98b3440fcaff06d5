"""Borders seen in the mean of whole sides: bare canvas against a wall of its colour, a frame that was taken with it."""

from __future__ import annotations

from itertools import combinations
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.pictures.perspective import square_to
from limner.pictures.told import Told

Array = NDArray[np.float64]

CLEAR = 3.5
"""From here on there is a border. Of 18 invented square canvases taken without their bare margin the least is 5.9; of
57 taken rightly the greatest is 1.9."""
_STEP = 0.001
_NEAREST, _FARTHEST = 0.008, 0.05
"""Of the canvas's shorter side: distances outside at which a border may end, as those of a margin, and how finely they
are looked at."""
WITHIN = 9.0
"""From here on what was found has a border inside. Of 53 square canvases found rightly, of two makers of scenes, the
greatest is 5.8; of six rectangles about a square canvas and its wide frame, 16 to 58 % off, the least is 17."""
SQUARE, OBLONG = 0.10, 0.15
"""One less the shorter side over the longer. Below the first a canvas, its margin and its frame have one shape, and the
shape tells nothing of them; from the second on they have not."""
HALF = 5.0
"""From here on two neighbouring sides are a canvas's, and the other two those of its frame or its bare margin. Of 22
squares with either that were found rightly (of seeds 3300000 to 3300329) the greatest is 3.4; 3100127, taken so with
part of its frame, has 7.8, and of like rectangles about eight more the least 5.9."""
_NARROWEST, _WIDEST = 0.015, 0.3
"""Of the same side of what was found: distances inside at which a canvas may begin that was taken with its frame (the
widest is limner's choice)."""
_APART = 9
"""Steps by which these may differ: a frame stands before its canvas and covers more of it on the far sides."""
_WINDOW = 4
"""Steps to either side that are compared."""
_EVEN = 2
"""Steps by which the distance may differ from side to side."""
_ALIKE = 0.1
"""Of a* and b*, as shares of L* + 16, which light and shadow leave as they are: by how much a border, being of one
stuff, may differ between three sides. Of 27 bare margins of square canvases, of two makers of scenes, that are seen at
all none needs more than 0.03; what is beside 1200065 and 1200070 differs by more than 0.25."""
_BLURRED = 3
"""Steps outside the edge that it is blurred over (limner's choice)."""
_BLOCKS, _PER_BLOCK = 20, 8
_SLIGHT = 0.5
"""CIELAB units: what is usual is at least so much (limner's choice)."""
_NOISE = 0.15
"""CIELAB units: a change of colour this small is no sign of anything, however even it is."""


def may_have_border(pixels: NDArray[np.uint8], corners: Array, shape: Told, remarks: frozenset[str]) -> bool:
    """Whether a border may run round the canvas, or within what was taken for it, and the shape does not tell.

    ``remarks``: what was seen beside it as edges.
    """
    alike = shape.oblong < SQUARE or not shape.told
    # The profile of a frame looks as a bare margin does; only the shape can tell one from the other.
    if "margin" in remarks and alike:
        return True
    told_by_shape = shape.fits and shape.oblong > OBLONG
    if not told_by_shape and ("doubtful border" in remarks or faint_border(pixels, corners, shape.aspect) >= CLEAR):
        return True
    if not alike:
        return False
    return ring_within(pixels, corners, shape.aspect) >= WITHIN or half_within(pixels, corners, shape.aspect) >= HALF


def any_border(pixels: NDArray[np.uint8], corners: Array, aspect: float) -> bool:
    """Whether there is one outside or inside."""
    return faint_border(pixels, corners, aspect) >= CLEAR or ring_within(pixels, corners, aspect) >= WITHIN


def faint_border(pixels: NDArray[np.uint8], corners: Array, aspect: float) -> float:
    """How clearly the colour changes at one distance outside at least three of the four sides, in standard errors.

    ``corners``: (4, 2) array, px; ``aspect``: width / height of the canvas. Each side is taken as a whole: what is too
    faint in any one place shows in their mean, and what shows at one distance round three sides is no chance.
    """
    return _round(pixels, corners, aspect, (_NEAREST, _FARTHEST), _EVEN, 1.0)


def ring_within(pixels: NDArray[np.uint8], corners: Array, aspect: float) -> float:
    """The same inside: how clearly what was found has a border, as a canvas has that was taken with its frame.

    Also where paint is now lighter and now darker than the frame, and only how much it differs is alike: then it is
    told in changes as are usual at other distances.
    """
    return _round(pixels, corners, aspect, (_NARROWEST, _WIDEST), _APART, -1.0)


def half_within(pixels: NDArray[np.uint8], corners: Array, aspect: float) -> float:
    """How clearly a border runs inside two neighbouring sides and, at the same distance, outside the other two.

    So it is with two sides of a square canvas and two of its frame: together they are a square again.
    """
    reach = (_NARROWEST, _WIDEST)
    within, outside = (_about(pixels, corners, aspect, reach, _APART, way, True)[0] for way in (-1.0, 1.0))
    around = np.stack([within, np.roll(within, -1, 0), np.roll(outside, -2, 0), np.roll(outside, -3, 0)])
    low, high = (round(far / _STEP) for far in reach)
    return float(around.min(axis=0)[:, low : high + 1].max())


def _round(
    pixels: NDArray[np.uint8], corners: Array, aspect: float, reach: tuple[float, float], even: int, way: float
) -> float:
    """The greatest of what is least on three sides; see :func:`_about`."""
    about, seen = _about(pixels, corners, aspect, reach, even, way, way < 0)
    three = np.array(list(combinations(range(4), 3)))
    least = about[three].min(axis=1)
    if way > 0:
        colour = np.stack([_colour_up_to(lab, about.shape[1]) for lab in seen])
        least = np.where(np.linalg.norm(np.ptp(colour[three], axis=1), axis=2) < _ALIKE, least, 0.0)
    low, high = (round(far / _STEP) for far in reach)
    return float(least[:, low : high + 1].max())


def _about(
    pixels: NDArray[np.uint8],
    corners: Array,
    aspect: float,
    reach: tuple[float, float],
    even: int,
    way: float,
    much: bool,
) -> tuple[Array, list[Any]]:
    """(4, distances) array: how clearly the colour changes beside each side about each distance; and what is seen.

    ``reach``: distances looked at; ``even``: steps by which they may differ; ``way``: 1 outside, -1 inside; ``much``:
    see :func:`_clear`.
    """
    unit = np.array([max(aspect, 1.0), max(1 / aspect, 1.0)])
    steps = np.arange(-_WINDOW, round(reach[1] / _STEP) + _WINDOW + even + 1, dtype=np.float64)
    seen = [_beside(pixels, corners, unit, side, way * _STEP * steps) for side in range(4)]
    clear = np.stack([_clear(lab, much) for lab in seen])
    padded = np.pad(clear, ((0, 0), (even, even)))
    return np.max([padded[:, k : k + clear.shape[1]] for k in range(2 * even + 1)], axis=0), seen


def _colour_up_to(lab: Any, distances: int) -> Array:
    """(distances, 2) array: the colour between the edge and each distance, the same in light and shadow."""
    sums = np.cumsum(lab[_WINDOW + _BLURRED :], axis=0)[:distances]
    colour = np.median(sums[..., 1:] / (sums[..., :1] + 16 * np.arange(1, len(sums) + 1)[:, None, None]), axis=1)
    return np.asarray(np.pad(colour, ((2 * _BLURRED, 0), (0, 0)), mode="edge")[:distances])


def _beside(pixels: NDArray[np.uint8], corners: Array, unit: Array, side: int, distances: Array) -> Any:
    """CIELAB along lines so far outside a side: (distances, places, 3) array; ``unit``: its sides, the shorter one 1.

    Inside, where distances are negative, lines end where those beside the neighbouring sides begin.
    """
    share, out = np.meshgrid(np.linspace(0.0, 1.0, _BLOCKS * _PER_BLOCK), distances)
    first = 0.04 + np.maximum(-out, 0.0) / unit[side % 2]
    along = first + share * (1 - 2 * first)
    away_x, away_y = out / unit[0], out / unit[1]
    x, y = ((along, -away_y), (1 + away_x, along), (along, 1 + away_y), (-away_x, along))[side]
    spots = np.stack([x, y, np.ones_like(x)], axis=-1) @ square_to(corners).T
    px, py = ((spots[..., k] / spots[..., 2]).astype(np.float32) for k in (0, 1))
    seen: Any = cv2.remap(pixels, px, py, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return cv2.cvtColor(seen.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)


def _clear(lab: Any, much: bool) -> Array:
    """For each distance but the outermost few, by how many standard errors the colour changes there; 0 off a peak.

    ``much``: or how many times as much as usual, whichever way.
    """
    sums = np.cumsum(np.concatenate([np.zeros_like(lab[:1]), lab]), axis=0)
    means = (sums[_WINDOW:] - sums[:-_WINDOW]) / _WINDOW
    change = means[_WINDOW + 1 :] - means[: -_WINDOW - 1]
    blocks = change.reshape(len(change), _BLOCKS, _PER_BLOCK, 3).mean(axis=2)
    error = blocks.std(axis=1) / np.sqrt(_BLOCKS) + _NOISE
    clear = np.linalg.norm(np.median(blocks, axis=1) / error, axis=1)
    if much:
        size = np.median(np.linalg.norm(blocks, axis=2), axis=1)
        clear = np.maximum(clear, size / (np.median(size) + _SLIGHT))
    inner = clear[1:-1]
    peak = (inner >= clear[:-2]) & (inner >= clear[2:])
    return np.pad(np.where(peak, inner, 0.0), 1)
