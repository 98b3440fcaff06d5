"""Windows round places of the reference: which px are asked, what each has to say, and the terms of the bend there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from limner.register.bring import PX_PER_PUPILS

Array = NDArray[np.float64]
Plane = NDArray[np.float32]

_REACH = 2.5
"""Windows end at this many standard deviations."""


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

    @cached_property
    def place(self) -> NDArray[np.intp]:
        """(terms, terms) array: where the product of two terms stands in :attr:`pairs`."""
        terms = len(self.basis)
        first, second = np.triu_indices(terms)
        place = np.zeros((terms, terms), dtype=np.intp)
        place[first, second] = place[second, first] = np.arange(len(first))
        return place


def windows_round(places: Array, eye_line: Array, window: Window) -> Windows:
    """A window round each place.

    Args:
        places: (N, 2) array, in the reference, working px.
        eye_line: (2,) unit vector along the eye line.
        window: its size.
    """
    near, weights = offsets_in(eye_line, window)
    return Windows(
        places=places,
        x=(places[:, :1] + near[:, 0]).astype(np.float32),
        y=(places[:, 1:] + near[:, 1]).astype(np.float32),
        weights=weights,
        basis=polynomial(near, window.degree),
        window=window,
    )


def window_over(middle: Array, along: Array, window: Window, terms: Callable[[Array], Plane]) -> Windows:
    """One window over a feature, with terms of its own.

    Args:
        middle: (2,) array, in the reference, working px.
        along: (2,) unit vector along which the window is measured.
        window: its size.
        terms: gives the (terms, M) terms at (M, 2) points, working px.
    """
    near, weights = offsets_in(along, window)
    points = middle + near
    return Windows(
        places=middle[None],
        x=points[None, :, 0].astype(np.float32),
        y=points[None, :, 1].astype(np.float32),
        weights=weights,
        basis=terms(points),
        window=window,
    )


def offsets_in(eye_line: Array, window: Window) -> tuple[Plane, Plane]:
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


def polynomial(near: Array | Plane, degree: int) -> Plane:
    """(terms, n) array: 1, x, y, x^2, xy, y^2 and so on up to a degree, with lengths in pupil distances."""
    x, y = near[:, 0] / np.float32(PX_PER_PUPILS), near[:, 1] / np.float32(PX_PER_PUPILS)
    terms = [x ** (of - k) * y**k for of in range(degree + 1) for k in range(of + 1)]
    return np.stack(terms).astype(np.float32)
