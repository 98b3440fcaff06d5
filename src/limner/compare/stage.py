"""Which stage a painting is at, guessed from its pixels in the face."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limner.face.points import feature_outline
from limner.pictures.cielab import lab_of
from limner.settings import Stage

Array = NDArray[np.float64]

ACROSS = 48
"""Cells across the face the picture is averaged into, so that neither a brush hair nor a soft edge is a value."""

FEW_VALUES = 0.078
"""Share of the lightness variance that four values leave over, below which there are only a few values.

Four values leave 6 % of an even spread and 12 % of a normal one. Measured on eight generated faces: 56 photographs and
paintings with all their tones 0.082 to 0.120; paintings of two values 0.024 to 0.072, of three 0.016 to 0.082, of four
and five 0.046 to 0.107, half of them below 0.072.
"""

ONE_COLOUR = 1.85
"""Scatter of a* and b* about their course along lightness, below which a face is in one colour.

Measured on 13 generated faces: 42 paintings in one colour 0.4 to 1.8, 529 photographs and paintings in colour 1.87 to
8, 95 in 100 of them above 2.1.
"""


def guess_stage(pixels: NDArray[np.uint8], points: Array) -> tuple[Stage, bool]:
    """The stage, and whether that is more than a lean.

    Two to four values in one colour are a block-in, more values in one colour a glaze. Colour, lights and finish differ
    in what was done, not reliably in how the face looks, so anything in colour is taken for the first of the three:
    that is the stage whose thresholds are the widest.

    Args:
        pixels: (height, width, 3) array, sRGB.
        points: (478, 2) array, px: the face.
    """
    cells, inside = face_cells(pixels, points)
    if inside.sum() < 50:
        return "block-in", False
    lab = lab_of(cells.reshape(-1, 3)).reshape(cells.shape)
    left_over = unexplained_by(_smoothed(lab[..., 0])[inside], 4)
    colour = chroma_scatter(lab[inside])
    if colour > ONE_COLOUR:
        return "colour", False
    clear = abs(np.log(left_over / FEW_VALUES)) > np.log(1.25) if left_over > 0 else True
    return ("block-in" if left_over < FEW_VALUES else "glaze"), bool(clear and colour < ONE_COLOUR / 1.25)


def face_cells(pixels: NDArray[np.uint8], points: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Mean colour of the cells of a grid over the face, and which of them lie inside its outline.

    Returns:
        (R, C, 3) array, sRGB 0 to 1, and (R, C) array; both without rows where the face is not in the picture.
    """
    import cv2
    import shapely

    nothing = np.zeros((0, 0, 3)), np.zeros((0, 0), dtype=bool)
    outline = feature_outline(points, "face")
    if not np.isfinite(outline).all():
        return nothing
    low = np.maximum(np.floor(outline.min(axis=0)).astype(int), 0)
    high = np.minimum(np.ceil(outline.max(axis=0)).astype(int), [pixels.shape[1], pixels.shape[0]])
    step = max(int((high - low).min()) // ACROSS, 1)
    columns, rows = (high - low) // step
    if columns < 2 or rows < 2:
        return nothing
    patch = pixels[low[1] : low[1] + rows * step, low[0] : low[0] + columns * step]
    sums = cv2.integral(patch, sdepth=cv2.CV_64F)[::step, ::step]
    cells = np.diff(np.diff(sums, axis=0), axis=1) / (255 * step**2)
    x, y = np.meshgrid(low[0] + (np.arange(columns) + 0.5) * step, low[1] + (np.arange(rows) + 0.5) * step)
    face = shapely.make_valid(shapely.polygons(outline))
    return cells, np.asarray(shapely.contains_xy(face, x, y))


def _smoothed(values: Array) -> Array:
    """Median of five by five cells; edges stay where they are and brush marks go."""
    import cv2

    return cv2.medianBlur(values.astype(np.float32), 5).astype(np.float64)


def unexplained_by(values: Array, count: int) -> float:
    """Share of the variance that is left when every value is replaced by the nearest of ``count`` best ones.

    One-dimensional k-means (Lloyd 1982), begun at the quantiles.

    >>> steps = np.repeat([20.0, 40.0, 60.0, 80.0], 25)
    >>> unexplained_by(steps, 4)
    0.0
    >>> round(unexplained_by(np.linspace(0, 1, 1000), 4), 3)
    0.062
    """
    total = float(values.var())
    if total <= 0:
        return 0.0
    centres = np.quantile(values, (np.arange(count) + 0.5) / count)
    ordered = np.sort(values)
    heap = np.concatenate([[0.0], np.cumsum(ordered)])
    for _ in range(50):
        # In order, what is nearest to one centre lies together.
        ends = np.concatenate([[0], np.searchsorted(ordered, _half_way(centres), side="right"), [len(ordered)]])
        many = np.diff(ends)
        moved = np.where(many > 0, np.diff(heap[ends]) / np.maximum(many, 1), centres)
        if np.allclose(moved, centres):
            break
        centres = moved
    nearest = np.searchsorted(_half_way(centres), ordered)
    return float(((ordered - centres[nearest]) ** 2).mean()) / total


def _half_way(centres: Array) -> Array:
    return np.asarray((centres[1:] + centres[:-1]) / 2)


def chroma_scatter(lab: Array) -> float:
    """How far a* and b* scatter about a smooth course along L*: one colour of paint runs along one line.

    Args:
        lab: (N, 3) array, CIE L*, a*, b*.

    Returns:
        Root mean square over both, after a straight line in L* and its square are taken out.
    """
    lightness = lab[:, 0] / 100
    course = np.stack([np.ones_like(lightness), lightness, lightness**2], axis=1)
    solved = np.linalg.lstsq(course, lab[:, 1:], rcond=None)[0]
    return float(np.sqrt(((lab[:, 1:] - course @ solved) ** 2).sum(axis=1).mean()))
