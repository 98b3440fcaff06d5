"""A folder watched: photos are handed on when they have come in whole."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from limner.errors import UsageError
from limner.series.order import is_photo

SETTLE = 1.0
"""Seconds a file's size and time must not have changed in, before it is taken to be whole."""
PATIENCE = 20.0
"""Seconds a file that ends before its picture does is waited for, before it is handed on as it is."""


def arrivals(folder: Path, leave_out: Sequence[Path] = (), *, look: float = 0.4) -> Iterator[None]:
    """Come back at once, and then each time photos in the folder have come, gone or changed and are all whole.

    Args:
        folder: what is watched; folders in it are not.
        leave_out: pictures that are no photos of the canvas: the reference, and what is written.
        look: seconds between two looks while a photo is coming in.

    Raises:
        UsageError: when there is no such folder, or the library that watches folders is not installed.
    """
    if not folder.is_dir():
        raise UsageError(f"--watch: expected a folder that photos come into, and '{folder.name}' is none.")
    try:
        from watchfiles import watch
    except ImportError as error:
        raise UsageError("--watch needs the library watchfiles: pip install 'limner[watch]'") from error
    apart = {os.path.realpath(path) for path in leave_out}
    told: dict[Path, tuple[int, int]] | None = None
    events = watch(folder, recursive=False, debounce=200, step=50, rust_timeout=1000, yield_on_timeout=True)
    while True:
        there = _whole(folder, apart, look)
        if there != told:
            told = there
            yield
        next(events, None)


def _whole(folder: Path, apart: set[str], look: float) -> dict[Path, tuple[int, int]]:
    """Every photo with its size and time, once none of them is still being written."""
    before = _seen(folder, apart)
    while any(_fresh(path, facts) for path, facts in before.items()):
        time.sleep(look)
        before = _seen(folder, apart)
    return before


def _seen(folder: Path, apart: set[str]) -> dict[Path, tuple[int, int]]:
    found = {}
    for path in sorted(folder.iterdir()):
        with contextlib.suppress(OSError):  # it may go away meanwhile
            if is_photo(path) and os.path.realpath(path) not in apart:
                facts = path.stat()
                found[path] = (facts.st_size, facts.st_mtime_ns)
    return found


def _fresh(path: Path, facts: tuple[int, int]) -> bool:
    """Whether a file may still be being written."""
    age = time.time() - facts[1] / 1e9
    if age < 0 or age > PATIENCE:
        return False
    return age < SETTLE or _cut(path)


def _cut(path: Path) -> bool:
    from limner.pictures.kinds import cut_short, kind_of

    try:
        data = path.read_bytes()
    except OSError:
        return False
    kind = kind_of(data)
    return kind is None or cut_short(kind, data)
