"""The fits once more, from what they found.

A fit over a window reads a slip nearer to its surroundings than it is: a part of the window does not share in it, and
no low polynomial bends as sharply as a slip ends. What the fits found is therefore drawn as a field and taken for the
start, as it is and not as its nearest polynomial; what is still left is smaller, and so is what is lost of it (twicing,
named so by Tukey in 1977; from memory). Single strokes say more with every round, so a change counts by its size
against the fit's doubt. On block-ins, whose flat patches pull at the fits, it made lids and mouth corners worse.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.register.bring import PX_PER_PUPILS, Sitter
from limner.register.flow import at
from limner.register.local import local_fits
from limner.register.tone import Planes
from limner.register.wholes import with_wholes
from limner.register.windows import Windows

Array = NDArray[np.float64]
Plane = NDArray[np.float32]
Rows = NDArray[np.int64]

TIMES = 2
_BLUR = 0.046
"""Standard deviation that the moves are drawn with, pupil distances."""
_FAR = 0.05
"""Share of one point's own say that the start has against the points; far from all it is what holds."""
_DOUBTS = 0.3
"""A change of so many doubts counts by half."""


def once_more(
    sitter: Sitter,
    start: Plane,
    made: list[Planes],
    windows: list[tuple[Rows, Windows]],
    run: Array,
    doubt: Array,
    *,
    which: int,
) -> Array:
    """Brings points nearer to where the paint has them.

    Args:
        sitter: the reference in the working frame.
        start: (h, w, 2) array, working px: the flow that the fits started from.
        made: what is compared.
        windows: rows of the points that get fits of their own, and the windows round them.
        run: (478, 2) array, working px: the points as fitted.
        doubt: (478,) array, working px.
        which: 0 for the close fits, 1 for the wide ones.

    Returns:
        (478, 2) array, working px.
    """
    fitted = np.concatenate([rows for rows, _ in windows])
    for _ in range(TIMES):
        field = field_through(start, sitter.places[fitted], run[fitted] - sitter.places[fitted])
        new = run.copy()
        for rows, near in windows:
            new[rows] = near.places + local_fits(field, made, near, 1, kept=True, plain=True).moves
        new = with_wholes(sitter, field, made, new, doubt, which=which, full=True, kept=True)
        change = new - run
        size = (change**2).sum(axis=1)
        held = size / np.maximum(size + (_DOUBTS * doubt) ** 2, 1e-12)
        run = run + held[:, None] * change
    return run


def field_through(start: Plane, places: Array, moves: Array) -> Plane:
    """A smooth field near the moves of points, and as the start far from them.

    Args:
        start: (h, w, 2) array, working px; sides are even.
        places: (N, 2) array, working px.
        moves: (N, 2) array, working px.

    Returns:
        (h, w, 2) array, working px.
    """
    height, width = start.shape[:2]
    lacking = moves - at(start, places)
    half = np.zeros((height // 2, width // 2, 3), dtype=np.float32)
    column, row = np.clip(np.rint((places - 0.5) / 2).astype(int), 0, [width // 2 - 1, height // 2 - 1]).T
    np.add.at(half, (row, column), np.column_stack([lacking, np.ones(len(places))]))
    blur = _BLUR * PX_PER_PUPILS / 2
    drawn = cv2.GaussianBlur(half, (0, 0), blur, borderType=cv2.BORDER_REPLICATE)
    own = 1 / (2 * np.pi * blur**2)
    more = cv2.resize(drawn[..., :2] / (drawn[..., 2:] + np.float32(_FAR * own)), (width, height))
    return np.asarray(start + more, dtype=np.float32)
