"""A proof on a real portrait, through the real command line and in the process."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import cv2
import jsonschema
import numpy as np
import pytest
from PIL import Image

import crewwork
from limner.errors import FaceError, LimnerError, UsageError
from limner.proving import prove as proving
from limner.proving import trials
from limner.proving.bench import run_all
from limner.proving.render import Brush
from limner.proving.tell import schema, to_json
from limner.settings import Settings


def limner(*arguments: str | Path, timeout: float = 300) -> subprocess.CompletedProcess[str]:
    command = [str(Path(sys.executable).with_name("limner")), *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=timeout)


@pytest.fixture(scope="module")
def reference(portrait, tmp_path_factory) -> Path:
    """Head and shoulders of the portrait, three times enlarged."""
    path = tmp_path_factory.mktemp("prove") / "sitter.png"
    part = np.ascontiguousarray(portrait[0:250, 110:330])
    Image.fromarray(cv2.resize(part, None, fx=3, fy=3, interpolation=cv2.INTER_CUBIC)).save(path)
    return path


@pytest.fixture(scope="module")
def quick(reference, model_path):
    before = reference.read_bytes()
    files = reference.with_name("proof.json"), reference.with_name("proof.png")
    done = limner("prove", reference, "--quick", "--json", files[0], "--plot", files[1])
    assert done.returncode == 0, done.stderr
    assert reference.read_bytes() == before
    return done, *files


def test_the_quick_proof_prints_a_table_of_80_columns_and_nothing_else(quick):
    done = quick[0]
    assert done.stderr == ""
    lines = done.stdout.splitlines()
    assert max(map(len, lines)) <= 80
    assert "18 painted copies of sitter.png" in lines[0]
    assert any(line.startswith("mouth width") for line in lines)
    assert sum("faithful copies" in line for line in lines) == 3  # full paintings, block-ins, values


def test_its_json_holds_every_trial_and_nothing_of_the_machine(quick, reference):
    text = quick[1].read_text()
    told = json.loads(text)
    jsonschema.validate(told, schema())
    assert len(told["trials"]) == 18
    assert str(reference.parent) not in text
    for trial in told["trials"]:
        if not trial["slips"]:
            assert all(abs(r["planted"]) < 1e-6 for r in trial["readings"]["best"])
    read = [trial for trial in told["trials"] if trial["lost"] is None]
    assert len(read) >= 12
    planted = {abs(r["planted"]) for t in read for r in t["readings"]["best"] if r["id"] == "eye_width_left"}
    assert max(planted) > 4


def test_a_mouth_that_was_moved_is_read_as_moved(quick):
    told = json.loads(quick[1].read_text())
    by_id = {(m["id"], m["group"]): m for m in told["measures"]}
    # Both witnesses read places well: measured 0.7 to 1.1 on this portrait.
    for witness in ("best", "mesh"):
        assert 0.5 < by_id["mouth_y", "full"][witness]["slope"] < 1.4


def test_its_plot_is_a_picture(quick):
    with Image.open(quick[2]) as picture:
        picture.load()
        assert picture.width > 1000


def short(monkeypatch, count=2):
    """Only the first few trials: of strokes, the very first a faithful copy."""
    whole = trials.plan

    def plan(*, quick, seed=0):
        return whole(quick=quick, seed=seed)[:count]

    monkeypatch.setattr(proving, "plan", plan)


def test_one_process_and_two_give_the_same_proof(reference, model_path, monkeypatch):
    short(monkeypatch)
    seen: list[tuple[int, int]] = []
    one = proving.prove(reference, quick=True, jobs=1, progress=lambda done, every: seen.append((done, every)))
    two = proving.prove(reference, quick=True, jobs=2)
    assert seen == [(0, 2), (1, 2), (2, 2)]
    assert to_json(one) == to_json(two)
    assert one.outcomes[0].best
    assert one.outcomes[0].mesh
    assert one.outcomes[0].plain
    assert one.group("block-in") == ()


def test_a_painting_without_a_face_is_counted_and_told(reference, model_path, monkeypatch):
    short(monkeypatch)
    real = trials.examine

    def examine(first, second, *, settings):
        if settings.witness == "best" and not seen:
            seen.append(1)
            raise FaceError("no face")
        return real(first, second, settings=settings)

    seen: list[int] = []
    monkeypatch.setattr(trials, "examine", examine)
    proof = proving.prove(reference, quick=True, jobs=1)
    assert [outcome.lost for outcome in proof.outcomes] == ["no face", None]
    assert "faces_lost" in {notice.code for notice in proof.warnings}


def test_a_process_that_dies_gives_one_sentence(model_path):
    bench = trials.Bench(pixels=np.zeros((9, 9, 3), np.uint8), points=np.zeros((478, 2)), settings=Settings())
    with pytest.raises(LimnerError, match="jobs 1"):
        run_all(bench, trials.plan(quick=True)[:2], crewwork.dies, 2)


def test_a_small_reference_is_told(portrait, model_path, monkeypatch):
    short(monkeypatch, count=1)
    proof = proving.prove(np.asarray(portrait), quick=True, jobs=1)
    assert "small_reference" in {notice.code for notice in proof.warnings}


@pytest.mark.parametrize("wrong", [{"jobs": 0}, {"seed": -1}])
def test_senseless_numbers_are_refused(portrait, wrong):
    with pytest.raises(UsageError):
        proving.prove(np.asarray(portrait), **wrong)


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["missing.jpg"], 3),
        (["{reference}", "--json", "proof.txt"], 2),
        (["{reference}", "--plot", "proof.jpg"], 2),
        (["{reference}", "--jobs", "0"], 2),
        (["{reference}", "--json", "nowhere/proof.json"], 6),
        (["{reference}", "--model", "missing.task"], 5),
        (["{blank}"], 4),
    ],
)
def test_what_goes_wrong_has_its_exit_code_and_one_sentence(reference, tmp_path, model_path, arguments, code):
    blank = tmp_path / "blank.png"
    Image.new("RGB", (400, 400), (180, 160, 140)).save(blank)
    done = limner("prove", *(a.format(reference=reference, blank=blank) for a in arguments))
    assert done.returncode == code, done.stderr
    assert done.stdout == ""
    assert "Traceback" not in done.stderr


def test_a_block_in_goes_to_its_own_group():
    trial = trials.plan(quick=True)[0]
    assert trial.group == "full"
    assert replace(trial, brush=Brush(kind="blocks")).group == "block-in"
