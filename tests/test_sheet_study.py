"""The study: values parted by the published method, measures in mm, a grid, and pages that can be printed."""

from __future__ import annotations

import io
import math
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from skimage.filters import threshold_multiotsu

from limner.errors import UsageError
from limner.face.facepoints import POINT_COUNT
from limner.face.placeable import BEYOND
from limner.face.points import NAMED_POINTS
from limner.sheet.dividers import axes_said, hangs_said, lengths, rows
from limner.sheet.marks import Area, Page, Pen, Raster, Stroke, Window, Words, corners_of, line
from limner.sheet.placepage import grid_lines
from limner.sheet.placing import place_reference
from limner.sheet.png import to_png
from limner.sheet.reading import read_sitter
from limner.sheet.study import Print, grid_of, render_study, study_pages, title_of
from limner.sheet.tones import (
    canvas_pixels,
    edges_of,
    parted,
    thresholds,
    tones_of,
    value_picture,
    warmth_picture,
)
from limner.sheet.valuepage import value_of
from printed import MM, printed, upright_lines
from sitter import sitter

CANVAS = (400.0, 500.0)


def placed(name: str, at: tuple[float, float], points: np.ndarray) -> None:
    points[list(NAMED_POINTS[name].indices)] = at


def measured() -> object:
    """A sitter whose eye line is turned by 5 degrees and whose chin hangs 30 px beside the nose base."""
    read = sitter()
    points = read.points.mean.copy()
    turn = math.radians(5)
    placed("p_right", (300 - 50 * math.cos(turn), 200 - 50 * math.sin(turn)), points)
    placed("p_left", (300 + 50 * math.cos(turn), 200 + 50 * math.sin(turn)), points)
    placed("n", (300.0, 200.0), points)
    placed("sn", (300.0, 250.0), points)
    placed("gn", (330.0, 350.0), points)
    return replace(read, points=replace(read.points, mean=points, runs=points[None]))


# Values


@pytest.mark.parametrize("count", [2, 3, 4])
def test_thresholds_part_as_multi_otsu_does(count):
    """Against scikit-image's threshold_multiotsu, which searches all combinations."""
    rng = np.random.default_rng(5)
    values = np.concatenate([rng.normal(m, 4, n) for m, n in ((15, 900), (40, 700), (62, 1100), (88, 500))])
    values = np.clip(values, 0, 100)
    theirs = threshold_multiotsu(np.rint(values).astype(np.uint8), classes=count)
    assert thresholds(values, count) == pytest.approx(theirs + 0.5, abs=1.0)


def test_thresholds_leave_out_what_is_not_there():
    assert thresholds(np.array([np.nan, 10.0, 10.0, 80.0, 80.0, np.nan]), 2) == (45.0,)


def test_the_picture_comes_onto_the_canvas_to_half_a_px():
    read = sitter()
    placement = place_reference(read, CANVAS)
    pixels, reach = canvas_pixels(read, placement, 1000)
    assert pixels.shape == (1000, 800, 3)
    assert reach.all()
    edge = placement.place(np.array([300.0, 0.0]))[0] / 0.5
    row = pixels[500, :, 0].astype(float)
    crossing = np.interp(-120.0, -row, np.arange(800) + 0.5)
    assert crossing == pytest.approx(edge, abs=0.5)


def test_a_wide_canvas_around_the_reference_is_left_white():
    read = sitter()
    usual = place_reference(read, CANVAS)
    small = replace(usual, mm_per_px=0.3, offset=(100.0, 150.0))
    tones = tones_of(read, small)
    share = tones.seen.mean()
    assert share == pytest.approx(600 * 500 * 0.3**2 / (400 * 500), rel=0.03)
    labels, _ = parted(tones, 2)
    assert (labels[~tones.seen] == -1).all()
    shown, _ = value_picture(labels, tones)
    assert (shown[~tones.seen] == 255).all()
    warm, _ = warmth_picture(tones)
    assert (warm[~tones.seen] == 255).all()


def test_two_values_are_light_and_dark_with_their_own_lightness():
    read = sitter()
    tones = tones_of(read, place_reference(read, CANVAS))
    labels, _ = parted(tones, 2)
    assert labels.min() == 0
    assert (labels[:, 10] == 1).all()
    assert (labels[:, -10] == 0).all()
    shown, means = value_picture(labels, tones)
    assert int(shown[100, 10]) == pytest.approx(200, abs=4)
    assert int(shown[100, -10]) == pytest.approx(40, abs=4)
    assert means[0] < means[1]


