"""A whole audit with points files, through the command line: drawings, profiles, corrections."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw

import limner as door
from limner.face.byhand import HandPoint, HandPoints
from limner.face.facepoints import FacePoints
from limner.face.withhand import is_elsewhere, with_hand
from limner.pictures.picture import Picture
from limner.report.jsonout import schema

PROFILE = {
    "tr": (150, 130), "g": (130, 220), "n": (138, 260), "prn": (80, 350), "sn": (112, 366), "ls": (98, 392),
    "sto": (112, 408), "li": (100, 424), "gn": (140, 500),
}  # fmt: skip
LONGER = {**PROFILE, "prn": (80, 380), "sn": (112, 396)}


def run(folder: Path, *words: str, lines: str | None = None, **env: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "limner.cli", *words],
        cwd=folder,
        input=lines,
        stdin=subprocess.DEVNULL if lines is None else None,
        capture_output=True,
        text=True,
        encoding="utf-8",
        env={**os.environ, "COLUMNS": "80", "NO_COLOR": "1", **env},
        check=False,
        timeout=300,
    )


def draw_profile(folder: Path, name: str, places: dict[str, tuple[int, int]]) -> None:
    """An ink line through the points, and the points file made with the table."""
    sheet = Image.new("RGB", (500, 600), "white")
    ImageDraw.Draw(sheet).line(list(places.values()), fill="black", width=3)
    sheet.save(folder / f"{name}.png")
    lines = "\n".join(f"{key} {x} {y}" for key, (x, y) in places.items())
    done = run(folder, "points", f"{name}.png", "--blank", "--table", "-q", lines=lines)
    assert done.returncode == 0, done.stderr


NO_MODEL = {"LIMNER_MODEL": "/nonexistent/model.task"}
BOTH = ("--points-reference", "sitter.points.json", "--points-painting", "canvas.points.json")


@pytest.fixture(scope="module")
def drawn_profiles(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("profiles")
    draw_profile(folder, "sitter", PROFILE)
    draw_profile(folder, "canvas", LONGER)
    return folder


@pytest.fixture
def profiles(drawn_profiles: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(drawn_profiles, tmp_path / "profiles"))


def audited(folder: Path, *words: str, **env: str) -> dict[str, Any]:
    done = run(folder, "audit", "sitter.png", "canvas.png", "--format", "json", *words, **env)
    assert done.returncode in (0, 1), done.stderr
    held: dict[str, Any] = json.loads(done.stdout)
    jsonschema.validate(held, schema())
    return held


def by_id(held: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {measure["id"]: measure for measure in held["measures"]}


def test_two_ink_profiles_need_no_detector(profiles: Path) -> None:
    held = audited(profiles, *BOTH, "--points-only", **NO_MODEL)
    nose = by_id(held)["nose_length"]
    true = 100 * (np.hypot(26, 136) / np.hypot(26, 106) - 1)
    assert nose["deviation"] == pytest.approx(true, abs=0.01)
    assert (nose["call"], nose["witness"]) == ("off", "hand")
    assert by_id(held)["hairline"]["call"] == "true"
    assert by_id(held)["eye_width_left"]["call"] == "not measured"
    assert held["scale"]["by"] == "n-gn"
    assert held["pictures"]["reference"]["found_by"] == "hand"
    assert held["pictures"]["reference"]["pupil_distance"] is None
    assert set(held["points"]) == set(PROFILE)


def test_without_a_model_the_points_stand_alone_and_that_is_said(profiles: Path) -> None:
    held = audited(profiles, *BOTH, **NO_MODEL)
    assert by_id(held)["nose_length"]["call"] == "off"
    said = [warning for warning in held["warnings"] if warning["code"] == "points_alone"]
    assert [warning["text"].split(":")[0] for warning in said] == ["sitter.png", "canvas.png"]
    assert all("the face finder could not be used" in warning["text"] for warning in said)


def test_a_profile_against_itself_is_off_in_nothing(profiles: Path) -> None:
    (profiles / "canvas.png").write_bytes((profiles / "sitter.png").read_bytes())
    done = run(
        profiles, "audit", "sitter.png", "canvas.png", "--points-reference", "sitter.points.json", "--points-painting",
        "sitter.points.json", "--points-only", "--format", "json", **NO_MODEL,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert {m["call"] for m in json.loads(done.stdout)["measures"]} <= {"true", "unsure", "not measured"}


def test_the_report_and_the_pictures_say_what_sizes_are_set_against(profiles: Path) -> None:
    done = run(
        profiles, "audit", "sitter.png", "canvas.png", *BOTH, "--points-only", "--overlay", "o.png", "--side-by-side",
        "s.png", **NO_MODEL,
    )  # fmt: skip
    assert done.returncode == 1, done.stderr
    assert "Held: the distance from the root of\nthe nose to the chin." in done.stdout
    assert "The nose is painted too long: about 27 % (give or take" in done.stdout
    assert "points placed by hand" in done.stdout
    for name in ("o.png", "s.png"):
        with Image.open(profiles / name) as drawn:
            assert drawn.width > 600


def test_the_picture_of_moves_has_arrows_in_profile(profiles: Path) -> None:
    from limner.auditing import examine
    from limner.report.moves import find_moves

    settings = door.Settings(
        points_reference=profiles / "sitter.points.json",
        points_painting=profiles / "canvas.points.json",
        points_only=True,
    )
    result = examine(profiles / "sitter.png", profiles / "canvas.png", settings=settings).result
    moves = {move.name: move for move in find_moves(result)}
    height = float(np.hypot(2, 240))
    assert moves["base of the nose"].share == pytest.approx([0, -100 * 30 / height], abs=0.2)


WRONG = {
    "no file": (("--points-painting", "none.json"), "no such file"),
    "not json": (("--points-painting", "sitter.png"), "JSON text in UTF-8"),
    "another picture's": ((*BOTH[:3], "sitter.points.json"), "another picture of this size"),
    "a folder": (("--points-reference", "."), "a regular file"),
    "only, but none": (("--points-only",), "--points-only needs"),
}


@pytest.mark.parametrize("case", WRONG)
def test_wrong_points_end_with_code_2(case: str, profiles: Path, model_path: Path) -> None:
    words, text = WRONG[case]
    done = run(profiles, "audit", "sitter.png", "canvas.png", *words, LIMNER_MODEL=str(model_path))
    assert done.returncode == 2, done.stderr
    assert text in done.stderr
    assert done.stdout == ""


def test_too_few_points_alone_is_a_face_error(profiles: Path) -> None:
    (profiles / "canvas.points.json").unlink()
    run(profiles, "points", "canvas.png", "--blank", "--table", "--set", "tr=10,10")
    done = run(profiles, "audit", "sitter.png", "canvas.png", *BOTH, "--points-only", **NO_MODEL)
    assert done.returncode == 4
    assert "holds 1 points: at least 2 are needed" in done.stderr


@pytest.fixture(scope="module")
def made_studio(tmp_path_factory: pytest.TempPathFactory, model_path: Path, portrait: NDArray[np.uint8]) -> Path:
    """A photograph and the same as the canvas, so that every departure is the hand's."""
    folder = tmp_path_factory.mktemp("studio")
    head = Image.fromarray(portrait).crop((110, 0, 330, 250)).resize((660, 750), Image.Resampling.BICUBIC)
    head.save(folder / "sitter.png")
    head.save(folder / "canvas.png", compress_level=1)
    for name in ("sitter", "canvas"):
        done = run(folder, "points", f"{name}.png", "--table", "--save", f"{name}.found.json", "-q")
        assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture
