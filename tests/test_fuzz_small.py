"""A few hundred of the hostile cases of bench/fuzz.py, and that it would see what it looks for."""

from __future__ import annotations

import base64
import io
import os
import sys
import zipfile
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

sys.path.insert(0, str(Path(__file__).parent.parent / "bench"))
import fuzz
from hostile import kept, seeds
from hostile.targets import TARGETS, case_of
from hostile.worker import judged
from limner.cli.main import USAGE, ended
from limner.errors import UsageError
from limner.face import bundle
from limner.series.cache import Cache
from limner.series.kept import face_from_text, from_plain, skipped_from_plain
from limner.series.record import to_plain

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="limits of memory and shared pages as Linux has them")


@pytest.mark.parametrize("name", [name for name, target in TARGETS.items() if target.make is not None])
def test_hostile_cases_are_read_or_refused(name: str, tmp_path: Path) -> None:
    for number in range(25):
        outcome, said = judged(name, case_of(name, 7, number), tmp_path / "case")
        assert outcome in ("read", "refused"), (number, said)


def test_every_seed_is_read_as_it_stands(tmp_path: Path) -> None:
    """Else the cases made from it would show nothing."""
    for kind, files in seeds.pictures().items():
        for data in files:
            assert judged(kind, data, tmp_path / "case")[0] == "read", kind
    for profile in seeds.profiles():
        for where in ("JPEG", "PNG", "WebP"):
            mode = "CMYK" if b"CMYK" in profile and where == "JPEG" else "RGB"
            assert judged("PNG", seeds.with_profile(profile, where, mode), tmp_path / "case")[0] == "read"
    for name, data in (
        ("points, changed", seeds.points()),
        ("limner.toml, changed", seeds.CONFIG),
        ("kept results", kept.sealed(kept.json.dumps(kept.body()).encode())),
        ("face model", seeds.model()),
        ("HEIC", seeds.heic()),
    ):
        assert judged(name, data, tmp_path / "case") == ("read", ""), name


def test_the_same_seed_makes_the_same_cases() -> None:
    for name in ("PNG", "EXIF", "points, changed", "kept results"):
        assert [case_of(name, 3, n) for n in range(5)] == [case_of(name, 3, n) for n in range(5)]
        assert [case_of(name, 3, n) for n in range(5)] != [case_of(name, 4, n) for n in range(5)]


@pytest.mark.parametrize("words", seeds.BOMBS)
def test_bombs_are_refused(words: str, tmp_path: Path) -> None:
    assert judged("PNG", seeds.BOMBS[words](), tmp_path / "case")[0] == "refused"


def test_cases_run_in_a_process_of_their_own(tmp_path: Path) -> None:
    found = fuzz.fuzzed(60, 5, tmp_path, "points, drawn")["points, drawn"]
    assert (found.cases, found.read + found.refused) == (60, 60)
    assert found.read > 0
    assert found.memory > 0
    assert list(tmp_path.iterdir()) == []


BROKEN = """
import os, sys, time
from hostile import targets, worker

def make(rng):
    return str(rng.random()).encode()

def run(data, place):
    global count
    count += 1
    if count == 3:
        {what}
    return True

count = 0
targets.TARGETS["broken"] = targets.Target(share=0, make=make, run=run)
sys.exit(worker.main())
"""


@pytest.mark.parametrize(
    ("what", "outcome"),
    [
        ("os.abort()", "crash"),
        ("raise KeyError('x')", "crash"),
        ("raise targets.UsageError('x' * 1000)", "crash"),
        ("time.sleep(60)", "hang"),
        ("while True: pass", "hang"),
        ("bytearray(2_000_000_000)", "memory"),
    ],
)
def test_what_is_looked_for_would_be_seen(
    what: str, outcome: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "brokenworker.py").write_text(BROKEN.format(what=what))
    (tmp_path / "keep").mkdir()
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    monkeypatch.setattr(fuzz, "HANG", 0.4)
    monkeypatch.setattr(fuzz, "WAIT", 1.0 if "sleep" in what else 60.0)
    found = fuzz.run_target("broken", 1, 5, tmp_path / "keep", worker="brokenworker")
    assert found.cases == 5
    assert found.bad == {"crash": 0, "hang": 0, "memory": 0} | {outcome: 1}
    assert [path.name.split("-")[0] for path in (tmp_path / "keep").iterdir()] == [outcome]


# What was found, each held for good.


def test_a_sentence_never_moves_the_cursor(capsys: pytest.CaptureFixture[str]) -> None:
    def fail() -> None:
        raise UsageError("expected a word, but '\x1b[2J\u202e\udcff\n' came.")

    assert ended(fail, debug=False) == USAGE
    assert capsys.readouterr().err == "limner: expected a word, but '?[2J???' came.\n"


LONG = ("9" * 5000, "x" * 5000 + "mm", "patch:1,2=" + "9" * 5000, "ground:" + "1." * 900 + ",3")


