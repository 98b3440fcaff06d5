"""What the page draws on: both pictures in one frame, and every line in its px."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from limner.auditing import Examined
from limner.face.facepoints import POINT_COUNT
from limner.face.placeable import BEYOND, OUTLINE
from limner.face.points import FEATURES, NAMED_POINTS
from limner.pictures.cielab import lab_of_pixels
from limner.report.chalk import ellipse
from limner.report.layers import DRAWN
from limner.report.window import Window, known_runs, look_at
from limner.result import AuditResult

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

WIDEST, HIGHEST = 900, 1150
"""px of the frame, at most: what two pictures may take of the page's 3 MB."""
_WALL = (128, 128, 128)

AXES = {
    "eye line": ("p_right", "p_left"),
    "brow line": ("bp_right", "bp_left"),
    "line of the nose base": ("al_right", "al_left"),
    "mouth line": ("ch_right", "ch_left"),
    "centre line": ("g", "gn"),
}
_SIDED = ("ex", "en", "p", "al", "ch")
_PLUMBS = tuple(f"{key}_{side}" for key in _SIDED for side in ("right", "left"))
_LEVELS = ("bp_right", "bp_left", "p_right", "p_left", "sn", "sto", "gn")
_SPACES = {
    "between the eyes and the nose": ("en_right", "en_left", "al_left", "sn", "al_right"),
    "between the nose and the mouth": ("al_right", "sn", "al_left", "ch_left", "ls", "ch_right"),
    "between brow and eye, sitter's right": ("bo_right", "bp_right", "bi_right", "en_right", "ps_right", "ex_right"),
    "between brow and eye, sitter's left": ("bi_left", "bp_left", "bo_left", "ex_left", "ps_left", "en_left"),
    "between the mouth and the chin": ("ch_right", "li", "ch_left", "go_left", "gn", "go_right"),
}
"""The spaces between the features: negative shapes, which show an error that the features themselves hide."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Stage:
    """Both pictures at one size, the reference laid where it belongs on the painting."""

    painting: Pixels
    """(H, W, 3) array, sRGB."""
    reference: Pixels
    """(H, W, 3) array, sRGB."""
    window: Window

    @property
    def size(self) -> tuple[int, int]:
        """Width and height, px."""
        return self.painting.shape[1], self.painting.shape[0]


def stage_of(found: Examined) -> Stage:
    """Return the head of both pictures in the frame of the painting."""
    result = found.result
    everything = np.vstack(
        [p for p in (result.painting_points, result.should_be, result.more_points, result.more_should_be) if len(p)]
    )
    window = look_at(found.painting, everything, height=HIGHEST, most=2.0)
    if window.picture.width > WIDEST:
        height = round(window.picture.height * WIDEST / window.picture.width)
        window = look_at(found.painting, everything, height=height, most=2.0)
    painting = np.asarray(window.picture, dtype=np.uint8)
    known = np.isfinite(result.reference_points).all(axis=1) & np.isfinite(result.should_be).all(axis=1)
    laid = _similarity(result.reference_points[known], window.place(result.should_be[known]))
    reference = _laid(found.reference.pixels, laid, (painting.shape[1], painting.shape[0]))
    return Stage(painting=painting, reference=reference, window=window)


def _similarity(source: Array, target: Array) -> Array:
    """(2, 3) affine matrix: the similarity by least squares."""
    a, b = (points[:, 0] + 1j * points[:, 1] for points in (source, target))
    factor = np.vdot(a - a.mean(), b - b.mean()) / np.vdot(a - a.mean(), a - a.mean())
    shift = b.mean() - factor * a.mean()
    return np.array([[factor.real, -factor.imag, shift.real], [factor.imag, factor.real, shift.imag]])


def _laid(pixels: Pixels, matrix: Array, size: tuple[int, int]) -> Pixels:
    scale = float(np.hypot(matrix[0, 0], matrix[1, 0]))
    if scale < 0.7:
        pixels = np.asarray(cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), dtype=np.uint8)
        matrix = np.hstack([matrix[:, :2] / scale, matrix[:, 2:]])
    drawn = cv2.warpAffine(pixels, matrix, size, flags=cv2.INTER_CUBIC, borderValue=_WALL)
    return np.asarray(drawn, dtype=np.uint8)


def picture_of(pixels: Pixels) -> Image.Image:
    """Return the pixels as a picture without any metadata."""
    return Image.fromarray(np.ascontiguousarray(pixels))


def outlines(result: AuditResult, window: Window, *, painted: bool) -> list[dict[str, object]]:
    """Every outline as it is painted, or where it belongs: ``line`` in px of the frame, and whether it ``closes``."""
    points = result.painting_points if painted else result.should_be
    hidden = {m.feature for m in result.measures if m.call == "not painted yet"} if painted else set()
    drawn = []
    for name in DRAWN:
        line = points[list(FEATURES[name].indices)]
        if name not in hidden and np.isfinite(line).all():
            round_it = FEATURES[name].closed and len(line) == 4  # an iris
            line = ellipse(line, 16) if round_it else line
            drawn.append({"line": rounded(window.place(line)), "closes": FEATURES[name].closed})
    more = result.more_points if painted else result.more_should_be
    if len(more):
        head = window.place(more[[BEYOND[key] - POINT_COUNT for key in OUTLINE]])
        drawn += [{"line": rounded(run), "closes": False} for run in known_runs(head)]
    return drawn


def lines(result: AuditResult, window: Window) -> dict[str, list[list[list[float]]]]:
    """The axes of both faces, plumb and level lines of the sitter's, and the spaces between the features of both."""
    named = {key: list(point.indices) for key, point in NAMED_POINTS.items() if point.indices}
    is_at, should = (
        {key: window.place(points[rows].mean(axis=0)) for key, rows in named.items()}
        for points in (result.painting_points, result.should_be)
    )
    width, height = window.picture.size
    plumbs = [[[x, 0.0], [x, float(height)]] for x, _ in _known(should[key] for key in _PLUMBS)]
    levels = [[[0.0, y], [float(width), y]] for _, y in _known(should[key] for key in _LEVELS)]
    return {
        "axes_should": [_run(should, ends) for ends in AXES.values()],
        "axes_painted": [_run(is_at, ends) for ends in AXES.values()],
        "plumbs": [rounded(np.array(line)) for line in plumbs + levels],
        "spaces_should": [_run(should, keys) for keys in _SPACES.values()],
        "spaces_painted": [_run(is_at, keys) for keys in _SPACES.values()],
    }


def _run(places: dict[str, Array], keys: Sequence[str]) -> list[list[float]]:
    return rounded(np.array(list(_known(places[key] for key in keys))).reshape(-1, 2))


def _known(places: Iterable[Array]) -> list[Array]:
    return [place for place in places if np.isfinite(place).all()]


def rounded(line: Array) -> list[list[float]]:
    """Return an (N, 2) line as plain numbers, to a tenth of a px."""
    return [[round(float(x), 1) for x in place] for place in np.asarray(line)]


def cuts_without_values(stage: Stage) -> dict[int, list[float]]:
    """Where the sitter's L* is cut into so many values when the audit told none: into even shares of the frame."""
    lightness = lab_of_pixels(stage.reference)[..., 0]
    return {n: [round(float(q), 2) for q in np.quantile(lightness, np.arange(1, n) / n)] for n in range(2, 6)}
