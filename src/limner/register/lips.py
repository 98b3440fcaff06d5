"""The lips by their edges: one bend of the mouth that may break where a lip begins and ends.

A lip painted too thick moves its outer edge and leaves the line where the lips meet; between the two the paint is
stretched, beyond them it is not. No smooth bend turns as sharply: the local fits read a thicker lip 0.86 to 0.90 of
what it is. So the displacement over the mouth is one polynomial of third degree, told by the whole mouth, and beside it
a roof over each edge of the lips: of second degree along the edge, nothing from the next edge on. What is not shift,
stretch and turn counts as far as the paint speaks for it, as in :mod:`limner.register.local`, so that strokes raise no
roof.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.face.points import FEATURES
from limner.register.again import field_through
from limner.register.bring import PX_PER_PUPILS, Sitter
from limner.register.local import local_fits
from limner.register.tone import Planes
from limner.register.windows import Window, Windows, polynomial, window_over

Array = NDArray[np.float64]
Plane = NDArray[np.float32]
Rows = NDArray[np.int64]

_WINDOW = Window(along=0.20, across=0.12, degree=3, step=2)
_ROUNDS = 3
_SAY_UPPER, _SAY_LOWER = 0.7, 0.4
"""Share of this fit in the edges of each lip; the rest is the local fits'. The lower lip, the thicker one, is read well
by those: with 0.8 of this one it came out 1.05 to 1.07 of what it is and 1.2 times as far off, with 0.4 1.03 to 1.06.
An upper lip came out 0.01 larger with 0.8, 0.02 smaller with 0.6."""
_THIN = 0.03
"""Pupil distances: from the line of the lips, no edge is taken for nearer. At the corners all edges meet."""
_OPEN = 0.6
"""Share of a lip that an open mouth's half may take from its roof."""
_WIDE_OPEN = 0.1
"""Pupil distances between the lips from which a mouth is left to the local fits: its outer edges lie outside the
window, and in a taller one teeth lead the fit astray."""
_FAR = 0.015
"""Pupil distances: a point that this fit has so far from where the local fits have it counts by half. Thick lips are
put right by 0.01 at most; farther is where nothing of a lip's edge is painted."""
_ENDS = (0.8, 1.3)
"""Of half the mouth's width: where roofs begin to sink toward the corners, and where they end."""
_ROOF = 0.1
"""Height of a roof in the basis, which makes it as free as the bends."""


def _edges() -> tuple[Rows, Rows, Rows, Rows]:
    """Mesh points of the upper lip's two edges and of the lower lip's, from the top, each from corner to corner."""
    (top, under), (bottom, over) = (np.split(np.array(FEATURES[lip].indices), 2) for lip in ("upper_lip", "lower_lip"))
    return top, under, over, bottom


@dataclass(frozen=True, eq=False)
class Mouth:
    """The mouth of the reference: what lies how far from which edge of its lips; lengths in pupil distances."""

    places: Array
    """(478, 2) array, working px."""

    @property
    def rows(self) -> Rows:
        """Points of the edges but for the corners, which are told by the mouth as a whole."""
        return np.unique(np.concatenate([edge[1:-1] for edge in _edges()]))

    def _line(self) -> tuple[Array, Array, float]:
        """Middle between the corners, unit vector from one to the other, and half their distance."""
        first, last = self.places[_edges()[0][[0, -1]]]
        across = float(np.linalg.norm(last - first))
        return (first + last) / 2, (last - first) / across, across / 2 / PX_PER_PUPILS

    def _seen(self, points: Array) -> tuple[Array, Array]:
        middle, along, _ = self._line()
        from_middle = (points - middle) / PX_PER_PUPILS
        return from_middle @ along, from_middle @ np.array([-along[1], along[0]])

    def terms(self, points: Array) -> Plane:
        """(terms, M) array: the polynomial and the roofs at (M, 2) points, working px."""
        at_x, at_y = self._seen(points)
        top, under, over, bottom = (self._edge(edge, at_x) for edge in _edges())
        meet, apart = (under + over) / 2, np.maximum(over - under, 0) / 2
        upper, lower = np.maximum(meet - top, _THIN + apart), np.maximum(bottom - meet, _THIN + apart)
        up, down = meet - np.minimum(apart, _OPEN * upper), meet + np.minimum(apart, _OPEN * lower)
        roofs = (
            _roof(at_y, meet - 2 * upper, meet - upper, meet - upper, up),
            _roof(at_y, meet - upper, up, down, meet + lower),
            _roof(at_y, down, meet + lower, meet + lower, meet + 2 * lower),
        )
        out = at_x / self._line()[2]
        sunk = _ROOF * np.clip((_ENDS[1] - np.abs(out)) / (_ENDS[1] - _ENDS[0]), 0, 1)
        slanting = [roof * sunk * way for roof in roofs for way in (np.ones_like(out), out, out**2)]
        smooth = polynomial(np.stack([at_x, at_y], axis=1) * PX_PER_PUPILS, _WINDOW.degree)
        return np.concatenate([smooth, np.stack(slanting)]).astype(np.float32)

    @property
    def wide_open(self) -> bool:
        """Whether the lips lie too far from each other for one window."""
        _, under, over, _ = (self._seen(self.places[edge])[1] for edge in _edges())
        return bool((over - under).max() > _WIDE_OPEN)

    def _edge(self, edge: Rows, at_x: Array) -> Array:
        """How far below the line from corner to corner an edge lies, at places along that line."""
        along, below = self._seen(self.places[edge])
        order = np.argsort(along)
        return np.asarray(np.interp(at_x, along[order], below[order]))

    def windows(self) -> Windows:
        """One window over the mouth."""
        middle, along, _ = self._line()
        return window_over(middle, along, _WINDOW, self.terms)


def _roof(at: Array, begin: Array, rises: Array, falls: Array, end: Array) -> Array:
    """0 outside, 1 from ``rises`` to ``falls``, straight between."""
    return np.asarray(np.clip(np.minimum((at - begin) / (rises - begin), (end - at) / (end - falls)), 0, 1))


def with_lips(sitter: Sitter, start: Plane, made: list[Planes], run: Array, fitted: Rows) -> Array:
    """Points of the lips' edges brought nearer to where the paint has them, in a painting with all its tones.

    Args:
        sitter: the reference in the working frame.
        start: (h, w, 2) array, working px: the flow that the fits started from.
        made: what is compared.
        run: (478, 2) array, working px: the points as fitted.
        fitted: rows of the points that have fits of their own.

    Returns:
        (478, 2) array, working px.
    """
    mouth, windows = sitter.kept.made(("mouth",), lambda: _mouth_of(sitter.places))
    if mouth.wide_open:
        return run
    field = field_through(start, sitter.places[fitted], run[fitted] - sitter.places[fitted])
    fits = local_fits(field, made, windows, _ROUNDS, plain=True)
    rows = mouth.rows
    change: Array = sitter.places[rows] + (fits.bends[0] @ mouth.terms(sitter.places[rows])).T - run[rows]
    far = (change**2).sum(axis=1) / (_FAR * PX_PER_PUPILS) ** 2
    out: Array = run.copy()
    say = np.where(np.isin(rows, np.concatenate(_edges()[2:])), _SAY_LOWER, _SAY_UPPER)
    out[rows] = run[rows] + (say / (1 + far))[:, None] * change
    return out


def _mouth_of(places: Array) -> tuple[Mouth, Windows]:
    mouth = Mouth(places)
    return mouth, mouth.windows()
