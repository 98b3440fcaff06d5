"""Canons beside both faces, from the published means through the same code, and the stage a painting is guessed at."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

import norms_face as norms
from limner.compare.assemble import View, compare
from limner.compare.canons.observed import OBSERVED
from limner.compare.canons.table import CANONS, RATIOS
from limner.compare.stage import chroma_scatter, guess_stage, unexplained_by
from limner.register.carried import Carried
from limner.result import CanonRow, Pose

STRAIGHT = View(pose=Pose(yaw=0.0, pitch=0.0, roll=0.0, sigma=0.5))


def rows_of_the_means(found_by: str) -> dict[str, CanonRow]:
    face = norms.face_points(norms.norms_px(), found_by=found_by)
    return {row.id: row for row in compare(face, face, of_reference=STRAIGHT, of_painting=STRAIGHT).canons}


ROWS, FOUND = (rows_of_the_means(by) for by in ("hand", "plain"))

# Ratios of the men's means at age 25, 3D Facial Norms (Weinberg et al. 2016), and the canon itself.
PUBLISHED = {
    "orbital": (1.0, 1.14),
    "orbitonasal": (1.0, 1.10),
    "naso_oral": (1.5, 1.40),
    "nasofacial": (0.25, 0.262),
    "five_eyes": (5.0, 4.78),
}


@pytest.mark.parametrize("id_", PUBLISHED)
def test_the_published_means_give_the_published_ratios(id_):
    canon, observed = PUBLISHED[id_]
    row = ROWS[id_]
    assert row.canon == canon
    assert row.reference.value == pytest.approx(observed, abs=0.006)
    assert OBSERVED[id_].men[0] == pytest.approx(row.reference.value, abs=1e-9)


@pytest.mark.parametrize("id_", ["three_section_lower", "leonardo_mouth"])
def test_lengths_along_the_face_give_the_published_ratios_too(id_):
    # n-sn / (n-gn less n-sn), ch-ch / (n-gn less n-sn and sn-sto); the flat face has sn-ls and ls-sto for sn-sto.
    long = norms.SN_LS + norms.LS_STO - 22.63
    expected = {
        "three_section_lower": 56.65 / 69.99,
        "leonardo_mouth": 50.10 / (126.64 - 56.65 - 22.63 - long),
    }[id_]
    assert ROWS[id_].reference.value == pytest.approx(expected, rel=1e-6)


def test_every_ratio_has_a_row_with_a_source_and_a_value_or_what_is_needed():
    assert list(ROWS) == [ratio.id for canon in CANONS for ratio in canon.ratios]
    assert all(row.source and row.definition for row in ROWS.values())
    assert all((row.reference.value is None) == bool(row.reason) for row in ROWS.values())


@pytest.mark.parametrize("id_", PUBLISHED)
def test_what_a_face_alone_hides_is_in_the_uncertainty(id_):
    """People differ by the observed deviation, and a detector that shows a third of it leaves the rest unseen."""
    row = FOUND[id_]
    assert row.reference.sigma is not None
    assert row.reference.sigma > 0.4 * OBSERVED[id_].men[1]


def test_constructed_faces_meet_the_canons_exactly():
    points = norms.norms_mm()
    points[[129, 358], 0] = (-norms.EN_EN / 2, norms.EN_EN / 2)
    points[[61, 291], 0] = (-0.75 * norms.EN_EN, 0.75 * norms.EN_EN)
    points[[234, 454], 0] = (-2 * norms.EN_EN, 2 * norms.EN_EN)
    face = norms.face_points(points, found_by="hand")
    rows = {row.id: row for row in compare(face, face).canons}
    assert_allclose([rows[i].reference.value for i in ("orbitonasal", "naso_oral", "nasofacial")], [1.0, 1.5, 0.25])


def test_a_painting_read_by_its_pixels_is_known_against_the_reference_only():
    reference = norms.face_points(norms.norms_px())
    painted = norms.widened(norms.norms_px(), (129, 358), 1.2)
    shown = Carried(points=painted, runs=painted[None])
    row = next(
        r
        for r in compare(reference, norms.face_points(norms.norms_px()), carried=shown).canons
        if r.id == "orbitonasal"
    )
    assert row.reference.value is not None
    assert row.painting.value == pytest.approx(1.2 * row.reference.value)
    assert row.painting.sigma is not None
    assert row.painting.sigma >= (row.reference.sigma or 0)


def test_a_slope_or_a_proportion_without_a_canon_is_told_as_one():
    assert [id_ for id_, (_, ratio) in RATIOS.items() if ratio.value is None] == [
        "face_height_width",
        "face_width_pupils",
        "face_height_pupils",
    ]
    assert ROWS["face_height_width"].canon is None
    assert [drift.target for drift in ROWS["face_height_width"].drift] == ["average"]


def picture(tones: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A face-sized picture of the given tones, and points whose outline fills it."""
    points = norms.norms_px(scale=4.0)
    height, width = 900, 800
    pixels = np.empty((height, width, 3), np.uint8)
    rows = np.arange(height) * len(tones) // height
    pixels[:] = tones[rows][:, None, :]
    return pixels, points