def test_the_face_decides_where_values_part_and_the_picture_may():
    read = sitter()
    pixels = np.array(read.picture.pixels)
    pixels[:100] = 255
    read = replace(read, picture=replace(read.picture, pixels=pixels))
    placement = place_reference(read, CANVAS)
    by_face, by_picture = (parted(tones_of(read, placement, by), 3)[1] for by in ("face", "picture"))
    assert by_picture[1] > by_face[1] or by_picture != by_face


def test_specks_are_given_to_what_is_round_them():
    read = sitter()
    pixels = np.full_like(read.picture.pixels, 200)
    pixels[:, 300:] = 40
    pixels[100:103, 100:103] = 0
    read = replace(read, picture=replace(read.picture, pixels=pixels))
    labels, _ = parted(tones_of(read, place_reference(read, CANVAS)), 2)
    assert (labels[:, :100] == 1).all()


def test_an_edge_is_drawn_where_it_is():
    mask = np.zeros((100, 80), dtype=bool)
    mask[:, 40:] = True
    strokes = edges_of(mask, 2.0, Pen(width=0.1))
    points = np.vstack([stroke.points for stroke in strokes])
    xs = points[(points[:, 1] > 20) & (points[:, 1] < 180), 0]
    assert xs == pytest.approx(np.full_like(xs, 80.0), abs=0.4)
    assert edges_of(np.zeros((50, 50), dtype=bool), 1.0, Pen(width=0.1)) == []


