"""Photos of one painting with the lamp moved, by the command line: glints fall out, painted lights stay."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import cv2
import jsonschema
import numpy as np
import pytest

from face_scenes import close_up
from limner.errors import UsageError
from limner.face.mesh import open_mesh
from limner.pictures.cielab import to_levels, to_light
from limner.proving.photograph import Shot, rephotograph
from limner.proving.render import Brush, paint
from limner.proving.valueslips import ToneSlip, plant_tones
from limner.report.jsonout import schema
from limner.series.record import Record, Series
from limner.series.surface import unlike
from limner.settings import Settings

LIMNER = (sys.executable, "-m", "limner.cli")
# Where glints sit on the flesh with the lamp in its first place, pupil distances from the middle between the pupils.
RIDGES = ((-0.45, 0.75), (0.45, 0.7), (-0.3, -0.6), (0.35, -0.65), (-0.55, 1.0), (0.5, 1.05))
LAMPS = (
    ((0.0, 0.0), Shot(noise=1.0, blur=0.4, quality=95)),
    ((0.16, 0.06), Shot(stops=-0.4, turn=2.0, lean=(0.01, 0.0), noise=1.0, blur=0.4, balance=(1.05, 1.0, 0.93))),
    ((-0.15, 0.1), Shot(stops=0.2, turn=-3.0, scale=0.9, noise=1.0, blur=0.4)),
)


def run(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    around = {**os.environ, "COLUMNS": "80", "LIMNER_CACHE": str(folder / "kept")}
    return subprocess.run([*LIMNER, *words], cwd=folder, env=around, capture_output=True, text=True, check=False)


def values(folder: Path, *words: str) -> dict:
    done = run(folder, "audit", "sitter.png", "canvas.jpg", "--stage", "colour", *words, "--format", "json")
    assert done.returncode in {0, 1}, done.stderr
    data = json.loads(done.stdout)
    jsonschema.validate(data, schema(), cls=jsonschema.Draft202012Validator)
    return data["values"]


def lit(light, points, move):
    """Under a lamp: glints on the ridges, and light that falls off across the canvas."""
    unit, middle = float(np.hypot(*(points[473] - points[468]))), points[[468, 473]].mean(axis=0)
    y, x = np.mgrid[0 : light.shape[0], 0 : light.shape[1]]
    shine = np.zeros(light.shape[:2])
    for ridge in RIDGES:
        cx, cy = middle + unit * (np.array(ridge) + move)
        shine = np.maximum(shine, np.exp(-((np.hypot((x - cx) / 0.04, (y - cy) / 0.05) / unit) ** 4)))
    fall = 1 + 0.4 * move[0] * (x - middle[0]) / unit
    return np.rint(255 * to_levels(np.clip(light * fall[..., None] + 0.35 * shine[..., None], 0, 1))).astype(np.uint8)


@pytest.fixture(scope="module")
def easel(portrait, model_path, tmp_path_factory):
    """A sitter, one painting with two small lights too many, photographed under three lamps; and another painting."""
    folder = tmp_path_factory.mktemp("easel")
    seen = np.clip(close_up(portrait)[0].astype(np.float64) * 0.75, 4, 250).astype(np.uint8)
    points = open_mesh(model_path).detect(seen)[0][:, :2].astype(np.float64)
    cv2.imwrite(str(folder / "sitter.png"), seen[..., ::-1])
    toned = plant_tones(seen, points, [ToneSlip(kind="highlights", amount=1.2, count=2, seed=3)])
    painted = to_light(paint(toned.pixels, Brush(kind="glazes", jitter=0.02, seed=4)) / 255.0)
    for name, (move, shot) in zip(("canvas", "lamp-left", "lamp-right"), LAMPS, strict=True):
        photo = rephotograph(lit(painted, points, move), shot)
        cv2.imwrite(str(folder / f"{name}.jpg"), photo.pixels[..., ::-1])
    other = paint(seen, Brush(kind="blocks", values=3, seed=9))
    cv2.imwrite(str(folder / "block-in.jpg"), other[..., ::-1])
    return folder, toned.spots, float(np.hypot(*(points[473] - points[468])))


def near(lights, spots, unit):
    """How many of the spots are told."""
    return sum(any(np.hypot(*(np.array(one["place"]) - spot)) < 0.1 * unit for one in lights) for spot in spots)


def test_glints_fall_out_and_painted_lights_stay(easel):
    folder, spots, unit = easel
    alone = values(folder, "--no-config")
    assert alone["lamps"] is None
    assert near(alone["highlights"], spots, unit) == 2
    assert len(alone["highlights"]) >= 6
    for lamps in (("lamp-left.jpg",), ("lamp-left.jpg", "lamp-right.jpg")):
        words = [word for lamp in lamps for word in ("--lamp", lamp)]
        told = values(folder, "--no-config", *words)
        assert near(told["highlights"], spots, unit) == len(spots) == len(told["highlights"]) == 2
        assert near(told["lamps"]["dropped"], spots, unit) == 0
        assert len(RIDGES) - 1 <= len(told["lamps"]["dropped"]) <= (len(lamps) + 1) * len(RIDGES)
        assert told["lamps"]["photos"] == list(lamps)
        assert 0 < told["lamps"]["repeatability"]["value"] < 0.15
        (found,) = (f for f in told["findings"] if f["kind"] == "scattered highlights")
        assert "this stays, and is paint" in found["text"]


def test_lamps_and_the_state_of_the_paint_stand_in_the_file(easel):
    folder, *_ = easel
    text = (
        'reference = "sitter.png"\npainting = "canvas.jpg"\nlamp = ["lamp-left.jpg"]\n[state]\n"canvas.jpg" = "dry"\n'
    )
    (folder / "limner.toml").write_text(text)
    try:
        done = run(folder, "audit", "--stage", "colour", "--all", "--value-sheet", "sheet.png")
        told = " ".join(done.stdout.split())
        assert "2 photos taken together" in told
        assert "Photographed dry: darks that have sunk in" in told
        assert "How thick the paint lies is not measured." in told
        assert (folder / "sheet.png").stat().st_size > 100_000
        assert json.loads(run(folder, "config", "--format", "json").stdout)["settings"]["lamp"]["value"] == [
            str(folder / "lamp-left.jpg")
        ]
        other = run(folder, "audit", "block-in.jpg")
        assert "limner.toml gives lamp for 'canvas.jpg' only" in other.stderr
        assert "moved with the lamp" not in other.stdout
    finally:
        (folder / "limner.toml").unlink()


def test_a_photo_of_other_paint_is_refused(easel):
    folder, *_ = easel
    done = run(folder, "audit", "sitter.png", "canvas.jpg", "--lamp", "block-in.jpg")
    assert done.returncode == 2
    assert done.stderr.startswith("limner: --lamp: expected another photo of the same painting in the same state")
    assert done.stdout == ""
    useless = run(folder, "audit", "sitter.png", "canvas.jpg", "--lamp", "lamp-left.jpg", "--no-values")
    assert (useless.returncode, useless.stdout) == (2, "")
    assert "for values only" in useless.stderr
    missing = run(folder, "audit", "sitter.png", "canvas.jpg", "--lamp", "nothing.jpg")
    assert (missing.returncode, missing.stdout) == (3, "")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('lamp = "a.jpg"', "a list of file names"),
        ("lamp = [3]", "a file's name in quotes"),
        ('[state]\n"a.jpg" = "damp"', "wet or dry or oiled"),
        ('state = "wet"', "a table of photos"),
    ],
)
def test_a_wrong_key_says_what_is_right(text, told, tmp_path):
    (tmp_path / "limner.toml").write_text(text)
    done = run(tmp_path, "config")
    assert done.returncode == 2
    assert told in done.stderr


def test_a_state_that_is_none_is_refused():
    from limner.checking import check

    with pytest.raises(UsageError, match="wet, dry, oiled"):
        check(Settings(state="damp"))  # type: ignore[arg-type]


def record(name):
    return Record(
        name=name, digest=None, taken=None, stage="colour", stage_guessed=False, pupil_mm=None, readings=(), shifts=(),
        tones=(), values_off=None, masses=None, mend_first=(), largest=None,
    )  # fmt: skip


def test_a_series_warns_of_unlike_surfaces():
    series = Series(reference="r", order="o", photos=tuple(record(f"{n}.jpg") for n in range(1, 6)))
    told = unlike(series, {"1.jpg": "wet", "3.jpg": "wet", "4.jpg": "dry", "5.jpg": "oiled"})
    assert [text.split(":")[0] for text in told] == ["Photo 4 is dry, photo 3 wet", "Photo 5 is oiled out, photo 4 dry"]
    assert unlike(series, {}) == ()


def test_the_series_command_warns_too(easel, tmp_path):
    folder, *_ = easel
    text = '[state]\n"canvas.jpg" = "wet"\n"lamp-left.jpg" = "dry"\n'
    (tmp_path / "states.toml").write_text(text)
    words = ("--order", "given", "--no-cache", "--jobs", "1", "--config", str(tmp_path / "states.toml"))
    done = run(folder, "series", "sitter.png", "canvas.jpg", "lamp-left.jpg", *words)
    assert "Photo 2 is dry, photo 1 wet: unlike surfaces." in " ".join(done.stdout.split()), done.stderr
