"""The local fits: round each point, the one smooth bend of the reference that matches the paint best.

The dense flow follows every stroke. A slip of the brush over a whole lid does not look like that: it is a shift, a
stretch, a turn, a bend. So round each point the displacement is modelled as a polynomial of second degree in place,
fitted to all the paint in a window by Gauss-Newton (Lucas & Kanade 1981, IJCAI; both pictures' gradients averaged, as
Benhimane & Malis 2004, IROS), with Huber weights against what has no counterpart and a free local gain and offset.
Many pixels speak for six numbers an axis, so the noise of single strokes averages out, and a window longer along the
eye line than across it keeps lids and lips apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.register.bring import PX_PER_PUPILS
from limner.register.tone import Planes

Array = NDArray[np.float64]
Plane = NDArray[np.float32]

_REACH = 2.5
"""Windows end at this many standard deviations."""
_CELL = 61.0
"""Working px of brushed paint that count as one independent reading."""
_FREE_SHIFT, _FREE_BEND = 0.1, 0.3
"""How far, in pupil distances, the fit may leave its start: one sigma of shift and of each coefficient."""
_LONGEST = 0.15
"""Largest change of a coefficient in one round, pupil distances."""
_HUBER = 1.5


@dataclass(frozen=True, kw_only=True)
class Window:
    """A Gaussian window, in pupil distances."""

    along: float
    """Standard deviation along the eye line."""
    across: float
    degree: int = 2
    """Of the polynomial that the displacement is in it, 2 or 3."""
    step: int = 2
    """Every which working px is asked: the planes hold nothing finer than 2."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Fits:
    """One local fit for each place."""

    moves: Array
    """(N, 2) array, working px."""
    sigma: Array
    """(N,) array, working px: from the curvature of the fit and what it leaves over."""
    bends: Array
    """(N, 2, terms) array: the polynomials whose value at the place itself is ``moves``."""

    def beside(self, offsets: Array, degree: int) -> Array:
        """(N, M, 2) array, working px: the moves at (M, 2) offsets from each place."""
        basis = _basis(offsets.astype(np.float32), degree)
        return np.asarray(np.einsum("nct,tm->nmc", self.bends, basis), dtype=np.float64)


@dataclass(frozen=True, kw_only=True, eq=False)
class Windows:
    """The same window round several places of the reference."""

    places: Array
    """(N, 2) array, working px."""
    x: Plane
    """(N, n) array: where the px of each window lie..."""
    y: Plane
    weights: Plane
    """(n,) array: what each has to say."""
    basis: Plane
    """(terms, n) array: the terms of the polynomial there."""
    window: Window

    @cached_property
    def project(self) -> Plane:
        """(terms, n) array: from a displacement in the window to its bend, by weighted least squares."""
        weighted = self.basis * self.weights
        return np.asarray(np.linalg.solve(weighted @ self.basis.T, weighted), dtype=np.float32)

    @cached_property
    def pairs(self) -> Plane:
        """(k, n) array: the products of two terms each, as :func:`numpy.triu_indices` orders them."""
        first, second = np.triu_indices(len(self.basis))
        return self.basis[first] * self.basis[second]


def windows_round(places: Array, eye_line: Array, window: Window) -> Windows:
    """A window round each place.

    Args:
        places: (N, 2) array, in the reference, working px.
        eye_line: (2,) unit vector along the eye line.
        window: its size.
    """
    near, weights = _near(eye_line, window)
    return Windows(
        places=places,
        x=(places[:, :1] + near[:, 0]).astype(np.float32),
        y=(places[:, 1:] + near[:, 1]).astype(np.float32),
        weights=weights,
        basis=_basis(near, window.degree),
        window=window,
    )


