"""The best path through a table of scores, one place a row, without jumps."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def best_path(score: Array, stiff: float, longest: int = 8) -> NDArray[np.int64]:
    """Choose one column a row so that the sum of scores less ``stiff`` times the squared steps is greatest.

    Found exactly by dynamic programming (Viterbi 1967).

    Args:
        score: (M, R) array, greater is better.
        stiff: cost of a step of one column, grows with its square.
        longest: longest step, columns.

    Returns:
        (M,) array of columns.

    >>> best_path(np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 0.4], [0.0, 1.0, 0.0]]), stiff=0.5).tolist()
    [1, 1, 1]
    """
    count, width = score.shape
    steps = np.arange(-longest, longest + 1)
    cost = stiff * steps.astype(np.float64) ** 2
    padded = np.full(width + 2 * longest, -np.inf)
    total = padded[longest : longest + width]
    total[:] = score[0]
    reached = np.lib.stride_tricks.sliding_window_view(padded, 2 * longest + 1)
    columns = np.arange(width)
    came = np.zeros((count, width), dtype=np.int64)
    for row in range(1, count):
        near = reached - cost
        step = near.argmax(axis=1)
        came[row] = columns + step - longest
        total[:] = near[columns, step] + score[row]
    path = np.zeros(count, dtype=np.int64)
    path[-1] = int(total.argmax())
    for row in range(count - 1, 0, -1):
        path[row - 1] = came[row, path[row]]
    return path
