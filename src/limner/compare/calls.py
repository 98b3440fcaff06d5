"""Off, slight, true or unsure: what a deviation is called, and from what size on at each stage of the painting."""

from __future__ import annotations

from limner.compare.calibration import WIDE
from limner.measure.declare import Measure
from limner.result import Call
from limner.settings import Stage

STAGE_SHARE: dict[Stage, float] = {"block-in": 0.0, "glaze": 0.25, "colour": 0.5, "lights": 0.75, "finish": 1.0}
"""How far each stage has gone from the published thresholds to the smallest error that is reliably seen.

The two ends are given; the even steps between them are limner's choice.
"""

SEEN = 1.96 + 1.645
"""An error of so many sigma is called at 95 % confidence 95 times out of 100 (normal errors)."""

FINEST = 0.25
"""The threshold is never tightened below this share of the published one (limner's choice)."""

FROM_GLAZE_ON = ("iris_left", "iris_right")
"""Features that are not asked of a block-in: the broad brush has not drawn them (limner's choice)."""


def threshold_at(published: float, sigma: float, stage: Stage, strict: float = 1.0) -> float:
    """What is called off at this stage.

    Published thresholds at the block-in; at the finish the smallest error this reading reliably shows, where that is
    smaller; between the two in even ratios.

    Args:
        published: threshold from the literature.
        sigma: one-sigma uncertainty of this reading, without the pull, in the same unit.
        stage: stage of the painting.
        strict: the painter's own factor.

    >>> threshold_at(8.0, 1.0, "block-in"), round(threshold_at(8.0, 1.0, "finish"), 3)
    (8.0, 3.605)
    >>> threshold_at(8.0, 5.0, "finish")
    8.0
    """
    seen = min(max(SEEN * sigma, FINEST * published), published)
    share = STAGE_SHARE[stage]
    return strict * float(published ** (1 - share) * seen**share)


def call_for(deviation: float, sigma: float, threshold: float) -> Call:
    """What a deviation is called; all three in the same unit.

    >>> [call_for(d, 1.0, 8.0) for d in (9.0, -9.0, 5.0, 3.0)]
    ['off', 'off', 'slight', 'true']
    >>> call_for(9.0, 5.0, 8.0)
    'unsure'
    """
    size = abs(deviation)
    if size > threshold and size > WIDE * sigma:
        return "off"
    if WIDE * sigma > threshold:
        return "unsure"
    return "slight" if size > threshold / 2 else "true"


def asked_at(measure: Measure, stage: Stage) -> bool:
    """Whether a painting at this stage is judged by this measure at all."""
    return stage != "block-in" or measure.feature not in FROM_GLAZE_ON
