"""Features as wholes: one smooth bend over an eye, a brow or a mouth, where the local fits see only round each point.

A painter who makes an eye too wide makes all of it so. One polynomial of third degree over the whole feature is told
by many more px than a fit round one corner, so single strokes say less in it: planted widths of eyes come out a quarter
nearer, on a block-in openings twice as near. Where one place departs from the whole by more than the local fit's doubt,
as a lid drawn alone does, the local fit has its say.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT
from limner.face.points import FEATURES
from limner.register.bring import Sitter
from limner.register.local import Window, Windows, local_fits, windows_round
from limner.register.tone import Planes

Array = NDArray[np.float64]
Plane = NDArray[np.float32]

_SAY = 0.2
"""Share that a local fit has in any case."""
_FROM, _TO = 2.0, 4.0
"""Distance between the two, in the local fit's doubt, from which its share grows and at which it is all."""
_CORNER = 0.8
"""Of half the mouth's width: a point farther out is one of its corners."""
_ROUNDS = 2


@dataclass(frozen=True, kw_only=True, eq=False)
class Whole:
    """One feature seen as a whole."""

    rows: NDArray[np.int64]
    """(M,) array: its points."""
    windows: tuple[Window, Window]
    """The close one and the wide one."""
    corners_only: bool = False
    """Whether a painting with all its tones gives only its corners this way: lips of their own thickness are no smooth
    bend of the mouth."""


@cache
def wholes() -> tuple[Whole, ...]:
    """The features that are fitted as wholes."""

    def over(feature: str, *windows: tuple[float, float], extra: tuple[int, ...] = (), corners: bool = False) -> Whole:
        close, wide = (Window(along=along, across=across, degree=3, step=3) for along, across in windows)
        rows = np.array(sorted({*FEATURES[feature].indices, *extra}))
        return Whole(rows=rows, windows=(close, wide), corners_only=corners)

    eye, brow = ((0.20, 0.14), (0.26, 0.18)), ((0.30, 0.12), (0.30, 0.12))
    return (
        over("eye_right", *eye, extra=(PUPIL_RIGHT,)),
        over("eye_left", *eye, extra=(PUPIL_LEFT,)),
        over("brow_right", *brow),
        over("brow_left", *brow),
        over("lips", (0.30, 0.10), (0.36, 0.13), corners=True),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Placed:
    """A whole in the working frame."""

    rows: NDArray[np.int64]
    corner: NDArray[np.bool_]
    windows: Windows
    offsets: Array
    """(M, 2) array, working px: its points from its middle."""


def _placed(sitter: Sitter, which: int) -> list[_Placed]:
    line = sitter.places[PUPIL_LEFT] - sitter.places[PUPIL_RIGHT]
    line = line / np.linalg.norm(line)
    out = []
    for whole in wholes():
        own = sitter.places[whole.rows]
        middle = (own.min(axis=0) + own.max(axis=0)) / 2
        aside = np.abs((own - middle) @ line)
        out.append(
            _Placed(
                rows=whole.rows,
                corner=(aside > _CORNER * aside.max()) | (not whole.corners_only),
                windows=windows_round(middle[None], line, whole.windows[which]),
                offsets=own - middle,
            )
        )
    return out


def with_wholes(
    sitter: Sitter, start: Plane, made: list[Planes], run: Array, doubt: Array, *, which: int, full: bool
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

    Returns:
        (478, 2) array, working px.
    """
    run = run.copy()
    for whole in sitter.kept.made(("wholes", which), lambda: _placed(sitter, which)):
        rows = whole.rows[whole.corner] if full else whole.rows
        offsets = whole.offsets[whole.corner] if full else whole.offsets
        fits = local_fits(start, made, whole.windows, _ROUNDS)
        there = sitter.places[rows] + fits.beside(offsets, whole.windows.window.degree)[0]
        apart = np.linalg.norm(there - run[rows], axis=1) / np.maximum(doubt[rows], 1e-6)
        say = np.clip((apart - _FROM) / (_TO - _FROM), _SAY, 1.0)[:, None]
        run[rows] = say * run[rows] + (1 - say) * there
    return run