@pytest.mark.parametrize("text", LONG, ids=len)
def test_a_long_word_is_not_repeated_whole(text: str) -> None:
    from limner.cli.joined import corners_of
    from limner.pictures.canvassize import parse_canvas_size
    from limner.values.ways import parse_match

    for parse in (corners_of, parse_canvas_size, parse_match):
        with pytest.raises(UsageError) as caught:
            parse(text)
        assert len(str(caught.value)) < 300


def changed(**parts: Any) -> dict[str, Any]:
    return {**to_plain(kept.record()), **parts}


@pytest.mark.parametrize(
    "parts",
    [
        {"taken": 1.5},
        {"stage": None},
        {"stage_guessed": 1},
        {"notices": "x"},
        {"mend_first": [3]},
        {"values_off": [None]},
        {"pupil_mm": {"value": 0, "sigma": 1}},
        {"pupil_mm": {"value": 60.0, "sigma": -1.0}},
        {"pupil_mm": {"value": float("nan"), "sigma": 1.0}},
        {"pupil_mm": {"value": 10**400, "sigma": 1.0}},
        {"pupil_mm": {"value": True, "sigma": 1.0}},
        {"readings": [1]},
        {"readings": {"id": "x"}},
        {"shifts": [{"feature": "lips", "square": -1.0, "chance": 0.1, "sigma": 0.1}]},
        {"shifts": [{"feature": "lips", "square": 1e300, "chance": 0.1, "sigma": 0.1}]},
        {"tones": [{"region": "neck", "name": "neck", "difference": "1", "sigma": 0.1}]},
        {"largest": {"text": "mouth", "size": None}},
        {"own": 1},
    ],
    ids=str,
)
def test_a_kept_result_of_another_shape_is_not_believed(parts: dict[str, Any]) -> None:
    assert from_plain(changed()) == kept.record()
    with pytest.raises(ValueError, match=r"."):
        from_plain(changed(**parts))


def test_a_kept_reason_of_another_shape_is_not_believed() -> None:
    for held in (None, [], {}, {"name": 1, "reason": "x", "exit_code": 4}, {"name": "a", "reason": "b", "code": 1}):
        with pytest.raises(ValueError, match=r"."):
            skipped_from_plain(held)


def test_a_kept_face_is_a_jpeg_of_its_size_or_none() -> None:
    def jpeg(size: tuple[int, int]) -> bytes:
        held = io.BytesIO()
        Image.new("RGB", size).save(held, "JPEG")
        return held.getvalue()

    good = jpeg((320, 400))
    assert face_from_text(base64.b64encode(good).decode()) == good
    assert face_from_text(None) is None
    for bad in (jpeg((321, 400)), good[:300], b"", b"GIF89a"):
        with pytest.raises(ValueError, match="face"):
            face_from_text(base64.b64encode(bad).decode())
    for odd in (1, "x", "\u00e9", [], True):
        with pytest.raises(ValueError, match="face"):
            face_from_text(odd)


def test_a_kept_result_nested_without_end_is_not_there(tmp_path: Path) -> None:
    path = tmp_path / kept.KEY[:2] / f"{kept.KEY}.json"
    path.parent.mkdir()
    path.write_bytes(kept.sealed(b"[" * 100_000))
    assert Cache(tmp_path).get(kept.KEY) is None


def test_a_model_that_is_cut_or_would_unpack_to_a_lot_is_refused(tmp_path: Path) -> None:
    whole = seeds.model()
    path = tmp_path / "own.task"
    for cut in range(1, len(whole), 7):
        path.write_bytes(whole[:cut])
        assert bundle._flaw(path)
    data = bytearray(whole)
    with zipfile.ZipFile(io.BytesIO(whole)) as archive:
        at = archive.start_dir
    data[at + 24 : at + 28] = (4_000_000_000).to_bytes(4, "little")  # uncompressed size, in the central directory
    path.write_bytes(data)
    assert bundle._flaw(path) == "what is packed in it is far larger than a face model"
    with path.open("wb") as file:
        os.truncate(file.fileno(), bundle.MOST_BYTES + 1)
    assert bundle.model_status(path).state == "unusable"
    assert "far larger" in bundle.model_status(path).text


def test_a_model_whose_directory_points_past_its_end_is_refused(tmp_path: Path) -> None:
    """Most versions of zipfile meet this with an EOFError."""
    path = tmp_path / "own.task"
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as archive:
        for name in ("face_detector.tflite", "face_landmarks_detector.tflite"):
            archive.writestr(name, b"stored")
        start = archive.start_dir
    data = bytearray(held.getvalue())
    data[start + 20 : start + 28] = (100_000).to_bytes(4, "little") * 2  # compressed and uncompressed size
    path.write_bytes(data)
    assert "damaged" in str(bundle._flaw(path))  # some versions of zipfile see it sooner
