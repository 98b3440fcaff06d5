"""An invented face: 478 points of ordinary proportions, for tests that need points and no picture of anybody."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

# In pupil distances from the middle between the pupils, x to picture right and y down; invented for these tests.
_PLACES = {
    468: (-0.50, 0.00), 473: (0.50, 0.00),
    33: (-0.73, 0.01), 133: (-0.27, 0.03), 362: (0.27, 0.03), 263: (0.73, 0.01),
    159: (-0.49, -0.07), 145: (-0.50, 0.08), 386: (0.49, -0.07), 374: (0.50, 0.08),
    70: (-0.82, -0.33), 63: (-0.70, -0.38), 105: (-0.55, -0.41), 66: (-0.38, -0.40), 107: (-0.22, -0.36),
    300: (0.82, -0.33), 293: (0.70, -0.38), 334: (0.55, -0.41), 296: (0.38, -0.40), 336: (0.22, -0.36),
    46: (-0.80, -0.28), 53: (-0.69, -0.32), 52: (-0.55, -0.34), 65: (-0.39, -0.34), 55: (-0.23, -0.31),
    276: (0.80, -0.28), 283: (0.69, -0.32), 282: (0.55, -0.34), 295: (0.39, -0.34), 285: (0.23, -0.31),
    168: (0.00, -0.08), 2: (0.01, 0.82), 4: (0.02, 0.66), 129: (-0.29, 0.70), 358: (0.31, 0.70),
    61: (-0.41, 1.21), 291: (0.43, 1.20), 0: (0.01, 1.05), 13: (0.01, 1.17), 14: (0.01, 1.18), 17: (0.01, 1.33),
    152: (0.00, 1.86), 234: (-1.12, 0.20), 454: (1.12, 0.20), 132: (-1.07, 0.72), 361: (1.07, 0.72),
    172: (-0.86, 1.28), 397: (0.86, 1.28),
}  # fmt: skip


def invented_points(
    ipd: float = 220.0, centre: tuple[float, float] = (450.0, 380.0), turn: float = 0.0
) -> NDArray[np.float64]:
    """(478, 2) array, px; points without a place of their own are scattered over the face from a fixed seed."""
    rng = np.random.default_rng(5)
    points = rng.uniform((-0.9, -0.6), (0.9, 1.7), (478, 2))
    for index, place in _PLACES.items():
        points[index] = place
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    return np.asarray(points @ np.array([[c, s], [-s, c]]) * ipd + centre)
