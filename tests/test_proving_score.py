"""Scores are what simulated readings of known quality must give."""

from __future__ import annotations

import numpy as np
import pytest

from limner.proving.score import Reading, score


def simulated(slope=1.0, noise=1.0, sigma=1.0, bias=0.0, n=4000, seed=3):
    rng = np.random.default_rng(seed)
    planted = rng.uniform(-15, 15, n)
    planted[: n // 4] = 0
    read = slope * planted + bias + rng.normal(0, noise, n)
    calls = ["off" if abs(r) > 8 else "true" for r in read]
    return [
        Reading(case=k, measure="m", planted=float(p), threshold=8.0, recovered=float(r), sigma=sigma, call=c)
        for k, (p, r, c) in enumerate(zip(planted, read, calls, strict=True))
    ], frozenset(range(n // 4))


def test_an_honest_instrument_scores_as_one():
    told = score(*simulated())
    assert told.slope == pytest.approx(1, abs=0.01)
    assert told.rms == pytest.approx(1, abs=0.05)
    assert told.bias == pytest.approx(0, abs=0.05)
    # 95 % of normal errors lie within 1.96 standard deviations; 4000 draws give that within 1.4 points (4 sigma).
    assert told.coverage == pytest.approx(0.95, abs=0.014)
    assert told.false_alarms == 0
    assert told.faithful == 1000


def test_an_instrument_pulled_to_the_ordinary_shows_its_slope_and_its_bad_coverage():
    told = score(*simulated(slope=0.4))
    assert told.slope == pytest.approx(0.4, abs=0.01)
    assert told.coverage < 0.6


def test_bias_and_overconfidence_show():
    assert score(*simulated(bias=2.0)).bias == pytest.approx(2.0, abs=0.05)
    assert score(*simulated(sigma=0.5)).coverage == pytest.approx(0.673, abs=0.03)  # P(|z| < 0.98)


def test_false_alarms_are_counted_on_faithful_copies_only():
    told = score(*simulated(noise=6.0))
    expected = 1000 * 0.1824  # P(|z| > 8 / 6)
    assert told.false_alarms == pytest.approx(expected, abs=50)


def test_the_smallest_error_seen_is_seen_nineteen_times_in_twenty():
    told = score(*simulated(slope=0.8, noise=1.3, sigma=1.3))
    rng = np.random.default_rng(9)
    read = 0.8 * told.smallest + rng.normal(0, 1.3, 20000)
    assert (np.abs(read) > 1.96 * 1.3).mean() == pytest.approx(0.95, abs=0.01)


def test_too_little_gives_no_slope_and_missing_numbers_count_as_unsure():
    readings = [
        Reading(case=0, measure="m", planted=0.0, threshold=8.0, recovered=0.1, sigma=1.0, call="true"),
        Reading(case=1, measure="m", planted=9.0, threshold=8.0, recovered=None, sigma=None, call="not measured"),
        Reading(case=2, measure="m", planted=9.0, threshold=8.0, recovered=5.0, sigma=6.0, call="unsure"),
    ]
    told = score(readings, frozenset({0}))
    assert (told.slope, told.smallest) == (None, None)
    assert (told.readings, told.missing) == (2, 1)
    assert told.unsure == pytest.approx(2 / 3)
    empty = score([], frozenset())
    assert (empty.rms, empty.coverage, empty.unsure) == (None, None, 0.0)
