"""Eyes, mouth and base of the nose as pieces of their own: each may move and stretch while the face round it stays.

A painter who draws an eye too wide draws all of the eye so and the cheek beside it not at all. At the eye's rim the
displacement then ends within a tenth of a pupil distance or two, and no polynomial of low degree does: where slips end
as close to their feature as that, the fits before read eyes 0.86, noses and mouths 0.93 of what was planted. So over
each of these features the displacement is one polynomial of second degree, for the face round it, and beside it a piece
that shifts and stretches within the rim as one and fades to nothing outside it. Where the paint does not speak for the
piece it is shrunk as the bends are in :mod:`limner.register.local`. A slip of the nose may end within the eye, and a
piece that moves as one is then wrong at one corner of it and right at the other. So round each point both are held
against the paint, what was found before and what the piece says, and each has a say by how likely it makes what is
painted there. One say for the whole feature read widths of eyes 0.88 % off in limner's own paintings, one for each
point, chosen on them, 0.81, and 1.2 for 1.4 % where a nose painted too wide or narrow pulls at the eye's corner.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.face.points import FEATURES
from limner.register.again import field_through
from limner.register.bring import PX_PER_PUPILS, Sitter
from limner.register.flow import at
from limner.register.local import local_fits
from limner.register.tone import Planes
from limner.register.windows import Window, Windows, polynomial, window_over

Array = NDArray[np.float64]
Plane = NDArray[np.float32]
Rows = NDArray[np.int64]

_MOUTH, _WINGS, _TIP = (61, 291), (129, 358), (4, 5)
"""Mesh points: corners of the mouth, wings and tip of the nose."""
_FADE = 0.1
"""Pupil distances outside the rim within which a piece's own move fades to nothing."""
_PIECE = 0.3
"""Height of a piece's shift in the basis, which makes it about as free as its stretch."""
_ROUNDS = 2
_BENT = 0.6
"""Squared standard score, per coefficient, at which half of the piece and the bends counts. With 0.3 faithful copies in
strokes came out worse, with 1.0 slips that end at the rim."""
_FAR = 0.04
"""Pupil distances: a point that this fit has so far from where it was counts by half."""
_ROUND = 0.06
"""Standard deviation of the window round each point in which both are held against the paint, pupil distances."""
_CELL = 45.0
"""Working px that count as one independent witness there. With 120 the piece is believed where slips meet, with 30
slips that end at the rim are read a little smaller."""
_CAP = 9.0
"""Times the usual squared difference: no px says more."""
_SUREST = 30.0
"""Largest logarithm of a ratio that is told."""
_APART = 1e6
"""Condition of the terms' products in the window, above which a feature is left as it is: it fills the window, and its
piece is no other than the face's own bend. It is at most 25,000 on 36 faces, photographed and painted."""
_CORNER = 0.8
"""Of half the mouth's width: a point farther out is one of its corners. The other points of lips are told by
:mod:`limner.register.lips`."""


@dataclass(frozen=True, eq=False)
class Rim:
    """One feature of the reference as a piece of its own."""

    rows: Rows
    """Its points that are told by it."""
    hull: Array
    """(K, 2) array, working px: the convex hull of the feature, in order."""
    along: Array
    """(2,) unit vector: the feature's own axis, to picture right."""
    window: Window

    @property
    def middle(self) -> Array:
        """(2,) array, working px."""
        low, high = self._span
        across = np.array([-self.along[1], self.along[0]])
        centre = (low + high) / 2
        return np.asarray(centre[0] * self.along + centre[1] * across)

    @property
    def _span(self) -> tuple[Array, Array]:
        seen = self.hull @ np.array([self.along, [-self.along[1], self.along[0]]]).T
        return seen.min(axis=0), seen.max(axis=0)

    def terms(self, points: Array) -> Plane:
        """(terms, M) array: the polynomial, then the piece's shift and stretches, at (M, 2) points, working px."""
        low, high = self._span
        axes = np.array([self.along, [-self.along[1], self.along[0]]])
        seen = (points - self.middle) @ axes.T
        most = (high - low) / 2
        own = np.clip(seen, -most, most) / PX_PER_PUPILS
        left = 1 - np.clip(outside(self.hull, points) / (_FADE * PX_PER_PUPILS), 0, 1)
        share = left * left * (3 - 2 * left)
        piece = np.stack([_PIECE * share, own[:, 0] * share, own[:, 1] * share])
        return np.concatenate([polynomial(seen, self.window.degree), piece]).astype(np.float32)

    def windows(self) -> Windows:
        """One window over the feature."""
        return window_over(self.middle, self.along, self.window, self.terms)


def outside(hull: Array, points: Array) -> Array:
    """How far (M, 2) points lie outside a convex outline of (K, 2) points in order; (M,) array, 0 inside.

    >>> square = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]])
    >>> outside(square, np.array([[1.0, 1.0], [5.0, 1.0], [5.0, 6.0]])).tolist()
    [0.0, 3.0, 5.0]
    """
    side = np.roll(hull, -1, axis=0) - hull
    from_corner = points[:, None] - hull
    share = (from_corner * side).sum(axis=2) / np.maximum((side**2).sum(axis=1), 1e-12)
    nearest = from_corner - np.clip(share, 0, 1)[..., None] * side
    turn = side[:, 0] * from_corner[..., 1] - side[:, 1] * from_corner[..., 0]
    inside = (turn >= 0).all(axis=1) | (turn <= 0).all(axis=1)
    return np.asarray(np.where(inside, 0.0, np.sqrt((nearest**2).sum(axis=2).min(axis=1))))


