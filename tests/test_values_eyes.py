"""Catchlights, and the steps within the lights."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from limner.pictures.cielab import luminance, to_levels, to_light
from limner.proving.photograph import Shot
from limner.values.masses import thresholds
from limner.values.regions import outline_mask
from limner.values.tone import luminance_of_value, munsell_value
from test_values import STRIP, with_patches
from value_scenes import a_sitter, compare


@pytest.fixture(scope="module")
def sitter(portrait, model_path):
    pixels, points = a_sitter(portrait, model_path)
    size = (2 * pixels.shape[1], 2 * pixels.shape[0])
    return cv2.resize(pixels, size, interpolation=cv2.INTER_CUBIC), 2 * points + 0.5


def eyed(sitter, lights):
    """Both irises dark and even, with one small round light in each: (x, y, radius), iris radii; ``None`` for none."""
    pixels, points = sitter[0].copy(), sitter[1]
    for first, light in ((468, lights[0]), (473, lights[1])):
        centre = points[first]
        radius = float(np.linalg.norm(points[first + 1 : first + 5] - centre, axis=1).mean())
        disc(pixels, centre, 0.98 * radius, (44, 34, 28))
        if light is not None:
            disc(pixels, centre + radius * np.array(light[:2]), light[2] * radius, (236, 236, 232))
    return pixels


def disc(pixels, centre, radius, colour):
    at = tuple(round(float(v) * 16) for v in centre)
    cv2.circle(pixels, at, round(radius * 16), colour, -1, cv2.LINE_AA, 4)


SEEN = ((-0.3, -0.3, 0.2), (-0.28, -0.3, 0.2))
SHOT = Shot(stops=-0.4, noise=1.0, blur=0.5, turn=2.0)


def told(sitter, painted, seen=SEEN, **asked):
    report = compare((eyed(sitter, seen), sitter[1]), eyed(sitter, painted), SHOT, **{"stage": "lights", **asked})
    return {f.region: f for f in report.findings if f.kind == "catchlight"}


def test_catchlights_in_their_place_are_true(sitter):
    found = told(sitter, SEEN)
    assert {f.region: f.call for f in found.values()} == {"catchlight_right": "true", "catchlight_left": "true"}
    assert found["catchlight_right"].text.endswith("is where the sitter's is, and as large.")
    assert max(f.amount.value for f in found.values()) < 0.1


def test_a_catchlight_elsewhere_is_told_by_the_clock(sitter):
    moved = told(sitter, ((0.35, -0.3, 0.2), SEEN[1]))
    right = moved["catchlight_right"]
    assert right.call == "off"
    assert right.amount.value == pytest.approx(0.65, abs=0.08)
    assert "is painted at half past one and belongs at half past ten" in right.text
    assert moved["catchlight_left"].call == "true"
    iris = sitter[1][468]
    assert np.hypot(*(np.array(right.place) - iris)) < 60


def test_a_catchlight_that_is_missing_waits_for_the_lights(sitter):
    assert told(sitter, (None, SEEN[1]))["catchlight_right"].call == "off"
    early = told(sitter, (None, SEEN[1]), stage="colour")["catchlight_right"]
    assert early.call == "slight"
    assert "has no catchlight; the sitter's is at half past ten" in early.text
    assert told(sitter, (None, SEEN[1]), stage="glaze") == {}


def test_a_catchlight_the_sitter_has_not_is_told(sitter):
    found = told(sitter, SEEN, seen=(None, SEEN[1]))["catchlight_right"]
    assert found.call == "off"
    assert "where the sitter has none" in found.text
    assert told(sitter, (None, None), seen=(None, None)) == {}


def test_a_catchlight_too_large_is_told_against_the_sitters(sitter):
    found = told(sitter, (SEEN[0], (-0.28, -0.3, 0.5)), seen=SEEN)
    assert found["catchlight_right"].call == "true"
    left = found["catchlight_left"]
    assert left.call == "off"
    assert "times as large as the sitter's" in left.text


def test_eyes_too_small_in_the_picture_have_no_catchlights_told(sitter):
    small = (cv2.resize(sitter[0], None, fx=0.3, fy=0.3, interpolation=cv2.INTER_AREA), sitter[1] * 0.3)
    assert told(small, SEEN) == {}


def flattened(sitter, share):
    """The lights of the face brought to a share of their distance from their own middle."""
    light = to_light(sitter[0] / 255.0)
    value = munsell_value(luminance(light))
    face = outline_mask(sitter[1], value.shape)
    lit = value > thresholds(value[face], 2)[0]
    middle = float(np.median(value[face & lit]))
    wanted = np.where(lit, middle + share * (value - middle), value)
    out = light * (luminance_of_value(np.clip(wanted, 0, 10)) / np.maximum(luminance(light), 1e-4))[..., None]
    return np.rint(255 * to_levels(np.clip(out, 0, 1))).astype(np.uint8)


def steps_in(report):
    return next((f for f in report.findings if f.kind == "light steps"), None)


def test_lights_painted_flat_are_told_once_the_tone_curve_is_known(sitter):
    seen, places = with_patches(sitter[0], STRIP.values())
    strip = "strip:" + ";".join(f"{x},{y}={v}" for (x, y), v in zip(places, STRIP, strict=True))
    flat, _ = with_patches(flattened(sitter, 0.3), STRIP.values())
    here = (seen, sitter[1])
    known = steps_in(compare(here, flat, match=strip))
    assert known.call == "off"
    assert -80 < known.amount.value < -45
    assert "Within the lights the painted values run through" in known.text
    assert steps_in(compare(here, flat)).call == "unsure"
    true = steps_in(compare(here, seen, SHOT))
    assert true.call == "true"
    assert abs(true.amount.value) < 10
    assert steps_in(compare(here, flat, stage="block-in")) is None
