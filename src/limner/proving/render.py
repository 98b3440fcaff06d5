"""Renders a photograph as a painting, in several kinds that differ in how the paint lies."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]
Floats = NDArray[np.float32]
Kind = Literal["strokes", "glazes", "blocks", "knife"]
RENDERERS: tuple[Kind, ...] = ("strokes", "glazes", "blocks", "knife")

_SHIFT = 5
"""cv2 draws at 1/32 px with this many fraction bits."""


@dataclass(frozen=True, kw_only=True)
class Palette:
    """How the painter's colours differ from the photograph's."""

    tint: tuple[float, float, float] = (1.04, 1.0, 0.92)
    """Gain of red, green, blue."""
    chroma: float = 0.9
    """Factor on the distance from grey; 0 is one colour."""
    gamma: float = 0.95
    """Tone curve: exponent on lightness."""
    low: float = 0.04
    high: float = 0.96
    """Darkest and lightest the paint goes, 0 to 1."""

    @classmethod
    def random(cls, rng: np.random.Generator) -> Palette:
        """A palette of ordinary warmth and contrast."""
        warm = rng.normal(0.04, 0.05)
        return cls(
            tint=(float(1 + warm), 1.0, float(1 - 1.5 * warm)),
            chroma=float(rng.uniform(0.7, 1.15)),
            gamma=float(rng.uniform(0.8, 1.2)),
            low=float(rng.uniform(0.0, 0.1)),
            high=float(rng.uniform(0.88, 1.0)),
        )

    def mix(self, picture: Floats) -> Floats:
        """(height, width, 3) array, 0 to 1, in the palette's colours."""
        grey = picture @ np.array([0.299, 0.587, 0.114], dtype=np.float32)
        tone = self.low + (self.high - self.low) * np.power(np.clip(grey, 0, 1), self.gamma)
        colour = tone[..., None] + self.chroma * (picture - grey[..., None])
        return np.asarray(np.clip(colour * np.asarray(self.tint, dtype=np.float32), 0, 1), dtype=np.float32)


@dataclass(frozen=True, kw_only=True)
class Brush:
    """How a painting is made."""

    kind: Kind = "strokes"
    brushes: tuple[float, ...] = (9.0, 5.0, 3.0)
    """Widths in px at a picture 900 px wide, coarse to fine; scaled with the picture."""
    palette: Palette = Palette()
    jitter: float = 0.035
    """Spread of a stroke's lightness, 0 to 1."""
    bristle: float = 0.03
    """Depth of the bristles' or the weave's texture, 0 to 1."""
    values: int = 4
    """Number of values of a block-in."""
    seed: int = 0

    @classmethod
    def random(cls, kind: Kind, seed: int) -> Brush:
        """A painter of this kind, drawn from a seed."""
        rng = np.random.default_rng([seed, 41])
        palette = Palette.random(rng)
        base = {"strokes": (9.0, 5.0, 3.0), "glazes": (5.0,), "blocks": (14.0, 8.0), "knife": (11.0, 6.0)}[kind]
        factor = float(rng.uniform(0.8, 1.25))
        values = int(rng.integers(2, 6))
        if kind == "blocks" and rng.random() < 0.6:
            warm = float(rng.uniform(0.0, 0.25))
            palette = Palette(tint=(1 + warm, 1.0, 1 - warm), chroma=0.0, gamma=palette.gamma, low=0.12, high=0.9)
        return cls(
            kind=kind,
            brushes=tuple(round(b * factor, 2) for b in base),
            palette=palette,
            jitter=float(rng.uniform(0.02, 0.05)),
            bristle=float(rng.uniform(0.015, 0.04)),
            values=values,
            seed=seed,
        )


