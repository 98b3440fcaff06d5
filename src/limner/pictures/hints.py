"""An edge too faint to be seen at one place: seen in the mean of the places before and after it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limner.pictures.profiles import STEP, Strip

Array = NDArray[np.float64]

_NEIGHBOURS = 4
"""Places before and after each that are averaged: with it 36 px along the edge (limner's choice)."""
_FAINTEST = 0.3
"""CIELAB units per px: a weaker edge is none in the mean either."""
_BESIDE = np.array([-4.0, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, 4.0])
"""px beside the line at which the slope is looked at; on it are the middle three."""
_CLEARER = 2.0
"""How many times as steep it must be as at the gentler of the two outermost."""
_LEANS = 0.5
"""Share of the mean's slope, in its direction of colour, that the place itself and the two next to it must have."""


def hinted_at(strip: Strip, line: Array) -> NDArray[np.bool_]:
    """(n,) array: at which places the mean of the neighbours has an edge on ``line``, and the place itself agrees.

    ``line``: (n,) array, px beside the strip's axis. The mean is of slopes with their direction of colour, so that
    texture, which leans now to one side and now to the other, leaves nothing of itself.
    """
    cell = np.round((line[:, None] + _BESIDE - strip.offsets[0]) / STEP).astype(int)
    cell = np.clip(cell, 0, len(strip.offsets) - 1)
    slopes = np.take_along_axis(strip.slopes, cell[..., None], axis=1).astype(np.float64)
    middle = len(_BESIDE) // 2
    wide, near = _running(slopes, _NEIGHBOURS), _running(slopes[:, [middle]], 1)[:, 0]
    steep = np.linalg.norm(wide, axis=2)
    here = steep[:, middle - 1 : middle + 2].max(axis=1)
    highest = np.abs(steep.argmax(axis=1) - middle) <= 2
    leans = np.sum(wide[:, middle] * near, axis=1) > _LEANS * steep[:, middle] ** 2
    clear = here > np.maximum(_FAINTEST, _CLEARER * np.minimum(steep[:, 0], steep[:, -1]))
    return np.asarray(highest & leans & clear)


def _running(values: Array, each_way: int) -> Array:
    """Mean over so many neighbours before and after, along the first axis."""
    sums = np.cumsum(np.concatenate([np.zeros_like(values[:1]), values]), axis=0)
    n = np.arange(len(values))
    first, last = np.maximum(n - each_way, 0), np.minimum(n + each_way + 1, len(values))
    return np.asarray((sums[last] - sums[first]) / (last - first).reshape(-1, *[1] * (values.ndim - 1)))
