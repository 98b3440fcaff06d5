"""Renderings are repeatable and put nothing out of its place."""

from __future__ import annotations

import numpy as np
import pytest

from limner.proving.render import RENDERERS, Brush, Palette, paint

SIZE = 420


def subject() -> np.ndarray:
    """Discs and rings of several sizes in colours a face has, the same seen in a mirror or upside down."""
    y, x = np.mgrid[0:SIZE, 0:SIZE].astype(np.float64) - (SIZE - 1) / 2
    out = np.full((SIZE, SIZE, 3), (206.0, 164.0, 136.0))
    for cx in (-120, 0, 120):
        for cy in (-120, 0, 120):
            r = np.hypot(x - cx, y - cy)
            for radius, tone in ((44, (150, 96, 78)), (30, (226, 196, 178)), (14, (52, 36, 30))):
                edge = 1 / (1 + np.exp((r - radius) / 1.2))
                out = out * (1 - edge[..., None]) + np.array(tone) * edge[..., None]
    return np.rint(out).astype(np.uint8)


def moved(before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Shift right, shift down (px) and growth of ``after`` against ``before`` by least squares on the gradients."""
    grey_b, grey_a = (m.astype(np.float64) @ [0.299, 0.587, 0.114] for m in (before, after))
    gy, gx = np.gradient(grey_b)
    y, x = np.mgrid[0:SIZE, 0:SIZE].astype(np.float64) - (SIZE - 1) / 2
    columns = np.stack([-gx, -gy, -(gx * x + gy * y), grey_b, np.ones_like(x)], axis=-1)[20:-20, 20:-20].reshape(-1, 5)
    fit, *_ = np.linalg.lstsq(columns, (grey_a - grey_b)[20:-20, 20:-20].ravel(), rcond=None)
    return np.asarray(fit[:3])


def test_the_yardstick_itself_reads_a_known_shift_and_growth():
    import cv2

    centre = (SIZE - 1) / 2
    move = np.array([[1.004, 0, 0.3 - 0.004 * centre], [0, 1.004, -0.2 - 0.004 * centre]])
    after = cv2.warpAffine(subject(), move, (SIZE, SIZE), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    assert moved(subject(), after) == pytest.approx([0.3, -0.2, 0.004], abs=0.05)


@pytest.mark.parametrize("kind", RENDERERS)
def test_a_faithful_rendering_moves_nothing(kind):
    picture = subject()
    plain = Palette(tint=(1, 1, 1), chroma=1, gamma=1, low=0, high=1)
    brushes = (6.0, 4.0) if kind != "strokes" else (9.0, 5.0, 3.0)
    seen = [
        moved(picture, paint(picture, Brush(kind=kind, brushes=tuple(2 * b for b in brushes), palette=plain, seed=s)))
        for s in range(8)
    ]
    shift = np.mean(seen, axis=0)
    assert np.abs(shift[:2]).max() < 0.08
    assert abs(shift[2]) < 0.0015


@pytest.mark.parametrize("kind", RENDERERS)
def test_the_same_brush_gives_the_same_bytes_and_another_seed_does_not(kind):
    picture = subject()
    brush = Brush.random(kind, 7)
    first = paint(picture, brush)
    assert first.shape == picture.shape
    assert np.array_equal(first, paint(picture, brush))
    assert not np.array_equal(first, paint(picture, Brush.random(kind, 8)))


def test_kinds_differ_from_each_other_and_from_the_photograph():
    picture = subject()
    made = [paint(picture, Brush(kind=kind)).astype(float) for kind in RENDERERS]
    for k, one in enumerate(made):
        assert np.abs(one - picture).mean() > 2
        for other in made[:k]:
            assert np.abs(one - other).mean() > 2


def test_a_one_colour_block_in_is_one_colour_and_has_few_values():
    grey = Palette(tint=(1, 1, 1), chroma=0, low=0.1, high=0.9)
    ramp = np.repeat(np.linspace(30, 220, 300)[None, :, None], 300, axis=0).repeat(3, axis=2).astype(np.uint8)
    for values in (2, 3, 5):
        brush = Brush(kind="blocks", brushes=(12.0, 7.0), palette=grey, jitter=0.0, bristle=0.0, values=values)
        made = paint(ramp, brush)
        assert np.ptp(made.astype(int), axis=2).max() <= 1
        share = np.sort(np.bincount(made[..., 1].ravel(), minlength=256))[::-1] / made[..., 1].size
        assert share[:values].sum() > 0.7
        assert share[values - 1] > 0.5 / values


def test_a_palette_keeps_the_order_of_values():
    ramp = np.repeat(np.linspace(0, 1, 50, dtype=np.float32)[None, :, None], 3, axis=2)
    for seed in range(20):
        tones = Palette.random(np.random.default_rng(seed)).mix(ramp)[0].mean(axis=1)
        assert np.all(np.diff(tones) > -1e-6)
