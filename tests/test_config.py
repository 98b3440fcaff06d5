"""``limner.toml``: found upward, refused clearly where it is wrong, and under the command line in a real audit."""

from __future__ import annotations

import inspect
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image, ImageDraw

from limner.cli.applied import TAKEN
from limner.config import BY_NAME, KEYS, MOST_BYTES, find_config, read_config
from limner.errors import UsageError

PROFILE = {
    "tr": (150, 130), "g": (130, 220), "n": (138, 260), "prn": (80, 350), "sn": (112, 366), "ls": (98, 392),
    "sto": (112, 408), "li": (100, 424), "gn": (140, 500),
}  # fmt: skip
LONGER = {**PROFILE, "prn": (80, 380), "sn": (112, 396)}
WHOLE = """
reference = "sitter.png"
stage = "glaze"
[points]
reference = "marks/sitter.points.json"
painting = "marks/canvas.points.json"
only = true
"""


def run(folder: Path, *words: str, lines: str | None = None, **env: str) -> subprocess.CompletedProcess[str]:
    clean = {key: value for key, value in os.environ.items() if key != "LIMNER_MODEL"}
    return subprocess.run(
        [sys.executable, "-m", "limner.cli", *words],
        cwd=folder,
        input=lines,
        stdin=subprocess.DEVNULL if lines is None else None,
        capture_output=True,
        text=True,
        encoding="utf-8",
        env={**clean, "COLUMNS": "80", "NO_COLOR": "1", **env},
        check=False,
        timeout=300,
    )


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two ink profiles with points files in a folder beside them."""
    folder = tmp_path_factory.mktemp("commission")
    (folder / "marks").mkdir()
    for name, places in {"sitter": PROFILE, "canvas": LONGER}.items():
        sheet = Image.new("RGB", (500, 600), "white")
        ImageDraw.Draw(sheet).line(list(places.values()), fill="black", width=3)
        sheet.save(folder / f"{name}.png")
        lines = "\n".join(f"{key} {x} {y}" for key, (x, y) in places.items())
        save = f"marks/{name}.points.json"
        done = run(folder, "points", f"{name}.png", "--blank", "--table", "-q", "--save", save, lines=lines)
        assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture
def commission(made: Path, tmp_path: Path) -> Path:
    folder = Path(shutil.copytree(made, tmp_path / "commission"))
    (folder / "limner.toml").write_text(WHOLE)
    return folder


def wrote(folder: Path, text: str | bytes) -> Path:
    path = folder / "limner.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def nose(done: subprocess.CompletedProcess[str]) -> dict[str, object]:
    assert done.returncode in (0, 1), done.stderr
    row: dict[str, object] = next(m for m in json.loads(done.stdout)["measures"] if m["id"] == "nose_length")
    return row


def test_the_painting_alone_is_enough(commission: Path) -> None:
    row = nose(run(commission, "audit", "canvas.png", "--format", "json"))
    assert (row["call"], row["witness"]) == ("off", "hand")
    assert row["deviation"] == pytest.approx(27, abs=1)


def test_the_file_is_found_from_a_folder_below_and_paths_are_its_own(commission: Path) -> None:
    below = commission / "sessions" / "third"
    below.mkdir(parents=True)
    shutil.move(commission / "canvas.png", below / "canvas.png")
    done = run(below, "audit", "canvas.png", "--format", "json")
    assert nose(done)["call"] == "off"
    assert json.loads(done.stdout)["stage"]["name"] == "glaze"


def test_with_both_pictures_in_the_file_nothing_need_be_named(commission: Path, tmp_path: Path) -> None:
    wrote(commission, 'painting = "canvas.png"\nformat = "json"\n' + WHOLE)
    assert nose(run(commission, "audit"))["call"] == "off"
    other = tmp_path / "other"
    other.mkdir()
    assert nose(run(other, "audit", "--config", str(commission / "limner.toml")))["call"] == "off"
    assert run(other, "audit").returncode == 2


def test_the_command_line_wins(commission: Path) -> None:
    wrote(commission, 'format = "csv"\nstrict = 0.5\ntop = 1\n' + WHOLE)
    printed = run(commission, "audit", "canvas.png").stdout
    assert printed.startswith("id,")
    assert len(printed.splitlines()) == 2
    done = run(
        commission, "audit", "canvas.png", "--format", "json", "--stage", "colour", "--strict", "2", "--top", "99"
    )
    held = json.loads(done.stdout)
    assert held["stage"]["name"] == "colour"
    half = json.loads(run(commission, "audit", "canvas.png", "--format", "json", "--top", "99").stdout)
    rows = [next(m for m in one["measures"] if m["id"] == "nose_length") for one in (held, half)]
    assert rows[0]["threshold"] == pytest.approx(4 * rows[1]["threshold"])


def test_points_named_on_the_command_line_win(commission: Path) -> None:
    shutil.copy(commission / "sitter.png", commission / "again.png")
    done = run(
        commission, "audit", "again.png", "--points-painting", "marks/sitter.points.json", "--format", "json"
    )  # fmt: skip
    assert nose(done)["deviation"] == 0


def test_a_switch_is_taken_back_and_no_config_leaves_all_out(commission: Path) -> None:
    words = ("audit", "sitter.png", "canvas.png")
    marks = ("--points-reference", "marks/sitter.points.json", "--points-painting", "marks/canvas.points.json")
    none = {"LIMNER_MODEL": "/nonexistent/model.task"}
    asked = run(commission, *words, "--no-points-only", "--format", "json", **none)
    assert [w["code"] for w in json.loads(asked.stdout)["warnings"]].count("points_alone") == 2
    assert run(commission, *words, "--no-config", **none).returncode == 5
    left = run(commission, *words, *marks, "--points-only", "--no-config", "--format", "json")
    assert json.loads(left.stdout)["stage"]["name"] != "glaze"
    both = run(commission, *words, "--no-config", "--config", "limner.toml")
    assert (both.returncode, both.stdout) == (2, "")
    assert run(commission, *words, "--config", "limner.toml", "--no-config").stderr == both.stderr
    assert "keep one of them" in both.stderr


def test_points_of_another_reference_are_left_out_with_a_word(commission: Path) -> None:
    words = ("audit", "canvas.png", "canvas.png", "--points-reference", "marks/canvas.points.json", "--format", "json")
    done = run(commission, *words)
    assert nose(done)["deviation"] == 0
    assert done.stderr == "limner: limner.toml gives points.reference for 'sitter.png' only; left out here.\n"
    assert run(commission, *words, "--quiet").stderr == ""


def test_canon_takes_points_of_a_picture_the_file_names(commission: Path) -> None:
    none = {"LIMNER_MODEL": "/nonexistent/model.task"}
    done = run(commission, "canon", "sitter.png", **none)
    assert done.returncode == 0, done.stderr
    assert run(commission, "canon", "sitter.png", "--no-config", **none).returncode == 5
    assert run(commission, "canon", "canvas.png", **none).returncode == 5


def test_points_starts_from_the_points_the_file_names(commission: Path) -> None:
    none = {"LIMNER_MODEL": "/nonexistent/model.task"}
    done = run(commission, "points", "sitter.png", "--table", **none)
    assert done.returncode == 0, done.stderr
    assert "350.0" in done.stdout
    assert "350.0" not in run(commission, "points", "sitter.png", "--table", "--no-config", **none).stdout
    assert "350.0" not in run(commission, "points", "sitter.png", "--table", "--blank", **none).stdout


def test_a_missing_picture_says_what_to_name(tmp_path: Path) -> None:
    done = run(tmp_path, "audit", "canvas.png")
    assert done.returncode == 2
    assert "Missing the reference" in done.stderr
    assert "there is no limner.toml" in done.stderr


def test_one_picture_alone_is_said_to_be_taken_for_the_painting(tmp_path: Path) -> None:
    done = run(tmp_path, "sheet", "sitter.png", "--canvas", "400x500mm")
    assert done.returncode == 2
    assert "limner sheet REFERENCE PAINTING" in " ".join(done.stderr.split())
    assert "'sitter.png' alone is taken for the painting" in " ".join(done.stderr.split())


@pytest.mark.parametrize("command", ["audit", "sheet"])
def test_the_reference_that_the_file_names_is_not_set_against_itself(commission: Path, command: str) -> None:
    done = run(commission, command, "sitter.png", "--canvas", "400x500mm")
    assert done.returncode == 2
    assert "Missing the painting: 'sitter.png' is the reference" in " ".join(done.stderr.split())


def test_the_file_itself_is_never_written_over(commission: Path) -> None:
    before = (commission / "limner.toml").read_bytes()
    (commission / "own.png").write_bytes(before)
    done = run(commission, "audit", "canvas.png", "--config", "own.png", "--overlay", "own.png")
    assert done.returncode == 6, done.stderr
    assert (commission / "own.png").read_bytes() == before


def test_config_says_what_applies_and_from_where(commission: Path) -> None:
    done = run(commission, "config", LIMNER_MODEL="own.task")
    assert done.returncode == 0, done.stderr
    lines = {line.split()[0]: line.split()[1:] for line in done.stdout.splitlines() if line}
    assert lines["File:"] == [str(commission / "limner.toml")]
    assert lines["stage"] == ["glaze", "limner.toml"]
    assert lines["hold"] == ["eyes", "default"]
    assert lines["points.only"] == ["yes", "limner.toml"]
    assert lines["model"] == ["own.task", "LIMNER_MODEL"]
    held = json.loads(run(commission, "config", "--format", "json").stdout)
    assert list(held["settings"]) == [key.name for key in KEYS]
    assert held["settings"]["stage"] == {"value": "glaze", "default": "guessed", "from": "file"}
    assert held["settings"]["reference"]["value"] == str(commission / "sitter.png")
    assert held["settings"]["top"] == {"value": None, "default": "all that departs", "from": "default"}
    left = json.loads(run(commission, "config", "--no-config", "--format", "json").stdout)
    assert left["file"] is None
    assert {row["from"] for row in left["settings"].values()} == {"default"}


@pytest.mark.parametrize("command", [("audit", "a.png", "b.png"), ("canon", "a.png"), ("points", "a.png"), ("config",)])
def test_a_wrong_key_ends_every_command_with_code_2(command: tuple[str, ...], tmp_path: Path) -> None:
    wrote(tmp_path, 'refrence = "a.png"')
    done = run(tmp_path, *command)
    assert (done.returncode, done.stdout) == (2, "")
    said = "limner: configuration file 'limner.toml': there is no key 'refrence'. Did you mean 'reference'?\n"
    assert done.stderr == said


def test_help_and_list_do_not_need_a_right_file(tmp_path: Path) -> None:
    wrote(tmp_path, "nonsense")
    for words in (("audit", "--help"), ("audit", "--list"), ("canon", "--list"), ("model", "--help")):
        assert run(tmp_path, *words).returncode == 0


NEAREST = {
    'hodl = "eyes"': "hold",
    "side_by_side = 1": "side-by-side",
    'points_reference = "a"': "points.reference",
    "[points]\nrefernce = 'a'": "points.reference",
    "[faces]\nreference = 1": "[face]",
    "THREADS = 1": "threads",
}


@pytest.mark.parametrize("text", NEAREST)
def test_the_nearest_key_is_named(text: str, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=re.escape(f"Did you mean '{NEAREST[text]}'?")):
        read_config(wrote(tmp_path, text))


@pytest.mark.parametrize("name", ["xyzzy", "quorum"])
def test_without_a_near_key_all_are_named(name: str, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=f"no key '{name}'. Known are: reference, painting, hold"):
        read_config(wrote(tmp_path, f"{name} = 1"))


WRONG = {
    "not TOML": ("hold = eyes", "expected TOML, but"),
    "where it is not": ("\n\nhold = eyes", "line 3"),
    "twice": ('hold = "eyes"\nhold = "head"', "expected TOML"),
    "not UTF-8": (b'hold = "\xff"', "TOML text in UTF-8"),
    "nested": ("between = " + "[" * 5000, "configuration file"),
    "digits": ("top = " + "9" * 5000, "configuration file"),
    "huge": ("#" * (MOST_BYTES + 1), "at most 100 kB"),
    "choice": ('hold = "eyess"', '"jaw" or "face", but "eyess" came; did you mean "eyes"?'),
    "choice far": ('stage = "done"', '"lights" or "finish", but "done" came; choose one of these'),
    "choice type": ("stage = 3", "but 3 came"),
    "switch": ("all = 'yes'", 'expected true or false, but "yes" came'),
    "switch number": ("canons = 1", "expected true or false, but 1 came"),
    "number": ("strict = '1'", 'a number above 0, but "1" came'),
    "number bool": ("strict = true", "a number above 0, but true came"),
    "number nan": ("strict = nan", "a number above 0, but nan came"),
    "number inf": ("strict = inf", "a number above 0, but inf came"),
    "number zero": ("strict = 0", "a number above 0, but 0 came"),
    "whole": ("threads = 1.5", "a whole number from 1, but 1.5 came"),
    "whole zero": ("[face]\nreference = 0", "face.reference: expected a whole number from 1, but 0 came"),
    "path": ("reference = 3", "a file's name in quotes, but 3 came"),
    "path empty": ("reference = ' '", "a file's name in quotes"),
    "path nul": ('reference = "a\\u0000b"', "a file's name in quotes"),
    "table": ("points = 'a.json'", "a table, [points]"),
    "date": ("top = 2026-01-02", "a whole number from 1, but 2026-01-02 came"),
    "pair": ("between = ['ch_left', 'gn']", "a list of pairs"),
    "pair of three": ("between = [['ch_left', 'gn', 'n']]", "a list of pairs"),
    "control": ('"a\\u001b[2Jb" = 1', r"no key 'a?[2Jb'"),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_is_wrong_is_said(case: str, tmp_path: Path) -> None:
    text, said = WRONG[case]
    with pytest.raises(UsageError) as caught:
        read_config(wrote(tmp_path, text))
    assert said in str(caught.value)
    assert len(str(caught.value)) < 500
    assert caught.value.exit_code == 2


def test_what_is_no_file_is_said(tmp_path: Path) -> None:
    (tmp_path / "limner.toml").mkdir()
    done = run(tmp_path, "config")
    assert done.returncode == 2
    assert "a regular file" in done.stderr
    assert "no such file" in run(tmp_path, "config", "--config", "none.toml").stderr


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything")
def test_an_unreadable_file_is_said(tmp_path: Path) -> None:
    wrote(tmp_path, "top = 1").chmod(0)
    with pytest.raises(UsageError, match="Permission denied"):
        read_config(tmp_path / "limner.toml")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "limner.toml")
    with pytest.raises(UsageError, match="a regular file"):
        read_config(tmp_path / "limner.toml")


def test_the_nearest_file_upward_is_taken(tmp_path: Path) -> None:
    inner = tmp_path / "a" / "b"
    inner.mkdir(parents=True)
    outer = wrote(tmp_path, "")
    assert find_config(inner) == outer
    nearer = wrote(tmp_path / "a", "")
    assert find_config(inner) == nearer


def test_values_come_as_they_are_meant(tmp_path: Path) -> None:
    text = 'model = "m.task"\nbetween = [["ch_left", "gn"]]\nstrict = 2\n[points]\npainting = "/x/p.json"\n'
    read = read_config(wrote(tmp_path, b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode()))
    assert read.values == {
        "model": tmp_path / "m.task",
        "between": (("ch_left", "gn"),),
        "strict": 2,
        "points.painting": Path("/x/p.json"),
    }


def test_every_key_does_something_and_every_option_can_stand_in_the_file() -> None:
    from limner.cli.audit import audit

    by_picture = {"reference", "painting", "points.reference", "points.painting", "face.reference", "face.painting"}
    assert set().union(*TAKEN.values()) | by_picture | {"notes", "state", "lamp", "intended"} == set(BY_NAME)
    options = set(inspect.signature(audit).parameters) - {"ctx", "config", "no_config", "list_", "debug"}
    named = {
        "points_reference",
        "points_painting",
        "face_reference",
        "face_painting",
        "reference",
        "painting",
        "lamp",
        "state",
    }
    assert options == set(TAKEN["audit"].values()) | named


def test_stated_defaults_are_the_real_ones() -> None:
    from limner.settings import Settings

    usual = Settings()
    for name in ("hold", "strict", "witness", "threads"):
        assert BY_NAME[name].default == str(getattr(usual, name))