def paint(pixels: Pixels, brush: Brush) -> Pixels:
    """Renders a (height, width, 3) sRGB picture as a painting of the same size. The same brush gives the same bytes."""
    picture = np.asarray(pixels, dtype=np.float32) / np.float32(255)
    rng = np.random.default_rng([brush.seed, 42])
    unit = pixels.shape[1] / 900
    make = {"strokes": _strokes, "glazes": _glazes, "blocks": _blocks, "knife": _knife}[brush.kind]
    canvas = make(picture, brush, unit, rng)
    return np.asarray(np.clip(np.rint(canvas * 255), 0, 255), dtype=np.uint8)


def form(picture: Floats, sigma: float) -> tuple[Floats, Floats]:
    """Direction of the form (radians, along the edges) and how marked it is (0 to 1), from the structure tensor."""
    grey = cv2.GaussianBlur(picture, (0, 0), max(0.6, sigma / 2)) @ np.array([0.299, 0.587, 0.114], dtype=np.float32)
    gx, gy = cv2.Scharr(grey, cv2.CV_32F, 1, 0), cv2.Scharr(grey, cv2.CV_32F, 0, 1)
    xx, xy, yy = (cv2.GaussianBlur(np.asarray(m), (0, 0), sigma) for m in (gx * gx, gx * gy, gy * gy))
    angle = 0.5 * np.arctan2(2 * xy, xx - yy) + np.pi / 2
    marked = np.sqrt((xx - yy) ** 2 + 4 * xy**2) / (xx + yy + 1e-4)
    return np.asarray(angle, dtype=np.float32), np.asarray(marked, dtype=np.float32)


