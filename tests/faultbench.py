"""What the tests of faults share: the real command in a process of its own, and what must hold however it ends."""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

LIMNER = (sys.executable, "-m", "limner.cli")
FINE = (0, 1)
"""Exit codes of a command that did its work, whatever it found."""
Word = str | bytes | Path

_DROP = (
    "import ctypes, os, sys\n"
    "for power in (1, 2):\n"  # CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH
    "    assert ctypes.CDLL(None).prctl(24, power, 0, 0, 0) == 0\n"  # PR_CAPBSET_DROP
    "os.execv(sys.argv[1], sys.argv[1:])\n"
)
AS_OWNER = (sys.executable, "-c", _DROP) if sys.platform == "linux" and os.geteuid() == 0 else ()
"""Put before a command, permissions hold for it also where root runs the tests."""


def run(
    *words: Word, cwd: Path, before: Sequence[Word] = (), closed: str = "", **env: str | None
) -> subprocess.CompletedProcess[str]:
    """Run limner with these words.

    Args:
        words: what stands behind ``limner``.
        cwd: the folder it runs in.
        before: what stands before it: another program that starts it.
        closed: redirections of the shell, such as ``<&- >&-``.
        env: what is added to the environment; ``None`` takes a variable away.
    """
    around = {**os.environ, "NO_COLOR": "1", "COLUMNS": "80", **env}
    command = [os.fsencode(word) for word in (*before, *LIMNER, *words)]
    if closed:
        command = [b"/bin/sh", b"-c", b'exec "$@" ' + closed.encode(), b"sh", *command]
    return subprocess.run(
        command,
        cwd=cwd,
        env={name: value for name, value in around.items() if value is not None},
        capture_output=True,
        text=True,
        encoding="utf-8",
        errors="surrogateescape",
        timeout=300,
        check=False,
    )


def seen(folder: Path) -> Mapping[bytes, str]:
    """Everything in a folder and below: name -> digest of its bytes, or what it is."""
    found = {}
    for path in sorted(folder.rglob("*")):
        held = hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else "a folder"
        found[os.fsencode(path.relative_to(folder))] = held
    return found


def assert_refused(done: subprocess.CompletedProcess[str], code: int, says: str) -> None:
    """It ended with this code and one sentence, and printed nothing else."""
    assert done.returncode == code, done.stdout + done.stderr
    assert done.stdout == ""
    assert re.fullmatch(r"limner: [^\n\x1b]+\n", done.stderr), done.stderr
    assert says in done.stderr
