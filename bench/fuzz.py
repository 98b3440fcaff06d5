"""Hostile input: pictures, EXIF, colour profiles, points files, limner.toml, options, kept results, the face model.

``python bench/fuzz.py [--cases N] [--seed S] [--only TARGET] [--keep FOLDER]``: by default 100,000 cases with seed 1.
``--guided RUNS``: instead, the parsers under atheris, each so many runs (pip install atheris).
Small valid files are made here and changed, texts are also drawn from grammars, and both are handed to limner's own
doors in processes of their own, which may have 1.5 GB of address space, and for each case 10 s of processor time (a
minute by the clock). What is looked for: anything but a result or limner's own error in one printable sentence; the end
of the process; more time; more memory. Prints what was found, keeps each such case in a folder, and exits 1 if there is
any. Linux only.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import mmap
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
from hostile.seeds import BOMBS, LARGE
from hostile.targets import TARGETS
from hostile.worker import HEAD, ROOM, kept_as

PARSERS = ("points, changed", "limner.toml, changed", "words of options", "kept results")
"""What atheris is for: decoders are compiled and show it nothing."""
HANG = 10.0
"""Seconds of processor time a case may take."""
WAIT = 60.0
"""Seconds a case may take by the clock, on a machine that does other things too."""
START = 60.0
"""Seconds a process may take by the clock to load what it needs."""
MOST_ENDED = 30
"""Processes of one target that may end badly before the rest of its cases is given up (and counted as not run)."""


@dataclass(kw_only=True)
class Tally:
    """What became of one target's cases."""

    cases: int = 0
    read: int = 0
    refused: int = 0
    bad: dict[str, int] = field(default_factory=lambda: {"crash": 0, "hang": 0, "memory": 0})
    said: list[str] = field(default_factory=list)
    slowest: float = 0.0
    """Seconds."""
    memory: int = 0
    """The most resident memory of any of its processes, kB."""
    missing: int = 0


def main() -> int:
    """Return 1 if anything was found."""
    parser = argparse.ArgumentParser(description="Feed hostile input to limner.")
    parser.add_argument("--cases", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=[*TARGETS, "bombs"], help="one target alone")
    parser.add_argument("--guided", type=int, metavar="RUNS", help="the parsers under atheris instead")
    parser.add_argument("--keep", type=Path, help="where cases that went wrong are kept; else a new temporary folder")
    given = parser.parse_args()
    keep = given.keep or Path(tempfile.mkdtemp(prefix="limner-fuzz-"))
    keep.mkdir(parents=True, exist_ok=True)
    if given.guided:
        return guided(given.guided, given.seed, keep)
    begun = time.monotonic()
    tallies = fuzzed(given.cases, given.seed, keep, given.only)
    print(told(tallies, time.monotonic() - begun))
    if any(sum(tally.bad.values()) or tally.missing for tally in tallies.values()):
        print(f"Cases kept in {keep}")
        return 1
    if given.keep is None:
        keep.rmdir()
    return 0


def fuzzed(cases: int, seed: int, keep: Path, only: str | None = None) -> dict[str, Tally]:
    """Target -> what became of its share of so many cases (of all of them where ``only`` names it)."""
    found = {}
    for name in [only] if only else [*TARGETS, "bombs"]:
        count = cases if only else -(-cases * TARGETS[name].share // 1000) if name in TARGETS else 0
        count = len(BOMBS | LARGE) if name == "bombs" else count
        found[name] = run_target(name, seed, count, keep)
        print(_row(name, found[name]), flush=True)
    return found


def guided(runs: int, seed: int, keep: Path) -> int:
    """Run each parser under atheris; how many of them ended badly."""
    if importlib.util.find_spec("atheris") is None:
        print("--guided needs atheris, which is not installed: pip install atheris", file=sys.stderr)
        return 2
    bad = 0
    for name in PARSERS:
        command = [sys.executable, "-m", "hostile.guided", name, str(runs), str(seed), str(keep)]
        done = subprocess.run(
            command, env=_environment(), capture_output=True, text=True, errors="replace", check=False
        )
        ended = [line for line in done.stderr.splitlines() if line.startswith("Done ")]
        covered = [line for line in done.stderr.splitlines() if " cov: " in line]
        print(f"{name}: {ended[-1] if ended else done.stderr[-600:]}; last: {' '.join(covered[-1:])}", flush=True)
        bad += done.returncode != 0 or not ended
    return int(bad > 0)


def _environment() -> dict[str, str]:
    """For the processes: they find this folder, and count with one thread."""
    paths = [str(Path(__file__).resolve().parent), os.environ.get("PYTHONPATH", "")]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, paths)), "OPENBLAS_NUM_THREADS": "1"}


