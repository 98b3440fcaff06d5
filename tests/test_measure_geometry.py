"""Lengths, angles, areas and outlines against figures that are known without this code."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose

from limner.measure.frames import eye_line_frame, head_frame
from limner.measure.geometry import area, greatest_extent, greatest_gap, line_angle, overlap, wrap
from limner.measure.similarity import NoFit
from norms_face import IPD, norms_mm, norms_px, place

ROUND = 720


def ellipse(a: float, b: float, centre: tuple[float, float] = (0.0, 0.0)) -> np.ndarray:
    turn = 2 * np.pi * np.arange(ROUND) / ROUND
    return np.stack([a * np.cos(turn), b * np.sin(turn)], axis=1) + centre


def test_the_area_of_an_ellipse_is_pi_a_b():
    assert_allclose(area(ellipse(3.0, 2.0), range(ROUND)), np.pi * 6.0, rtol=1e-4)


@pytest.mark.parametrize("seed", range(3))
def test_the_shoelace_gives_what_shapely_gives(seed):
    turn = np.sort(np.random.default_rng(seed).uniform(0, 2 * np.pi, 20))
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=1) * np.random.default_rng(seed).uniform(1, 3, (20, 1))
    assert_allclose(area(ring, range(20)), shapely.Polygon(ring).area, rtol=1e-12)


@pytest.mark.parametrize("factor", [1.05, 1.3, 2.0])
def test_the_overlap_of_a_grown_ellipse_is_one_over_the_square(factor):
    assert_allclose(overlap(ellipse(3.0, 2.0), factor * ellipse(3.0, 2.0)), 1 / factor**2, rtol=1e-6)


def test_the_overlap_of_a_widened_ellipse_is_one_over_the_factor():
    assert_allclose(overlap(ellipse(3.0, 2.0), ellipse(3.6, 2.0)), 1 / 1.2, rtol=1e-6)


@pytest.mark.parametrize("apart", [0.3, 1.0, 1.7])
def test_the_overlap_of_two_circles_is_that_of_their_lens(apart):
    lens = 2 * np.arccos(apart / 2) - apart / 2 * np.sqrt(4 - apart**2)  # unit circles
    assert_allclose(overlap(ellipse(1, 1), ellipse(1, 1, (apart, 0))), lens / (2 * np.pi - lens), rtol=1e-3)


def test_overlap_of_what_lies_apart_is_nothing_and_of_the_same_is_all():
    assert float(overlap(ellipse(1, 1), ellipse(1, 1, (5.0, 0.0)))) == 0.0
    assert float(overlap(ellipse(3, 2), ellipse(3, 2))) == pytest.approx(1.0, abs=1e-12)


def test_an_outline_that_crosses_itself_keeps_what_it_encloses():
    bow = np.array([[0.0, 0.0], [2.0, 2.0], [2.0, 0.0], [0.0, 2.0]])
    assert float(overlap(bow, bow)) == pytest.approx(1.0)
    left = np.array([[0.0, 0.0], [1.0, 1.0], [0.0, 2.0]])
    assert float(overlap(bow, left)) == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("first", "second", "gap"), [((2, 2), (2.5, 2.5), 0.5), ((3, 2), (3.6, 2), 0.6), ((3, 2), (3, 1.5), 0.5)]
)
def test_the_greatest_gap_between_ellipses_lies_at_the_end_of_an_axis(first, second, gap):
    assert_allclose(greatest_gap(ellipse(*first), ellipse(*second)), gap, rtol=1e-3)


def test_overlap_and_gap_take_many_outlines_at_once():
    many = np.stack([ellipse(3.0 * k, 2.0 * k) for k in (1.0, 1.1, 1.2)])
    one = np.broadcast_to(ellipse(3.0, 2.0), many.shape)
    assert_allclose(overlap(one, many), [1.0, 1 / 1.21, 1 / 1.44], rtol=1e-6)
    assert_allclose(greatest_gap(one, many), [0.0, 0.3, 0.6], atol=1e-4)


def test_the_greatest_extent_of_an_ellipse_is_its_long_axis():
    assert_allclose(greatest_extent(ellipse(3.0, 2.0), range(ROUND)), 6.0, rtol=1e-4)


def test_angles_grow_clockwise_as_seen():
    down_right = np.array([[0.0, 0.0], [1.0, 0.1]])  # the far end lower on the page: turned clockwise
    assert float(line_angle(down_right, [0], [1])) > 0
    assert_allclose(wrap(np.array([359.0, -359.0, 540.0])), [-1.0, 1.0, 180.0])


def test_the_eye_line_frame_does_not_know_how_the_picture_was_taken():
    frame = eye_line_frame(norms_mm())
    turned = eye_line_frame(norms_px(scale=7.3, turn=-24.0, centre=(1000.0, 50.0)))
    assert not isinstance(frame, NoFit)
    assert not isinstance(turned, NoFit)
    assert_allclose(frame.take(norms_mm()), norms_mm() / IPD, atol=1e-12)
    assert_allclose(turned.take(norms_px(scale=7.3, turn=-24.0, centre=(1000.0, 50.0))), norms_mm() / IPD, atol=1e-12)


def test_the_head_frame_hangs_on_the_paired_points_not_on_the_eyes_alone():
    points = norms_mm()
    tilted = points.copy()
    tilted[473] += (0.0, 6.0)  # one pupil low
    frame, other = head_frame(points, np.asarray(1.0)), head_frame(tilted, np.asarray(1.0))
    assert not isinstance(frame, NoFit)
    assert not isinstance(other, NoFit)
    assert_allclose(frame.across, [1.0, 0.0], atol=1e-12)
    assert_allclose(other.across, frame.across, atol=1e-12)
    whole = head_frame(place(points, scale=2.0, turn=15.0), np.asarray(2.0))
    assert not isinstance(whole, NoFit)
    assert_allclose(whole.take(place(points, scale=2.0, turn=15.0)), frame.take(points), atol=1e-9)


def test_a_head_without_points_gives_no_frame():
    assert isinstance(head_frame(np.full((478, 2), np.nan), np.asarray(1.0)), NoFit)
    assert isinstance(head_frame(np.zeros((478, 2)), np.asarray(1.0)), NoFit)
    assert isinstance(eye_line_frame(np.full((478, 2), np.nan)), NoFit)
