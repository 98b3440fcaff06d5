"""Warns where photos of a series are compared that show the paint in unlike states: wet, dry, oiled out."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

from limner.series.record import Series

_WORDS = {"wet": "wet", "dry": "dry", "oiled": "oiled out"}


def unlike(series: Series, states: Mapping[str, str]) -> tuple[str, ...]:
    """A remark for each photo whose paint is in another state than in the one before; photos not told of are left out.

    Args:
        series: the photos in their order.
        states: photo's name -> ``wet``, ``dry`` or ``oiled``.
    """
    told = [(series.number(photo), states[photo.name]) for photo in series.records if photo.name in states]
    return tuple(
        f"Photo {number} is {_WORDS[state]}, photo {before} {_WORDS[was]}: unlike surfaces. Sunk darks read lighter "
        "dry, wet paint shines; what differs in values between the two may be the surface."
        for (before, was), (number, state) in pairwise(told)
        if was != state
    )
