"""Follows the painter's guide with the example commission, and renews what limner says in it: python docs/follow.py.

Every text block below a ``shows`` mark is written anew from what the commands above it print, and the pictures of the
guide are made from the files these commands write. With ``--check`` nothing is written; exit code 1 where a page would
change.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from PIL import Image

from blocks import Block, blocks, commands_in, not_run, part_of

HERE = Path(__file__).parent
PAGES = ("guide.md", "uncertainty.md")
"""Pages that are followed; the first one's TOML block is the commission's limner.toml."""
PICTURES: dict[str, tuple[str, tuple[float, float, float, float], int]] = {
    "easel.png": ("photos/day-1.jpg", (0.0, 0.16, 1.0, 0.84), 420),
    "block-in.png": ("day-1-overlay.png", (0.0, 0.0, 1.0, 1.0), 800),
    "values-before.png": ("study.png", (0.06, 0.355, 0.94, 0.489), 700),
    "mouth.png": ("day-4-overlay.png", (0.0, 0.0, 1.0, 1.0), 800),
    "faces.png": ("faces.png", (0.0, 0.0, 1.0, 1.0), 1000),
    "over-time.png": ("over-time.png", (0.0, 0.0, 1.0, 0.145), 800),
}
"""Picture of the guide -> the file it is made from, the part of it (left, top, right, bottom; shares), its width."""
COLOURS = 96


def prepare(studio: Path, folder: Path) -> None:
    """Lay out the commission's folder as the guide has it on the first day, from the example studio."""
    (folder / "photos").mkdir(parents=True)
    shutil.copy(studio / "reference.jpg", folder / "reference.jpg")
    guide = (HERE / PAGES[0]).read_text(encoding="utf-8")
    settings = next(block for block in blocks(guide) if block.language == "toml")
    (folder / "limner.toml").write_text(settings.body, encoding="utf-8")


def take_photos(studio: Path, folder: Path, block: Block) -> None:
    """Put the photo of each day up to the last one that a block names into the folder."""
    for day in range(1, 1 + max(map(int, re.findall(r"photos/day-(\d)", block.body)), default=0)):
        shutil.copy(studio / f"easel-{day}.jpg", folder / "photos" / f"day-{day}.jpg")


def said_by(words: list[str], folder: Path) -> str:
    """What one command prints, in 80 columns.

    Raises:
        RuntimeError: when it ends with anything but 0 or 1.
    """
    limner = [sys.executable, "-m", "limner.cli", *words[1:]]
    known = {**os.environ, "COLUMNS": "80", "LIMNER_CACHE": str(folder / "cache")}
    done = subprocess.run(limner, cwd=folder, env=known, capture_output=True, text=True, check=False)
    if done.returncode not in (0, 1):
        raise RuntimeError(f"{' '.join(words)}: exit code {done.returncode}\n{done.stderr}")
    return done.stdout + done.stderr


def followed(page: str, studio: Path, folder: Path, say: Callable[[list[str], Path], str] = said_by) -> str:
    """The page with what limner says in it renewed; ``say`` gives what a command prints in the folder."""
    out, done, said = [], 0, ""
    for block in blocks(page):
        if block.language == "sh":
            take_photos(studio, folder, block)
            said = "".join(say(words, folder) for words in commands_in(block) if not_run(words) is None)
        elif block.shows:
            out += [page[done : block.span[0]], part_of(said, block.shows)]
            done = block.span[1]
    return "".join([*out, page[done:]])


def picture(folder: Path, name: str) -> Image.Image:
    """One picture of the guide, small, in few colours."""
    source, part, width = PICTURES[name]
    with Image.open(folder / source) as whole:
        size = (whole.width, whole.height, whole.width, whole.height)
        box = [round(share * length) for share, length in zip(part, size, strict=True)]
        cut = whole.convert("RGB").crop((box[0], box[1], box[2], box[3]))
    small = cut.resize((width, round(cut.height * width / cut.width)), Image.Resampling.LANCZOS)
    return small.quantize(COLOURS, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)


def main() -> int:
    """Follow every page."""
    check = "--check" in sys.argv[1:]
    changed = []
    with tempfile.TemporaryDirectory() as place:
        studio, folder = Path(place) / "studio", Path(place) / "commission"
        demo = [sys.executable, str(HERE.parent / "demo" / "studio.py"), str(studio)]
        subprocess.run(demo, check=True, stdout=subprocess.DEVNULL)
        prepare(studio, folder)
        for name in PAGES:
            path = HERE / name
            before = path.read_text(encoding="utf-8")
            after = followed(before, studio, folder)
            changed += [name] if after != before else []
            if not check:
                path.write_text(after, encoding="utf-8")
        if not check:
            (HERE / "pictures").mkdir(exist_ok=True)
            for name in PICTURES:
                picture(folder, name).save(HERE / "pictures" / name, optimize=True)
    print("Would change, or has changed: " + ", ".join(changed) if changed else "Nothing has changed.")
    return 1 if check and changed else 0


if __name__ == "__main__":
    sys.exit(main())
