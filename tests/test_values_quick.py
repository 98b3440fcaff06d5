"""What is made quicker than the plain way gives what the plain way gives."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from limner.values.bring import UNIT
from limner.values.lights import SMALL, small_lights
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
