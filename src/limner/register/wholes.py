"""Features as wholes: one smooth bend over an eye, a brow or a mouth, where the local fits see only round each point.

A painter who makes an eye too wide makes all of it so. One polynomial of third degree over the whole feature is told
by many more px than a fit round one corner, so single strokes say less in it: planted widths of eyes come out a quarter
nearer, on a block-in openings twice as near. A lower degree follows strokes less, but reads a slip that ends within the
window smaller than it is: of first degree over the wide window, faithful copies came out 0.1 % nearer and planted
widths of eyes 0.92 instead of 0.99 of what they are. So the higher degrees count as far as the paint speaks for them,
where it has all its tones. Where one place departs from the whole by more than the local fit's doubt, as a lid drawn
alone does, the local fit has its say, and where the whole is bent much, as by several slips that meet in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT
from limner.face.points import FEATURES
from limner.register.bring import Sitter
from limner.register.flow import at
from limner.register.local import local_fits
from limner.register.tone import Planes
from limner.register.windows import Window, Windows, windows_round

Array = NDArray[np.float64]
Plane = NDArray[np.float32]

_SAY = 0.2
"""Share that a local fit has in any case."""
_FROM, _TO = 2.0, 4.0
"""Distance between the two, in the local fit's doubt, from which its share grows and at which it is all."""
_BENT = 0.5
"""How much a whole is bent (:attr:`~limner.register.local.Fits.bent`) where the local fits have half the say."""
_CORNER = 0.8
"""Of half the mouth's width: a point farther out is one of its corners."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Whole:
    """One or two features of one shape, each seen as a whole."""

    rows: tuple[NDArray[np.int64], ...]
    """Of each feature (M,) array: its points."""
    windows: tuple[Window, Window]
    """The close one and the wide one."""
    corners_only: bool = False
    """Whether a painting with all its tones gives only its corners this way: lips of their own thickness are no smooth
    bend of the mouth."""


@cache
def wholes() -> tuple[Whole, ...]:
    """The features that are fitted as wholes."""

    def over(features: Mapping[str, tuple[int, ...]], *windows: tuple[float, float], corners: bool = False) -> Whole:
        close, wide = (Window(along=along, across=across, degree=3, step=3) for along, across in windows)
        rows = [np.array(sorted({*FEATURES[name].indices, *extra})) for name, extra in features.items()]
        return Whole(rows=tuple(rows), windows=(close, wide), corners_only=corners)

    return (
        over({"eye_right": (PUPIL_RIGHT,), "eye_left": (PUPIL_LEFT,)}, (0.20, 0.14), (0.26, 0.18)),
        over({"brow_right": (), "brow_left": ()}, (0.30, 0.12), (0.30, 0.12)),
        over({"lips": ()}, (0.30, 0.10), (0.36, 0.13), corners=True),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Placed:
    """A feature in the working frame."""

    rows: NDArray[np.int64]
    corner: NDArray[np.bool_]
    offsets: Array
    """(M, 2) array, working px: its points from its middle."""


def _placed(sitter: Sitter, which: int) -> list[tuple[Windows, list[_Placed]]]:
    line = sitter.places[PUPIL_LEFT] - sitter.places[PUPIL_RIGHT]
    line = line / np.linalg.norm(line)
    out = []
    for whole in wholes():
        middles, placed = [], []
        for rows in whole.rows:
            own = sitter.places[rows]
            middles.append((own.min(axis=0) + own.max(axis=0)) / 2)
            aside = np.abs((own - middles[-1]) @ line)
            corner = (aside > _CORNER * aside.max()) | (not whole.corners_only)
            placed.append(_Placed(rows=rows, corner=corner, offsets=own - middles[-1]))
        out.append((windows_round(np.array(middles), line, whole.windows[which]), placed))
    return out


def with_wholes(
    sitter: Sitter,
    start: Plane,
    made: list[Planes],
    run: Array,
    doubt: Array,
    *,
    which: int,
    full: bool,
    kept: bool = False,
) -> Array:
    """Local fits brought nearer to their features as wholes.

    Args:
        sitter: the reference in the working frame.
        start: (h, w, 2) array: the flow the fits start from, working px.
        made: what is compared.
        run: (478, 2) array, working px: the points by the local fits.
        doubt: (478,) array, working px: how sure these are.
        which: 0 for the close fits, 1 for the wide ones.
        full: whether the painting has all its tones.
        kept: one round beside the flow as it is, as in :func:`~limner.register.local.local_fits`.

    Returns:
        (478, 2) array, working px.
    """
    run = run.copy()
    for windows, features in sitter.kept.made(("wholes", which), lambda: _placed(sitter, which)):
        fits = local_fits(start, made, windows, 1 if kept else 2, kept=kept, plain=full)
        least = np.maximum(_SAY, fits.bent**2 / (fits.bent**2 + _BENT**2))
        for number, feature in enumerate(features):
            rows = feature.rows[feature.corner] if full else feature.rows
            offsets = feature.offsets[feature.corner] if full else feature.offsets
            there = sitter.places[rows] + fits.beside(offsets, windows.window.degree)[number]
            there = there + at(start, sitter.places[rows]) if kept else there
            apart = np.linalg.norm(there - run[rows], axis=1) / np.maximum(doubt[rows], 1e-6)
            say = np.clip((apart - _FROM) / (_TO - _FROM), least[number], 1.0)[:, None]
            run[rows] = say * run[rows] + (1 - say) * there
    return run
