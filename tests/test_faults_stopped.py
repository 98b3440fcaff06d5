"""Asked to stop, killed, cut off from its reader, or run twice at once: nothing is lost and nothing is half made."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import time
from pathlib import Path

import pytest

import limner
from faultbench import FINE, LIMNER, run, seen

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals and pipes of another kind")
MADE = {
    "audit": ("audit", "reference.jpg", "canvas.jpg", "--overlay", "made.png", "--page", "made.html"),
    "series": ("series", "reference.jpg", "canvas.jpg", "other.jpg", "--jobs", "2", "--plot", "made.svg"),
}


@pytest.fixture
def desk(tmp_path: Path, heads: Path) -> Path:
    folder = tmp_path / "desk"
    shutil.copytree(heads, folder)
    return folder


def begin(words: tuple[str, ...], desk: Path, before: tuple[str, ...] = (), **env: str) -> subprocess.Popen[str]:
    """Start limner at the head of a group of processes, as a shell starts a command."""
    return subprocess.Popen(
        [*before, *LIMNER, *words],
        cwd=desk,
        env={**os.environ, "COLUMNS": "80", "LIMNER_CACHE": str(desk.parent / "cache"), **env},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def at_work(begun: subprocess.Popen[str]) -> list[int]:
    """Wait until the command has loaded what it works with, and its processes are there; their numbers."""
    for _ in range(4000):
        members = [begun.pid, *children(begun.pid)]
        if any("libmediapipe" in loaded(number) for number in members):
            return members
        if begun.poll() is not None:
            break
        time.sleep(0.005)
    pytest.fail(f"it ended before it was at work: {begun.communicate()}")


def children(number: int) -> list[int]:
    try:
        return [int(word) for word in Path(f"/proc/{number}/task/{number}/children").read_text().split()]
    except OSError:
        return []


def loaded(number: int) -> str:
    try:
        return Path(f"/proc/{number}/maps").read_text()
    except OSError:
        return ""


def gone(numbers: list[int]) -> bool:
    """Whether all of these processes have ended, within five seconds."""
    for _ in range(100):
        if not any(Path(f"/proc/{number}/stat").exists() and _alive(number) for number in numbers):
            return True
        time.sleep(0.05)
    return False


def _alive(number: int) -> bool:
    try:
        return Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


needs_proc = pytest.mark.skipif(not Path("/proc/self/maps").exists(), reason="looks into /proc")


@needs_proc
@pytest.mark.parametrize("kind", MADE)
@pytest.mark.parametrize(
    ("sent", "code"),
    [(signal.SIGINT, 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129)],
    ids=["interrupted", "told to end", "terminal closed"],
)
def test_stopped_in_the_middle(desk, kind, sent, code):
    """The signal reaches every process of the command, as Ctrl-C does, and comes twice, as from an impatient hand."""
    before = seen(desk)
    begun = begin(MADE[kind], desk)
    members = at_work(begun)
    os.killpg(begun.pid, sent)
    time.sleep(0.02)
    if begun.poll() is None:
        os.killpg(begun.pid, sent)
    out, err = begun.communicate(timeout=300)
    assert (begun.returncode, out, err) == (code, "", "limner: stopped.\n")
    assert seen(desk) == before
    assert gone(members)


@needs_proc
def test_interrupted_while_its_processes_start(desk):
    """A process that is only just starting has no handler of its own yet; it must not cry out."""
    for _ in range(5):  # on a busy machine the first process can have ended before the second begins
        before = seen(desk)
        begun = begin(MADE["series"], desk)
        while begun.poll() is None and len(children(begun.pid)) < 2:
            time.sleep(0.001)
        if begun.poll() is None:
            break
        begun.communicate(timeout=300)
    os.killpg(begun.pid, signal.SIGINT)
    out, err = begun.communicate(timeout=300)
    assert (begun.returncode, out, err) == (130, "", "limner: stopped.\n")
    assert seen(desk) == before


def test_interrupted_before_it_is_loaded(desk):
    """Where there is nothing to clear away yet, it ends at once, with the word and the code of every other time."""
    code = "import os, signal, sys\nsys.modules['typer'] = None\nfrom limner.cli import __main__ as start\n"
    code += "class Late:\n    def find_spec(self, name, path=None, target=None):\n"
    code += "        if name == 'limner.cli.main': os.kill(os.getpid(), signal.SIGINT)\n"
    code += "sys.meta_path.insert(0, Late())\nstart.run()\n"
    done = subprocess.run([LIMNER[0], "-c", code], cwd=desk, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "limner: stopped.\n")


def test_nothing_is_loaded_before_it_can_be_stopped():
    """What is loaded between Python's start and the first word of limner's is a time in which Ctrl-C ends untidily."""
    source = Path(limner.__file__).parent.parent
    code = f"import os, sys  # as any start of Python does\nsys.path.insert(0, {str(source)!r})\n"
    code += "before = set(sys.modules)\n"
    code += "from limner.cli.__main__ import script\nprint(*sorted(set(sys.modules) - before))"
    done = subprocess.run([LIMNER[0], "-I", "-S", "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["__future__", "limner", "limner.cli", "limner.cli.__main__"]


@pytest.mark.parametrize("after", [0.002, 0.005, 0.01, 0.02, 0.03, 0.05, 0.08])
def test_interrupted_in_the_first_hundredths_of_a_second(desk, after):
    """From when its own code is reached; what Python does before that is not limner's."""
    code = "import os\nfrom limner.cli.__main__ import script\nos.write(1, b'.')\nscript()\n"
    for _ in range(4):  # on a busy machine the signal can come before script() is called
        begun = subprocess.Popen(
            [LIMNER[0], "-c", code, *MADE["audit"]], cwd=desk, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        assert begun.stdout.read(1) == "."
        time.sleep(after)
        begun.send_signal(signal.SIGINT)
        out, err = begun.communicate(timeout=300)
        if begun.returncode != -signal.SIGINT:
            break
    assert (begun.returncode, out, err) == (130, "", "limner: stopped.\n")


def test_what_is_loaded_before_ctrl_c_is_heard_is_next_to_nothing(desk):
    """Every module more is time in which Python would answer with its own words."""
    code = "import sys\nbefore = set(sys.modules)\nfrom limner.cli import __main__\n"
    code += "print(*sorted(name for name in set(sys.modules) - before if name.split('.')[0] == 'limner'))\n"
    code += "print('typing' in set(sys.modules) - before, 'importlib' in set(sys.modules) - before)\n"
    done = subprocess.run([LIMNER[0], "-S", "-c", code], capture_output=True, text=True, check=True, cwd=desk,
                          env={**os.environ, "PYTHONPATH": str(Path(limner.__file__).parents[1])})  # fmt: skip
    assert done.stdout.split("\n")[:2] == ["limner limner.cli limner.cli.__main__", "False False"]


@needs_proc
def test_what_the_starter_had_it_ignore_stays_ignored(desk):
    """As ``nohup`` and jobs in the background do."""
    ignoring = ("/bin/sh", "-c", 'trap "" HUP INT; exec "$@"', "sh")
    begun = begin((*MADE["audit"][:3], "--no-values"), desk, ignoring)
    at_work(begun)
    os.kill(begun.pid, signal.SIGHUP)
    os.kill(begun.pid, signal.SIGINT)
    _, err = begun.communicate(timeout=300)
    assert begun.returncode in FINE, err


@needs_proc
@pytest.mark.parametrize("kind", MADE)
def test_killed(desk, kind):
    """Nobody can clear away then; but outputs are not begun, inputs stay, and no process is left at work."""
    before = seen(desk)
    begun = begin(MADE[kind], desk)
    members = at_work(begun)
    begun.kill()
    out, err = begun.communicate(timeout=300)
    assert (begun.returncode, out) == (-signal.SIGKILL, "")
    assert "Traceback" not in err
    assert seen(desk) == before
    assert gone(members)


@needs_proc
def test_two_at_once_on_one_cache(desk):
    """Both find the same, and what they keep is whole: a third takes all of it."""
    words = (*MADE["series"][:4], "--jobs", "1", "--no-values", "--format", "json")
    both = [begin(words, desk) for _ in range(2)]
    said = [begun.communicate(timeout=300) for begun in both]
    assert [begun.returncode in FINE for begun in both] == [True, True], said
    assert said[0] == said[1]
    cache = desk.parent / "cache"
    held = seen(cache)
    assert sum(name.endswith(b".json") for name in held) == 2
    assert not any(name.endswith(b".part") for name in held)
    third = run(*words, cwd=desk, LIMNER_CACHE=str(cache), LIMNER_MODEL=os.environ.get("LIMNER_MODEL"))
    assert third.stdout == said[0][0]
    assert seen(cache) == held
    json.loads(third.stdout)


@pytest.mark.parametrize(
    "words",
    [("series", "reference.jpg", "canvas.jpg", "other.jpg", "--format", "json"), ("audit", "--list"), ("--help",)],
    ids=["series", "list", "help"],
)
def test_a_reader_that_has_gone(desk, kept, words):
    """As ``| head -1`` leaves it: no word, and the code of the work that was done."""
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run(
        [*LIMNER, *words],
        cwd=desk,
        env={**os.environ, "LIMNER_CACHE": str(kept)},
        stdout=writer,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    os.close(writer)
    assert done.returncode in FINE
    assert done.stderr == ""
