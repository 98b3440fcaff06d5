"""The size of a canvas as a painter writes it."""

from __future__ import annotations

import re

from limner.errors import UsageError

_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4, "inches": 25.4, '"': 25.4, "''": 25.4}
_UNIT = r"(mm|cm|m|inches|inch|in|\"|'')"
_NUMBER = r"(\d+(?:[.,]\d+)?)"
_SIZE = re.compile(rf"\s*{_NUMBER}\s*{_UNIT}?\s*(?:x|\u00d7|\*|by)\s*{_NUMBER}\s*{_UNIT}?\s*", re.IGNORECASE | re.ASCII)
_LEAST_MM, _MOST_MM = 30.0, 5000.0


def parse_canvas_size(text: str) -> tuple[float, float]:
    """The two sides in mm, in the order written.

    Raises :class:`UsageError` when the text is no size, has no unit, or no canvas is that small or large.

    >>> parse_canvas_size("400x500mm")
    (400.0, 500.0)
    >>> parse_canvas_size("16 x 20 in")
    (406.4, 508.0)
    """
    match = _SIZE.fullmatch(text)
    if match is None:
        raise UsageError(
            f"Expected a canvas size such as 400x500mm, 40x50cm or 16x20in, but got '{text[:40]}'; write it so."
        )
    first, first_unit, second, second_unit = match.groups()
    unit = second_unit or first_unit
    if unit is None:
        raise UsageError(f"Expected a canvas size with its unit, but got '{text[:40]}'; add mm, cm or in.")
    sides = [
        round(float(number.replace(",", ".")) * _MM[(own or unit).lower()], 6)
        for number, own in ((first, first_unit), (second, second_unit))
    ]
    if not all(_LEAST_MM <= side <= _MOST_MM for side in sides):
        came = f"{sides[0]:g} x {sides[1]:g} mm"
        limits = f"between {_LEAST_MM:g} and {_MOST_MM:g} mm a side"
        raise UsageError(f"Expected a canvas {limits}, but got '{text[:40]}' ({came}); check the unit.")
    return sides[0], sides[1]
