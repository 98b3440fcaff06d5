"""``limner series`` by the command line, on the example commission and on photos that go wrong."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from PIL import Image

import crewwork
from limner.series.jsonout import schema
from limner.series.take import PARTS

SERIES = (sys.executable, "-m", "limner.cli", "series")


@pytest.fixture(scope="module")
def studio(example_studio: Path) -> Path:
    return example_studio


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("kept")


def run(*words: object, cwd: Path, kept: Path, **env: str) -> subprocess.CompletedProcess[str]:
    around = {**os.environ, "LIMNER_CACHE": str(kept), "COLUMNS": "80", **env}
    command = [*SERIES, *map(str, words)]
    return subprocess.run(command, cwd=cwd, env=around, capture_output=True, text=True, timeout=300, check=False)


def plain(*words: object, cwd: Path, kept: Path) -> dict[str, Any]:
    done = run(*words, "--format", "json", cwd=cwd, kept=kept)
    assert done.returncode in {0, 1, 7}, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    jsonschema.validate(found, schema())
    return found


@pytest.fixture(scope="module")
def five(studio: Path, kept: Path) -> dict[str, Any]:
    return plain("reference.jpg", *(f"session-{n}.jpg" for n in (4, 2, 5, 1, 3)), cwd=studio, kept=kept)


def planted_error(truth: dict[str, Any], number: int) -> float:
    """The drawing's true typical error, percent of the pupils' distance: from the points that were planted."""
    a, b = (np.array(p["points"]) for p in (truth["reference"], truth["sessions"][number - 1]))
    (ar, al), (br, bl) = ((p[468], p[473]) for p in (a, b))
    turn = complex(*(bl - br)) / complex(*(al - ar))
    should = (a - ar) @ np.array([[turn.real, turn.imag], [-turn.imag, turn.real]]) + br
    way = (b - should) / abs(complex(*(bl - br)))
    squares = []
    for part, rows in PARTS.items():
        moved = way[list(rows)]
        if part == "outline":
            along = np.gradient(should[list(rows)], axis=0)
            normal = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.linalg.norm(along, axis=1)[:, None]
            moved = (moved * normal).sum(axis=1, keepdims=True)
        squares.append((moved**2).sum(axis=1).mean())
    return 100 * float(np.sqrt(np.mean(squares)))


def test_photos_given_in_any_order_come_in_the_cameras(five):
    assert [photo["name"] for photo in five["photos"]] == [f"session-{n}.jpg" for n in range(1, 6)]
    assert "time" in five["order"]


def test_the_drawing_is_ranked_as_it_was_planted_and_its_number_is_the_planted_one(five, studio):
    truth = json.loads((studio / "truth.json").read_text())
    planted = [planted_error(truth, n) for n in range(1, 6)]
    read = [photo["drawing"]["percent_of_pupil_distance"] for photo in five["photos"]]
    assert planted == sorted(planted, reverse=True)
    assert [r["value"] for r in read] == sorted((r["value"] for r in read), reverse=True)
    for true, found in zip(planted, read, strict=True):
        assert found["value"] == pytest.approx(true, abs=0.5)
    inside = [f["interval"][0] <= true <= f["interval"][1] for true, f in zip(planted, read, strict=True)]
    assert inside[0]
    assert sum(inside) >= 4


def test_the_values_are_ranked_as_they_were_planted(five):
    read = [photo["values"]["value"] for photo in five["photos"]]
    assert read == sorted(read, reverse=True)
    assert five["changes"][0]["values"] == "nearer"


def test_the_planted_regression_is_named_and_gone_on_the_next_day(studio, kept, five):
    four = plain("reference.jpg", *(f"session-{n}.jpg" for n in range(1, 5)), cwd=studio, kept=kept)
    back = {change["id"]: change for change in four["gone_back"]}
    assert back["mouth_width"]["was"]["photo"] == 3
    assert back["mouth_width"]["now"]["call"] == "off"
    assert not {"eye_width_left", "eye_width_right", "chin_height", "brow_left_y"} & back.keys()
    assert five["gone_back"] == []
    told = run("reference.jpg", *(f"session-{n}.jpg" for n in range(1, 5)), cwd=studio, kept=kept).stdout
    gone = " ".join(told.partition("Gone back")[2].partition("What is left")[0].split())
    assert re.search(r"mouth width: was \d+ % too narrow in photo 3, now 1\d % too narrow", gone)
    after = run("reference.jpg", *(f"session-{n}.jpg" for n in range(1, 6)), cwd=studio, kept=kept).stdout
    way = " ".join(after.partition("Gone back on the way, and mended since")[2].partition("What is left")[0].split())
    assert re.search(r"mouth width: \d+ % too narrow in photo 3, 1\d % too narrow in photo 4", way)


def test_on_the_last_day_the_drawing_is_nearer_and_the_mouth_better(five):
    last = five["changes"][-1]
    assert last["drawing"] == "nearer"
    assert "mouth_width" in {change["id"] for change in last["better"]}


def test_every_output_is_written_and_is_what_it_says(studio, kept, five, tmp_path):
    names = {"--plot": "p.png", "--contact": "c.png", "--blink": "b.gif"}
    words = [word for option, name in names.items() for word in (option, tmp_path / name)]
    photos = [f"session-{n}.jpg" for n in range(1, 6)]
    done = run("reference.jpg", *photos, *words, cwd=studio, kept=kept)
    assert done.returncode == 1
    assert max(map(len, done.stdout.splitlines())) <= 80
    for name in names.values():
        with Image.open(tmp_path / name) as picture:
            picture.load()
            assert picture.width > 300
    with Image.open(tmp_path / "b.gif") as picture:
        assert picture.n_frames == 5
    with Image.open(tmp_path / "c.png") as picture:
        assert np.asarray(picture).std() > 20
        assert not picture.getexif()
    more = ["--plot", tmp_path / "p.svg", "--blink", tmp_path / "b.webp", "--format", "csv"]
    done = run("reference.jpg", *photos, *more, cwd=studio, kept=kept)
    assert b"<svg" in (tmp_path / "p.svg").read_bytes()
    with Image.open(tmp_path / "b.webp") as picture:
        assert picture.n_frames == 5
    rows = list(csv.DictReader(io.StringIO(done.stdout)))
    keys = [(row["photo"], row["id"]) for row in rows]
    assert len(set(keys)) == len(keys)
    assert {row["photo"] for row in rows} == set("12345")


def test_the_faces_of_all_photos_lie_at_one_place(studio, kept, five):
    import cv2

    from limner.face.mesh import open_mesh

    faces = []
    for path in sorted(kept.rglob("*.json")):
        held = json.loads(path.read_bytes().split(b"\n", 1)[1])
        if "record" in held and held["record"]["name"] in {"session-3.jpg", "session-5.jpg"}:
            import base64

            data = np.frombuffer(base64.b64decode(held["face"]), np.uint8)
            faces.append(cv2.cvtColor(cv2.imdecode(data, cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB))
    from limner.face.bundle import ensure_model

    mesh = open_mesh(ensure_model())
    pupils = [mesh.detect(face)[0][[468, 473], :2] for face in faces[:2]]
    assert np.abs(pupils[0] - pupils[1]).max() < 6


def test_one_bad_photo_is_listed_with_its_reason_and_stops_nothing(studio, tmp_path):
    folder = tmp_path / "photos"
    folder.mkdir()
    shutil.copy(studio / "session-5.jpg", folder / "3.jpg")
    (folder / "1.jpg").write_bytes((studio / "session-4.jpg").read_bytes()[:5000])
    Image.new("RGB", (900, 900), (120, 130, 140)).save(folder / "2.jpg")
    (folder / "4.jpg").write_text("no picture")
    found = plain(studio / "reference.jpg", folder, cwd=tmp_path, kept=tmp_path / "kept")
    assert [bool(photo["skipped"]) for photo in found["photos"]] == [True, True, False, True]
    assert [photo["skipped"]["exit_code"] for photo in found["photos"] if photo["skipped"]] == [3, 4, 3]
    done = run(studio / "reference.jpg", folder, cwd=tmp_path, kept=tmp_path / "kept")
    assert done.returncode == 7
    assert "Not audited" in done.stdout
    assert "ends before the picture does" in " ".join(done.stdout.split())


def test_a_bad_reference_or_use_ends_with_its_own_code(studio, tmp_path):
    (tmp_path / "no.jpg").write_text("no picture")
    assert run(tmp_path / "no.jpg", studio / "session-1.jpg", cwd=tmp_path, kept=tmp_path / "k").returncode == 3
    assert run(cwd=tmp_path, kept=tmp_path / "k").returncode == 2
    assert run("a.jpg", "--no-config", cwd=tmp_path, kept=tmp_path / "k").returncode == 2
    for words in (("--plot", "x.pdf"), ("--blink", "x.mp4"), ("--jobs", "0"), ("--match", "nonsense")):
        done = run(studio / "reference.jpg", studio / "session-1.jpg", *words, cwd=tmp_path, kept=tmp_path / "k")
        assert done.returncode == 2, words
    onto = run(studio / "reference.jpg", studio / "session-1.jpg", "--contact", studio / "session-1.jpg",
               cwd=tmp_path, kept=tmp_path / "k")  # fmt: skip
    assert onto.returncode in {2, 6}


def test_one_process_and_two_find_the_same_and_a_toml_names_the_reference(studio, kept, five, tmp_path):
    for name in ("reference.jpg", "session-3.jpg", "session-5.jpg"):
        shutil.copy(studio / name, tmp_path / name)
    (tmp_path / "limner.toml").write_text('reference = "reference.jpg"\n')
    alone = plain(".", "--jobs", "1", "--no-cache", cwd=tmp_path, kept=tmp_path / "none")
    both = plain(cwd=tmp_path, kept=kept)
    assert alone == both
    assert not (tmp_path / "none").exists()


@pytest.fixture
def commission(studio: Path, tmp_path: Path) -> Path:
    """A folder whose limner.toml names the reference, with two photos of the canvas."""
    for name in ("reference.jpg", "session-3.jpg", "session-5.jpg"):
        shutil.copy(studio / name, tmp_path / name)
    (tmp_path / "limner.toml").write_text('reference = "reference.jpg"\n')
    return tmp_path


@pytest.mark.parametrize(
    ("words", "told_by"),
    [
        (("session-3.jpg", "session-5.jpg"), "named in limner.toml"),
        (("session-5.jpg", "reference.jpg", "session-3.jpg"), "named in limner.toml"),
        (("reference.jpg", "session-3.jpg", "session-5.jpg"), "named in limner.toml"),
        (("reference.jpg", "."), "named in limner.toml"),
        ((".", "session-5.jpg"), "named in limner.toml"),
        (("session-3.jpg", "session-5.jpg", "--reference", "reference.jpg", "--no-config"), "named by --reference"),
        (("reference.jpg", "session-3.jpg", "session-5.jpg", "--no-config"), "the first picture given"),
    ],
    ids=["photos", "reference among them", "reference first", "folder", "folder and photo", "option", "no toml"],
)
def test_a_named_reference_is_used_and_every_other_picture_is_a_photo(commission, kept, five, words, told_by):
    found = plain(*words, cwd=commission, kept=kept)
    assert (found["reference"], found["reference_by"]) == ("reference.jpg", told_by)
    assert [photo["name"] for photo in found["photos"]] == ["session-3.jpg", "session-5.jpg"]
    text = run(*words, cwd=commission, kept=kept).stdout
    assert f"The reference: {told_by}." in text


def test_a_picture_before_a_folder_is_not_guessed_to_be_reference_or_photo(commission, kept):
    (commission / "photos").mkdir()
    done = run("session-3.jpg", "photos", cwd=commission, kept=kept)
    assert done.returncode == 2
    assert "is 'session-3.jpg' another reference, or a photo?" in done.stderr
    asked = run("photos", "--reference", "session-3.jpg", cwd=commission, kept=kept)
    assert "Expected photos of the canvas" in asked.stderr


def test_what_was_kept_is_taken_and_a_cut_result_is_computed_again(studio, tmp_path):
    kept = tmp_path / "kept"
    photos = ["session-4.jpg", "session-5.jpg"]
    first = plain("reference.jpg", *photos, cwd=studio, kept=kept)
    results = sorted(kept.rglob("*.json"))
    assert len(results) == 2
    before = [path.stat().st_mtime_ns for path in results]
    assert plain("reference.jpg", *photos, cwd=studio, kept=kept) == first
    assert [path.stat().st_mtime_ns for path in results] == before
    results[0].write_bytes(results[0].read_bytes()[:1000])
    assert plain("reference.jpg", *photos, cwd=studio, kept=kept) == first
    assert results[1].stat().st_mtime_ns == before[1]
    assert results[0].stat().st_size > 1000


def test_a_full_hit_loads_neither_opencv_nor_the_face_finder(studio, kept, five):
    code = (
        "import sys\nfrom limner.cli.main import app\n"
        "try:\n    app(['series', 'reference.jpg', 'session-1.jpg', 'session-2.jpg', '-q'])\nexcept SystemExit: pass\n"
        "print(*sorted({m.split('.')[0] for m in sys.modules} & {'cv2', 'mediapipe'}), 'loaded', file=sys.stderr)"
    )
    around = {**os.environ, "LIMNER_CACHE": str(kept), "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=studio, env=around, capture_output=True, text=True, check=True
    )
    assert done.stderr.split() == ["loaded"]


def test_a_cache_that_cannot_be_written_is_said_and_no_failure(studio, tmp_path):
    (tmp_path / "file").write_text("in the way")
    done = run("reference.jpg", "session-5.jpg", cwd=studio, kept=tmp_path / "file")
    assert done.returncode in {0, 1}
    assert "could not be kept" in " ".join(done.stdout.split())


@pytest.mark.skipif(os.name != "posix", reason="kills with SIGKILL")
def test_killed_at_any_moment_the_next_run_is_right_and_whole(studio, five, tmp_path):
    kept, rng = tmp_path / "kept", np.random.default_rng(11)
    photos = [f"session-{n}.jpg" for n in range(1, 6)]
    around = {**os.environ, "LIMNER_CACHE": str(kept)}
    for _ in range(4):
        begun = subprocess.Popen([*SERIES, "reference.jpg", *photos], cwd=studio, env=around,
                                 stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)  # fmt: skip
        time.sleep(rng.uniform(0.3, 3.0))
        begun.send_signal(signal.SIGKILL)
        begun.wait()
    assert plain("reference.jpg", *photos, cwd=studio, kept=kept) == five
    assert {path.suffix for path in kept.rglob("*") if path.is_file()} == {".json"}


def test_a_process_that_ends_over_a_photo_ends_no_other():
    from limner.series.crew import Crew

    with Crew(2, crewwork.ready, crewwork.or_end) as crew:
        found = dict(crew.each("shared", [3, -1, 5, 7]))
    assert [found[k] for k in (0, 2, 3)] == [("shared", 3), ("shared", 5), ("shared", 7)]
    assert isinstance(found[1], ChildProcessError)


@pytest.mark.parametrize("pieces", [[1, 2, 3, 4, 5], [0, 0, 3, 4], [7], []])
def test_others_begin_ahead_of_what_is_shared_and_the_one_that_made_it_keeps_it(pieces):
    from limner.series.crew import Crew

    with Crew(3, crewwork.ready, crewwork.makes_or_adds) as crew:
        crew.begin(4)
        shared = crew.first(pieces)
        assert shared == 4000
        found = dict(crew.each(shared, pieces))
    assert [found[k][1] for k in range(len(pieces))] == [piece and 4000 + piece for piece in pieces]
    assert [found[k][0] for k in range(min(2, len(pieces)))] == ["ahead"] * min(2, len(pieces))
    assert {found[k][0] for k in range(2, len(pieces))} <= {"after"}


def test_a_process_that_ends_before_it_is_ready_is_told_of_when_it_is_asked():
    from limner.series.crew import Crew

    with Crew(2, crewwork.never_ready, crewwork.makes_or_adds) as crew:
        crew.begin(4)
        with pytest.raises(ChildProcessError, match="exit status 7"):
            crew.first([1, 2])


def test_a_process_that_ends_ahead_ends_no_other():
    from limner.series.crew import Crew

    with Crew(2, crewwork.ready, crewwork.or_end) as crew:
        crew.begin(3)
        shared = crew.first([-1, 5, 6])
        found = dict(crew.each(shared, [-1, 5, 6]))
    assert isinstance(found[0], ChildProcessError)
    assert [found[k] for k in (1, 2)] == [((None, 3), 5), ((None, 3), 6)]


def test_notes_and_options_from_the_file_of_the_commission(studio, kept, five, tmp_path):
    for name in ("reference.jpg", "session-3.jpg", "session-5.jpg"):
        shutil.copy(studio / name, tmp_path / name)
    lines = 'reference = "reference.jpg"\n[series]\norder = "given"\nplot = "over-time.svg"\n'
    lines += '[notes]\n"session-3.jpg" = "nose repainted"\n'
    (tmp_path / "limner.toml").write_text(lines)
    inner = tmp_path / "below"
    inner.mkdir()
    done = run(tmp_path, cwd=inner, kept=kept)
    assert "Your note: nose repainted" in done.stdout
    assert "as they were given" in done.stdout
    assert (tmp_path / "over-time.svg").is_file()
    (tmp_path / "limner.toml").write_text('[notes]\n"a.jpg" = 3\n')
    wrong = run("reference.jpg", "session-3.jpg", cwd=tmp_path, kept=kept)
    assert wrong.returncode == 2
    assert "words in quotes" in wrong.stderr


@pytest.mark.skipif(os.name != "posix", reason="stopped by a signal")
def test_a_watched_folder_is_told_of_again_when_a_photo_has_come_in_whole(studio, kept, five, tmp_path):
    folder, out = tmp_path / "phone", tmp_path / "out.txt"
    folder.mkdir()
    around = {**os.environ, "LIMNER_CACHE": str(kept), "COLUMNS": "80", "PYTHONUNBUFFERED": "1"}

    def wait_for(words: str) -> str:
        until = time.monotonic() + 60
        while time.monotonic() < until:
            told = out.read_text()
            if words in told:
                return told
            time.sleep(0.1)
        raise AssertionError(out.read_text())

    with out.open("w") as stream:
        begun = subprocess.Popen([*SERIES, str(studio / "reference.jpg"), str(folder), "--watch"], cwd=tmp_path,
                                 env=around, stdout=stream, stderr=stream)  # fmt: skip
        try:
            wait_for("watching 'phone'")
            shutil.copy(studio / "session-1.jpg", folder / "1.jpg")
            wait_for("1 photo of the canvas")
            whole = (studio / "session-2.jpg").read_bytes()
            with (folder / "2.jpg").open("wb") as coming:
                for start in range(0, len(whole), 40_000):
                    coming.write(whole[start : start + 40_000])
                    coming.flush()
                    time.sleep(0.5)
            told = wait_for("2 photos of the canvas")
            assert "Not audited" not in told
            begun.send_signal(signal.SIGINT)
            assert begun.wait(timeout=300) == 130
        finally:
            begun.kill()
            begun.wait()


def test_with_a_canvas_found_in_every_photo_lengths_are_millimetres(studio, tmp_path):
    with Image.open(studio / "session-4.jpg") as photo:
        wide, painted = photo.width, photo.convert("RGB").resize((2200, 2500))
    wall = np.full((3200, 3000, 3), (205, 200, 190), dtype=np.int16)
    wall[300:2800, 400:2600] = np.asarray(painted)
    wall += np.random.default_rng(1).normal(0, 2, wall.shape).astype(np.int16)
    Image.fromarray(wall.clip(0, 255).astype(np.uint8)).save(tmp_path / "4.jpg", quality=90)
    found = plain(studio / "reference.jpg", "4.jpg", "--canvas", "440x500mm", cwd=tmp_path, kept=tmp_path / "k")
    (photo_4,) = found["photos"]
    share, mm = (photo_4["drawing"][key]["value"] for key in ("percent_of_pupil_distance", "mm"))
    truth = json.loads((studio / "truth.json").read_text())["sessions"][3]["points"]
    apart = np.hypot(*(np.array(truth[473]) - np.array(truth[468]))) * 440 / wide
    assert mm == pytest.approx(share / 100 * photo_4["pupil_distance_mm"]["value"])
    assert photo_4["pupil_distance_mm"]["value"] == pytest.approx(apart, rel=0.02)
