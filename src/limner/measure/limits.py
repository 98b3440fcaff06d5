"""What a viewer notices, with the publication each figure comes from."""

from __future__ import annotations

from types import MappingProxyType

from limner.measure.declare import Limit

_SIZE = "Lewandowski & Pisula-Lewandowska 2008, Homo 59:253-260: a feature's size is called clearly different from 8 %"

SIZE = Limit(8.0, _SIZE)
"""Percent of a length."""
AREA = Limit(16.64, _SIZE + " (8 % in each direction is 16.6 % in area; the step from size to area is limner's)")
"""Percent of an area: 1.08 squared less 1."""
OVERLAP = Limit(14.27, _SIZE + " (8 % in each direction leaves 85.7 % shared; the step to overlap is limner's)")
"""Percent not shared: 1 less 1 over 1.08 squared."""
AXIS = Limit(2.3, "J Oral Maxillofac Surg 2015;73:1606-14: a tilt of the eye line is noticed from 2.31 degrees")
"""Degrees."""


def _shift(what: str, percent: float, mm: float) -> Limit:
    return Limit(
        percent,
        "review of facial asymmetry thresholds, Aesthet Surg J 2017;37(4):375-385: a shift is noticed from "
        f"{mm:g} mm ({what}), over the mean pupil distance of 63.26 mm (ANSUR II)",
    )


SHIFTS = MappingProxyType(
    {
        "eyelid": _shift("eyelid", 3.2, 2.0),
        "mouth corner": _shift("mouth corner", 4.7, 3.0),
        "brow": _shift("brow", 5.5, 3.5),
        "nose tip": _shift("nose tip", 6.3, 4.0),
        "chin": _shift("chin", 9.5, 6.0),
    }
)
"""Percent of the pupil distance, for a shift or a gap."""
