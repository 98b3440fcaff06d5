"""Surroundings that are not as usual: no home, no network, a harmed model or cache, odd names, clocks and terminals."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from faultbench import AS_OWNER, FINE, LIMNER, assert_refused, run, seen

AUDIT = ("audit", "reference.jpg", "canvas.jpg", "--no-values")
SERIES = ("series", "reference.jpg", "canvas.jpg", "other.jpg")
posix = pytest.mark.skipif(os.name != "posix", reason="a POSIX system's affair")
any_name = pytest.mark.skipif(os.name == "nt" or sys.platform == "darwin", reason="needs file names of any bytes")


@pytest.fixture
def desk(tmp_path: Path, heads: Path, kept: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Copies of the pictures, with a copy of the cache beside them that holds their series."""
    shutil.copytree(kept, tmp_path / "cache")
    monkeypatch.setenv("LIMNER_CACHE", str(tmp_path / "cache"))
    folder = tmp_path / "desk"
    shutil.copytree(heads, folder)
    return folder


# No home folder


@posix
@pytest.mark.parametrize("home", [None, ""], ids=["unset", "empty"])
def test_without_a_home_folder_nothing_is_kept_and_nothing_lies_about(desk, model_path, home):
    """A user the system has no name for, as in many containers, has none at all: ``~`` then stands for itself."""
    code = "import pwd, sys\ndef unknown(number): raise KeyError(number)\n"
    code += "pwd.getpwuid = unknown\nfrom limner.cli.__main__ import run\nrun()\n"
    around = {
        k: v for k, v in os.environ.items() if not k.startswith(("XDG_", "LIMNER_")) and k not in {"HOME", "USER"}
    }
    around |= {"LIMNER_MODEL": str(model_path), "COLUMNS": "80"} | ({} if home is None else {"HOME": home})
    before = seen(desk)
    words = (*SERIES[:3], "--no-values", "--jobs", "1")
    done = subprocess.run(
        [LIMNER[0], "-c", code, *words], cwd=desk, env=around, capture_output=True, text=True, check=False
    )
    assert done.returncode in FINE, done.stderr
    assert "Results could not be kept for next time: there is no home folder" in " ".join(done.stdout.split())
    del around["LIMNER_MODEL"]
    done = subprocess.run(
        [LIMNER[0], "-c", code, *AUDIT], cwd=desk, env=around, capture_output=True, text=True, check=False
    )
    assert_refused(done, 5, "limner model fetch")
    assert seen(desk) == before


@posix
def test_a_home_that_may_not_be_written_and_no_place_for_temporary_files(desk, model_path):
    env = {"HOME": "/dev/null", "TMPDIR": "/dev/null", "LIMNER_CACHE": None, "XDG_CACHE_HOME": None}
    done = run(*AUDIT, cwd=desk, LIMNER_MODEL=str(model_path), **env)
    assert done.returncode in FINE, done.stderr
    assert done.stderr == ""
    done = run(*SERIES[:3], "--no-values", cwd=desk, LIMNER_MODEL=str(model_path), **env)
    assert "could not be kept for next time: Not a directory" in " ".join(done.stdout.split())


# No network


def test_fetching_without_a_network_says_so_and_keeps_nothing(tmp_path):
    closed = "http://127.0.0.1:9"
    nowhere = dict.fromkeys(("http_proxy", "https_proxy", "HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY"), closed)
    nowhere |= {"PIP_INDEX_URL": f"{closed}/simple", "PIP_RETRIES": "0", "PIP_CONFIG_FILE": os.devnull}
    nowhere |= {"XDG_CACHE_HOME": str(tmp_path / "cache"), "HOME": str(tmp_path), "TMPDIR": str(tmp_path)}
    done = run("model", "fetch", cwd=tmp_path, LIMNER_MODEL=None, **nowhere)
    assert done.returncode == 5, done.stderr
    first, last = done.stderr.splitlines()
    assert first.startswith("Fetching mediapipe")
    assert last.startswith("limner: pip could not fetch mediapipe")
    assert "check the network" in last
    assert not any(name.endswith((b".task", b".part", b".whl")) for name in seen(tmp_path))
    assert not list(tmp_path.glob("limner-*"))


# The face model


def repacked(source: Path, target: Path, change: Callable[[bytes], bytes]) -> None:
    """The same bundle with every network in it changed, and checksums that are right."""
    with zipfile.ZipFile(source) as held, zipfile.ZipFile(target, "w") as out:
        for name in held.namelist():
            out.writestr(name, change(held.read(name)))


