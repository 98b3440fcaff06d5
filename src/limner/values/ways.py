"""The ways in which the photo of the canvas can be brought to the reference, as they are written.

A way of matching is written ``face``, ``ground`` or ``ground:X,Y``, ``patch:X,Y``, ``patch:X,Y=VALUE``,
``patch:X,Y@X,Y``, or ``strip:X,Y=VALUE;X,Y=VALUE;X,Y=VALUE``. Places are px of the photo of the canvas as stored, the
one after ``@`` of the reference; a value is Munsell's, 0 to 10.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from limner.errors import UsageError
from limner.valuesresult import MatchBy

Place = tuple[float, float]

GROUND = 9.5
"""Munsell value a white ground is taken to have (our choice: between a fresh and a toned primer)."""
CARD = 5.0
"""Munsell value a neutral patch is taken to have where none is given: near the 18 % grey of a photographer's card."""

_AT = r"(-?[\d.]+),(-?[\d.]+)"


@dataclass(frozen=True, kw_only=True)
class Way:
    """One parsed choice of ``--match``."""

    by: MatchBy
    places: tuple[Place, ...] = ()
    """px of the stored painting."""
    values: tuple[float, ...] = ()
    """Munsell values of the places."""
    there: Place | None = None
    """px of the stored reference: the same patch in it."""


def parse_match(text: str) -> Way:
    """Read a way of matching; see the head of this module.

    Raises:
        UsageError: when it is none.

    >>> parse_match("patch:120,80=5").values
    (5.0,)
    >>> len(parse_match("strip:1,2=2;3,4=5;5,6=8").places)
    3
    """
    kind, _, rest = text.strip().partition(":")
    if kind == "face" and not rest:
        return Way(by="face")
    if kind == "ground":
        place = re.fullmatch(_AT, rest)
        if not rest or place:
            return Way(by="ground", places=(_place(*place.groups()),) if place else (), values=(GROUND,))
    if kind == "patch":
        found = re.fullmatch(rf"{_AT}(?:=([\d.]+)|@{_AT})?", rest)
        if found:
            x, y, value, there_x, there_y = found.groups()
            there = None if there_x is None else _place(there_x, there_y)
            return Way(by="patch", places=(_place(x, y),), values=(_value(value) if value else CARD,), there=there)
    if kind == "strip":
        patches = [re.fullmatch(rf"{_AT}=([\d.]+)", part.strip()) for part in rest.split(";")]
        read = [patch.groups() for patch in patches if patch]
        if len(read) == len(patches) >= 3:
            values = tuple(_value(v) for _, _, v in read)
            if len(set(values)) == len(values):
                return Way(by="strip", places=tuple(_place(x, y) for x, y, _ in read), values=values)
    raise UsageError(
        f"--match: expected face, ground, ground:X,Y, patch:X,Y, patch:X,Y=VALUE, patch:X,Y@X,Y or three or more "
        f"different patches as strip:X,Y=VALUE;X,Y=VALUE;X,Y=VALUE; got {text[:60]!r}."
    )


def _place(x: str, y: str) -> Place:
    try:
        return float(x), float(y)
    except ValueError as error:
        raise UsageError(f"--match: expected a place X,Y in px; got {x[:20]},{y[:20]}.") from error


def _value(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0 < value <= 10:
        raise UsageError(f"--match: expected a value above 0 and up to 10; got {text[:20]}.")
    return value