def test_warm_and_cool_are_told_apart():
    read = sitter()
    pixels = np.full_like(read.picture.pixels, 128)
    pixels[:, :200] = (190, 130, 90)
    pixels[:, 400:] = (100, 130, 190)
    read = replace(read, picture=replace(read.picture, pixels=pixels))
    tones = tones_of(read, place_reference(read, CANVAS), "picture")
    _, parts = warmth_picture(tones)
    assert (parts[50:-50, 5] == 2).all()
    assert (parts[50:-50, parts.shape[1] // 2] == 1).all()
    assert (parts[50:-50, -5] == 0).all()


@pytest.mark.parametrize(("lightness", "value"), [(20.24, 2.0), (51.0, 5.0), (80.53, 8.0)])
def test_values_are_munsell_s(lightness, value):
    """ASTM D1535-08e1: L* of Munsell value 2, 5 and 8."""
    assert value_of(lightness) == pytest.approx(value, abs=0.01)


# Measures


def test_lengths_in_mm_on_print_and_canvas():
    read = measured()
    found = {length.name: length for length in lengths(read)}
    assert found["pupil to pupil"].px == pytest.approx(100.0)
    assert found["root of the nose to chin"].px == pytest.approx(math.hypot(30, 150))
    assert found["head, top to chin"].px == pytest.approx(math.hypot(30, 290))
    assert "sitter's left ear" not in found
    table = {row.name: row for row in rows(lengths(read), 0.8, 0.2)}
    pupils = table["pupil to pupil"]
    assert (pupils.on_print, pupils.on_canvas) == ("20", "80")
    # two points, each 2.1 % of 100 px along the line, at 0.8 mm a px, 1.96 of it: 4.7 mm
    assert pupils.give_or_take == "5"


def test_points_placed_by_hand_have_their_own_doubt():
    read = measured()
    hand = dict.fromkeys(("p_right", "p_left"), (*NOWHERE, 0.5))
    read = replace(read, points=replace(read.points, hand=hand))
    found = {length.name: length for length in lengths(read)}
    assert found["pupil to pupil"].sigma == pytest.approx(math.hypot(0.5, 0.5))


NOWHERE = (0.0, 0.0)


def test_axes_and_plumb_lines_in_words():
    read = measured()
    axes = axes_said(read)
    assert "eye line: 5 degrees clockwise from level, give or take 2" in axes
    centre = math.degrees(math.atan2(30, 150))
    assert f"centre line, root of the nose to chin: {centre:.0f} degrees anticlockwise from plumb" in " ".join(axes)
    hangs = hangs_said(read, 1.0)
    assert "below the root of the nose the base of the nose hangs plumb, give or take 6 mm" in hangs
    assert "below the base of the nose the chin stands 30 mm toward picture right, give or take 6 mm" in hangs


def test_what_is_not_known_is_left_out():
    read = measured()
    points = read.points.mean.copy()
    points[list(NAMED_POINTS["gn"].indices)] = np.nan
    points[list(NAMED_POINTS["p_left"].indices)] = np.nan
    bare = replace(read, points=replace(read.points, mean=points), more=np.full_like(read.more, np.nan))
    names = {length.name for length in lengths(bare)}
    assert not names & {"head, top to chin", "mouth to chin", "pupil to pupil"}
    assert "eye line" not in " ".join(axes_said(bare))
    pages = study_pages(bare, place_reference(bare, CANVAS))
    assert "not measured" in words_of(pages[0])


def test_a_print_is_filled_and_says_what_is_cut():
    placement = place_reference(sitter(), CANVAS)
    whole = Print(size=(100.0, 120.0))
    assert whole.mm_per_px(placement) == pytest.approx(0.2)
    assert whole.said(placement) == "Print: the whole reference on 120 x 100 mm."
    cut = Print(size=(120.0, 120.0))
    assert cut.mm_per_px(placement) == pytest.approx(0.24)
    assert "17 % cut off" in cut.said(placement)


# Pages


def words_of(page: Page) -> str:
    return " ".join(mark.text for mark in page.marks if isinstance(mark, Words))


def test_the_pages_say_what_a_painter_asks():
    read = measured()
    placement = place_reference(read, CANVAS)
    pages = study_pages(read, placement, print_=Print(size=(100.0, 120.0)), grid=grid_of("50mm", CANVAS))
    assert "Head, top to chin" in words_of(pages[0])
    assert "of the canvas's height" in words_of(pages[0])
    assert "Cut from the reference" in words_of(pages[0])
    for count in (2, 3, 4):
        assert f"{count} values" in words_of(pages[1])
    assert "warm and cool" in words_of(pages[1])
    ratio = placement.mm_per_px / 0.2
    assert f"1 on the print is {ratio:.3f} on the canvas" in words_of(pages[2])
    assert f"squares of 50 mm on the canvas, {50 / ratio:.2f} mm on the print" in words_of(pages[2])
    bare = study_pages(read, placement)
    assert "Give --print" in words_of(bare[2])
    assert "ratio" not in words_of(bare[2]).split("dividers'")[0].lower().replace("print", "")[:60]


def test_nothing_is_set_outside_the_paper():
    read = measured()
    for paper, size in (("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))):
        for canvas in (CANVAS, (600.0, 200.0), (150.0, 600.0)):
            placement = place_reference(read, canvas)
            for page in study_pages(read, placement, paper=paper, print_=Print(size=(100.0, 120.0))):
                assert (page.width, page.height) == size
                for mark in page.marks:
                    points = (
                        corners_of(mark.box) if isinstance(mark, Window | Raster) else getattr(mark, "points", None)
                    )
                    at = np.array([mark.at]) if isinstance(mark, Words) else points
                    assert (at >= 0).all()
                    assert (at <= size).all()


def test_the_level_of_the_chin_lies_where_it_says(tmp_path):
    read = measured()
    placement = place_reference(read, CANVAS)
    (page, *_) = pages = study_pages(read, placement)
    window = next(mark for mark in page.marks if isinstance(mark, Window))
    x, y, w, h = window.box
    assert w / h == pytest.approx(400 / 500)
    chin = placement.place(np.array([330.0, 350.0]))[1]
    label = next(mark for mark in page.marks if isinstance(mark, Words) and mark.text.startswith("chin"))
    assert label.text == f"chin {chin:.0f}"
    dark = printed(render_study(pages, "pdf", title="t"), tmp_path)
    column = dark[:, round((x - 1.0) / MM)]
    inked = (np.flatnonzero(column > 0.3) + 0.5) * MM
    assert np.abs(inked - (y + chin * window.factor)).min() < 0.15


@pytest.mark.parametrize(("text", "step"), [("8", 50.0), ("25mm", 25.0), (" 40 mm ", 40.0)])
def test_grids(text, step):
    grid = grid_of(text, CANVAS)
    assert grid.step == step
    lines = grid_lines(CANVAS, grid.step, 1.0)
    assert len(lines) == (math.ceil(400 / step) - 1) + (math.ceil(500 / step) - 1)


@pytest.mark.parametrize("text", ["0", "x", "0mm", "-5mm", "5mm", "nanmm", "1000", "infmm", ""])
def test_a_grid_that_makes_no_sense_is_refused(text):
    with pytest.raises(UsageError, match="--grid"):
        grid_of(text, CANVAS)


@pytest.mark.parametrize("kind", ["pdf", "png"])
def test_the_study_repeats_to_the_byte(kind):
    read = sitter()
    placement = place_reference(read, CANVAS)
    made = [render_study(study_pages(read, placement), kind, title=title_of(read, placement)) for _ in range(2)]
    assert made[0] == made[1]


def test_a_png_shows_what_the_pdf_shows(tmp_path):
    pages = [
        Page(
            width=100.0,
            height=80.0,
            marks=(
                line(20.0, 10.0, 20.0, 70.0, Pen(width=0.4)),
                Stroke(points=corners_of((40.0, 10.0, 20.0, 20.0)), pen=Pen(width=0.4), closed=True),
                Area(points=corners_of((70.0, 10.0, 10.0, 10.0))),
                Window(box=(70.0, 40.0, 20.0, 20.0), origin=(0.0, 0.0), factor=2.0, marks=(
                    Raster(pixels=np.zeros((2, 2), dtype=np.uint8), box=(2.0, 2.0, 4.0, 4.0)),
                )),
                Words(text="level", at=(30.0, 60.0), size=4.0, anchor="middle", bold=True),
                Words(text="plumb", at=(10.0, 60.0), size=4.0, upward=True),
                line(5.0, 75.0, 95.0, 75.0, Pen(width=0.4, dash=(6.0, 3.0))),
            ),
        )
    ]  # fmt: skip
    dark = printed(render_study(tuple(pages), "pdf", title="t"), tmp_path, dpi=150)
    shown = 1 - np.asarray(Image.open(io.BytesIO(to_png(pages, dpi=150))).convert("L"), dtype=np.float64) / 255
    assert shown.shape == pytest.approx(dark.shape, abs=1)
    h, w = (min(a, b) for a, b in zip(shown.shape, dark.shape, strict=True))
    both = [np.add.reduceat(np.add.reduceat(p[:h, :w], range(0, h, 9), 0), range(0, w, 9), 1) for p in (dark, shown)]
    assert np.corrcoef(both[0].ravel(), both[1].ravel())[0, 1] > 0.97
    assert upright_lines(dark, 40.0, 18.0, 22.0, dpi=150) == [pytest.approx(20.0, abs=0.1)]


def test_pages_of_a_png_stand_under_each_other():
    page = Page(width=50.0, height=40.0, marks=())
    picture = Image.open(io.BytesIO(to_png([page, page], dpi=100)))
    assert picture.height > 2 * 40 / 25.4 * 100
    assert not picture.info
    with pytest.raises(TypeError):
        to_png([Page(width=5.0, height=5.0, marks=("x",))])  # type: ignore[arg-type]


# The reference alone, and the command


def test_the_portrait_is_read_with_its_big_shape(portrait, model_path):
    read = read_sitter(portrait, model=model_path)
    assert np.isfinite(read.points.mean).all()
    top = read.more[BEYOND["v"] - POINT_COUNT]
    assert np.isfinite(top).all()
    assert top[1] < read.points.mean[:, 1].min()


def limner(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "limner.cli", "study", *words],
        cwd=folder,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        encoding="utf-8",
        env={**os.environ, "COLUMNS": "80", "NO_COLOR": "1"},
        check=False,
        timeout=300,
    )


def test_the_command_writes_a_study(portrait, model_path, tmp_path):
    Image.fromarray(portrait).save(tmp_path / "sitter.png")
    (tmp_path / "limner.toml").write_text(
        'reference = "sitter.png"\npaper = "letter"\nprint = "10x10cm"\ncanvas = "40x50cm"\n'
    )
    done = limner(tmp_path, "--grid", "8")
    assert done.returncode == 0, done.stderr
    assert done.stdout == "sitter.study.pdf\n"
    assert "Cut from the reference" in done.stderr
    assert b"/MediaBox [ 0 0 612 792 ]" in (tmp_path / "sitter.study.pdf").read_bytes()
    done = limner(tmp_path, "sitter.png", "--canvas", "400x500mm", "-o", "s.png", "-q")
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("a.png",), 2),
        (("a.png", "--canvas", "1x1mm"), 2),
        (("a.png", "--canvas", "40x50cm", "--eyes", "here"), 2),
        (("a.png", "--canvas", "40x50cm", "--grid", "none"), 2),
        (("a.png", "--canvas", "40x50cm", "--print", "9x13"), 2),
        (("a.png", "--canvas", "40x50cm", "-o", "a.svg"), 2),
        (("a.png", "--canvas", "40x50cm", "-o", "a.png"), 6),
        (("a.png", "--canvas", "40x50cm", "-o", "."), 6),
        (("b.png", "--canvas", "40x50cm"), 3),
        (("--canvas", "40x50cm"), 2),
    ],
)
def test_bad_input_is_refused(tmp_path, words, code):
    Image.new("RGB", (40, 40)).save(tmp_path / "a.png")
    before = (tmp_path / "a.png").read_bytes()
    done = limner(tmp_path, *words)
    assert done.returncode == code, done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["a.png"]
    assert (tmp_path / "a.png").read_bytes() == before
