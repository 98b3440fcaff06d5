"""Every figure limner is held to, one bench after another, printed and kept: python bench/everything.py [--quick].

What is printed also goes into build/figures-DATE.txt, with the machine and the command of each part. Without --faces
the drawing is proved on the portrait that scikit-image carries; the figures in docs/figures.md stand on more faces.
"""

from __future__ import annotations

import argparse
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import datetime, timezone
from importlib.metadata import version
from pathlib import Path
from typing import TextIO

from PIL import Image
from skimage import data

from bench import CROP

HERE = Path(__file__).resolve().parent
BESIDE = ("mediapipe", "opencv-python", "numpy", "shapely", "Pillow")


def machine() -> Iterator[str]:
    """Lines that say where and on what the figures were taken."""
    yield f"date     {datetime.now(timezone.utc):%Y-%m-%d %H:%M} UTC"
    yield f"machine  {platform.system()} {platform.machine()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}"
    yield f"python   {platform.python_version()}, limner {version('limner')}"
    yield "with     " + ", ".join(f"{name} {version(name)}" for name in BESIDE)
    try:
        asked = ["git", "-C", str(HERE), "describe", "--always", "--dirty"]
        yield "commit   " + subprocess.run(asked, capture_output=True, text=True, check=True).stdout.strip()
    except (OSError, subprocess.CalledProcessError):
        yield "commit   not known"


def parts(faces: Path, asked: argparse.Namespace) -> list[tuple[str, list[str]]]:
    """What each bench shows, and its command."""
    jobs = ["--jobs", str(asked.jobs)]
    fewer = ["--many", "40", "--kills", "5"] if asked.quick else []
    paintings, scenes, cases = ("12", "20", "2000") if asked.quick else ("24", "60", "100000")
    found = [
        ("speed and memory of an audit", ["bench/bench.py"]),
        ("speed, memory and cache of a series", ["bench/series.py", *fewer]),
        ("what is recovered of planted errors", ["bench/faces.py", str(faces), "--paintings", paintings, *jobs]),
        ("how well anybody could read them", ["bench/oracle.py", str(faces), *jobs]),
        ("values and colour planted and read", ["-m", "limner.cli", "prove", _one(faces), "--quick", *jobs]),
        ("corners of the canvas in invented photos", ["bench/canvas.py", "1000", scenes]),
        ("hostile files and texts", ["bench/fuzz.py", "--cases", cases]),
    ]
    if asked.paintings:
        found.append(("painted faces found", ["bench/finding.py", str(asked.paintings), *jobs]))
    return found


def _one(folder: Path) -> str:
    return str(min(path for path in folder.iterdir() if path.suffix.lower() in {".jpg", ".jpeg", ".png"}))


def run(command: list[str], log: TextIO) -> int:
    """Run one bench, printing and keeping what it says; its exit code."""
    process = subprocess.Popen(
        [sys.executable, *command], cwd=HERE.parent, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    assert process.stdout is not None  # noqa: S101 - it was asked for
    for line in process.stdout:
        say(line.rstrip("\n"), log)
    return process.wait()


def say(line: str, log: TextIO) -> None:
    """One line, to both."""
    print(line, flush=True)
    log.write(line + "\n")
    log.flush()


def main() -> int:
    """Run everything; 1 when a bench missed a goal or failed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--faces", type=Path, help="folder of portrait photographs, one face each")
    parser.add_argument("--paintings", type=Path, help="folder of pictures of paintings")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--quick", action="store_true", help="less of everything")
    asked = parser.parse_args()
    file = HERE.parent / "build" / f"figures-{datetime.now(timezone.utc):%Y-%m-%d}.txt"
    file.parent.mkdir(exist_ok=True)
    codes = []
    with tempfile.TemporaryDirectory() as name, file.open("w", encoding="utf-8") as log:
        if asked.faces is None:
            portrait = Image.fromarray(data.astronaut()).crop(CROP)
            portrait.resize((768, 1024), Image.Resampling.BICUBIC).save(Path(name) / "portrait.png")
        for line in machine():
            say(line, log)
        for title, command in parts(asked.faces or Path(name), asked):
            say(f"\n# {title}\n$ python {' '.join(command)}", log)
            begun = time.perf_counter()
            codes.append(run(command, log))
            say(f"({time.perf_counter() - begun:.0f} s, exit code {codes[-1]})", log)
    print(f"\nKept in {file.relative_to(HERE.parent)}.")
    return 1 if any(codes) else 0


if __name__ == "__main__":
    sys.exit(main())