def rims_of(places: Array) -> list[Rim]:
    """The pieces of a face with (478, 2) points, working px: the eyes, the mouth, the base of the nose."""

    def rim(rows: Rows, of: Rows, ends: tuple[int, int], along: float, across: float) -> Rim:
        axis = places[ends[1]] - places[ends[0]]
        hull = cv2.convexHull(places[of].astype(np.float32))[:, 0].astype(np.float64)
        window = Window(along=along, across=across, degree=2, step=2)
        return Rim(rows=rows, hull=hull, along=axis / np.linalg.norm(axis), window=window)

    def rows_of(*features: str, more: tuple[int, ...] = ()) -> Rows:
        return np.array(sorted({row for name in features for row in FEATURES[name].indices} | set(more)))

    right, left, lips = rows_of("eye_right"), rows_of("eye_left"), rows_of("lips")
    nose = rows_of("nose_base", more=(*_WINGS, *_TIP))
    first, last = places[list(_MOUTH)]
    aside = np.abs((places[lips] - (first + last) / 2) @ (last - first))
    corners = lips[aside > _CORNER * aside.max()]
    return [
        rim(right, right, (33, 133), 0.25, 0.18),
        rim(left, left, (362, 263), 0.25, 0.18),
        rim(corners, lips, _MOUTH, 0.30, 0.16),
        rim(nose, nose, _WINGS, 0.25, 0.18),
    ]


def with_rims(sitter: Sitter, start: Plane, made: list[Planes], run: Array, fitted: Rows) -> Array:
    """Points of eyes, mouth corners and nose brought nearer to where the paint has them; for all tones only.

    What it is given and gives back is as in :func:`limner.register.lips.with_lips`.
    """
    out: Array = run.copy()
    field = field_through(start, sitter.places[fitted], run[fitted] - sitter.places[fitted])
    for rim, windows, terms in sitter.kept.made(("rims",), lambda: _drawn(sitter.places)):
        fits = local_fits(field, made, windows, _ROUNDS, plain=True, bent=_BENT)
        there = np.stack([windows.x[0], windows.y[0]], axis=1)
        pieced = there + (fits.bends[0] @ windows.basis).T
        points = sitter.places[rim.rows]
        say = 1 / (1 + np.exp(-_likelier(made, windows, (there + at(field, there), pieced), points)))
        change = points + (fits.bends[0] @ terms).T - run[rim.rows]
        far = (change**2).sum(axis=1) / (_FAR * PX_PER_PUPILS) ** 2
        out[rim.rows] = run[rim.rows] + (say / (1 + far))[:, None] * change
    return out


def _drawn(places: Array) -> list[tuple[Rim, Windows, Plane]]:
    drawn = [(rim, rim.windows(), rim.terms(places[rim.rows])) for rim in rims_of(places)]
    return [one for one in drawn if np.linalg.cond((one[1].basis * one[1].weights) @ one[1].basis.T) < _APART]


def _likelier(made: list[Planes], windows: Windows, both: tuple[Array, Array], points: Array) -> Array:
    """How much likelier the second of two ways to lay the painting makes what is painted round each point.

    Args:
        made: what is compared.
        windows: one window of M px.
        both: (M, 2) arrays, working px: where its px lie in the painting, by either way.
        points: (N, 2) array, working px, in the reference.

    Returns:
        (N,) array, natural logarithm of the ratio, at most :data:`_SUREST` either way.
    """
    weights = windows.weights / windows.weights.sum()
    first, second = (_left(made, windows, there, weights) for there in both)
    usual = min(float(weights @ np.minimum(left, _CAP * np.median(left))) for left in (first, second)) + 1e-9
    gained = (np.minimum(first, _CAP * usual) - np.minimum(second, _CAP * usual)) / (2 * usual)
    px = np.stack([windows.x[0], windows.y[0]], axis=1)
    far = ((points[:, None] - px) ** 2).sum(axis=2) / (_ROUND * PX_PER_PUPILS) ** 2
    ratio = np.exp(-far / 2) @ gained * (windows.window.step**2 / _CELL)
    return np.asarray(np.clip(ratio, -_SUREST, _SUREST), dtype=np.float64)


def _left(made: list[Planes], windows: Windows, there: Array, weights: Plane) -> Plane:
    """(M,) array: squared difference of painting and reference at each px of a window, free of tone."""
    x, y = there.astype(np.float32).T[:, None]
    left: Plane = np.zeros(len(weights), dtype=np.float32)
    for plane in made:
        own = _middled(plane.reference.plane, windows.x, windows.y, weights)
        painted = _middled(plane.painting.plane, x, y, weights)
        gain = (weights * painted * own).sum() / ((weights * painted**2).sum() + 1e-9)
        left = left + np.float32(plane.weight) * (own - gain * painted) ** 2
    return left


def _middled(plane: Plane, x: Plane, y: Plane, weights: Plane) -> Plane:
    """(M,) array: a plane at (1, M) places, less its weighted mean."""
    seen = cv2.remap(plane, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)[0]
    return np.asarray(seen - (weights * seen).sum(), dtype=np.float32)
