"""Outputs that cannot be written: one sentence, the documented code, and everything else as it was."""

from __future__ import annotations

import os
import shutil
import sys
import time
from pathlib import Path

import pytest

from faultbench import AS_OWNER, FINE, assert_refused, run, seen

AUDIT = ("audit", "reference.jpg", "canvas.jpg", "--no-values")
SERIES = ("series", "reference.jpg", "canvas.jpg", "other.jpg")
BLANK = ("sheet", "reference.jpg", "--blank", "--canvas", "100x120mm")
STUDY = ("study", "reference.jpg", "--canvas", "100x120mm")
POINTS = ("points", "reference.jpg")
WRITERS = {
    "audit": (*AUDIT, "--overlay", "{}.png"),
    "series": (*SERIES, "--page", "{}.html"),
    "sheet": (*BLANK, "--out", "{}.pdf"),
    "study": (*STUDY, "--out", "{}.pdf"),
    "points": (*POINTS, "--output", "{}.html"),
    "prove": ("prove", "reference.jpg", "--plot", "{}.png"),
}
posix = pytest.mark.skipif(os.name != "posix", reason="needs a POSIX shell")


@pytest.fixture
def desk(tmp_path: Path, heads: Path, kept: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with copies of the pictures; the cache is full, so that a series has nothing to audit."""
    monkeypatch.setenv("LIMNER_CACHE", str(kept))
    folder = tmp_path / "desk"
    shutil.copytree(heads, folder)
    return folder


def to(writer: str, target: str) -> tuple[str, ...]:
    return tuple(word.format(target) for word in WRITERS[writer])


@pytest.mark.parametrize("writer", ["audit", "series", "sheet", "points"])
def test_an_output_that_is_a_folder(desk, writer):
    made = desk / to(writer, "made")[-1]
    made.mkdir()
    before = seen(desk)
    assert_refused(run(*to(writer, "made"), cwd=desk), 6, "is a folder")
    assert seen(desk) == before


@pytest.mark.parametrize("writer", ["series", "points"])
def test_an_output_into_no_folder(desk, writer):
    before = seen(desk)
    assert_refused(run(*to(writer, "none/made"), cwd=desk), 6, "does not exist")
    assert seen(desk) == before


@posix
@pytest.mark.skipif(os.name == "posix" and os.geteuid() == 0 and not AS_OWNER, reason="root may write anywhere")
@pytest.mark.parametrize("writer", ["series", "prove"])
def test_a_folder_that_may_not_be_written(desk, writer):
    (desk / "locked").mkdir(mode=0o500)
    before = seen(desk)
    assert_refused(run(*to(writer, "locked/made"), cwd=desk, before=AS_OWNER), 6, "may not be written")
    assert seen(desk) == before


@posix
@pytest.mark.skipif(os.name == "posix" and os.geteuid() == 0 and not AS_OWNER, reason="root may write anywhere")
def test_the_folder_one_works_in_may_not_be_written(desk):
    """The name is limner's own choice here, so it is told; what needs no file works."""
    desk.chmod(0o500)
    before = seen(desk)
    try:
        assert_refused(run(*BLANK, cwd=desk, before=AS_OWNER), 6, "reference.transfer.pdf")
        assert_refused(run(*POINTS, cwd=desk, before=AS_OWNER), 6, "reference.points.html")
        assert seen(desk) == before
    finally:
        desk.chmod(0o700)


@pytest.mark.parametrize(
    "words",
    [
        (*AUDIT, "--overlay", "one.png", "--side-by-side", "./one.png"),
        (*AUDIT, "--overlay", "one.png", "--value-sheet", "link.png"),
        (*SERIES, "--plot", "one.png", "--contact", "../desk/one.png"),
    ],
)
@posix
def test_one_file_for_two_outputs(desk, words):
    (desk / "link.png").symlink_to("one.png")
    before = seen(desk)
    assert_refused(run(*words, cwd=desk), 2, "both write to")
    assert seen(desk) == before


@pytest.mark.parametrize(
    "words",
    [
        ("audit", "reference.jpg", "canvas.png", "--overlay", "canvas.png"),
        ("audit", "canvas.png", "reference.jpg", "--overlay", "hard.png"),
        ("audit", "reference.jpg", "canvas.png", "--overlay", "soft.png"),
        ("series", "reference.jpg", "canvas.png", "--contact", "soft.png"),
        ("study", "canvas.png", "--canvas", "100x120mm", "--out", "canvas.png"),
        ("prove", "canvas.png", "--plot", "soft.png"),
    ],
)
@posix
def test_an_output_that_is_an_input_by_whatever_name(desk, words):
    (desk / "canvas.jpg").rename(desk / "canvas.png")
    os.link(desk / "canvas.png", desk / "hard.png")
    (desk / "soft.png").symlink_to("canvas.png")
    before = seen(desk)
    assert_refused(run(*words, cwd=desk), 6, "is a picture that was read")
    assert seen(desk) == before


@posix
def test_what_limner_names_itself_is_never_written_over_another_file(desk):
    (desk / "reference.points.html").write_text("my own notes")
    before = seen(desk)
    assert_refused(run(*POINTS, cwd=desk), 6, "is there and is not a page of limner points")
    assert seen(desk) == before


@posix
@pytest.mark.parametrize("writer", ["series", "study", "points"])
def test_no_more_may_be_written(desk, writer):
    """The limit that a system sets on the length of files stops the write in its middle, where an old file is."""
    if writer != "points":  # which writes over nothing but a page of its own
        (desk / to(writer, "made")[-1]).write_text("made before")
    before = seen(desk)
    few = ("/bin/sh", "-c", 'ulimit -f 8; exec "$@"', "sh")
    unwatched = {"COVERAGE_PROCESS_START": None, "COVERAGE_PROCESS_CONFIG": None}  # what is covered could not be kept
    assert_refused(run(*to(writer, "made"), cwd=desk, before=few, **unwatched), 6, "that failed (")
    assert seen(desk) == before


def on_a_full_disk(words: tuple[str, ...], desk: Path, **env: str):
    """Run limner where ``desk/tiny`` is a disk of 64 kB; what lies on it afterwards is the last of the output."""
    script = 'mount -t tmpfs -o size=64k tmpfs tiny || exit 99; "$@"; was=$?; echo "left: $(ls -A tiny)"; exit $was'
    (desk / "tiny").mkdir()
    done = run(*words, cwd=desk, before=("unshare", "-rm", "/bin/sh", "-c", script, "sh"), **env)
    if done.returncode == 99 or "unshare" in done.stderr:
        pytest.skip(f"no small disk can be mounted here: {done.stderr.strip()}")
    return done


@pytest.mark.skipif(sys.platform != "linux" or not shutil.which("unshare"), reason="needs a mount of its own")
def test_a_full_disk_takes_no_part_of_two_outputs(desk):
    before = seen(desk)
    words = (*AUDIT, "--overlay", "tiny/made.png", "--page", "page.html")
    done = on_a_full_disk(words, desk)
    assert done.returncode == 6, done.stderr
    assert done.stdout == "left: \n"
    assert done.stderr == (
        "limner: Expected to write 'made.png', but that failed (No space left on device); choose another place.\n"
    )
    assert {**seen(desk), b"tiny": ""} == {**before, b"tiny": ""}


@pytest.mark.skipif(sys.platform != "linux" or not shutil.which("unshare"), reason="needs a mount of its own")
def test_a_cache_on_a_full_disk_is_said_and_the_series_told_all_the_same(desk):
    filled = (*SERIES, "--jobs", "1", "--no-values")
    done = on_a_full_disk(filled, desk, LIMNER_CACHE="tiny")
    assert done.returncode in FINE, done.stderr
    assert "Results could not be kept for next time: No space left on device." in " ".join(done.stdout.split())
    assert done.stderr == ""


@posix
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
@pytest.mark.parametrize("words", [(*SERIES, "--format", "json"), BLANK, ("config",)])
def test_standard_output_on_a_full_disk(desk, words):
    done = run(*words, cwd=desk, closed=">/dev/full")
    assert_refused(done, 6, "standard output: No space left on device")


def test_what_a_killed_process_left_is_cleared_away_by_the_next(desk):
    """Only what is old enough that nobody can be writing it, by whatever a clock put back makes of that."""
    old, ahead, fresh, other = (desk / f".limner-{name}.part" for name in ("0" * 16, "1" * 16, "2" * 16, "mine"))
    for path, shift in ((old, -7200), (ahead, 7200), (fresh, 0), (other, -7200)):
        path.write_bytes(b"half a picture")
        os.utime(path, (time.time() + shift,) * 2)
    assert run(*SERIES, "--plot", "made.svg", cwd=desk).returncode in FINE
    assert [path.exists() for path in (old, ahead, fresh, other)] == [False, False, True, True]
