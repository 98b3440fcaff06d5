"""Ways of looking at a picture again: padded, equalised, turned, in tiles. Each remembers how to get back.

Pure functions of pixels: a view is a picture and the affine map from its px to the px of the picture it was made from.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]
Tone = Callable[[Pixels], Pixels]

LOOK = 640
"""Longest side in px at which a whole picture is looked at; the detector itself sees 128."""

SMALLEST_TILE = 240
"""Shortest tile side in px; smaller heads than it shows are too small to measure anyhow."""

SMOOTH = 2.0
"""Standard deviation of the blur that takes brush marks away, px of a look. A bell: averaged in blocks of 4 px, about
half as many looks see the face in broken colour."""

MOST_TILES = 260
"""So many windows are looked through at most."""


@dataclass(frozen=True, kw_only=True, eq=False)
class View:
    """A picture made from another one."""

    kind: str
    """plain, padded, equalised, turned or tiled."""
    pixels: Pixels
    back: Array
    """(2, 3) array: affine map from px of the view to px of the picture."""
    tone: Tone | None = None
    """How its tones were changed, if they were; a second look does the same."""


def map_points(affine: Array, points: Array) -> Array:
    """Points through an affine map.

    Args:
        affine: (2, 3) array.
        points: (N, 2) array, px.
    """
    return np.asarray(points @ affine[:, :2].T + affine[:, 2])


def chain(outer: Array, inner: Array) -> Array:
    """The (2, 3) affine map that does ``inner`` first and ``outer`` then."""
    return np.column_stack([outer[:, :2] @ inner[:, :2], outer[:, :2] @ inner[:, 2] + outer[:, 2]])


def from_centres(affine: Array) -> Array:
    """The same map for OpenCV, which counts from the centre of the first pixel where limner counts from the edge."""
    half = np.full(2, 0.5)
    return np.column_stack([affine[:, :2], affine[:, 2] + affine[:, :2] @ half - half])


def turned_back(affine: Array) -> Array:
    """The inverse of a (2, 3) affine map."""
    return np.asarray(cv2.invertAffineTransform(affine), dtype=np.float64)


def shrunk(pixels: Pixels, size: tuple[int, int]) -> Pixels:
    """A picture brought down to (width, height) by averaging.

    It is halved as often as it can be first, which OpenCV does many times faster than any other shrinking.
    """
    height, width = pixels.shape[:2]
    while width >= 2 * size[0] and height >= 2 * size[1] and width % 2 == 0 and height % 2 == 0:
        width, height = width // 2, height // 2
        pixels = np.asarray(cv2.resize(pixels, (width, height), interpolation=cv2.INTER_AREA), dtype=np.uint8)
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def looked_at(pixels: Pixels) -> View:
    """The whole picture at the size it is looked at."""
    height, width = pixels.shape[:2]
    scale = LOOK / max(height, width)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    small = shrunk(pixels, size) if scale < 1 else cv2.resize(pixels, size, interpolation=cv2.INTER_CUBIC)
    back = np.array([[width / size[0], 0.0, 0.0], [0.0, height / size[1], 0.0]])
    return View(kind="plain", pixels=np.asarray(small, dtype=np.uint8), back=back)


def padded(view: View, share: float) -> View:
    """With a border of that share of the longest side all round, for a head that fills or leaves the frame."""
    border = round(max(view.pixels.shape[:2]) * share)
    out = cv2.copyMakeBorder(view.pixels, border, border, border, border, cv2.BORDER_REPLICATE)
    shift = np.array([[1.0, 0.0, -border], [0.0, 1.0, -border]])
    return View(kind="padded", pixels=np.asarray(out, dtype=np.uint8), back=chain(view.back, shift), tone=view.tone)


def turned(view: View, degrees: float) -> View:
    """Turned about its centre, anticlockwise as seen; the corners filled with the mean colour."""
    height, width = view.pixels.shape[:2]
    turn = np.asarray(cv2.getRotationMatrix2D((width / 2, height / 2), degrees, 1.0), dtype=np.float64)
    cos, sin = abs(turn[0, 0]), abs(turn[0, 1])
    size = (round(height * sin + width * cos), round(height * cos + width * sin))
    turn[:, 2] += (size[0] / 2 - width / 2, size[1] / 2 - height / 2)
    fill = tuple(float(v) for v in view.pixels.reshape(-1, 3).mean(axis=0))
    out = cv2.warpAffine(view.pixels, from_centres(turn), size, flags=cv2.INTER_LINEAR, borderValue=fill)
    back = chain(view.back, turned_back(turn))
    return View(kind="turned", pixels=np.asarray(out, dtype=np.uint8), back=back, tone=view.tone)


def toned(view: View, tone: Tone) -> View:
    """With its tones changed."""
    return View(kind="equalised", pixels=tone(view.pixels), back=view.back, tone=tone)


def evened(pixels: Pixels) -> Pixels:
    """Lightness equalised locally, colours kept: brings out a face half in shadow."""
    lab = cv2.cvtColor(pixels, cv2.COLOR_RGB2LAB)
    lab[..., 0] = cv2.createCLAHE(3.0, (4, 4)).apply(lab[..., 0])
    return np.asarray(cv2.cvtColor(lab, cv2.COLOR_LAB2RGB), dtype=np.uint8)


def brightened(pixels: Pixels) -> Pixels:
    """Stretched to the full range and the darks lifted."""
    low, high = np.percentile(pixels.max(axis=2), (1, 99))
    steps = np.clip((np.arange(256) - low) / max(float(high - low), 8.0), 0, 1) ** 0.5
    return np.asarray(cv2.LUT(pixels, (255 * steps).round().astype(np.uint8)), dtype=np.uint8)


def greyed(pixels: Pixels) -> Pixels:
    """Colour taken out, lightness equalised locally: for a face in colours no face has."""
    grey = cv2.createCLAHE(3.0, (4, 4)).apply(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY))
    return np.asarray(cv2.cvtColor(grey, cv2.COLOR_GRAY2RGB), dtype=np.uint8)


def smoothed(pixels: Pixels) -> Pixels:
    """Brush marks and grain blurred away: for broken colour and thick paint."""
    return np.asarray(cv2.GaussianBlur(pixels, (0, 0), SMOOTH), dtype=np.uint8)


TONES = (evened, brightened, greyed, smoothed)


def tiles(pixels: Pixels) -> Iterator[list[View]]:
    """Square windows over the whole picture, each overlapping the next by half: one list for a size, largest first."""
    height, width = pixels.shape[:2]
    side, count = max(height, width), 0
    while True:
        side = side // 2 if side < 2 * min(height, width) else min(height, width)
        if side < SMALLEST_TILE:
            return
        places = [(x, y) for y in _starts(height, side) for x in _starts(width, side)]
        count += len(places)
        if count > MOST_TILES:
            return
        yield [_tile(pixels, x, y, side) for x, y in places]


def _tile(pixels: Pixels, x: int, y: int, side: int) -> View:
    view = looked_at(pixels[y : y + side, x : x + side])
    shift = np.array([[1.0, 0.0, x], [0.0, 1.0, y]])
    return View(kind="tiled", pixels=view.pixels, back=chain(shift, view.back))


def _starts(length: int, side: int) -> list[int]:
    if length <= side:
        return [0]
    steps = -(-2 * (length - side) // side)
    return [round(step * (length - side) / steps) for step in range(steps + 1)]
