"""The photograph of a painting shows every place where its map says."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from limner.proving.photograph import Shot, rephotograph, shot_matrix

PLACES = np.array([[x, y] for y in (150.0, 300.0, 450.0) for x in (120.0, 240.0, 360.0, 480.0)])


def dotted(width=600, height=600):
    """Bright dots on dark, each a Gaussian of 4 px."""
    y, x = np.mgrid[0:height, 0:width].astype(np.float64)
    light = sum(np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / 32) for cx, cy in PLACES)
    return np.repeat(np.rint(20 + 200 * light).astype(np.uint8)[..., None], 3, axis=2)


def found(pixels, near, reach=16):
    """Centre of the bright dot near a place, px."""
    x0, y0 = np.rint(near).astype(int) - reach
    patch = pixels[y0 : y0 + 2 * reach + 1, x0 : x0 + 2 * reach + 1].astype(np.float64).mean(axis=2)
    weight = np.clip(patch - np.median(patch) - 15, 0, None)
    y, x = np.mgrid[y0 : y0 + 2 * reach + 1, x0 : x0 + 2 * reach + 1]
    return np.array([(weight * x).sum(), (weight * y).sum()]) / weight.sum()


@pytest.mark.parametrize("seed", range(8))
def test_dots_are_found_where_the_map_puts_them(seed):
    photo = rephotograph(dotted(), seed)
    true = photo.place(PLACES)
    off = np.array([found(photo.pixels, place) for place in true]) - true
    assert np.abs(off.mean(axis=0)).max() < 0.06
    assert np.abs(off).max() < 0.25


def test_a_plain_shot_changes_nothing():
    pixels = dotted()
    photo = rephotograph(pixels, Shot(quality=0))
    assert np.array_equal(photo.pixels, pixels)
    assert np.allclose(photo.matrix, np.eye(3))


def test_turn_scale_and_shift_are_those_asked_for():
    matrix = shot_matrix(Shot(turn=6.0, scale=0.8, shift=(0.05, -0.02)), (600, 600))
    moved = cv2.perspectiveTransform(np.array([[[299.5, 299.5], [399.5, 299.5]]]), matrix)[0]
    assert moved[0] == pytest.approx([299.5 + 30, 299.5 - 12])
    across = moved[1] - moved[0]
    assert np.hypot(*across) == pytest.approx(80)
    assert np.degrees(np.arctan2(across[1], across[0])) == pytest.approx(6.0)


def test_a_shot_taken_from_the_front_is_a_similarity():
    matrix = shot_matrix(Shot.random(3).square_on(), (640, 480))
    assert matrix[2] == pytest.approx([0, 0, 1])


def test_an_enlarged_shot_has_a_larger_frame_and_a_shrunken_one_keeps_it():
    assert rephotograph(dotted(), Shot(scale=1.2)).pixels.shape == (720, 720, 3)
    assert rephotograph(dotted(), Shot(scale=0.8)).pixels.shape == (600, 600, 3)


def test_one_stop_doubles_the_light():
    grey = np.full((64, 64, 3), 118, np.uint8)
    brighter = rephotograph(grey, Shot(stops=1.0, quality=0)).pixels[32, 32, 0]
    # sRGB (IEC 61966-2-1): 118 is 0.1812 of full light, twice that is level 161.3.
    assert int(brighter) in {161, 162}


def test_white_balance_vignette_and_noise_do_what_they_say():
    grey = np.full((200, 200, 3), 128, np.uint8)
    warm = rephotograph(grey, Shot(balance=(1.1, 1.0, 0.9), quality=0)).pixels[100, 100].astype(int)
    assert warm[0] > warm[1] > warm[2]
    dark = rephotograph(grey, Shot(vignette=0.3, quality=0)).pixels
    assert dark[0, 0, 0] < dark[100, 100, 0]
    noisy = rephotograph(grey, Shot(noise=3.0, quality=0)).pixels.astype(float)
    assert noisy.std() == pytest.approx(3.0, abs=0.15)


def test_the_same_seed_gives_the_same_photograph_and_another_does_not():
    assert np.array_equal(rephotograph(dotted(), 4).pixels, rephotograph(dotted(), 4).pixels)
    assert Shot.random(4) != Shot.random(5)
