"""Prints the figures limner is held to, as ratios taken on this machine: python bench/bench.py."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image
from skimage import data

from limner.proving.render import Brush, paint

FLOOR = Path(__file__).with_name("floor.py")
LIMNER = (sys.executable, "-m", "limner.cli")
ROUNDS = 7
AS_INSTALLED = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
"""Python keeps what it has compiled, as it does unless asked not to; the first run of each command is not counted."""
SIDE = (3024, 4032)
"""px: a 12-megapixel photograph held upright."""
CROP = (90, 0, 346, 341)
"""Head and shoulders in the 512 px portrait photograph."""


@dataclass(frozen=True, kw_only=True)
class Run:
    """One fresh process, from its start to its end."""

    seconds: float
    megabytes: float
    """Largest resident set."""
    code: int
    out: bytes


def run(command: Sequence[str]) -> Run:
    """Run a command in a fresh process and measure it."""
    with tempfile.TemporaryFile() as out:
        begun = time.perf_counter()
        process = subprocess.Popen(command, stdout=out, stderr=subprocess.DEVNULL, env=AS_INSTALLED)
        _, status, usage = os.wait4(process.pid, 0)
        seconds = time.perf_counter() - begun
        process.returncode = os.waitstatus_to_exitcode(status)
        out.seek(0)
        kilobytes = usage.ru_maxrss / (1024 if sys.platform == "darwin" else 1)
        return Run(seconds=seconds, megabytes=kilobytes / 1024, code=process.returncode, out=out.read())


def pictures(folder: Path) -> tuple[Path, Path]:
    """Write a photograph and a rendered painting of it, 12 megapixels each."""
    portrait = Image.fromarray(data.astronaut()).crop(CROP)
    small = portrait.resize((768, 1024), Image.Resampling.BICUBIC)
    painted = Image.fromarray(paint(np.asarray(small), Brush.random("strokes", 5)))
    paths = folder / "reference.jpg", folder / "painting.jpg"
    for path, picture in zip(paths, (small, painted), strict=True):
        picture.resize(SIDE, Image.Resampling.BICUBIC).save(path, quality=92)
    return paths


def figure(name: str, value: float, unit: str, goal: float) -> bool:
    """Print one figure beside its goal and return whether it is reached."""
    reached = value <= goal
    print(f"{name:<52}{value:8.2f} {unit:<6} goal {goal:g}  {'reached' if reached else 'MISSED'}", flush=True)
    return reached


def main() -> int:
    """Print every figure; 1 when a goal is missed."""
    print(f"best of {ROUNDS} runs; load of this machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    run([*LIMNER, "--help"])
    helped = [run([*LIMNER, "--help"]) for _ in range(ROUNDS)]
    reached = [figure("limner --help", min(r.seconds for r in helped), "s", 0.3)]
    with tempfile.TemporaryDirectory() as folder:
        reference, painting = map(str, pictures(Path(folder)))
        command = [*LIMNER, "audit", reference, painting]
        least = [sys.executable, str(FLOOR), reference, painting]
        ways = {"floor": least, "with flow": [*least, "--flow"], "drawing": [*command, "--no-values"], "all": command}
        taken: dict[str, list[Run]] = {name: [] for name in ways}
        for way in ways.values():
            run(way)
        for _ in range(ROUNDS):  # turn about, so that what else the machine does falls on all
            for name, way in ways.items():
                taken[name].append(run(way))
        if any(r.code not in ({0} if "flo" in name else {0, 1}) for name, runs in taken.items() for r in runs):
            print("The pictures could not be audited; run the command by hand:", *command)
            return 1
        floor, flow, drawing, everything = (min(r.seconds for r in runs) for runs in taken.values())
        print(f"{'floor: libraries, two decodings, two detections':<52}{floor:8.2f} s")
        print(f"{'the same and one dense flow':<52}{flow:8.2f} s")
        print(f"{'audit of two 12-megapixel JPEGs, drawing alone':<52}{drawing:8.2f} s")
        print(f"{'the same with its values and colour':<52}{everything:8.2f} s")
        reached.append(figure("drawing alone over floor", drawing / floor, "times", 2.5))
        reached.append(figure("with values over floor and flow", everything / flow, "times", 2.5))
        reached.append(figure("peak memory of an audit", max(r.megabytes for r in taken["all"]), "MB", 600))
        asked = [*command, "--format", "json", "--all"]
        outputs = {run([*asked, "--threads", str(threads)]).out for threads in (1, 2, 1, 2)}
        reached.append(figure("different outputs in four runs, one and two threads", len(outputs), "", 1))
    return 0 if all(reached) else 1


if __name__ == "__main__":
    sys.exit(main())
