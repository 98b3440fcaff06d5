"""The local fits: round each point, the one smooth bend of the reference that matches the paint best.

The dense flow follows every stroke. A slip of the brush over a whole lid does not look like that: it is a shift, a
stretch, a turn, a bend. So round each point the displacement is modelled as a polynomial of second degree in place,
fitted to all the paint in a window by Gauss-Newton (Lucas & Kanade 1981, IJCAI; both pictures' gradients averaged, as
Benhimane & Malis 2004, IROS), with Huber weights against what has no counterpart and a free local gain and offset.
Many pixels speak for six numbers an axis, so the noise of single strokes averages out, and a window longer along the
eye line than across it keeps lids and lips apart.

Where the paint does not speak for a bend, a fit keeps to a shift, a stretch and a turn: terms above the first degree
count by how far they stand out of their own noise (the shrinking of least squares toward a simpler model goes back to
Stein 1956 and James & Stein 1961; from memory). Single strokes bend a fit a little everywhere, a slip bends it much.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.register.bring import PX_PER_PUPILS
from limner.register.flow import at
from limner.register.tone import Planes
from limner.register.windows import Windows, polynomial

Array = NDArray[np.float64]
Plane = NDArray[np.float32]

_CELL = 61.0
"""Working px of brushed paint that count as one independent reading."""
_FREE_SHIFT, _FREE_BEND = 0.1, 0.3
"""How far, in pupil distances, the fit may leave its start: one sigma of shift and of each coefficient."""
_LONGEST = 0.15
"""Largest change of a coefficient in one round, pupil distances."""
_HUBER = 1.5
_STRAIGHT = 3
"""Terms of first degree and less."""
BENT = 0.3
"""Squared standard score of a bend, per coefficient, at which half of it counts. On faithful copies it is 0.05 to 0.4
(neighbouring strokes follow one form, so :data:`_CELL` is on the safe side), on slips of the size painters make 0.5 to
30, in three kinds of paint."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Fits:
    """One local fit for each place."""

    moves: Array
    """(N, 2) array, working px."""
    bends: Array
    """(N, 2, terms) array: the polynomials whose value at the place is ``moves``, less the flow where it is kept."""
    normal: Array
    """(N, m, m) array: the normal equations of the last round, bends first."""
    bent: Array
    """(N,) array: squared standard score, per coefficient, of what is not shift, stretch and turn; 0 if not asked."""

    @cached_property
    def sigma(self) -> Array:
        """(N,) array, working px: from the curvature of the fit and what it leaves over."""
        terms, size = self.bends.shape[2], self.normal.shape[2]
        asked = np.broadcast_to(np.eye(size)[:, [0, terms]], (len(self.normal), size, 2))
        doubt = np.linalg.solve(self.normal, asked)
        return np.asarray(np.sqrt(doubt[:, 0, 0] + doubt[:, terms, 1]), dtype=np.float64)

    def beside(self, offsets: Array, degree: int) -> Array:
        """(N, M, 2) array, working px: the moves at (M, 2) offsets from each place."""
        basis = polynomial(offsets.astype(np.float32), degree)
        return np.asarray(np.einsum("nct,tm->nmc", self.bends, basis), dtype=np.float64)


