"""Where the face finder's points lie otherwise than the points that canons and surveys speak of.

Over 15 generated portraits within 15 degrees of the front, the mean of each length over the distance between the
middles of the eyes' openings, against the same of 3D Facial Norms (Weinberg et al. 2016, means at age 25, women and men
averaged); mouth and nose from the 5 of them with closed lips, since a smile widens both. Nine faces of ordinary
photographs, most of them smiling, said much the same: eyes 0.91, between the eyes 1.06, root to base of the nose 0.81,
and on the one with closed lips nose 1.24, mouth 1.04. Who these people would be among the surveyed is not known, so
about half of a correction is left as its doubt (limner's choice). Points placed by hand are taken as they are.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from limner.face.placeable import rows_of
from limner.measure.declare import Measure


@dataclass(frozen=True, kw_only=True)
class Read:
    """What the finder reads of one length."""

    share: float
    """Of the length as surveyed."""
    doubt: float
    """One sigma of that share."""
    by: tuple[str, ...]
    """The named points that lie otherwise; placed by hand, nothing is to be corrected."""


_SURE = Read(share=1.0, doubt=0.02, by=())


def _both(stem: str, read: tuple[float, float], abbrs: tuple[str, ...]) -> dict[str, Read]:
    share, doubt = read
    return {
        f"{stem}_{side}": Read(share=share, doubt=doubt, by=tuple(f"{abbr}_{side}" for abbr in abbrs))
        for side in ("right", "left")
    }


def _pair(share: float, doubt: float, abbr: str) -> Read:
    return Read(share=share, doubt=doubt, by=(f"{abbr}_right", f"{abbr}_left"))


READS: Mapping[str, Read] = MappingProxyType(
    {
        **_both("eye_width", (0.93, 0.03), ("ex", "en")),
        "between_eyes": _pair(1.04, 0.02, "en"),
        "nose_width": _pair(1.20, 0.09, "al"),
        "mouth_width": _pair(1.035, 0.025, "ch"),
        # The finder's root of the nose is its deepest point; the surveys' n stands higher.
        "nose_length": Read(share=0.87, doubt=0.065, by=("n",)),
        "hairline_to_root": Read(share=1.12, doubt=0.06, by=("n",)),
        "face_width": _pair(1.0, 0.03, "zy"),
        "lower_face": Read(share=1.0, doubt=0.05, by=("sn", "gn")),
        "chin_height": Read(share=1.0, doubt=0.05, by=("sto", "gn")),
        "base_to_lower_lip": Read(share=1.0, doubt=0.05, by=("sn", "li")),
    }
)
"""Length -> what the finder reads of it. Any other is taken as it is, with a doubt of 2 %."""


def reads(parts: Iterable[Measure], by_hand: frozenset[int]) -> tuple[float, float]:
    """What the finder reads of the mean of some lengths, and the relative one-sigma doubt of that; (1, 0) by hand.

    Args:
        parts: lengths of one kind.
        by_hand: rows that a hand has placed.
    """
    told = [_read(part, by_hand) for part in parts]
    share = sum(read.share for read in told) / len(told)
    return share, max(read.doubt / read.share for read in told)


_AS_IT_IS = Read(share=1.0, doubt=0.0, by=())


def _read(part: Measure, by_hand: frozenset[int]) -> Read:
    if frozenset(part.own_points) <= by_hand:
        return _AS_IT_IS
    read = READS.get(part.id, _SURE)
    if read.by and all(frozenset(rows_of(key)) <= by_hand for key in read.by):
        return _SURE
    return read


def said() -> str:
    """The corrections in words."""
    from limner.compare.canons.lengths import LENGTHS

    parts = {
        LENGTHS[id_].name.split(",")[0]: read.share for id_, read in READS.items() if not math.isclose(read.share, 1.0)
    }
    told = "; ".join(f"{name} {share:.4g}" for name, share in parts.items())
    return (
        "The face finder's points lie otherwise than those of canons and surveys. It reads these lengths as so much of "
        f"the surveyed ones, and that is corrected, about half of it left as doubt: {told}. Points placed by hand are "
        "taken as they are."
    )