def studio(made_studio: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made_studio, tmp_path / "studio"))


def found(folder: Path, name: str) -> dict[str, Any]:
    held: dict[str, Any] = json.loads((folder / f"{name}.found.json").read_text())
    return held["points"]


def test_a_corrected_point_is_taken_over_the_detected_one(studio: Path) -> None:
    mouth = found(studio, "canvas")["ch_left"]
    width = mouth["x"] - found(studio, "canvas")["ch_right"]["x"]
    move = f"ch_left={mouth['x'] + 0.25 * width:.2f},{mouth['y']:.2f},1"
    assert run(studio, "points", "canvas.png", "--blank", "--table", "--set", move).returncode == 0
    held = by_id(audited(studio, "--points-painting", "canvas.points.json"))
    assert held["mouth_width"]["witness"] == "hand"
    assert held["mouth_width"]["deviation"] == pytest.approx(25, abs=2.5)
    assert held["nose_width"]["witness"] != "hand"
    assert held["nose_width"]["deviation"] == pytest.approx(0, abs=1)


def test_found_points_of_a_file_yield_to_the_detection(studio: Path) -> None:
    held = by_id(audited(studio, "--points-painting", "canvas.found.json", "--points-reference", "sitter.found.json"))
    assert "hand" not in {measure["witness"] for measure in held.values()}


