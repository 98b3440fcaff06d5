"""The bytes of one picture file: only regular files, only up to a limit, never written to."""

from __future__ import annotations

import errno
import hashlib
import os
import stat
from dataclasses import dataclass
from pathlib import Path

from limner.errors import PictureError

KINDS = "a JPEG, PNG, WebP, TIFF or HEIC picture"


@dataclass(frozen=True, kw_only=True)
class PictureBytes:
    """What was read of one file."""

    data: bytes
    name: str
    """Base name, with characters that cannot be printed replaced."""
    digest: str
    """SHA-256 of ``data`` as hex."""


def refusal(what: str, *, expected: str, came: str, do: str) -> PictureError:
    """The one shape of sentence in which a picture is refused."""
    return PictureError(f"{what}: expected {expected}, but {came}; {do}.")


def printable_name(path: Path) -> str:
    """The base name as one line of valid Unicode: what cannot be printed becomes U+FFFD."""
    name = os.fsencode(path.name or str(path)).decode("utf-8", "replace")
    return "".join(c if c.isprintable() else "\ufffd" for c in name) or "picture"


def read_picture_bytes(source: str | Path, *, label: str, most_bytes: int) -> PictureBytes:
    """Read one regular file (or what a symbolic link to one points at) whole.

    Raises :class:`PictureError` when it is missing, unreadable, empty, larger than ``most_bytes``, or a folder, pipe,
    socket or device.
    """
    path = Path(source)
    name = printable_name(path)
    what = f"{label} '{name}'"
    try:
        data = _read(path, what, most_bytes)
    except (OSError, ValueError) as error:
        raise refusal(what, expected="a readable picture file", came=_why(error), do=_cure(error)) from error
    if not data:
        raise refusal(what, expected=KINDS, came="the file is empty", do="copy or export the picture again")
    return PictureBytes(data=data, name=name, digest=hashlib.sha256(data).hexdigest())


def _read(path: Path, what: str, most_bytes: int) -> bytes:
    # Asked before opening, because opening a pipe or a device can wait or act; asked again of what was opened.
    _only_regular(path.stat(), what, most_bytes)
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
    with os.fdopen(os.open(path, flags), "rb") as file:
        _only_regular(os.fstat(file.fileno()), what, most_bytes)
        data = file.read(most_bytes + 1)
    if len(data) > most_bytes:
        raise _too_heavy(what, most_bytes, f"more than {most_bytes / 1e6:.0f} MB came")
    return data


def _only_regular(status: os.stat_result, what: str, most_bytes: int) -> None:
    if stat.S_ISREG(status.st_mode):
        if status.st_size > most_bytes:
            raise _too_heavy(what, most_bytes, f"it is {status.st_size / 1e6:.0f} MB")
        return
    sorts = (
        (stat.S_ISDIR, "it is a folder"),
        (stat.S_ISFIFO, "it is a pipe"),
        (stat.S_ISSOCK, "it is a socket"),
    )
    came = next((words for test, words in sorts if test(status.st_mode)), "it is a device")
    raise refusal(what, expected="a regular picture file", came=came, do="give the path of the picture itself")


def _too_heavy(what: str, most_bytes: int, came: str) -> PictureError:
    expected = f"a picture file of at most {most_bytes / 1e6:.0f} MB"
    return refusal(what, expected=expected, came=came, do="export it as a JPEG")


def _why(error: OSError | ValueError) -> str:
    if not isinstance(error, OSError):
        return "no file can have such a name"
    known = {
        errno.ENOENT: "there is no such file",
        errno.ENOTDIR: "part of its path is not a folder",
        errno.EACCES: "you may not read it",
        errno.EPERM: "you may not read it",
        errno.ELOOP: "it is a symbolic link that leads back to itself",
        errno.ENAMETOOLONG: "no file can have so long a name",
    }
    return known.get(error.errno or 0) or f"reading failed ({error.strerror or type(error).__name__})"


def _cure(error: OSError | ValueError) -> str:
    if isinstance(error, PermissionError):
        return "change its permissions or copy it to where you may read it"
    return "check the name and the folder"
