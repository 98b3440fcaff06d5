"""The reference in a few values, and warm against cool, on the part of it that comes onto the canvas."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.face.points import FEATURES
from limner.pictures.cielab import lab_of_light, light_table
from limner.sheet.marks import Pen, Stroke
from limner.sheet.placing import Placement
from limner.sheet.reading import Sitter

Array = NDArray[np.float64]
Labels = NDArray[np.int64]
Pixels = NDArray[np.uint8]

SHADE = Pen(width=0.22, dash=(0.7, 1.0), ink=(0.25, 0.25, 0.25))
FINER = 3
"""How many times finer than the working px edges are followed."""
WORKING = 700
"""px of the long side on which values are taken."""
SIMPLE = 0.05
"""Gaussian, pupil distances, before values are parted: masses, no details (limner's choice)."""
SPECK = 0.02
"""Square pupil distances below which a shape is too small to paint (limner's choice)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Tones:
    """What comes onto the canvas, small, in CIE L*a*b*; NaN where the reference does not reach."""

    lab: Array
    """(H, W, 3) array."""
    mm_per_px: float
    """Of the canvas."""
    unit: float
    """px between the pupils."""
    asked: NDArray[np.bool_]
    """(H, W) array: whose values and colours the rest is parted by: the face's, or the whole picture's."""

    @property
    def seen(self) -> NDArray[np.bool_]:
        """(H, W) array: where the reference reaches."""
        return np.asarray(np.isfinite(self.lab[..., 0]))


def canvas_pixels(sitter: Sitter, placement: Placement, long_side: int) -> tuple[Pixels, NDArray[np.bool_]]:
    """The reference as it comes onto the canvas, (H, W, 3), and where it reaches, (H, W)."""
    width, height = placement.canvas
    pitch = max(width, height) / long_side
    size = (max(1, round(width / pitch)), max(1, round(height / pitch)))
    factor = placement.mm_per_px / pitch
    # Both count px from the edge of the picture; OpenCV counts from the middle of the first px.
    move = np.array(
        [
            [factor, 0.0, placement.offset[0] / pitch + 0.5 * factor - 0.5],
            [0.0, factor, placement.offset[1] / pitch + 0.5 * factor - 0.5],
        ]
    )
    source = np.ascontiguousarray(sitter.picture.pixels)
    if factor < 1:  # light spread over the px it will fall into, so that no detail turns to noise
        source = np.asarray(cv2.GaussianBlur(source, (0, 0), 0.5 / factor))
    shown = cv2.warpAffine(source, move, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    full = np.full(source.shape[:2], 255, dtype=np.uint8)
    reach = cv2.warpAffine(full, move, size, flags=cv2.INTER_NEAREST, borderValue=0.0)
    return np.asarray(shown, dtype=np.uint8), np.asarray(reach) > 0


By = Literal["face", "picture"]


def tones_of(sitter: Sitter, placement: Placement, by: By = "face") -> Tones:
    """Values and colours, softened to masses; ``by`` says whose values the picture is parted by."""
    pixels, reach = canvas_pixels(sitter, placement, WORKING)
    pitch = max(placement.canvas) / max(pixels.shape[:2])
    unit = sitter.points.pupil_distance * placement.mm_per_px / pitch
    if not np.isfinite(unit):
        unit = 0.1 * WORKING
    # In L*, not in light: there the middle of a softened edge stays where the edge is.
    soft = cv2.GaussianBlur(lab_of_light(light_table()[pixels]), (0, 0), max(SIMPLE * unit, 0.6))
    lab = np.asarray(soft, dtype=np.float64)
    lab[~reach] = np.nan
    face = _face_mask(sitter, placement, pitch, reach) if by == "face" else reach
    return Tones(lab=lab, mm_per_px=pitch, unit=float(unit), asked=face if face.any() else reach)


def _face_mask(sitter: Sitter, placement: Placement, pitch: float, reach: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(H, W) array: inside the face's outline; nothing where that is not known."""
    ring = placement.place(sitter.points.mean[list(FEATURES["face"].indices)]) / pitch - 0.5
    mask = np.zeros(reach.shape, dtype=np.uint8)
    if np.isfinite(ring).all():
        cv2.fillPoly(mask, [np.rint(ring).astype(np.int32)], (1.0,))
    return np.asarray((mask > 0) & reach)


def thresholds(values: Array, count: int) -> tuple[float, ...]:
    """L* at which ``count`` values part best: least scatter within each (Otsu 1979, for several classes; exact).

    Args:
        values: any shape, L* 0 to 100; what is not a number is left out.

    >>> thresholds(np.array([20.0, 21.0, 70.0, 71.0]), 2)
    (45.5,)
    """
    known = np.asarray(values)[np.isfinite(values)]
    bins = 101
    shares, _ = np.histogram(np.clip(known, 0, 100), bins=bins, range=(-0.5, 100.5))
    level = np.arange(bins, dtype=np.float64)
    n, s, q = (np.concatenate([[0.0], np.cumsum(shares * level**power)]) for power in (0, 1, 2))
    a, b = np.meshgrid(np.arange(bins + 1), np.arange(bins + 1), indexing="ij")
    held = np.maximum(n[b] - n[a], 1e-12)
    cost = np.where(b > a, (q[b] - q[a]) - (s[b] - s[a]) ** 2 / held, np.inf)
    best, back = cost[0], []
    for _ in range(count - 1):
        total = best[:, None] + cost
        back.append(total.argmin(axis=0))
        best = total.min(axis=0)
    cuts: list[int] = []
    at = bins
    for step in reversed(back):
        at = int(step[at])
        cuts.append(at)
    return tuple(_between(shares, cut) for cut in reversed(cuts))


def _between(shares: NDArray[np.int64], cut: int) -> float:
    """The middle of the empty stretch that a cut before bin ``cut`` lies in."""
    low = max((k for k in range(cut) if shares[k]), default=cut - 1)
    high = min((k for k in range(cut, len(shares)) if shares[k]), default=cut)
    return (low + high) / 2


def parted(tones: Tones, count: int) -> tuple[Labels, tuple[float, ...]]:
    """The value of every px, 0 darkest, -1 where the reference does not reach; and the thresholds, L*.

    Shapes too small to paint are given to what is round them.
    """
    cuts = thresholds(tones.lab[..., 0][tones.asked], count)
    labels = np.digitize(np.nan_to_num(tones.lab[..., 0]), cuts)
    labels = _without_specks(labels, SPECK * tones.unit**2)
    return np.asarray(np.where(tones.seen, labels, -1), dtype=np.int64), cuts


def _without_specks(labels: Labels, least: float) -> Labels:
    """Small islands of one value filled from around, value by value."""
    out: Labels = np.array(labels, dtype=np.int64)
    for value in np.unique(labels):
        count, parts, stats, _ = cv2.connectedComponentsWithStats((out == value).astype(np.uint8), connectivity=4)
        for part in range(1, count):
            if stats[part, cv2.CC_STAT_AREA] >= least:
                continue
            island = (parts == part).astype(np.uint8)
            ring = (np.asarray(cv2.dilate(island, np.ones((3, 3), np.uint8))) > 0) & (island == 0)
            if ring.any():
                out[island > 0] = np.bincount(out[ring]).argmax()
    return out


def value_picture(labels: Labels, tones: Tones) -> tuple[Pixels, tuple[float, ...]]:
    """(H, W) grey picture in which every value has its mean lightness, and these, L*; white where nothing reaches."""
    seen = tones.lab[..., 0]
    means = tuple(float(np.nanmean(seen[labels == k])) if (labels == k).any() else 0.0 for k in range(labels.max() + 1))
    from limner.pictures.cielab import to_levels

    y = [((m + 16) / 116) ** 3 if m > 8 else m / 903.2963 for m in means]
    greys = np.rint(255 * to_levels(np.array([*y, 1.0]))).astype(np.uint8)
    return greys[labels], means


def warmth(tones: Tones) -> tuple[Array, float]:
    """How much warmer than the middle colour of the face (or the picture) every px is, and that middle.

    Warm is toward orange-red, along CIE hue 60 degrees, which parts reds and yellows from greens, blues and violets
    (limner's choice of axis; painters do not agree on one). Against a middle of its own, because a photograph's white
    balance shifts all of it. Units of a*, b*.
    """
    turn = np.radians(60.0)
    along = tones.lab[..., 1] * np.cos(turn) + tones.lab[..., 2] * np.sin(turn)
    middle = float(np.nanmedian(along[tones.asked]))
    return along - middle, middle


def warmth_picture(tones: Tones, step: float = 3.0) -> tuple[Pixels, Labels]:
    """(H, W, 3) picture in three colours, cool, neither and warm, lighter or darker as the reference is; and which.

    Past ``step`` units of a*, b* it is called one or the other (limner's choice).
    """
    warm, _ = warmth(tones)
    light = np.nan_to_num(tones.lab[..., 0], nan=100.0)
    part = np.digitize(np.nan_to_num(warm), (-step, step))
    part = _without_specks(np.asarray(part, dtype=np.int64), SPECK * tones.unit**2)
    colours = np.array([[70, 110, 190], [150, 150, 150], [205, 95, 45]], dtype=np.float64)[part]
    share = (0.45 + 0.55 * light / 100)[..., None]
    out = np.clip(colours * share + 255 * (share - 0.45) * 0.5, 0, 255)
    out[~tones.seen] = 255
    return np.asarray(np.rint(out), dtype=np.uint8), part


def shadow_edges(sitter: Sitter, placement: Placement) -> list[Stroke]:
    """Where light parts from shadow in two values, by the values of the face; mm of the canvas."""
    tones = tones_of(sitter, placement)
    labels, _ = parted(tones, 2)
    return edges_of(labels == 0, tones.mm_per_px, SHADE)


def edges_of(mask: NDArray[np.bool_], mm_per_px: float, pen: Pen) -> list[Stroke]:
    """The outlines of a shape, mm; what runs along the edge of the picture is left out."""
    # OpenCV follows the px inside a shape; the finer they are, the nearer that is to its edge.
    fine = np.asarray(np.kron(mask, np.ones((FINER, FINER))), dtype=np.uint8)
    height, width = fine.shape
    contours, _ = cv2.findContours(fine, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    strokes = []
    for contour in contours:
        ring = contour[:, 0, :].astype(np.float64)
        if len(ring) < 8 * FINER:
            continue
        inside = (ring[:, 0] > 0) & (ring[:, 0] < width - 1) & (ring[:, 1] > 0) & (ring[:, 1] < height - 1)
        runs = _runs(_smoothed(ring), inside)
        strokes += [Stroke(points=(run + 0.5) / FINER * mm_per_px, pen=pen) for run in runs]
    return strokes


def _smoothed(ring: Array, reach: int = 4 * FINER) -> Array:
    """A closed line through the means of each point's neighbours."""
    kernel = np.hanning(2 * reach + 3)[1:-1]
    kernel /= kernel.sum()
    round_ = np.vstack([ring[-reach:], ring, ring[:reach]])
    return np.column_stack([np.convolve(round_[:, k], kernel, mode="valid") for k in (0, 1)])


def _runs(ring: Array, keep: NDArray[np.bool_]) -> list[Array]:
    """The stretches of a closed line that are kept, each thinned to about a point every second px."""
    step = 2 * FINER
    if keep.all():
        return [np.vstack([ring[::step], ring[:1]])]
    start = int(np.flatnonzero(~keep)[0])
    ring, keep = np.roll(ring, -start, axis=0), np.roll(keep, -start)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], keep, [False]]).astype(np.int8)))
    runs = [ring[a:b] for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return [np.vstack([run[::step], run[-1:]]) for run in runs if len(run) > 3 * step]
