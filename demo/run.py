"""Builds the example studio, audits one of its sessions and follows all five, through the real command line.

python demo/run.py [FOLDER] [SESSION]
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from pathlib import Path

from limner.errors import LimnerError
from studio import build


def audit(folder: Path, session: int) -> int:
    """Runs ``limner audit`` on one session's photo of the easel; its exit code."""
    stem = folder / f"easel-{session}"
    command = [
        str(Path(sys.executable).with_name("limner")),
        "audit",
        str(folder / "reference.jpg"),
        f"{stem}.jpg",
        "--overlay",
        f"{stem}-overlay.png",
        "--canvas",
        "440x500mm",
        "--side-by-side",
        f"{stem}-beside.png",
        "--value-sheet",
        f"{stem}-values.png",
        "--page",
        f"{stem}-page.html",
    ]
    print("$ " + " ".join(["limner", *command[1:]]), flush=True)
    return subprocess.run(command, check=False).returncode  # noqa: S603 - our own command, no shell


def sheet(folder: Path, session: int) -> int:
    """Makes the correction sheet at 1:1 of the same photo; its exit code."""
    stem = folder / f"easel-{session}"
    command = [
        str(Path(sys.executable).with_name("limner")),
        "sheet",
        str(folder / "reference.jpg"),
        f"{stem}.jpg",
        "--canvas",
        "440x500mm",
        "--out",
        f"{stem}-sheet.pdf",
    ]
    print("\n$ " + " ".join(["limner", *command[1:]]), flush=True)
    return subprocess.run(command, check=False).returncode  # noqa: S603 - our own command, no shell


def series(folder: Path) -> int:
    """Runs ``limner series`` on all five; its exit code."""
    command = [
        str(Path(sys.executable).with_name("limner")),
        "series",
        str(folder / "reference.jpg"),
        *(str(folder / f"easel-{number}.jpg") for number in range(1, 6)),
        "--canvas",
        "440x500mm",
        "--plot",
        str(folder / "series.png"),
        "--contact",
        str(folder / "series-faces.png"),
        "--blink",
        str(folder / "series.gif"),
        "--page",
        str(folder / "series-page.html"),
    ]
    print("\n$ " + " ".join(["limner", *command[1:]]), flush=True)
    return subprocess.run(command, check=False).returncode  # noqa: S603 - our own command, no shell


def main() -> int:
    """Studio, audit, series, and where the pictures are."""
    parser = argparse.ArgumentParser(description="Build the example studio and audit one session of it.")
    parser.add_argument("folder", nargs="?", type=Path, default=Path("studio"))
    parser.add_argument("session", nargs="?", type=int, choices=range(1, 6), default=3)
    asked = parser.parse_args()
    folder: Path = asked.folder
    print("Painting the example studio: a reference, and five sessions on the easel ...", flush=True)
    try:
        told = build(folder)
    except LimnerError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    code = audit(folder, asked.session)
    if code not in {0, 1}:
        return code
    code = sheet(folder, asked.session)
    if code:
        return code
    code = series(folder)
    if code not in {0, 1}:
        return code
    print(f"\nThe studio and the pictures of this audit and series are in {folder.resolve()}:")
    for path in sorted(folder.iterdir()):
        print(f"  {path.name}")
    print("What was planted in each session is in truth.json. " + str(told["caution"]))
    return 0


if __name__ == "__main__":
    sys.exit(main())