def local_fits(
    flow: Plane,
    planes: list[Planes],
    windows: Windows,
    rounds: int = 4,
    *,
    kept: bool = False,
    plain: bool = False,
    bent: float = BENT,
) -> Fits:
    """Fit round each place, from the flow as the start.

    Args:
        flow: (h, w, 2) array, working px.
        planes: what is compared.
        windows: the places, and how much round them is asked.
        rounds: of Gauss-Newton.
        kept: start from the flow as it is, not from the bend nearest to it; the bends found are then beside the flow.
        plain: keep to a shift, a stretch and a turn as far as nothing speaks for more.
        bent: squared standard score, per coefficient, at which half of a bend then counts.
    """
    x, y, basis = windows.x, windows.y, windows.basis
    terms = len(basis)
    start = cv2.remap(flow, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    nearest = np.concatenate([start[..., 0] @ windows.project.T, start[..., 1] @ windows.project.T], axis=1)
    if kept:
        x, y = x + start[..., 0], y + start[..., 1]
    first: Array = np.zeros_like(nearest) if kept else nearest
    views = _Views(planes, windows)
    free = np.array([_FREE_SHIFT] + [_FREE_BEND] * (terms - 1)) * PX_PER_PUPILS
    hold = np.concatenate([free, free]) ** -2.0
    longest = _LONGEST * PX_PER_PUPILS
    bend: Array = np.zeros((len(x), 2 * terms))
    tones: Array | None = None
    normal = np.zeros(0)
    for _ in range(rounds):
        moved = (first + bend).astype(np.float32)
        there = x + moved[:, :terms] @ basis, y + moved[:, terms:] @ basis
        normal, right = views.normal(*there, tones)
        normal[:, : 2 * terms, : 2 * terms] += np.diag(hold)
        normal[:, 2 * terms :, 2 * terms :] += 1e-3 * np.eye(2 * len(planes))
        right[:, : 2 * terms] -= bend * hold
        step = np.linalg.solve(normal, right[..., None])[..., 0]
        bend = bend + np.clip(step[:, : 2 * terms], -longest, longest)
        tones = np.asarray(step[:, 2 * terms :], dtype=np.float64)
    final, score = first + bend, np.zeros(len(x))
    if plain:
        less, score = _plainer(nearest + bend, normal, terms, bent)
        final = final + less
    moves = np.stack([final[:, 0], final[:, terms]], axis=1)
    return Fits(
        moves=moves + at(flow, windows.places) if kept else moves,
        bends=np.stack([final[:, :terms], final[:, terms:]], axis=1),
        normal=normal,
        bent=score,
    )


def _plainer(whole: Array, normal: Array, terms: int, half: float) -> tuple[Array, Array]:
    """What is to be added to bends so that terms above the first degree count only as far as the paint speaks for them.

    Args:
        whole: (N, 2 terms) array: the bends with what the flow they start from has of them.
        normal: (N, m, m) array: the normal equations, bends first.
        terms: of the polynomial.
        half: squared standard score, per coefficient, at which half of the bends counts.

    Returns:
        (N, 2 terms) array, with shift, stretch, turn fitted anew to what is left of the others; and (N,) array, the
        squared standard score, per coefficient, of the terms above the first degree.
    """
    above = np.zeros(normal.shape[1], dtype=bool)
    above[_STRAIGHT:terms] = above[terms + _STRAIGHT : 2 * terms] = True
    high, rest = np.flatnonzero(above), np.flatnonzero(~above)
    mixed = normal[:, rest[:, None], high]
    follow = np.linalg.solve(normal[:, rest[:, None], rest], mixed)
    curvature = normal[:, high[:, None], high] - mixed.transpose(0, 2, 1) @ follow
    own = whole[:, high]
    bent = np.einsum("ni,nij,nj->n", own, curvature, own) / len(high)
    lost = own * (half**2 / (bent**2 + half**2))[:, None]
    out = np.zeros(normal.shape[:2])
    out[:, high] = -lost
    out[:, rest] = np.einsum("nij,nj->ni", follow, lost)
    return out[:, : 2 * terms], bent


class _Views:
    """The planes of both pictures as seen from all windows; arrays of the planes (V), the windows (N), their px (n)."""

    def __init__(self, planes: list[Planes], windows: Windows) -> None:
        self._windows = windows
        self._paintings = [plane.painting for plane in planes]
        says = np.array([plane.weight for plane in planes]) * (windows.window.step**2 / _CELL)
        self._say: Plane = says.astype(np.float32)[:, None, None]
        for own in (plane.reference for plane in planes):
            if windows not in own.seen:
                drawn = [_sample(part, windows.x, windows.y) for part in (own.plane, *own.half_slopes)]
                own.seen[windows] = drawn[0], drawn[1], drawn[2]
        seen = [plane.reference.seen[windows] for plane in planes]
        self._reference, self._across, self._down = (np.stack(part) for part in zip(*seen, strict=True))

    def normal(self, x: Plane, y: Plane, tones: Array | None) -> tuple[Array, Array]:
        """Normal equations of all windows: (N, m, m) and (N, m) arrays; bends first, then each plane's gain and offset.

        Every entry is a weighted sum over the window of two columns, each a slope times a term of the basis (or the
        tone, or one), so all windows' sums are a few products of (N, n) with (n, terms) matrices.

        Args:
            x: (N, n) array, working px: where the px of each window lie in the painting.
            y: the same downwards.
            tones: (N, 2V) array: gain and offset of each plane as found before.
        """
        basis, pairs = self._windows.basis.T, self._windows.pairs.T
        painted = _sampled([own.plane for own in self._paintings], x, y)
        across = _sampled([own.half_slopes[0] for own in self._paintings], x, y)
        down = _sampled([own.half_slopes[1] for own in self._paintings], x, y)
        across += self._across  # the mean slope of the two pictures
        down += self._down
        lacking = self._reference - painted
        trust = self._trust(painted, lacking, tones)
        by_x, by_y, by_tone = trust * across, trust * down, trust * painted
        terms, first = basis.shape[1], self._windows.place
        gains = np.arange(2 * terms, 2 * terms + 2 * len(painted), 2)
        size = 2 * terms + 2 * len(painted)
        normal, right = np.zeros((len(x), size, size)), np.zeros((len(x), size))
        for rows, columns, slope, other in (
            (slice(0, terms), slice(0, terms), by_x, across),
            (slice(terms, 2 * terms), slice(terms, 2 * terms), by_y, down),
            (slice(0, terms), slice(terms, 2 * terms), by_x, down),
        ):
            normal[:, rows, columns] = ((slope * other).sum(axis=0) @ pairs)[:, first]
        normal[:, terms : 2 * terms, :terms] = normal[:, :terms, terms : 2 * terms]
        for rows, slope in ((slice(0, terms), by_x), (slice(terms, 2 * terms), by_y)):
            right[:, rows] = (slope * lacking).sum(axis=0) @ basis
            for column, crossed in ((gains, (slope * painted) @ basis), (gains + 1, slope @ basis)):
                normal[:, rows, column] = crossed.transpose(1, 2, 0)
                normal[:, column, rows] = crossed.transpose(1, 0, 2)
        right[:, gains] = (by_tone * lacking).sum(axis=2).T
        right[:, gains + 1] = (trust * lacking).sum(axis=2).T
        normal[:, gains, gains] = (by_tone * painted).sum(axis=2).T
        normal[:, gains + 1, gains + 1] = trust.sum(axis=2).T
        normal[:, gains, gains + 1] = normal[:, gains + 1, gains] = by_tone.sum(axis=2).T
        return normal, right

    def _trust(self, painted: Plane, lacking: Plane, tones: Array | None) -> Plane:
        """(V, N, n) array: what each px has to say, by the window, Huber's weight and the noise that is left over."""
        weights, left = self._windows.weights, lacking
        if tones is not None:
            gain, offset = (tones.T[k::2, :, None].astype(np.float32) for k in (0, 1))
            left = lacking - (gain * painted + offset)
        spread = np.sqrt((left * left) @ weights / weights.sum())[..., None] + np.float32(1e-6)
        trust = np.float32(_HUBER) * spread / np.maximum(np.abs(left), np.float32(1e-9))
        np.minimum(trust, 1, out=trust)
        trust *= weights
        trust *= self._say / (spread * spread)
        return np.asarray(trust, dtype=np.float32)


def _sampled(planes: list[Plane], x: Plane, y: Plane) -> Plane:
    """(V, N, n) array: each plane at (N, n) places."""
    out = np.empty((len(planes), *x.shape), dtype=np.float32)
    for plane, drawn in zip(planes, out, strict=True):
        cv2.remap(plane, x, y, cv2.INTER_LINEAR, dst=drawn, borderMode=cv2.BORDER_REPLICATE)
    return out


def _sample(plane: Plane, x: Plane, y: Plane) -> Plane:
    drawn = cv2.remap(plane, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(drawn, dtype=np.float32)
