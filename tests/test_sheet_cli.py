"""``limner sheet`` from the command line: what it writes, and how it refuses."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw

from limner.cli.placed import size_of, wish_of
from limner.errors import UsageError


def limner(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "limner.cli", *words],
        cwd=folder,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        encoding="utf-8",
        env={**os.environ, "COLUMNS": "80", "NO_COLOR": "1"},
        check=False,
        timeout=300,
    )


@pytest.fixture(scope="module")
def pictures(tmp_path_factory: pytest.TempPathFactory, model_path: Path) -> Path:
    """The portrait as reference and, with its mouth moved, as a painting of 400 x 400 mm that is its canvas."""
    from skimage import data

    from limner.face.mesh import open_mesh
    from limner.proving.plant import plant
    from limner.proving.slips import Slip

    folder = tmp_path_factory.mktemp("sheets")
    head = Image.fromarray(data.astronaut()).crop((110, 0, 330, 220)).resize((880, 880), Image.Resampling.BICUBIC)
    pixels = np.asarray(head)
    points = open_mesh(model_path).detect(pixels)[0][:, :2]
    head.save(folder / "reference.png")
    Image.fromarray(plant(pixels, points, [Slip(kind="mouth_y", amount=0.12)]).pixels).save(folder / "canvas.png")
    return folder


def test_a_correction_sheet_is_made_and_repeats(pictures):
    words = ("sheet", "reference.png", "canvas.png", "--canvas", "40x40cm")
    done = limner(pictures, *words)
    assert done.returncode == 0, done.stderr
    assert done.stdout == "canvas.sheet.pdf\n"
    assert "touch-dry" in done.stderr
    assert "taken as the canvas edge to edge" in done.stderr
    first = (pictures / "canvas.sheet.pdf").read_bytes()
    assert first.startswith(b"%PDF")
    assert b"/Author ()" in first
    assert str(pictures).encode() not in first
    assert limner(pictures, *words, "-o", "again.pdf", "-q").stderr == ""
    assert (pictures / "again.pdf").read_bytes() == first


def test_a_photo_with_more_than_the_canvas_is_refused(pictures):
    done = limner(pictures, "sheet", "reference.png", "canvas.png", "--canvas", "40x50cm", "-o", "no.pdf")
    assert done.returncode == 3
    assert "--corners" in done.stderr
    assert not (pictures / "no.pdf").exists()


def test_a_transfer_drawing_needs_no_painting(pictures):
    done = limner(pictures, "sheet", "reference.png", "--blank", "--canvas", "16x20in", "-o", "blank.svg", "-q")
    assert done.returncode == 0, done.stderr
    text = (pictures / "blank.svg").read_text(encoding="utf-8")
    assert "canvas 406.4 x 508 mm" in text
    assert "limner transfer drawing: reference.png" in text


def test_names_with_markup_are_only_words(pictures):
    name = "<b>&amp; it's.png"
    (pictures / name).write_bytes((pictures / "reference.png").read_bytes())
    done = limner(pictures, "sheet", name, "--blank", "--canvas", "30x40cm", "-o", "odd.svg", "-q")
    assert done.returncode == 0, done.stderr
    text = (pictures / "odd.svg").read_text(encoding="utf-8")
    assert "&lt;b&gt;&amp;amp; it's.png" in text
    assert "<b>" not in text


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ((), 2, "Missing --canvas"),
        (("--canvas", "400x500"), 2, "add mm, cm or in"),
        (("--canvas", "40x50m"), 2, "check the unit"),
        (("--canvas", "0x0mm"), 2, "between"),
        (("--canvas", "40x50cm", "--pupils", "60"), 2, "--blank"),
        (("--canvas", "40x50cm", "-o", "x.png"), 2, "ends in .pdf or .svg"),
        (("--canvas", "40x50cm", "-o", "folder"), 6, "is a folder"),
        (("--canvas", "40x50cm", "-o", "none/x.pdf"), 6, "does not exist"),
        (("--canvas", "40x50cm", "--paper", "a9"), 2, "a9"),
    ],
)
def test_bad_options_are_refused_before_any_work(tmp_path, words, code, said):
    (tmp_path / "folder").mkdir()
    for name in ("reference.png", "canvas.png"):
        Image.new("RGB", (40, 40)).save(tmp_path / name)
    before = sorted(tmp_path.rglob("*"))
    done = limner(tmp_path, "sheet", "reference.png", "canvas.png", *words)
    assert done.returncode == code
    assert said in " ".join(done.stderr.replace("│", " ").split())
    assert sorted(tmp_path.rglob("*")) == before


@pytest.mark.parametrize(
    "words",
    [
        ("reference.png", "canvas.png", "--blank"),
        ("--blank",),
    ],
)
def test_a_blank_sheet_takes_no_painting_and_needs_a_reference(tmp_path, words):
    for name in ("reference.png", "canvas.png"):
        Image.new("RGB", (40, 40)).save(tmp_path / name)
    assert limner(tmp_path, "sheet", *words, "--canvas", "40x50cm").returncode == 2


def test_an_input_is_never_written_over(tmp_path):
    held = tmp_path / "reference.pdf"
    Image.new("RGB", (40, 40)).save(held, "PNG")
    before = held.read_bytes()
    done = limner(tmp_path, "sheet", "reference.pdf", "--blank", "--canvas", "40x50cm", "-o", "reference.pdf")
    assert done.returncode == 6
    assert held.read_bytes() == before


def test_no_face_is_no_sheet(pictures):
    Image.new("RGB", (400, 500), (120, 110, 100)).save(pictures / "empty.png")
    done = limner(pictures, "sheet", "empty.png", "--blank", "--canvas", "40x50cm", "-o", "empty.pdf")
    assert done.returncode == 4
    assert not (pictures / "empty.pdf").exists()


def test_sizes_and_places_are_read():
    assert size_of("40x50cm") == (400.0, 500.0)
    assert wish_of(60.0, " 200 , 180.5 mm").eyes == (200.0, 180.5)
    assert wish_of(None, None).eyes is None
    for eyes in ("200", "a,b", "1,2,3", "-1,5"):
        with pytest.raises(UsageError, match="--eyes"):
            wish_of(None, eyes)


def test_a_profile_is_placed_by_its_points_alone(tmp_path):
    """An ink profile in which no face is found: hairline, nose and chin placed by hand."""
    places = {"tr": (150, 130), "n": (138, 260), "sn": (112, 366), "sto": (112, 408), "gn": (140, 500)}
    drawing = Image.new("RGB", (500, 600), "white")
    ImageDraw.Draw(drawing).line(list(places.values()), fill="black", width=3)
    drawing.save(tmp_path / "profile.png")
    sets = [word for key, (x, y) in places.items() for word in ("--set", f"{key}={x},{y}")]
    done = limner(tmp_path, "points", "profile.png", "--blank", "--table", "-q", "--save", "p.points.json", *sets)
    assert done.returncode == 0, done.stderr
    words = ("--canvas", "40x50cm", "--points-reference", "p.points.json", "--points-only", "-q")
    for command in (("sheet", "profile.png", "--blank", "-o", "p.svg"), ("study", "profile.png", "-o", "p.pdf")):
        done = limner(tmp_path, *command, *words)
        assert (done.returncode, done.stderr) == (0, "")
    assert ">hairline</text>" in (tmp_path / "p.svg").read_text(encoding="utf-8")
    done = limner(tmp_path, "study", "profile.png", "-o", "p.pdf", "--pupils", "60", *words)
    assert done.returncode == 2
    assert "both pupils" in done.stderr