HARM: dict[str, Callable[[Path, Path], object]] = {
    "cut": lambda source, target: target.write_bytes(source.read_bytes()[:-1000]),
    "one bit": lambda source, target: target.write_bytes(flipped(source.read_bytes())),
    "cut inside": lambda source, target: repacked(source, target, lambda data: data[: len(data) // 2]),
    "other inside": lambda source, target: repacked(source, target, lambda data: bytes(len(data))),
}


def flipped(data: bytes) -> bytes:
    middle = len(data) // 2
    return data[:middle] + bytes([data[middle] ^ 1]) + data[middle + 1 :]


@pytest.mark.parametrize("harm", HARM)
def test_a_harmed_model_is_refused_in_one_sentence(desk, model_path, harm):
    HARM[harm](model_path, desk / "mine.task")
    before = seen(desk)
    done = run(*AUDIT, "--model", "mine.task", "--overlay", "made.png", cwd=desk)
    assert_refused(done, 5, "mine.task")
    assert "limner model fetch" in done.stderr
    assert seen(desk) == before


@posix
def test_a_harmed_model_that_was_kept_is_refused_too(desk, model_path, tmp_path):
    import hashlib

    whole = model_path.read_bytes()
    place = tmp_path / "xdg" / "limner"
    place.mkdir(parents=True)
    name = f"face_landmarker-1-{hashlib.sha256(whole).hexdigest()[:20]}.task"
    (place / name).write_bytes(whole[:-1])
    done = run(*AUDIT, cwd=desk, LIMNER_MODEL=None, XDG_CACHE_HOME=str(tmp_path / "xdg"))
    assert_refused(done, 5, "altered or incomplete")


# The cache


@posix
@pytest.mark.parametrize("harm", ["damaged, and a pipe", "unreadable", "ahead of the clock"])
def test_a_harmed_cache_changes_nothing_that_is_said(desk, harm):
    """Nothing is believed that is not whole; the same is found again, and nothing is waited for."""
    cache = desk.parent / "cache"
    words = (*SERIES, "--jobs", "1", "--format", "json")
    first = run(*words, cwd=desk)
    results = sorted(cache.rglob("*.json"))
    if harm == "unreadable":
        cache.chmod(0)
    elif harm == "ahead of the clock":
        for path in results:
            os.utime(path, (time.time() + 10 * 365 * 86400,) * 2)
    else:
        for path in results[::2]:
            path.write_bytes(flipped(path.read_bytes()))
        for path in results[1::2]:
            path.unlink()
            os.mkfifo(path)
    before = seen(desk)
    again = run(*words, cwd=desk, before=AS_OWNER)
    cache.chmod(0o700)
    assert again.returncode == first.returncode, again.stderr
    assert json.loads(again.stdout)["photos"] == json.loads(first.stdout)["photos"]
    assert again.stderr == ""
    assert seen(desk) == before


def test_pictures_from_the_future_are_audited_as_any(desk):
    """The clock was put back, or the camera's runs ahead."""
    for path in desk.iterdir():
        os.utime(path, (time.time() + 10 * 365 * 86400,) * 2)
    assert run(*SERIES, "--plot", "made.svg", cwd=desk).returncode in FINE
    assert (desk / "made.svg").stat().st_size > 1000


# Languages and names


def test_in_the_plainest_locale_every_letter_is_printed_or_stood_in_for(desk):
    plain = {"LC_ALL": "C", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0", "PYTHONIOENCODING": None}
    (desk / "canvas.jpg").rename(desk / "Gemälde.jpg")
    done = run("series", "reference.jpg", "Gemälde.jpg", "other.jpg", cwd=desk, **plain)
    assert done.returncode in FINE, done.stderr
    assert "Gem" in done.stdout
    assert done.stdout.isascii()
    assert_refused(run("audit", "reference.jpg", "fehlt-ä.jpg", cwd=desk, **plain), 3, "fehlt-")


NAMES = {
    "spaces": b"  my  canvas .jpg",
    "newline": b"can\nvas\r.jpg",
    "right to left": "\u0644\u0648\u062d\u0629 \u202egpj.exe.jpg".encode(),
    "not utf-8": b"caf\xe9 \xff.jpg",
    "escapes": b"\x1b[31mred\x1b]0;title\x07.jpg",
    "joined": "\U0001f469\u200d\U0001f3a8 \u0915\u094d\u200d\u0937.jpg".encode(),
}


@any_name
def test_any_name_is_read_and_printed_as_one_line_that_does_nothing(desk):
    for name in NAMES.values():
        os.link(os.fsencode(desk / "canvas.jpg"), os.path.join(os.fsencode(desk), name))  # noqa: PTH118 - bytes
    for form in ("text", "json", "csv"):
        done = run("series", "reference.jpg", *NAMES.values(), "other.jpg", "--format", form, cwd=desk)
        assert done.returncode in FINE, done.stderr
        assert harmless(done.stdout)
    assert json.loads(run(*SERIES, "--format", "json", cwd=desk).stdout)["photos"][0]["skipped"] is None


@any_name
def test_any_name_of_a_missing_picture_is_told_in_one_line(desk):
    for name in (NAMES["newline"], NAMES["not utf-8"]):
        assert_refused(run("audit", "reference.jpg", name, cwd=desk), 3, "no such file")
    missing = run("series", "reference.jpg", *NAMES.values(), "--jobs", "1", "--no-values", cwd=desk)
    assert missing.returncode == 7
    assert missing.stdout.count("no such file") >= len(NAMES)
    assert harmless(missing.stdout + missing.stderr)


def harmless(text: str) -> bool:
    """Whether it is Unicode, and nothing in it moves the cursor or turns a line round."""
    text.encode("utf-8")
    return not any(char < " " and char != "\n" for char in text) and not {"\x7f", "\u202e", "\u0085"} & set(text)


@any_name
def test_where_a_sheet_lies_is_told_to_a_program_byte_for_byte(desk):
    name = b"my \n caf\xe9 \x1b[31mred"
    done = run("sheet", "reference.jpg", "--blank", "--canvas", "90x110mm", "--out", name + b".svg", "-q", cwd=desk)
    assert os.fsencode(done.stdout) == name + b".svg\n"
    assert os.path.exists(os.path.join(os.fsencode(desk), name + b".svg"))  # noqa: PTH110, PTH118 - bytes


@any_name
def test_where_a_sheet_lies_is_told_to_a_terminal_without_what_acts_on_it(desk):
    import pty

    leader, follower = pty.openpty()
    words = ("sheet", "reference.jpg", "--blank", "--canvas", "90x110mm", "--out", "\x1b[31mred.svg", "-q")
    done = subprocess.run([*LIMNER, *words], cwd=desk, stdout=follower, stderr=subprocess.PIPE, check=False)
    os.close(follower)
    shown = os.read(leader, 1000)
    os.close(leader)
    assert done.returncode == 0, done.stderr
    assert shown == b"?[31mred.svg\r\n"


# Streams and terminals


@posix
@pytest.mark.parametrize(
    ("closed", "code"),
    [("<&- 2>&-", FINE), ("<&- >&- 2>&-", (6,))],
)
def test_streams_that_are_closed(desk, closed, code):
    """What has no reader is not written; above all it is not written into a picture that took the stream's number."""
    words = ("series", "reference.jpg", "canvas.jpg", "other.jpg", "--no-values", "--no-cache", "--jobs", "2")
    done = run(*words, "--contact", "made.png", cwd=desk, closed=closed)
    assert done.returncode in code, done.stderr
    assert "Traceback" not in done.stderr
    from PIL import Image

    with Image.open(desk / "made.png") as made:
        made.load()


@posix
def test_no_standard_output_is_said(desk):
    assert_refused(run(*SERIES, cwd=desk, closed=">&-"), 6, "Standard output is closed")


@posix
def test_nothing_on_standard_input_is_not_waited_for(desk):
    done = run("points", "reference.jpg", "--table", cwd=desk, closed="<&-")
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("columns", ["20", "400"])
def test_narrow_and_wide_terminals(desk, columns):
    for words in (SERIES, ("config",)):
        done = run(*words, cwd=desk, COLUMNS=columns)
        assert done.returncode in FINE, done.stderr
        if words != ("config",):
            assert max(map(len, done.stdout.splitlines())) <= int(columns)


def test_where_it_went_wrong_is_shown_only_when_asked_for(desk):
    """An error that nobody foresaw, in the real command."""
    code = "import limner.checking as room\ndef broken(_): raise ZeroDivisionError('deep inside')\n"
    code += "room.check = broken\nfrom limner.cli.__main__ import run\nrun()\n"
    for more, shown in (((), False), (("--debug",), True)):
        done = subprocess.run(
            [LIMNER[0], "-c", code, *AUDIT, *more], cwd=desk, capture_output=True, text=True, check=False
        )
        assert done.returncode == 70
        assert ("Traceback" in done.stderr) is shown
        assert done.stderr.splitlines()[-1].startswith("limner: something went wrong inside limner (ZeroDivisionError")
