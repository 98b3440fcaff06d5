"""One smooth local deformation of the plane: a linear map or a shift that fades to nothing away from its centre."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from limner.errors import UsageError

Array = NDArray[np.float64]


class FoldError(UsageError):
    """A planted slip is so strong that it folds the picture over itself."""


Falloff = Literal["quintic", "septic", "cosine", "bump", "hill"]
FALLOFFS: tuple[Falloff, ...] = ("quintic", "septic", "cosine", "bump", "hill")

_SHARES = (*[1.0] * 20, *[0.5] * 40, *[0.2] * 80)
"""Of each step that is taken: a pull that stretches the picture to twice and more its size somewhere swings ever wider
in full steps, though it folds nothing."""
_CLOSE = 0.005


def fade(t: Array, shape: Falloff) -> Array:
    """Weight that is 1 at ``t <= 0`` and 0 at ``t >= 1``; (…,) array in, same shape out.

    ``quintic`` has two continuous derivatives, ``septic`` three, ``cosine`` one, ``bump`` and ``hill`` all.

    >>> fade(np.array([-1.0, 0.5, 2.0]), "quintic").tolist()
    [1.0, 0.5, 0.0]
    """
    s = np.clip(t, 0.0, 1.0)
    if shape == "quintic":
        return np.asarray(1 - s**3 * (10 - 15 * s + 6 * s**2))
    if shape == "septic":
        return np.asarray(1 - s**4 * (35 - 84 * s + 70 * s**2 - 20 * s**3))
    if shape == "cosine":
        return np.asarray(0.5 * (1 + np.cos(np.pi * s)))
    inside = np.clip(s, 1e-9, 1 - 1e-9)
    rise, fall = np.exp(-1 / inside), np.exp(-1 / (1 - inside))
    return np.asarray(fall / (rise + fall))


@dataclass(frozen=True, kw_only=True, eq=False)
class Pull:
    """``x -> x + w(x) (matrix (x - centre) + shift)``: ``w`` is 1 in an elliptical core, 0 outside ``reach`` times it.

    Coordinates are px, x to picture right and y down.
    """

    centre: Array
    """(2,) array, px."""
    axes: Array
    """(2, 2) array: rows are the unit vectors of the ellipse's axes."""
    radii: tuple[float, float]
    """Half-axes of the core, px."""
    matrix: Array
    """(2, 2) array, what is added to the identity."""
    shift: Array
    """(2,) array, px."""
    reach: float = 2.0
    falloff: Falloff = "quintic"
    roundness: float = 2.0
    """Exponent of the (super-)ellipse; 2 is an ellipse."""
    fixed: tuple[tuple[float, float, float, float], ...] = ()
    """Places x, y that must not move, each with the radii (px) up to which nothing moves and from which all does."""
    side: tuple[float, float, float] | None = None
    """Unit direction x, y and a length in px: it acts only on that side of the centre, fading in over the length."""

    def weight(self, xy: Array) -> Array:
        """(N,) array of weights 0 to 1 at (N, 2) points."""
        local = (xy - self.centre) @ self.axes.T / np.asarray(self.radii)
        radius = (np.abs(local) ** self.roundness).sum(axis=1) ** (1 / self.roundness)
        # "hill" has no plateau: full strength at the centre only.
        t = radius / self.reach if self.falloff == "hill" else (radius - 1) / (self.reach - 1)
        w = fade(t, self.falloff)
        for x, y, still, free in self.fixed:
            distance = np.hypot(xy[:, 0] - x, xy[:, 1] - y)
            w = w * (1 - fade((distance - still) / (free - still), "quintic"))
        if self.side is not None:
            ux, uy, length = self.side
            along = ((xy - self.centre) @ np.array([ux, uy])) / length
            w = w * (1 - fade(along, "quintic"))
        return np.asarray(w)

    def added(self, xy: Array) -> Array:
        """(N, 2) array: how far each of the (N, 2) points moves, px."""
        return np.asarray(self.weight(xy)[:, None] * ((xy - self.centre) @ self.matrix.T + self.shift))

    def forward(self, xy: Array) -> Array:
        """Where (N, 2) points go, px."""
        return np.asarray(xy + self.added(xy))

    def box(self, margin: float = 1.0) -> tuple[float, float, float, float]:
        """x0, y0, x1, y1 in px outside which nothing moves."""
        half = self.reach * np.sqrt(((np.asarray(self.radii)[:, None] * self.axes) ** 2).sum(axis=0))
        if self.roundness > 2:
            half = self.reach * (np.abs(np.asarray(self.radii)[:, None] * self.axes)).sum(axis=0)
        low, high = self.centre - half - margin, self.centre + half + margin
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])

    def inverse(self, xy: Array) -> Array:
        """Where (N, 2) points came from, px, by fixed-point iteration.

        Raises :class:`FoldError` when the pull is so strong that it folds the picture over itself.
        """
        x0, y0, x1, y1 = self.box()
        inside = (xy[:, 0] > x0) & (xy[:, 0] < x1) & (xy[:, 1] > y0) & (xy[:, 1] < y1)
        out = xy.astype(np.float64, copy=True)
        index = np.flatnonzero(inside)
        for share in _SHARES:
            if not len(index):
                return out
            step = xy[index] - self.added(out[index]) - out[index]
            moving = np.abs(step).max(axis=1) > _CLOSE
            out[index] += share * step
            index = index[moving]
        if len(index):
            raise FoldError(
                "A planted slip must be gentle enough not to fold the picture; this one is not. Plant a smaller amount."
            )
        return out
