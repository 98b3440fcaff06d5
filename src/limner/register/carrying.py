"""The reference's points carried to the painting along what the pixels of both show."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT, FacePoints
from limner.face.points import FEATURES, MESH_POINTS
from limner.measure.similarity import NoFit
from limner.pictures.picture import Picture
from limner.register.again import once_more
from limner.register.belief import Laid, Seen, has_all_tones, judge
from limner.register.bring import Brought, Sitter, apply, lay, sitter_of
from limner.register.carried import Carried
from limner.register.flow import agreed, at, dense_flow, fine_flow
from limner.register.lips import with_lips
from limner.register.local import local_fits
from limner.register.repaint import repainted
from limner.register.rims import with_rims
from limner.register.tone import Look, planes, planes_of_shapes
from limner.register.wholes import with_wholes
from limner.register.windows import Window, Windows, windows_round

Array = NDArray[np.float64]
Plane = NDArray[np.float32]

LOOKS = (Look(blur=0.006, window=0.25), Look(blur=0.01, window=0.5))
"""How the planes are made for the close and for the wide fit, whose mean is taken."""
LOOKS_IN_FULL = (Look(blur=0.006, window=0.15), Look(blur=0.01, window=0.3))
"""The same for a painting with all its tones: evened over less, noses and mouths in three renderers written apart were
read a twentieth nearer. Block-ins, whose flat patches hold little in so narrow a window, were not tried."""

WINDOWS: Mapping[str, tuple[Window, Window]] = MappingProxyType(
    {
        "eye": (Window(along=0.10, across=0.065, step=3), Window(along=0.13, across=0.075, step=4)),
        "mouth": (Window(along=0.12, across=0.055, step=2), Window(along=0.16, across=0.07, step=3)),
        "nose": (Window(along=0.12, across=0.08, step=3), Window(along=0.16, across=0.09, step=4)),
        "other": (Window(along=0.14, across=0.07, step=3), Window(along=0.18, across=0.08, step=4)),
    }
)
"""The close and the wide window by region. On planted errors no single window was best for widths, lids and lips at
once: a window as wide as a lip is thick reads a thicker lip too thin, one that reaches from the eye's corner past where
a wider eye ends reads the eye too narrow, and a smaller one follows single strokes. Every third px of the close one and
every fourth of the wide one, whose planes are softer, tell as much as all, but for the lips: there it is a px less."""

EYE_IN_FULL = (Window(along=0.055, across=0.07, step=3), Window(along=0.07, across=0.09, step=4))
"""The eye's windows in a painting with all its tones. There the eye as a whole speaks where the paint is calm, and the
local fits where slips meet: those are then read nearer by smaller windows. They are taller than they are wide: what
reaches into an eye from a slip beside it, as of the nose, changes within a tenth of a pupil distance along the eye
line. Eyes' widths come out a twentieth nearer than by wider and lower ones, openings a tenth farther off, at half of
what they may be."""

ROUNDS = 2
"""Of each fit: from the fine flow a third changes nothing that is measured, and on a block-in, whose flat patches pull
at the fit, every further round leads further astray."""

EDGE = 0.1
"""Pupil distances from a picture's edge within which a point is cut off with what lies beyond: a window round it would
reach past the edge. In copies of 18 old portraits, most cut tightly, widths of the face were read wrong by up to 14 %
where the outline comes so near (root mean square; ten of 13 by more than 1 %), and of the other five in one."""

_WINDOW_OF: Mapping[str, str] = MappingProxyType({"iris": "eye"})


@cache
def fitted_points() -> Mapping[str, NDArray[np.int64]]:
    """Mesh points that get fits of their own, by region: all that outlines, named points and so measures need."""
    taken: dict[str, set[int]] = {region: set() for region in WINDOWS}
    regions = [(part.region, part.indices) for part in FEATURES.values()]
    regions += [(point.region, point.indices) for point in MESH_POINTS]
    for region, indices in regions:
        taken[_WINDOW_OF.get(region, region if region in taken else "other")] |= set(indices)
    taken["nose"] -= taken["mouth"]
    taken["other"] -= taken["nose"] | taken["mouth"] | taken["eye"]
    return MappingProxyType({region: np.array(sorted(points)) for region, points in taken.items()})


def carry(reference: Picture, points: FacePoints, painting: Picture, found: FacePoints, *, threads: int = 1) -> Carried:
    """Say where each of the reference's points lies in the painting, from its pixels.

    Args:
        reference: the photograph worked from.
        points: its points.
        painting: the photo of the canvas.
        found: the points found in it, as the start.
        threads: 2 makes two fits side by side; the result is the same.

    Returns:
        The carried points, in px of the painting as decoded, with how far they are believed; ``refused`` says why not.
    """
    sitter = sitter_of(reference, points)
    brought = lay(sitter, painting.pixels, found.mean) if isinstance(sitter, Sitter) else sitter
    if not isinstance(brought, Brought):
        cut = cut_off(reference, points.mean) | cut_off(painting, found.mean)
        return replace(_nothing(found, brought), cut=cut)
    flows = dense_flow(brought)
    start = agreed(flows)
    laid = Laid(brought, start)
    full = has_all_tones(laid)
    shapes: Plane | None = None
    if full:
        start = fine_flow(brought)
    else:
        shapes = repainted(brought, start)
        start = agreed(dense_flow(brought, shapes))
    coarse = brought.places + at(start, brought.places)
    jobs = [(which, lightness) for lightness in ((None,) if full else (None, shapes)) for which in range(len(LOOKS))]

    def fit(job: tuple[int, Plane | None]) -> tuple[Array, Array]:
        return _fit(brought, start, coarse, *job, full=full)

    if threads == 1:
        fits = [fit(job) for job in jobs]
    else:
        with ThreadPoolExecutor(max_workers=threads) as pool:
            fits = list(pool.map(fit, jobs))
    runs, doubts = zip(*fits, strict=True)
    mean = np.mean(runs, axis=0)
    verdict = judge(laid, flows, Seen(points=mean, runs=np.stack(runs), sigma=np.mean(doubts, axis=0)))
    there = apply(brought.to_painting, mean)
    return Carried(
        points=there,
        runs=apply(brought.to_painting, np.stack([*runs, coarse])),
        confidence=verdict.confidence,
        unpainted=verdict.unpainted,
        doubts=verdict.doubts,
        refused=verdict.refused,
        cut=cut_off(reference, points.mean) | cut_off(painting, found.mean if verdict.refused else there),
        by_shapes=shapes is not None,
    )


def cut_off(picture: Picture, points: Array) -> frozenset[int]:
    """Rows of (478, 2) points, px, that lie outside a picture or nearer to its edge than :data:`EDGE`."""
    height, width = picture.pixels.shape[:2]
    near = EDGE * float(np.linalg.norm(points[PUPIL_LEFT] - points[PUPIL_RIGHT]))
    inside = (points >= near) & (points <= np.array([width - 1, height - 1]) - near)
    return frozenset(np.flatnonzero(~inside.all(axis=1)).tolist())


def _fit(
    brought: Brought, start: Plane, coarse: Array, which: int, shapes: Plane | None, *, full: bool
) -> tuple[Array, Array]:
    """(478, 2) and (478,) arrays, working px: the points by the close (0) or the wide (1) fits, and their doubt.

    With (h, w) ``shapes`` the repainted reference is compared, else the reference as it is.
    """
    look = (LOOKS_IN_FULL if full else LOOKS)[which]
    made = planes(brought, look) if shapes is None else planes_of_shapes(brought, shapes, look)
    run, doubt = coarse.copy(), np.zeros(len(coarse))
    fitted = brought.sitter.kept.made(("windows", which, full), lambda: _windows(brought.places, which, full=full))
    for rows, windows in fitted:
        fits = local_fits(start, made, windows, ROUNDS, plain=full)
        run[rows] = windows.places + fits.moves
        doubt[rows] = fits.sigma
    run = with_wholes(brought.sitter, start, made, run, doubt, which=which, full=full)
    if not full:
        return run, doubt
    run = once_more(brought.sitter, start, made, fitted, run, doubt, which=which)
    rows_fitted = np.concatenate([rows for rows, _ in fitted])
    run = with_rims(brought.sitter, start, made, run, rows_fitted)
    return with_lips(brought.sitter, start, made, run, rows_fitted), doubt


def _windows(places: Array, which: int, *, full: bool) -> list[tuple[NDArray[np.int64], Windows]]:
    """Rows of the points that get fits of their own, and the windows round them, by region."""
    line = places[PUPIL_LEFT] - places[PUPIL_RIGHT]
    line = line / np.linalg.norm(line)
    windows = {**WINDOWS, "eye": EYE_IN_FULL} if full else WINDOWS
    parts = fitted_points().items()
    return [(rows, windows_round(places[rows], line, windows[region][which])) for region, rows in parts]


def _nothing(found: FacePoints, why: NoFit) -> Carried:
    return Carried(
        points=found.mean, runs=found.runs, refused=f"the painting cannot be laid over the reference: {why.reason}"
    )