def test_few_values_in_one_colour_are_a_block_in():
    umber = np.array([[60, 40, 20], [110, 80, 50], [170, 135, 95], [225, 195, 150]])
    pixels, points = picture(umber)
    noisy = np.clip(pixels + np.random.default_rng(0).normal(0, 6, pixels.shape), 0, 255).astype(np.uint8)
    assert guess_stage(noisy, points) == ("block-in", True)


def test_many_values_in_one_colour_are_a_glaze():
    points = norms.norms_px(scale=4.0)
    x, y = np.meshgrid(np.arange(800), np.arange(900))
    light = 0.5 + 0.45 * (np.sin(x / 60) * np.sin(y / 50)) ** 3  # soft hills and hollows, most of them half-tone
    pixels = (light[..., None] * (180, 165, 145) + (40, 30, 20)).astype(np.uint8)
    assert guess_stage(pixels, points) == ("glaze", True)


def test_colour_is_taken_for_the_widest_of_the_stages_in_colour_and_never_for_certain():
    rng = np.random.default_rng(0)
    ramp = np.linspace(60, 220, 200)[:, None] + rng.normal(0, 25, (200, 3))
    assert guess_stage(*picture(np.clip(ramp, 0, 255))) == ("colour", False)


def test_a_face_too_small_or_not_there_gives_the_widest_thresholds():
    pixels = np.zeros((20, 20, 3), np.uint8)
    assert guess_stage(pixels, np.full((478, 2), np.nan)) == ("block-in", False)
    assert guess_stage(pixels, norms.norms_px(scale=0.02, centre=(10.0, 8.0))) == ("block-in", False)
    assert guess_stage(pixels, norms.norms_px(centre=(5000.0, 5000.0))) == ("block-in", False)


def test_four_values_of_a_normal_spread_leave_what_lloyd_and_max_found():
    # Max 1960, IRE Trans. Inform. Theory 6:7-12: four levels leave 0.1175 of a normal variance.
    values = np.random.default_rng(1).normal(0.0, 1.0, 20_000)
    assert unexplained_by(values, 4) == pytest.approx(0.1175, abs=0.003)
    assert unexplained_by(np.ones(10), 4) == 0.0


def test_one_colour_scatters_little_and_many_scatter_much():
    lightness = np.linspace(10, 90, 500)
    rng = np.random.default_rng(2)
    one = np.stack([lightness, 0.1 * lightness, 0.3 * lightness], axis=1)
    many = one + np.stack([np.zeros(500), rng.normal(0, 8, 500), rng.normal(0, 8, 500)], axis=1)
    assert chroma_scatter(one) == pytest.approx(0.0, abs=1e-9)
    assert chroma_scatter(many) == pytest.approx(8 * np.sqrt(2), rel=0.1)
