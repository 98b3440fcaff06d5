"""Light, value and colour against published numbers and against libraries that are not ours."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from skimage import color

from limner.pictures.cielab import lab_of_light, lightness, luminance, to_levels, to_light
from limner.values.tone import ciede2000, luminance_of_value, munsell_value

# Sharma, Wu, Dalal 2005, Color Res Appl 30(1):21-30, Table 1: L*, a*, b* of both, and the difference.
PAIRS = np.array([
    (50.0000, 2.6772, -79.7751, 50.0000, 0.0000, -82.7485, 2.0425),  # 1
    (50.0000, 3.1571, -77.2803, 50.0000, 0.0000, -82.7485, 2.8615),  # 2
    (50.0000, 2.8361, -74.0200, 50.0000, 0.0000, -82.7485, 3.4412),  # 3
    (50.0000, -1.3802, -84.2814, 50.0000, 0.0000, -82.7485, 1.0000),  # 4
    (50.0000, -1.1848, -84.8006, 50.0000, 0.0000, -82.7485, 1.0000),  # 5
    (50.0000, -0.9009, -85.5211, 50.0000, 0.0000, -82.7485, 1.0000),  # 6
    (50.0000, 0.0000, 0.0000, 50.0000, -1.0000, 2.0000, 2.3669),  # 7
    (50.0000, -1.0000, 2.0000, 50.0000, 0.0000, 0.0000, 2.3669),  # 8
    (50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0009, 7.1792),  # 9
    (50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0010, 7.1792),  # 10
    (50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0011, 7.2195),  # 11
    (50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0012, 7.2195),  # 12
    (50.0000, -0.0010, 2.4900, 50.0000, 0.0009, -2.4900, 4.8045),  # 13
    (50.0000, -0.0010, 2.4900, 50.0000, 0.0010, -2.4900, 4.8045),  # 14
    (50.0000, -0.0010, 2.4900, 50.0000, 0.0011, -2.4900, 4.7461),  # 15
    (50.0000, 2.5000, 0.0000, 50.0000, 0.0000, -2.5000, 4.3065),  # 16
    (50.0000, 2.5000, 0.0000, 73.0000, 25.0000, -18.0000, 27.1492),  # 17
    (50.0000, 2.5000, 0.0000, 61.0000, -5.0000, 29.0000, 22.8977),  # 18
    (50.0000, 2.5000, 0.0000, 56.0000, -27.0000, -3.0000, 31.9030),  # 19
    (50.0000, 2.5000, 0.0000, 58.0000, 24.0000, 15.0000, 19.4535),  # 20
    (50.0000, 2.5000, 0.0000, 50.0000, 3.1736, 0.5854, 1.0000),  # 21
    (50.0000, 2.5000, 0.0000, 50.0000, 3.2972, 0.0000, 1.0000),  # 22
    (50.0000, 2.5000, 0.0000, 50.0000, 1.8634, 0.5757, 1.0000),  # 23
    (50.0000, 2.5000, 0.0000, 50.0000, 3.2592, 0.3350, 1.0000),  # 24
    (60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644),  # 25
    (63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630),  # 26
    (61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731),  # 27
    (35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645),  # 28
    (22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373),  # 29
    (36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146),  # 30
    (90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441),  # 31
    (90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381),  # 32
    (6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377),  # 33
    (2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082),  # 34
])  # fmt: skip


@pytest.mark.parametrize("row", PAIRS, ids=[str(k + 1) for k in range(len(PAIRS))])
def test_every_published_pair(row):
    assert float(ciede2000(row[:3], row[3:6])) == pytest.approx(row[6], abs=1e-4)
    assert float(ciede2000(row[3:6], row[:3])) == pytest.approx(row[6], abs=1e-4)


def test_there_are_34_pairs_and_they_go_in_at_once():
    assert len(PAIRS) == 34
    np.testing.assert_allclose(ciede2000(PAIRS[:, :3], PAIRS[:, 3:6]), PAIRS[:, 6], atol=1e-4)


def test_differences_agree_with_another_implementation():
    rng = np.random.default_rng(3)
    first, second = (rng.uniform((0, -80, -80), (100, 80, 80), (4000, 3)) for _ in range(2))
    np.testing.assert_allclose(ciede2000(first, second), color.deltaE_ciede2000(first, second), atol=1e-9)


@pytest.mark.parametrize(
    ("level", "light", "l_star"),
    # IEC 61966-2-1:1999 and CIE 15, worked out at these levels.
    [
        (1, 0.000304, 0.2742), (10, 0.003035, 2.7417), (32, 0.014444, 12.2500), (64, 0.051269, 27.0934),
        (96, 0.116971, 40.7305), (119, 0.184475, 50.0344), (128, 0.215861, 53.5850), (160, 0.351533, 65.8678),
        (192, 0.527115, 77.7044), (224, 0.745404, 89.1773), (255, 1.0, 100.0),
    ],
)  # fmt: skip
def test_grey_levels(level, light, l_star):
    assert float(to_light(np.array(level / 255))) == pytest.approx(light, abs=1e-6)
    assert float(lightness(to_light(np.array(level / 255)))) == pytest.approx(l_star, abs=1e-4)


@pytest.mark.parametrize(
    ("value", "percent"),
    # ASTM D1535-08e1: its polynomial at whole values; 5 and the two odd ones as published with other implementations
    # (munsellinterpol's manual, colour-science's documentation).
    [
        (1, 1.1799), (2, 3.0481), (3, 6.3912), (4, 11.7008), (5, 19.27184), (6, 29.3012), (7, 41.9854), (8, 57.6196),
        (9, 76.6956), (10, 100.0), (4.08244375, 12.2363426), (3.74629715382, 10.1488096),
    ],
)  # fmt: skip
def test_munsell_value_both_ways(value, percent):
    assert 100 * float(luminance_of_value(np.array(value))) == pytest.approx(percent, abs=2e-4)
    assert float(munsell_value(np.array(percent / 100))) == pytest.approx(value, abs=1e-4)


def test_munsell_and_lightness_agree_with_colour_science():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

        y = np.linspace(0.002, 0.999, 200)
        theirs = colour.notation.munsell_value_ASTMD1535(100 * y)
        np.testing.assert_allclose(munsell_value(y), theirs, atol=2e-3)
        np.testing.assert_allclose(lightness(y), colour.colorimetry.lightness_CIE1976(100 * y), atol=1e-9)
        v = np.linspace(0, 1, 300)
        np.testing.assert_allclose(to_light(v), colour.models.eotf_sRGB(v), atol=1e-12)


def test_levels_undo_light():
    v = np.linspace(0, 1, 300)
    # The two halves of the published curve meet only to within 1e-7.
    np.testing.assert_allclose(to_levels(to_light(v)), v, atol=1e-6)
    assert float(to_levels(np.array(1.7))) == pytest.approx(1.0, abs=1e-12)


def test_lab_agrees_with_another_implementation():
    rgb = np.random.default_rng(4).uniform(0, 1, (500, 3))
    # scikit-image rounds the matrix and the white of the standard.
    np.testing.assert_allclose(lab_of_light(to_light(rgb)), color.rgb2lab(rgb), atol=0.02)


def test_a_red_has_the_luminance_of_its_light_and_not_of_its_levels():
    # Pure red: L* 53.2; from luma it would be 22.7.
    assert float(lightness(luminance(to_light(np.array([1.0, 0.0, 0.0]))))) == pytest.approx(53.24, abs=0.01)


def test_whole_pictures_keep_their_shape():
    picture = np.random.default_rng(5).uniform(0, 1, (4, 5, 3))
    assert munsell_value(luminance(picture)).shape == (4, 5)
    assert ciede2000(picture, picture).shape == (4, 5)
    assert float(ciede2000(picture, picture).max()) == 0.0
