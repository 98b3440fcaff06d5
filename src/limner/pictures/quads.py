"""Four-sided figures that lines could form, the most likely first."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limner.pictures.straight import Line

Array = NDArray[np.float64]

_LEAST_AREA = 0.03
"""Share of the photo a canvas must fill."""
_OUTSIDE = 0.01
_SIDES_KEPT = 8
_MOST = 28
_UNLIKE = 4.0
"""What a figure loses by each unit of logarithm and cosine that its shape is off: the side of a thick canvas costs a
tenth, and boards make figures of any shape (limner's choice)."""
_JUNCTION = 0.06
"""Of the picture's long side: how far round a corner its edges are judged."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Net:
    """Every line across (index a) against every upright one (index u)."""

    meet: Array
    """(a, u, 2) array, px: where they cross; NaN where they are all but parallel."""
    grown_a: Array
    """(a, u) array, px: edge on the line across up to the crossing."""
    grown_u: Array
    at_a: Array
    """(a, u) array, px: place of the crossing along the line across."""
    at_u: Array
    corner: Array
    """(4, a, u) array: how much the crossing looks like a top left, top right, bottom right, bottom left corner."""


def likely_quads(
    across: list[Line],
    upright: list[Line],
    size: tuple[int, int],
    may_be: Callable[[Array], NDArray[np.bool_]],
    unlike: Callable[[Array], Array] | None = None,
) -> Array:
    """Candidates by how much of their sides is edge and how little the edges run on past the corners.

    Gives a (k, 4, 2) array of corners, px: top left, top right, bottom right, bottom left. ``may_be``: of such corners,
    which could be the canvas's; among bricks and boards the likeliest four-sided figures are all elsewhere. ``unlike``:
    how far those that could are from its shape; each hundredth counts against them.
    """
    if len(across) < 2 or len(upright) < 2:
        return np.zeros((0, 4, 2))
    net = _net(across, upright, _JUNCTION * max(size))
    index = _chosen(net)
    corners = _corners(net, index)
    good = _plausible(corners, size)
    index, corners = index[good], corners[good]
    good = may_be(corners)
    index, corners = index[good], corners[good]
    score = _score(net, index) + 0.3 * np.sqrt(area(corners) / (size[0] * size[1]))
    if unlike is not None:
        score = score - _UNLIKE * unlike(corners)
    best = np.argsort(-score, kind="stable")[:_MOST]
    return np.asarray(corners[best])


def area(corners: Array) -> Array:
    """Area of (..., 4, 2) corners, px squared."""
    x, y = corners[..., 0], corners[..., 1]
    return np.asarray(0.5 * np.abs(np.sum(x * np.roll(y, -1, -1) - np.roll(x, -1, -1) * y, axis=-1)))


def _net(across: list[Line], upright: list[Line], reach: float) -> _Net:
    pa, da = np.array([line.point for line in across]), np.array([line.along for line in across])
    pu, du = np.array([line.point for line in upright]), np.array([line.along for line in upright])
    gap = pu[None] - pa[:, None]
    cross = da[:, None, 0] * du[None, :, 1] - da[:, None, 1] * du[None, :, 0]
    cross = np.where(np.abs(cross) < 0.5, np.nan, cross)
    at_a = (gap[..., 0] * du[None, :, 1] - gap[..., 1] * du[None, :, 0]) / cross
    meet = pa[:, None] + at_a[..., None] * da[:, None]
    at_u = np.sum((meet - pu[None]) * du[None], axis=2)
    grown_a, back_a, on_a = _edge_about(across, at_a, reach)
    grown_u, back_u, on_u = (part.T for part in _edge_about(upright, at_u.T, reach))
    # A corner has edges leading away from it on two sides, and none on the other two.
    kinds = (
        (on_a, back_a, on_u, back_u),
        (back_a, on_a, on_u, back_u),
        (back_a, on_a, back_u, on_u),
        (on_a, back_a, back_u, on_u),
    )
    corner = np.stack([0.5 * (mine_a + mine_u) - 0.35 * (past_a + past_u) for mine_a, past_a, mine_u, past_u in kinds])
    return _Net(meet=meet, grown_a=grown_a, grown_u=grown_u, at_a=at_a, at_u=at_u, corner=np.nan_to_num(corner, nan=-9))


def _edge_about(lines: list[Line], at: Array, reach: float) -> tuple[Array, Array, Array]:
    """For each line and each place on it: edge up to there, share of edge just before, share of edge just after."""
    grown, back, on = np.zeros_like(at), np.zeros_like(at), np.zeros_like(at)
    for k, line in enumerate(lines):
        ends = line.spans.ravel()
        sums = np.cumsum(np.tile([0.0, 1.0], len(line.spans)) * np.diff(ends, prepend=ends[:1]))
        here = np.interp(at[k], ends, sums)
        grown[k] = here
        slack = 0.08 * reach
        back[k] = (np.interp(at[k] - slack, ends, sums) - np.interp(at[k] - reach, ends, sums)) / (reach - slack)
        on[k] = (np.interp(at[k] + reach, ends, sums) - np.interp(at[k] + slack, ends, sums)) / (reach - slack)
    return grown, back, on


def _chosen(net: _Net) -> NDArray[np.intp]:
    """For every top and bottom, the likeliest left and right sides: (k, 4) array."""
    # A line that all others run along meets none of them, and is neither a top nor a bottom.
    meets = np.isfinite(net.meet[..., 1]).sum(axis=1)
    middle = np.where(meets > 0, np.nansum(net.meet[..., 1], axis=1) / np.maximum(meets, 1), np.nan)
    top, bottom = np.nonzero(middle[:, None] < middle[None, :] - 1)
    long = net.at_u[bottom] - net.at_u[top]
    held = np.nan_to_num((net.grown_u[bottom] - net.grown_u[top]) / np.maximum(long, 1), nan=-9)
    held = np.where(long > 0, held, -9)
    kept = min(_SIDES_KEPT, net.meet.shape[1])
    left = np.argsort(-(held + net.corner[0][top] + net.corner[3][bottom]), axis=1, kind="stable")[:, :kept]
    right = np.argsort(-(held + net.corner[1][top] + net.corner[2][bottom]), axis=1, kind="stable")[:, :kept]
    pairs = np.arange(len(top))[:, None, None] + np.zeros((1, kept, kept), dtype=np.intp)
    lefts, rights = np.broadcast_arrays(left[:, :, None], right[:, None, :])
    return np.stack([top[pairs].ravel(), bottom[pairs].ravel(), lefts.ravel(), rights.ravel()], axis=1)


def _corners(net: _Net, index: NDArray[np.intp]) -> Array:
    top, bottom, left, right = index.T
    return np.stack(
        [net.meet[top, left], net.meet[top, right], net.meet[bottom, right], net.meet[bottom, left]], axis=1
    )


def _plausible(corners: Array, size: tuple[int, int]) -> NDArray[np.bool_]:
    """In order, in the picture, large enough, and no more askew than a camera 45 degrees off axis makes a rectangle."""
    width, height = size
    tl, tr, br, bl = (corners[:, k] for k in range(4))
    with np.errstate(invalid="ignore"):
        good = (tl[:, 1] < bl[:, 1]) & (tr[:, 1] < br[:, 1]) & (tl[:, 0] < tr[:, 0]) & (bl[:, 0] < br[:, 0])
        edge = _OUTSIDE * max(size)
        good &= np.all((corners > -edge) & (corners < np.array([width, height]) + edge), axis=(1, 2))
        good &= area(corners) > _LEAST_AREA * width * height
        sides = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
        for one, other in ((0, 2), (1, 3)):
            ratio = sides[:, one] / np.maximum(sides[:, other], 1e-9)
            good &= (ratio > 0.55) & (ratio < 1 / 0.55)
        shape = (sides[:, 0] + sides[:, 2]) / np.maximum(sides[:, 1] + sides[:, 3], 1e-9)
        good &= (shape > 0.3) & (shape < 1 / 0.3)
    return np.asarray(good)


def _score(net: _Net, index: NDArray[np.intp]) -> Array:
    top, bottom, left, right = index.T
    held = np.stack(
        [
            (net.grown_a[top, right] - net.grown_a[top, left]) / (net.at_a[top, right] - net.at_a[top, left]),
            (net.grown_u[bottom, right] - net.grown_u[top, right]) / (net.at_u[bottom, right] - net.at_u[top, right]),
            (net.grown_a[bottom, right] - net.grown_a[bottom, left])
            / (net.at_a[bottom, right] - net.at_a[bottom, left]),
            (net.grown_u[bottom, left] - net.grown_u[top, left]) / (net.at_u[bottom, left] - net.at_u[top, left]),
        ]
    )
    corner = (
        net.corner[0][top, left]
        + net.corner[1][top, right]
        + net.corner[2][bottom, right]
        + net.corner[3][bottom, left]
    )
    return np.asarray(held.mean(0) + 0.5 * held.min(0) + 0.25 * corner)
