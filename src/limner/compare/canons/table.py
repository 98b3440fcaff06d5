"""Every canon, declared once: Farkas's, the drawing manuals', Leonardo's, and proportions no canon speaks of."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from limner.compare.canons.declare import LONG, WIDE, Canon, Ratio
from limner.compare.canons.farkas import FARKAS
from limner.compare.canons.leonardo import LEONARDO
from limner.compare.canons.manuals import MANUALS
from limner.compare.canons.observed import ANSUR


def _proportion(id_: str, name: str, definition: str, lengths: tuple[str, str]) -> Canon:
    across = lengths[0] == "face_width"
    return Canon(
        id=id_,
        name=name,
        school="measured in people",
        definition=definition,
        source=ANSUR.cite,
        ratios=(
            Ratio(
                id=id_,
                name=name,
                definition=definition,
                above=lengths[:1],
                below=lengths[1:],
                value=None,
                lie="across" if across else "along over across",
                outline="face_width" in lengths,
                words=WIDE if across else LONG,
            ),
        ),
    )


_PROPORTIONS = (
    _proportion("face_height_width", "face height over face width", "n-gn / zy-zy", ("face_height", "face_width")),
    _proportion("face_width_pupils", "face width over pupil distance", "zy-zy / p-p", ("face_width", "pupils")),
    _proportion("face_height_pupils", "face height over pupil distance", "n-gn / p-p", ("face_height", "pupils")),
)

CANONS: tuple[Canon, ...] = (*FARKAS, *MANUALS, *LEONARDO, *_PROPORTIONS)
"""Every canon, in the order they are told."""

RATIOS: Mapping[str, tuple[Canon, Ratio]] = MappingProxyType(
    {ratio.id: (canon, ratio) for canon in CANONS for ratio in canon.ratios}
)
"""Ratio -> its canon and itself."""
