"""What paint can mend a fault of value or colour: common practice, no source."""

from __future__ import annotations

from limner.valuesresult import Paint

SAYS: dict[Paint, str] = {
    "glaze": "A transparent glaze can take it down; a glaze shifts on the canvas, so look again when it is laid.",
    "opaque": "It needs opaque paint; thick paint stays as it is mixed.",
    "scumble": "A scumble of lighter paint dragged thinly over it can lift it; more than a step needs opaque paint.",
    "either": "A thin glaze of the colour that is wanting can turn it; opaque paint can too.",
    "none": "",
}
_SCUMBLE_UP_TO = 1.0
"""Steps a scumble lifts (our choice)."""


def for_value(steps: float) -> Paint:
    """Paint for a place that is too light (positive) or too dark by so many steps.

    >>> for_value(0.7), for_value(-0.7), for_value(-1.6)
    ('glaze', 'scumble', 'opaque')
    """
    if steps > 0:
        return "glaze"
    return "scumble" if steps >= -_SCUMBLE_UP_TO else "opaque"
