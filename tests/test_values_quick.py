"""What is made quicker than the plain way gives what the plain way gives."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from limner.values.boxes import box_of, softened_in
from limner.values.bring import UNIT
from limner.values.faces import all_within, softened_within
from limner.values.lights import SMALL, small_lights
from limner.values.masses import softened
from limner.values.medians import median, quantiles, robust
from limner.values.tone import munsell_value, munsell_values


@pytest.mark.parametrize("count", [1, 2, 3, 40, 41])
def test_medians_are_those_of_numpy(count: int) -> None:
    values = np.random.default_rng(count).normal(size=count).astype(np.float32)
    assert median(values) == float(np.median(values))
    assert robust(values) == 1.4826 * float(np.median(np.abs(values)))


def test_quantiles_are_those_of_numpy() -> None:
    values, shares = np.random.default_rng(0).normal(size=501), (0.0, 0.05, 0.333, 0.5, 1.0)
    assert_allclose(quantiles(np.sort(values), shares), np.quantile(values, shares), rtol=1e-12)


def test_small_lights_are_those_over_an_opening_with_a_disc() -> None:
    plane = cv2.GaussianBlur(np.random.default_rng(1).normal(5, 3, (97, 120)).astype(np.float32), (0, 0), 1.3)
    width = 2 * round(SMALL * UNIT / 2) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (width, width))
    assert_array_equal(small_lights(plane), plane - cv2.morphologyEx(plane, cv2.MORPH_OPEN, disc))


def test_many_values_of_light_are_the_single_ones() -> None:
    light = np.concatenate([np.linspace(0, 1.5, 5001), np.geomspace(1e-7, 1, 2001)]).astype(np.float32)
    assert_allclose(munsell_values(light), munsell_value(light), atol=5e-6)


@pytest.mark.parametrize("width", [0.02, 0.08])
@pytest.mark.parametrize("rows", [(0, 60), (70, 120), (150, 200)])
def test_a_softened_box_is_that_of_the_softened_plane(width: float, rows: tuple[int, int]) -> None:
    plane = np.random.default_rng(2).normal(5, 3, (200, 180)).astype(np.float32)
    mask = np.zeros(plane.shape, bool)
    mask[slice(*rows), 30:90] = True
    box = box_of(mask, 3)
    assert_allclose(softened_in(plane, width, box), softened(plane, width)[box], atol=1e-5)


@pytest.mark.parametrize("width", [0.04, 0.22])
def test_what_is_softened_within_a_mask_is_the_same_of_several_planes(width: float) -> None:
    planes = tuple(np.random.default_rng(3).normal(5, 3, (2, 210, 190)).astype(np.float32))
    mask = np.zeros(planes[0].shape, bool)
    cv2.ellipse(mask.view(np.uint8), (100, 90), (60, 40), 20, 0, 360, 1, -1)
    for plane, read in zip(planes, all_within(planes, mask, width), strict=True):
        assert_allclose(read, softened_within(plane, mask, width)[mask], atol=1e-5)
