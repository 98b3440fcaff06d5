"""The main measures of this reference, on the print and on the canvas, and how things hang and lie in it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.compare.calibration import WIDE
from limner.compare.wording import rounded
from limner.face.facepoints import POINT_COUNT
from limner.face.placeable import PLACEABLE, rows_of
from limner.sheet.reading import Sitter

Array = NDArray[np.float64]

FOUND = 0.021
"""One-sigma error of a found point along one axis, pupil distances. The published mean distance from the true point is
2.62 % of the distance between the eyes (model card of the 478-point face mesh, version 2); the mean distance of a
scatter alike in both directions is 1.2533 times its sigma along one."""
SEEN = 0.03
"""The same of the head's outline and hairline as the picture shows them (limner's choice)."""
TURN = 0.73
"""Degrees, one sigma, of an axis through found points (measured: mouths turned by 3 and 6 degrees on four faces)."""

Ends = tuple[tuple[str, ...], tuple[str, ...]]

MEASURES: tuple[tuple[str, Ends], ...] = (
    ("head, top to chin", (("v",), ("gn",))),
    ("head with its hair, across at the eyes", (("ho_9",), ("ho_3",))),
    ("hairline to chin", (("tr",), ("gn",))),
    ("eyes to chin", (("p_right", "p_left"), ("gn",))),
    ("root of the nose to chin", (("n",), ("gn",))),
    ("root to base of the nose", (("n",), ("sn",))),
    ("base of the nose to mouth", (("sn",), ("sto",))),
    ("mouth to chin", (("sto",), ("gn",))),
    ("pupil to pupil", (("p_right",), ("p_left",))),
    ("across both eyes", (("ex_right",), ("ex_left",))),
    ("between the eyes", (("en_right",), ("en_left",))),
    ("sitter's right eye, across", (("ex_right",), ("en_right",))),
    ("sitter's left eye, across", (("en_left",), ("ex_left",))),
    ("sitter's right brow", (("bo_right",), ("bi_right",))),
    ("sitter's left brow", (("bi_left",), ("bo_left",))),
    ("nose, across the wings", (("al_right",), ("al_left",))),
    ("mouth, corner to corner", (("ch_right",), ("ch_left",))),
    ("face, across the cheekbones", (("zy_right",), ("zy_left",))),
    ("jaw, angle to angle", (("go_right",), ("go_left",))),
    ("neck under the jaw", (("nt_right",), ("nt_left",))),
    ("sitter's right ear", (("sa_right",), ("sba_right",))),
    ("sitter's left ear", (("sa_left",), ("sba_left",))),
)
"""Plain name -> the points at its two ends (the middle between them where an end has several)."""

AXES: tuple[tuple[str, Ends, bool], ...] = (
    ("brow line", (("bp_right",), ("bp_left",)), False),
    ("eye line", (("p_right",), ("p_left",)), False),
    ("line of the nose base", (("al_right",), ("al_left",)), False),
    ("mouth line", (("ch_right",), ("ch_left",)), False),
    ("centre line, root of the nose to chin", (("n",), ("gn",)), True),
)
"""Name, ends, and whether it is held against the plumb line."""

HANGS: tuple[tuple[str, str], ...] = (
    ("p_right", "ch_right"),
    ("p_left", "ch_left"),
    ("en_right", "al_right"),
    ("en_left", "al_left"),
    ("n", "sn"),
    ("sn", "gn"),
)
"""A plumb line is dropped through the first; the second is looked for below it."""


@dataclass(frozen=True, kw_only=True)
class Length:
    """One measure."""

    name: str
    px: float
    """Of the decoded reference."""
    sigma: float
    """One sigma, px."""


@dataclass(frozen=True, kw_only=True)
class Row:
    """One measure in millimetres."""

    name: str
    on_print: str
    """Empty without a print."""
    on_canvas: str
    give_or_take: str
    """On the canvas."""


def lengths(sitter: Sitter) -> tuple[Length, ...]:
    """The measures whose ends are known, in the order of :data:`MEASURES`."""
    out = []
    for name, ends in MEASURES:
        a, b = (place(sitter, keys) for keys in ends)
        if np.isfinite(a).all() and np.isfinite(b).all():
            sigma = math.hypot(*(_doubt(sitter, keys) for keys in ends))
            out.append(Length(name=name, px=float(np.linalg.norm(b - a)), sigma=sigma))
    return tuple(out)


def rows(found: tuple[Length, ...], canvas: float, print_: float | None) -> tuple[Row, ...]:
    """The table: mm per px on the canvas and on the print go in."""
    out = []
    for length in found:
        shown, doubt = rounded(length.px * canvas, length.sigma * canvas)
        if not length.sigma > 0:
            shown, doubt = f"{length.px * canvas:.1f}", "0.0"
        out.append(
            Row(
                name=length.name,
                on_print="" if print_ is None else rounded(length.px * print_, length.sigma * print_)[0],
                on_canvas=shown,
                give_or_take=doubt,
            )
        )
    return tuple(out)


def axes_said(sitter: Sitter) -> tuple[str, ...]:
    """The axes against level and plumb, in sentences."""
    told = []
    for name, ends, plumb in AXES:
        a, b = (place(sitter, keys) for keys in ends)
        way = b - a
        if not np.isfinite(way).all() or not way.any():
            continue
        turn = math.degrees(math.atan2(-way[0], way[1]) if plumb else math.atan2(way[1], way[0]))
        scatter = math.degrees(math.hypot(*(_spread(sitter, keys) for keys in ends)) / float(np.linalg.norm(way)))
        amount, doubt = rounded(abs(turn), math.hypot(TURN, scatter))
        against = "plumb" if plumb else "level"
        if abs(turn) <= WIDE * math.hypot(TURN, scatter):
            told.append(f"{name}: {against}, give or take {doubt} degrees")
        else:
            way_round = "clockwise" if turn > 0 else "anticlockwise"
            told.append(f"{name}: {amount} degrees {way_round} from {against}, give or take {doubt}")
    return tuple(told)


def hangs_said(sitter: Sitter, canvas: float) -> tuple[str, ...]:
    """What lies beside a plumb line, in mm of the canvas."""
    told = []
    for above, below in HANGS:
        a, b = place(sitter, (above,)), place(sitter, (below,))
        aside = float(b[0] - a[0]) * canvas
        if not math.isfinite(aside):
            continue
        sigma = math.hypot(_doubt(sitter, (above,)), _doubt(sitter, (below,))) * canvas
        amount, doubt = rounded(abs(aside), sigma)
        line = f"below the {_named(above)} the {_named(below)}"
        if abs(aside) <= WIDE * sigma:
            told.append(f"{line} hangs plumb, give or take {doubt} mm")
        else:
            way = "right" if aside > 0 else "left"
            told.append(f"{line} stands {amount} mm toward picture {way}, give or take {doubt} mm")
    return tuple(told)


def _named(key: str) -> str:
    """A point in plain words, the sitter's side before it.

    >>> _named("ch_left"), _named("sn")
    ("sitter's left mouth corner", 'base of the nose')
    """
    name, _, side = PLACEABLE[key].name.partition(", ")
    return f"{side} {name}" if side else name


def place(sitter: Sitter, keys: tuple[str, ...]) -> Array:
    """(2,) array, px: the middle of some named points; NaN where one is not known."""
    return np.asarray(sitter.every[[row for key in keys for row in rows_of(key)]].mean(axis=0))


def _spread(sitter: Sitter, keys: tuple[str, ...]) -> float:
    """Scatter of the repeated readings of the middle of some points, px."""
    rows_ = [row for key in keys for row in rows_of(key) if row < POINT_COUNT]
    spread = sitter.points.spread[rows_] if rows_ else np.zeros(1)
    return float(np.sqrt(np.nanmean(spread**2) / 2)) if np.isfinite(spread).any() else 0.0


def _doubt(sitter: Sitter, keys: tuple[str, ...]) -> float:
    """One-sigma doubt along a line of the middle of some points, px; independent errors."""
    unit = sitter.points.pupil_distance
    if not math.isfinite(unit):  # half of root of the nose to chin is about as long
        unit = float(np.linalg.norm(place(sitter, ("n",)) - place(sitter, ("gn",)))) / 2
    each = []
    for key in keys:
        if key in sitter.points.hand:
            each.append(sitter.points.hand[key][2])
        else:
            found = max(rows_of(key)) < POINT_COUNT
            each.append(math.hypot((FOUND if found else SEEN) * unit, _spread(sitter, (key,)) if found else 0.0))
    return math.sqrt(sum(sigma**2 for sigma in each)) / len(each)
