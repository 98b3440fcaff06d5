"""In what order the photos of a canvas were taken: by the camera's clock, by the numbers in their names, as given."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from limner.errors import UsageError

OrderBy = Literal["auto", "time", "name", "given"]
SUFFIXES = (".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif")
"""What is taken for a photo in a folder."""
_MOST_BYTES = 300_000_000


@dataclass(frozen=True, kw_only=True)
class Ordered:
    """The photos in their order, and how that was told."""

    photos: tuple[Path, ...]
    taken: tuple[str | None, ...]
    """The camera's time of each, ``YYYY-MM-DDTHH:MM:SS`` on its own clock."""
    rule: Literal["time", "name", "given"]
    said: str
    """The rule in one plain sentence."""


def photos_in(given: Sequence[Path], leave_out: Sequence[Path]) -> tuple[Path, ...]:
    """The photos that are meant: a folder stands for the pictures in it, but for ``leave_out`` and hidden files.

    A photo that is given twice is taken once.

    Raises:
        UsageError: when there is none.
    """
    apart = {os.path.realpath(path) for path in leave_out}
    found: dict[str, Path] = {}
    for path in given:
        if path.is_dir():
            inside = sorted(p for p in path.iterdir() if is_photo(p))
            found.update({os.path.realpath(p): p for p in inside if os.path.realpath(p) not in apart})
        else:
            found.setdefault(os.path.realpath(path), path)
    if not found:
        raise UsageError("Expected photos of the canvas, or a folder that holds some; none was given or found.")
    return tuple(found.values())


def is_photo(path: Path) -> bool:
    """Whether a file in a folder is taken for a photo, by its name."""
    return path.suffix.lower() in SUFFIXES and not path.name.startswith(".") and path.is_file()


def put_in_order(photos: Sequence[Path], by: OrderBy) -> Ordered:
    """Put photos in the order they were taken.

    ``auto``: by EXIF time where every readable photo has one, and no two the same; else by the numbers in the names
    where those differ; else as given.

    Raises:
        UsageError: for an order that these photos cannot be put in.
    """
    taken = {path: taken_at(path) for path in photos}
    times = [time for path, time in taken.items() if time is not None]
    without = [path for path in photos if taken[path] is None and _opens(path)]
    if by == "time" and without:
        raise UsageError(f"--order time: expected a camera's time in every photo, but '{without[0].name}' has none.")
    if by == "time" or (by == "auto" and times and not without and len(set(times)) == len(times)):
        return _ordered(
            sorted(photos, key=lambda p: taken[p] or "~"), taken, "time", "by the time the camera gave them"
        )
    keys = [numbers_in(path.name) for path in photos]
    if by == "name" or (by == "auto" and all(keys) and len(set(keys)) == len(keys)):
        why = " (not every photo has a camera's time of its own)" if by == "auto" else ""
        rows = sorted(photos, key=lambda p: (numbers_in(p.name), p.name))
        return _ordered(rows, taken, "name", f"by the numbers in their names{why}")
    why = " (neither the camera's times nor the numbers in the names tell)" if by == "auto" else ""
    return _ordered(photos, taken, "given", f"as they were given{why}")


def numbers_in(name: str) -> tuple[int, ...]:
    """The numbers in a file's name, without its suffix.

    >>> numbers_in("session-12b.jpg"), numbers_in("IMG_20240304_2.jpg"), numbers_in("last.jpg")
    ((12,), (20240304, 2), ())
    """
    return tuple(int(digits) for digits in re.findall(r"[0-9]{1,18}", Path(name).stem))


def taken_at(path: Path) -> str | None:
    """The EXIF time of a photo, read without decoding it; ``None`` where there is none or it cannot be read."""
    from limner.pictures.decode import time_taken

    try:
        return time_taken(path.read_bytes()) if path.is_file() and path.stat().st_size <= _MOST_BYTES else None
    except (OSError, ValueError):
        return None


def _opens(path: Path) -> bool:
    from limner.pictures.kinds import kind_of

    try:
        with path.open("rb") as file:
            return path.is_file() and kind_of(file.read(4096)) is not None
    except (OSError, ValueError):
        return False


def _ordered(
    photos: Sequence[Path], taken: dict[Path, str | None], rule: Literal["time", "name", "given"], said: str
) -> Ordered:
    return Ordered(photos=tuple(photos), taken=tuple(taken[path] for path in photos), rule=rule, said=said)