def local_fits(flow: Plane, planes: list[Planes], windows: Windows, rounds: int = 4) -> Fits:
    """Fit round each place, from the flow as the start.

    Args:
        flow: (h, w, 2) array, working px.
        planes: what is compared.
        windows: the places, and how much round them is asked.
        rounds: of Gauss-Newton.
    """
    x, y, basis = windows.x, windows.y, windows.basis
    terms = len(basis)
    start = cv2.remap(flow, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    first = np.concatenate([start[..., 0] @ windows.project.T, start[..., 1] @ windows.project.T], axis=1)
    views = [_View(plane, windows) for plane in planes]
    free = np.array([_FREE_SHIFT] + [_FREE_BEND] * (terms - 1)) * PX_PER_PUPILS
    hold = np.concatenate([free, free]) ** -2.0
    bend: Array = np.zeros((len(x), 2 * terms))
    tones: Array | None = None
    normal = np.zeros(0)
    for _ in range(rounds):
        moved = (first + bend).astype(np.float32)
        there = x + moved[:, :terms] @ basis, y + moved[:, terms:] @ basis
        normal, right = _normal(views, there, windows, tones)
        normal[:, : 2 * terms, : 2 * terms] += np.diag(hold)
        normal[:, 2 * terms :, 2 * terms :] += 1e-3 * np.eye(2 * len(views))
        right[:, : 2 * terms] -= bend * hold
        step = np.linalg.solve(normal, right[..., None])[..., 0]
        longest = _LONGEST * PX_PER_PUPILS
        bend = bend + np.clip(step[:, : 2 * terms], -longest, longest)
        tones = np.asarray(step[:, 2 * terms :], dtype=np.float64)
    doubt = np.linalg.inv(normal)
    final = first + bend
    return Fits(
        moves=np.stack([final[:, 0], final[:, terms]], axis=1),
        sigma=np.sqrt(doubt[:, 0, 0] + doubt[:, terms, terms]),
        bends=np.stack([final[:, :terms], final[:, terms:]], axis=1),
    )


class _View:
    """One plane of both pictures as seen from the windows."""

    def __init__(self, plane: Planes, windows: Windows) -> None:
        self.weight = plane.weight
        self.painting = plane.painting
        own = plane.reference
        if windows not in own.seen:
            across, down = (_sample(slope, windows.x, windows.y) for slope in own.slopes)
            own.seen[windows] = _sample(own.plane, windows.x, windows.y), across, down
        self.reference, *self.slopes = own.seen[windows]

    def compare(self, x: Plane, y: Plane) -> tuple[Plane, Plane, Plane, Plane]:
        """The painting there, what it lacks to the reference, and the mean slopes of the two."""
        painted = _sample(self.painting.plane, x, y)
        across, down = (
            np.float32(0.5) * (own + _sample(other, x, y))
            for own, other in zip(self.slopes, self.painting.slopes, strict=True)
        )
        return painted, self.reference - painted, across, down


def _normal(
    views: list[_View], there: tuple[Plane, Plane], windows: Windows, tones: Array | None
) -> tuple[Array, Array]:
    """Normal equations of all windows: (N, m, m) and (N, m) arrays; bends first, then gain and offset of each plane.

    Every entry is a weighted sum over the window of two columns, each a slope times a term of the basis (or the tone,
    or one), so all windows' sums are a few products of (N, n) with (n, terms) matrices.
    """
    basis, pairs = windows.basis, windows.pairs
    terms = len(basis)
    count, size = len(there[0]), 2 * terms + 2 * len(views)
    first, second = np.triu_indices(terms)
    place = np.zeros((terms, terms), dtype=np.intp)
    place[first, second] = place[second, first] = np.arange(len(first))
    normal, right = np.zeros((count, size, size)), np.zeros((count, size))
    x, y = slice(0, terms), slice(terms, 2 * terms)
    for k, view in enumerate(views):
        painted, lacking, across, down = view.compare(*there)
        trust = _trust(view, painted, lacking, windows, None if tones is None else tones[:, 2 * k : 2 * k + 2])
        by_x, by_y, by_tone = trust * across, trust * down, trust * painted
        normal[:, x, x] += ((by_x * across) @ pairs.T)[:, place]
        normal[:, y, y] += ((by_y * down) @ pairs.T)[:, place]
        both = ((by_x * down) @ pairs.T)[:, place]
        normal[:, x, y] += both
        normal[:, y, x] += both
        right[:, x] += (by_x * lacking) @ basis.T
        right[:, y] += (by_y * lacking) @ basis.T
        gain = 2 * terms + 2 * k
        for column, (along, value) in enumerate(((painted, by_tone), (None, trust)), start=gain):
            for rows, slope in ((x, by_x), (y, by_y)):
                crossed = (slope if along is None else slope * along) @ basis.T
                normal[:, rows, column] = crossed
                normal[:, column, rows] = crossed
            right[:, column] = (value * lacking).sum(axis=1)
        normal[:, gain, gain] = (by_tone * painted).sum(axis=1)
        normal[:, gain + 1, gain + 1] = trust.sum(axis=1)
        normal[:, gain, gain + 1] = normal[:, gain + 1, gain] = by_tone.sum(axis=1)
    return normal, right


def _trust(view: _View, painted: Plane, lacking: Plane, windows: Windows, tones: Array | None) -> Plane:
    """(N, n) array: what each px has to say, by the window, Huber's weight and the noise that is left over."""
    weights, left = windows.weights, lacking
    if tones is not None:
        left = lacking - (tones[:, :1] * painted + tones[:, 1:]).astype(np.float32)
    spread = np.sqrt((left**2 @ weights)[:, None] / weights.sum()) + np.float32(1e-6)
    trust = weights * np.minimum(1, _HUBER * spread / np.maximum(np.abs(left), 1e-9))
    return np.asarray(trust * (view.weight * windows.window.step**2 / _CELL) / (spread * spread), dtype=np.float32)


def _near(eye_line: Array, window: Window) -> tuple[Plane, Plane]:
    """Offsets (n, 2) of a window's px, working px, and their weights (n,)."""
    along, across = window.along * PX_PER_PUPILS, window.across * PX_PER_PUPILS
    a, b = np.meshgrid(
        *(np.arange(-int(np.ceil(_REACH * s)), int(np.ceil(_REACH * s)) + 1, window.step) for s in (along, across))
    )
    far = (a / along) ** 2 + (b / across) ** 2
    inside = far <= _REACH**2
    a, b = a[inside], b[inside]
    turned = np.stack([a * eye_line[0] - b * eye_line[1], a * eye_line[1] + b * eye_line[0]], axis=1)
    return turned.astype(np.float32), np.exp(-far[inside] / 2).astype(np.float32)


def _basis(near: Plane, degree: int) -> Plane:
    """(terms, n) array: 1, x, y, x^2, xy, y^2 and so on up to a degree, with lengths in pupil distances."""
    x, y = near[:, 0] / np.float32(PX_PER_PUPILS), near[:, 1] / np.float32(PX_PER_PUPILS)
    terms = [x ** (of - k) * y**k for of in range(degree + 1) for k in range(of + 1)]
    return np.stack(terms).astype(np.float32)


def _sample(plane: Plane, x: Plane, y: Plane) -> Plane:
    drawn = cv2.remap(plane, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(drawn, dtype=np.float32)
