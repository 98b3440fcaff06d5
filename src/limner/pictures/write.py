"""Files out: whole or not at all, and never onto a picture that was read."""

from __future__ import annotations

import contextlib
import io
import os
import secrets
import stat
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from limner.errors import OutputError
from limner.pictures.reading import printable_name

_FORSAKEN = 3600.0
"""Seconds after which nobody is writing a temporary file any more; a clock put back leaves it in the future."""


def write_whole(path: str | Path, data: bytes, *, inputs: Iterable[str | Path] = ()) -> None:
    """Write ``data`` to ``path`` so that the file is either as before or complete.

    A temporary file in the same folder is written, forced to disk and moved into place; a symbolic link is followed.
    Raises :class:`OutputError` when the path is one of ``inputs`` (by whatever name), a folder or other non-regular
    file, may not be written, or its folder is missing.
    """
    write_together({Path(path): data}, inputs=inputs)


def write_together(files: Mapping[Path, bytes], *, inputs: Iterable[str | Path] = ()) -> None:
    """Write several files as :func:`write_whole` does one; none is moved into place before all are on the disk."""
    inputs = tuple(inputs)
    for path in files:
        check_output(path, inputs=inputs)
    ready: list[tuple[Path, Path, Path]] = []
    try:
        for path, data in files.items():
            target = Path(os.path.realpath(path))
            _clear_forsaken(target.parent)
            held = target.parent / f".limner-{secrets.token_hex(8)}.part"
            ready.append((path, held, target))
            with _said(path):
                _put(held, data, like=target)
        for path, held, target in ready:
            with _said(path):
                held.replace(target)
    finally:
        for _, held, _ in ready:
            with contextlib.suppress(OSError):
                held.unlink(missing_ok=True)


def _clear_forsaken(folder: Path) -> None:
    """Remove what a process that was killed while it wrote has left in a folder."""
    with contextlib.suppress(OSError):
        for part in folder.glob(f".limner-{'[0-9a-f]' * 16}.part"):
            with contextlib.suppress(OSError):
                if abs(time.time() - part.lstat().st_mtime) > _FORSAKEN:
                    part.unlink()


def _put(held: Path, data: bytes, *, like: Path) -> None:
    with held.open("xb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    if like.exists():
        held.chmod(stat.S_IMODE(like.stat().st_mode))


@contextlib.contextmanager
def _said(path: Path) -> Iterator[None]:
    """Say what fails while it lasts as a failure to write one file."""
    try:
        yield
    except (OSError, ValueError) as error:
        name, reason = printable_name(path), getattr(error, "strerror", None) or type(error).__name__
        raise OutputError(f"Expected to write '{name}', but that failed ({reason}); choose another place.") from error


def check_output(path: str | Path, *, inputs: Iterable[str | Path] = ()) -> None:
    """Raise :class:`OutputError` if ``path`` cannot be an output, so that it is known before the work is done."""
    given = Path(path)
    name = printable_name(given)
    try:
        if given.exists() and any(_same(given, other) for other in inputs):
            raise OutputError(f"Expected a new file, but '{name}' is a picture that was read; choose another name.")
        if given.is_dir():
            raise OutputError(f"Expected a file name, but '{name}' is a folder; add a name to it.")
        if given.exists() and not given.is_file():
            raise OutputError(f"Expected a regular file, but '{name}' is a pipe or device; choose another name.")
        folder = Path(os.path.realpath(given)).parent
        if not folder.is_dir():
            raise OutputError(f"Expected a folder to write '{name}' into, but it does not exist; make it first.")
        if given.exists() and not os.access(given, os.W_OK):
            raise OutputError(f"Expected to write '{name}', but it is write-protected; choose another name.")
        if not os.access(folder, os.W_OK | os.X_OK):
            raise OutputError(f"Expected to write '{name}', but its folder may not be written; choose another place.")
    except (OSError, ValueError) as error:
        raise OutputError(f"Expected a file name, but '{name}' cannot be one; choose another name.") from error


def encode_png(pixels: NDArray[Any]) -> bytes:
    """A PNG of a (H, W), (H, W, 3) or (H, W, 4) uint8 array: pixels only, no metadata, the same bytes every time."""
    held = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(pixels, dtype=np.uint8)).save(held, "PNG", compress_level=6)
    return held.getvalue()


def encode_animation(frames: Sequence[NDArray[Any]], times: Sequence[int], kind: Literal["gif", "webp"]) -> bytes:
    """Pictures of one size, (H, W, 3) uint8 arrays, one after the other without end, each for so many milliseconds."""
    pictures = [Image.fromarray(np.ascontiguousarray(frame, dtype=np.uint8)) for frame in frames]
    held = io.BytesIO()
    if kind == "gif":
        plain = [picture.quantize(256, dither=Image.Dither.FLOYDSTEINBERG) for picture in pictures]
        plain[0].save(held, "GIF", save_all=True, append_images=plain[1:], duration=list(times), loop=0, optimize=False)
    else:
        pictures[0].save(
            held, "WEBP", save_all=True, append_images=pictures[1:], duration=list(times), loop=0, quality=85
        )
    return held.getvalue()


def _same(given: Path, other: str | Path) -> bool:
    try:
        return given.samefile(other)
    except (OSError, ValueError):
        return False
