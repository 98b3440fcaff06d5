"""Reads a small text file of the painter's: a regular file, whole, and no more of it than such a file can have."""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass
from pathlib import Path

from limner.errors import UsageError


@dataclass(frozen=True, kw_only=True)
class Expected:
    """What kind of file is read, for the sentences in which another one is refused."""

    most: int
    """Bytes."""
    give: str
    """What to do instead, such as ``give a limner.toml``."""
    missing: str
    """What to do where there is none."""


def read_small(path: Path, what: str, expected: Expected) -> bytes:
    """The bytes of one file; ``what`` names it in messages.

    Raises:
        UsageError: when it is missing, unreadable, larger than ``expected.most``, or a folder, pipe or device.
    """
    try:
        # Asked before opening, because opening a pipe or a device can wait or act; asked again of what was opened.
        _only_small(path.stat(), what, expected)
        flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
        with os.fdopen(os.open(path, flags), "rb") as file:
            _only_small(os.fstat(file.fileno()), what, expected)
            data = file.read(expected.most + 1)
    except FileNotFoundError as error:
        raise UsageError(f"{what}: there is no such file; {expected.missing}.") from error
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "no file can have such a name"
        raise UsageError(f"{what}: expected a file that can be read, but that failed ({why}).") from error
    if len(data) > expected.most:
        raise _refusal(what, f"at most {expected.most // 1000} kB", "it is longer", expected.give)
    return data


def _only_small(status: os.stat_result, what: str, expected: Expected) -> None:
    if not stat.S_ISREG(status.st_mode):
        raise _refusal(what, "a regular file", "it is a folder, a pipe or a device", expected.give)
    if status.st_size > expected.most:
        size = f"{status.st_size / 1e6:.1f} MB" if status.st_size >= 1e6 else f"{status.st_size / 1000:.0f} kB"
        raise _refusal(what, f"at most {expected.most // 1000} kB", f"it has {size}", expected.give)


def _refusal(what: str, wanted: str, came: str, do: str) -> UsageError:
    return UsageError(f"{what}: expected {wanted}, but {came}; {do}.")
