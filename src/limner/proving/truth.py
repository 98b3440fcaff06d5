"""The true deviation of every measure, from the map that planted the slips."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limner.compare.deviation import frame_up, pair_up, read
from limner.errors import UsageError
from limner.measure.catalogue import CATALOGUE
from limner.measure.similarity import NoFit
from limner.settings import Hold

Array = NDArray[np.float64]


def true_deviations(points: Array, moved: Array, hold: Hold = "eyes") -> dict[str, float]:
    """Measure id -> deviation in its unit, for (478, 2) ``points`` of the reference and where they lie after planting.

    A measure that these points do not give is left out. Raises :class:`UsageError` when they give no size at all.
    """
    framed = frame_up(pair_up(points, points[None], moved, moved[None]), hold)
    if isinstance(framed, NoFit):
        raise UsageError(f"Expected points with a size; {framed.reason}.")
    readings = {measure.id: read(measure, framed) for measure in CATALOGUE.values()}
    return {id_: told.deviation for id_, told in readings.items() if not isinstance(told, NoFit)}