def run_target(name: str, seed: int, count: int, keep: Path, worker: str = "hostile.worker") -> Tally:
    """Run the cases of one target; ``worker`` is the module of the processes they run in."""
    tally, first, ended = Tally(), 0, 0
    while first < count:
        if ended > MOST_ENDED:
            tally.missing = count - first
            break
        last = _process([worker, name, str(seed)], (first, count - first), keep, tally)
        ended += last < count
        first = min(last + 1, count)
    tally.cases = first
    return tally


def _process(what: list[str], part: tuple[int, int], keep: Path, tally: Tally) -> int:
    """Run one process; the number of the last case it began, or one past the last where it came to its end."""
    with tempfile.TemporaryDirectory(prefix="limner-fuzz-") as scratch:
        shared, printed, heard = (Path(scratch) / part for part in ("shared", "printed", "heard"))
        shared.write_bytes(HEAD.pack(-1, 0, 0, 0, 0.0) + bytes(ROOM))
        command = [sys.executable, "-m", *what, *map(str, part), str(shared), str(keep)]
        with printed.open("wb") as out, heard.open("wb") as err, shared.open("rb") as file:
            child = subprocess.Popen(command, stdout=out, stderr=err, env=_environment())
            with mmap.mmap(file.fileno(), HEAD.size + ROOM, access=mmap.ACCESS_READ) as sheet:
                hung = _watched(child, sheet)
                number, read, refused, length, slowest = HEAD.unpack(sheet[: HEAD.size])
                case = sheet[HEAD.size : HEAD.size + length]
        tally.read += read
        tally.refused += refused
        tally.slowest = max(tally.slowest, slowest)
        tally.memory = max(tally.memory, child.peak)  # type: ignore[attr-defined]
        for line in printed.read_text().splitlines():
            row = json.loads(line)
            tally.bad[row["outcome"]] += 1
            tally.said.append(f"{row['outcome']} {row['number']}: {row['said']}")
        if child.returncode == 0 and not hung:
            return number
        outcome = "hang" if hung else "crash"
        tally.bad[outcome] += 1
        tail = heard.read_text(errors="replace").strip()[-300:]
        tally.said.append(f"{outcome} {number}: the process ended with {child.returncode}; {tail!r}")
        (keep / kept_as(outcome, what[1], number)).write_bytes(case)
        if number < 0:
            raise RuntimeError(f"{what[1]}: the process did not begin: {tail}")
        return number


def _watched(child: subprocess.Popen[bytes], sheet: mmap.mmap) -> bool:
    """Wait for the process; end it, and return True, when one case takes too long."""
    was, since, spent = -2, time.monotonic(), 0.0
    while True:
        done, status, usage = os.wait4(child.pid, os.WNOHANG)
        hung = False
        if not done:
            number, seconds = HEAD.unpack(sheet[: HEAD.size])[0], _processor_time(child.pid)
            if number != was:
                was, since, spent = number, time.monotonic(), seconds
            waited = time.monotonic() - since
            hung = waited > (WAIT if number >= 0 else START) or (number >= 0 and seconds - spent > HANG)
            if hung:
                child.kill()
                done, status, usage = os.wait4(child.pid, 0)
        if done:
            child.returncode = os.waitstatus_to_exitcode(status)
            child.peak = usage.ru_maxrss  # type: ignore[attr-defined]
            return hung
        time.sleep(0.05)


def _processor_time(process: int) -> float:
    """Seconds of processor time all threads of a process have had (Linux, proc(5))."""
    fields = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _row(name: str, tally: Tally) -> str:
    bad = "".join(f"{tally.bad[kind]:>9}" for kind in ("crash", "hang", "memory"))
    tail = f"{1000 * tally.slowest:>9.0f} ms{tally.memory / 1000:>7.0f} MB"
    return f"{name:22}{tally.cases:>8}{tally.read:>8}{tally.refused:>9}{bad}{tail}"


def told(tallies: dict[str, Tally], seconds: float) -> str:
    """The sum, and what went wrong."""
    whole = Tally(
        cases=sum(t.cases for t in tallies.values()),
        read=sum(t.read for t in tallies.values()),
        refused=sum(t.refused for t in tallies.values()),
        bad={kind: sum(t.bad[kind] for t in tallies.values()) for kind in ("crash", "hang", "memory")},
        slowest=max(t.slowest for t in tallies.values()),
        memory=max(t.memory for t in tallies.values()),
    )
    heads = f"{'':22}{'cases':>8}{'read':>8}{'refused':>9}"
    heads += f"{'crashes':>9}{'hangs':>9}{'memory':>9}{'slowest':>12}{'peak':>10}"
    lines = ["", heads, _row("all", whole), f"in {seconds:.0f} s"]
    for name, tally in tallies.items():
        lines += [f"{name}: {said}" for said in tally.said[:10]]
        lines += [f"{name}: {tally.missing} cases were not run"] if tally.missing else []
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main())