def _lay(canvas: Floats, source: Floats, brush: Brush, width: float, rng: np.random.Generator, share: Floats) -> None:
    """Lays strokes of one width over the canvas where ``share`` (chance 0 to 1) asks for them; changes ``canvas``."""
    height, across = canvas.shape[:2]
    angle, marked = form(source, 1.2 * width)
    colour = cv2.GaussianBlur(source, (0, 0), 0.4 * width)
    step = 0.75 * width
    nx, ny = int(across / step) + 2, int(height / step) + 2
    grid = np.stack(np.meshgrid(np.arange(nx), np.arange(ny)), axis=-1).reshape(-1, 2) * step
    at = grid + rng.uniform(-0.5, 0.5, grid.shape) * step
    ix = np.clip(np.rint(at).astype(int), 0, [across - 1, height - 1])
    keep = rng.random(len(at)) < share[ix[:, 1], ix[:, 0]]
    at, ix = at[keep], ix[keep]
    order = rng.permutation(len(at))
    at, ix = at[order], ix[order]
    turn = angle[ix[:, 1], ix[:, 0]] + rng.normal(0, 0.15, len(at))
    length = width * rng.uniform(1.2, 2.8, len(at)) * (0.6 + marked[ix[:, 1], ix[:, 0]])
    half = 0.5 * length[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    ends = np.rint(np.stack([at - half, at + half], axis=1) * 2**_SHIFT).astype(np.int32)
    paint_of = colour[ix[:, 1], ix[:, 0]] + rng.normal(0, brush.jitter, len(at))[:, None]
    hue = 0.3 * brush.jitter * min(1.0, brush.palette.chroma)
    paint_of = np.clip(paint_of + rng.normal(0, 1, (len(at), 3)) * hue, 0, 1) * 255
    wide = np.maximum(1, np.rint(width * rng.uniform(0.8, 1.2, len(at)))).astype(int)
    sheet = np.clip(canvas * 255, 0, 255).astype(np.uint8)
    for (a, b), (r, g, bl), w in zip(ends.tolist(), paint_of.tolist(), wide.tolist(), strict=True):
        cv2.line(sheet, a, b, (r, g, bl), w, cv2.LINE_AA, _SHIFT)
    canvas[:] = sheet.astype(np.float32) / 255


def _bristles(canvas: Floats, depth: float, width: float, rng: np.random.Generator) -> Floats:
    """Texture along the form: noise smeared along the strokes, in eight directions."""
    noise = rng.standard_normal(canvas.shape[:2]).astype(np.float32)
    angle, _ = form(canvas, 1.5 * width)
    sector = np.rint(angle / np.pi * 8).astype(int) % 8
    size = 2 * int(1.5 * width) + 5
    out = np.zeros_like(noise)
    for k in range(8):
        kernel = np.zeros((size, size), np.float32)
        c, d = size // 2, np.array([np.cos(k * np.pi / 8), np.sin(k * np.pi / 8)])
        a, b = (np.rint((c + s * d * c) * 2**_SHIFT).astype(int).tolist() for s in (-1, 1))
        cv2.line(kernel, a, b, 1.0, 1, cv2.LINE_8, _SHIFT)
        smeared = cv2.filter2D(noise, -1, kernel / kernel.sum())
        out[sector == k] = smeared[sector == k]
    return np.asarray(canvas * (1 + depth * out / (out.std() + 1e-6))[..., None], dtype=np.float32)


def _detail(source: Floats, width: float) -> Floats:
    """Chance 0 to 1 that a painter takes a brush of this width to a place: higher where the form is fine."""
    grey = source @ np.array([0.299, 0.587, 0.114], dtype=np.float32)
    fine = np.abs(cv2.GaussianBlur(grey, (0, 0), 0.4 * width) - cv2.GaussianBlur(grey, (0, 0), 1.6 * width))
    busy = cv2.GaussianBlur(fine, (0, 0), width)
    return np.asarray(np.clip(busy / (2 * busy.mean() + 1e-6), 0.25, 1), dtype=np.float32)


def _strokes(picture: Floats, brush: Brush, unit: float, rng: np.random.Generator) -> Floats:
    source = brush.palette.mix(picture)
    canvas = np.asarray(cv2.GaussianBlur(source, (0, 0), 3 * brush.brushes[0] * unit), dtype=np.float32)
    for layer, width in enumerate(brush.brushes):
        share = np.ones(source.shape[:2], np.float32) if layer == 0 else _detail(source, width * unit)
        _lay(canvas, source, brush, width * unit, rng, share)
    return _bristles(canvas, brush.bristle, brush.brushes[-1] * unit, rng)


def _glazes(picture: Floats, brush: Brush, unit: float, rng: np.random.Generator) -> Floats:
    """Thin transparent layers over a monochrome underpainting: soft edges, no strokes, the weave showing through."""
    source = brush.palette.mix(picture)
    radius = brush.brushes[0] * unit
    smooth = source
    for _ in range(2):
        smooth = np.asarray(cv2.bilateralFilter(smooth, 0, 0.12, radius * 0.6), dtype=np.float32)
    smooth = np.asarray(cv2.GaussianBlur(smooth, (0, 0), 0.25 * radius), dtype=np.float32)
    under = smooth @ np.array([0.299, 0.587, 0.114], dtype=np.float32)
    canvas = 0.35 * under[..., None] * np.array([1.05, 1.0, 0.9], np.float32) + 0.65 * smooth
    height, width = under.shape
    cloud = cv2.resize(rng.standard_normal((8, 8)).astype(np.float32), (width, height), interpolation=cv2.INTER_CUBIC)
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    pitch = 2 * np.pi / max(3.0, 3.3 * unit)
    phase = rng.uniform(0, 2 * np.pi, 2)
    weave = np.sin(pitch * x + phase[0]) * np.sin(pitch * y + phase[1])
    grain = cv2.GaussianBlur(rng.standard_normal((height, width)).astype(np.float32), (0, 0), 0.7 * unit)
    factor = 1 + 0.3 * brush.jitter * cloud + 0.5 * brush.bristle * weave + 0.5 * brush.bristle * grain
    return np.asarray(canvas * factor[..., None], dtype=np.float32)


def _blocks(picture: Floats, brush: Brush, unit: float, rng: np.random.Generator) -> Floats:
    """A block-in: few values, laid with broad brushes."""
    mixed = brush.palette.mix(picture)
    soft = np.asarray(cv2.GaussianBlur(mixed, (0, 0), 0.3 * brush.brushes[-1] * unit), dtype=np.float32)
    grey = soft @ np.array([0.299, 0.587, 0.114], dtype=np.float32)
    cuts = np.quantile(grey, np.linspace(0, 1, brush.values + 1)[1:-1])
    wobble = cv2.GaussianBlur(rng.standard_normal(grey.shape).astype(np.float32), (0, 0), 3 * unit)
    level = np.digitize(grey + 0.015 * wobble / wobble.std(), cuts)
    tones = np.array([grey[level == k].mean() if (level == k).any() else 0.5 for k in range(brush.values)], np.float32)
    flat = tones[level][..., None] * (soft / np.maximum(grey, 0.02)[..., None])
    source = np.asarray(np.clip(flat, 0, 1), dtype=np.float32)
    canvas = np.asarray(cv2.GaussianBlur(source, (0, 0), 2 * brush.brushes[0] * unit), dtype=np.float32)
    for layer, width in enumerate(brush.brushes):
        share = np.full(grey.shape, 1.0 if layer == 0 else 0.8, np.float32)
        _lay(canvas, source, brush, width * unit, rng, share)
    return _bristles(canvas, brush.bristle, brush.brushes[-1] * unit, rng)


def _facets(picture: Floats, size: float, rng: np.random.Generator) -> Floats:
    """The picture in flat facets of about ``size`` px, smaller where the form is fine."""
    height, width = picture.shape[:2]
    chance = _detail(picture, size)
    density = chance**2 / (chance**2).mean() / size**2
    seeds = (rng.random((height, width)) < density).astype(np.uint8)
    seeds[0, 0] = 1
    _, label = cv2.distanceTransformWithLabels(1 - seeds, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    flat = label.ravel()
    count = np.maximum(np.bincount(flat), 1)
    means = np.stack([np.bincount(flat, picture[..., c].ravel()) / count for c in range(3)], axis=1)
    return np.asarray(means[label], dtype=np.float32)


def _kuwahara(picture: Floats, radius: int) -> Floats:
    """Each pixel takes the mean of the calmest of the four square quarters round it."""
    k = 2 * radius + 1
    grey = picture @ np.array([0.299, 0.587, 0.114], dtype=np.float32)
    mean, m1, m2 = cv2.blur(picture, (k, k)), cv2.blur(grey, (k, k)), cv2.blur(grey * grey, (k, k))
    spread = m2 - m1 * m1
    best = np.full(grey.shape, np.inf, np.float32)
    out = picture.copy()
    for dy in (-radius, radius):
        for dx in (-radius, radius):
            moved = np.array([[1, 0, dx], [0, 1, dy]], dtype=np.float32)
            size = (grey.shape[1], grey.shape[0])
            s = cv2.warpAffine(spread, moved, size, flags=cv2.INTER_NEAREST, borderMode=cv2.BORDER_REFLECT_101)
            m = cv2.warpAffine(mean, moved, size, flags=cv2.INTER_NEAREST, borderMode=cv2.BORDER_REFLECT_101)
            better = s < best
            best[better], out[better] = s[better], m[better]
    return np.asarray(out, dtype=np.float32)


def _knife(picture: Floats, brush: Brush, unit: float, rng: np.random.Generator) -> Floats:
    """Palette knife: flat facets with crisp edges, no strokes."""
    source = _kuwahara(brush.palette.mix(picture), max(1, round(0.35 * brush.brushes[-1] * unit)))
    canvas = _facets(source, brush.brushes[-1] * unit, rng)
    broad = _facets(source, brush.brushes[0] * unit, rng)
    mix = _detail(source, brush.brushes[-1] * unit)[..., None]
    canvas = canvas * mix + broad * (1 - mix)
    grain = cv2.GaussianBlur(rng.standard_normal(canvas.shape[:2]).astype(np.float32), (0, 0), 0.8 * unit)
    return np.asarray(canvas * (1 + brush.bristle * grain[..., None] / (grain.std() + 1e-6) * 0.5), dtype=np.float32)