def test_what_is_not_to_be_seen_is_not_measured(studio: Path) -> None:
    assert run(studio, "points", "canvas.png", "--blank", "--table", "--set", "ex_left=unseen").returncode == 0
    held = by_id(audited(studio, "--points-painting", "canvas.points.json"))
    assert held["eye_width_left"]["call"] == "not measured"
    assert "outer eye corner, sitter's left" in held["eye_width_left"]["reason"]
    assert held["eye_width_right"]["deviation"] == pytest.approx(0, abs=1)


def test_marks_on_another_head_than_the_detected_one_stand_alone(studio: Path) -> None:
    sets = [f"{key}={point['x'] / 4:.1f},{point['y'] / 4 + 500:.1f}" for key, point in found(studio, "canvas").items()]
    lines = "\n".join(text.replace("=", " ").replace(",", " ") for text in sets)
    assert run(studio, "points", "canvas.png", "--blank", "--table", lines=lines).returncode == 0
    held = audited(studio, "--points-painting", "canvas.points.json")
    assert held["pictures"]["painting"]["found_by"] == "hand"
    assert any("lies elsewhere" in warning["text"] for warning in held["warnings"])
    assert by_id(held)["mouth_width"]["deviation"] == pytest.approx(0, abs=2)


def test_a_chosen_face_that_is_not_there_is_an_error_in_spite_of_marks(studio: Path) -> None:
    done = run(
        studio, "audit", "sitter.png", "canvas.png", "--points-painting", "canvas.found.json", "--face-painting", "3"
    )
    assert done.returncode == 4


def face_at(x: float) -> FacePoints:
    mean = np.tile([[x, 100.0]], (478, 1))
    mean[473, 0] += 50
    return FacePoints(mean=mean, runs=mean[None], depth=mean[:, 0] * 0, box=(0, 0, 1, 1), found_by="plain")


def test_elsewhere_is_told_by_the_middle_of_three_marks() -> None:
    pixels = np.zeros((20, 20, 3), dtype=np.uint8)
    picture = Picture(pixels=pixels, name="a", digest=None, full_size=(400, 400), scale=0.5)

    def held(*keys: str) -> HandPoints:
        return HandPoints(width=400, height=400, sha256=None, points={key: HandPoint(x=200, y=200) for key in keys})

    assert not is_elsewhere(face_at(100), held("sn", "prn", "n"), picture)
    assert is_elsewhere(face_at(130), held("sn", "prn", "n"), picture)
    assert not is_elsewhere(face_at(130), held("sn", "prn", "tr"), picture)
    alone = with_hand(picture, held("sn", "prn", "n"), lambda: face_at(130))
    assert alone.points.found_by == "hand"
    assert alone.notices[0].code == "points_alone"


def test_gaps_are_filled_only_for_finding_others() -> None:
    pixels = np.zeros((20, 20, 3), dtype=np.uint8)
    picture = Picture(pixels=pixels, name="a", digest=None, full_size=(400, 400), scale=1.0)
    placed = HandPoints(width=400, height=400, sha256=None, unseen=("ex_left",))
    handed = with_hand(picture, placed, lambda: face_at(100))
    assert np.isnan(handed.points.mean[263]).all()
    assert handed.whole.mean[263].tolist() == [100.0, 100.0]
    assert np.isfinite(handed.whole.runs).all()
