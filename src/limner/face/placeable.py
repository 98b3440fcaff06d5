"""Every point a hand can place: the named points, and what the mesh knows nothing of (ears, neck, head with its hair).

The table is the one source of the points file's names, the schema, the page and the terminal's table.
"""

from __future__ import annotations

import difflib
from types import MappingProxyType

from limner.face.facepoints import POINT_COUNT
from limner.face.points import NAMED_POINTS, NamedPoint, Side

OUTLINE_HOURS = (8, 9, 10, 11, 12, 1, 2, 3, 4)
"""The head's outline is placed like hours on a clock laid on the picture, round the middle of the head."""


def _extra(key: str, abbr: str, name: str, region: str, side: Side = "middle") -> NamedPoint:
    return NamedPoint(key=key, abbr=abbr, name=name, indices=(), region=region, side=side)


def _sides(abbr: str, name: str, region: str) -> list[NamedPoint]:
    return [
        _extra(f"{abbr}_right", abbr, f"{name}, sitter's right", region, "right"),
        _extra(f"{abbr}_left", abbr, f"{name}, sitter's left", region, "left"),
    ]


# No standard abbreviations for the neck's sides and the outline with hair; these are limner's.
_EXTRAS: tuple[NamedPoint, ...] = (
    *_sides("nt", "neck under the jaw", "neck"),
    *_sides("nb", "neck at the shoulder", "neck"),
    _extra("pn", "pn", "pit of the neck", "neck"),
    *(_extra(f"ho_{hour}", "ho", f"head outline with hair, {hour} o'clock", "outline") for hour in OUTLINE_HOURS),
)

PLACEABLE = MappingProxyType({**NAMED_POINTS, **{point.key: point for point in _EXTRAS}})
"""Every point a points file may hold, by key."""

BEYOND = MappingProxyType(
    {key: POINT_COUNT + place for place, key in enumerate(k for k, point in PLACEABLE.items() if not point.indices)}
)
"""Row of each point the mesh does not have, in an array of points that goes on past the mesh's 478."""

ALL_COUNT = POINT_COUNT + len(BEYOND)
"""Rows of such an array."""

OUTLINE = tuple(f"ho_{hour}" for hour in OUTLINE_HOURS)
"""The head's outline with hair in order, from picture left of the jaw over the top to picture right."""


def rows_of(key: str) -> tuple[int, ...]:
    """Rows whose mean a point is, in an array of all placeable points.

    >>> rows_of("sto"), rows_of("tr")
    ((13, 14), (478,))
    """
    return PLACEABLE[key].indices or (BEYOND[key],)


NEAR = 0.6
"""How alike two names must be, 0 to 1, for one to be taken as a slip of the other."""


def nearest_name(name: str) -> str | None:
    """The placeable point whose key or plain name is nearest to a name that is not one; ``None`` if none is near.

    >>> nearest_name("ex_rigth")
    'ex_right'
    >>> nearest_name("ex")
    'ex_right or ex_left'
    >>> nearest_name("hair line")
    'tr'
    >>> nearest_name("zz") is None
    True
    """
    asked = name.strip().lower()[:60]
    pair = [key for key, point in PLACEABLE.items() if point.abbr == asked]
    if pair:
        return " or ".join(pair[:2])
    plain = {point.name: key for key, point in PLACEABLE.items()}
    found = difflib.get_close_matches(asked, [*PLACEABLE, *plain], n=1, cutoff=NEAR)
    found += [name for name in plain if len(asked) > 2 and asked in name]
    return plain.get(found[0], found[0]) if found else None
