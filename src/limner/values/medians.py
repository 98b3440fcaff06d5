"""Medians and quantiles of many small arrays: numpy's own spend longer on asking what they were given."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating]


def median(values: Floats) -> float:
    """Middle of a (N,) array without NaN, as ``np.median`` has it.

    >>> median(np.array([3.0, 1.0, 2.0])), median(np.array([3.0, 1.0, 2.0, 10.0]))
    (2.0, 2.5)
    """
    half, odd = divmod(len(values), 2)
    if odd:
        return float(np.partition(values, half)[half])
    parted = np.partition(values, half)
    return float((parted[:half].max() + parted[half]) / 2)


def robust(values: Floats) -> float:
    """Robust standard deviation of a (N,) array about nothing: of what is left over once a middle is taken off."""
    return 1.4826 * median(np.abs(values))


def quantiles(ordered: Floats, shares: Sequence[float]) -> NDArray[np.float64]:
    """Quantiles of a sorted (N,) array, as ``np.quantile`` has them.

    >>> quantiles(np.array([1.0, 2.0, 4.0]), (0.25, 1.0)).tolist()
    [1.5, 4.0]
    """
    at = np.asarray(shares) * (len(ordered) - 1)
    low = np.floor(at).astype(int)
    high = np.minimum(low + 1, len(ordered) - 1)
    below = ordered[low].astype(np.float64)
    return np.asarray(below + (ordered[high] - below) * (at - low))
