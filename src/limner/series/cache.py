"""Results kept from before, by content: the same bytes under the same choices are not audited twice.

One file a result, in the user's cache folder (LIMNER_CACHE names another). It is written under a temporary name and
moved into place, and carries the digest of what it holds: two processes may write at once, one may be killed at any
moment, the disk may be full; what is found is then whole or not there, and what is not whole is computed again.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import secrets
import stat
import time
from collections.abc import Mapping
from dataclasses import asdict
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from limner import __version__
from limner.keeping import NO_HOME, cache_folder
from limner.settings import Settings

ENVIRONMENT = "LIMNER_CACHE"
FORMAT = 1
_MOST_BYTES = 20_000_000
_FORSAKEN = 3600.0
"""Seconds after which a temporary file has been left by a process that was ended, whatever its number."""
_LIBRARIES = ("mediapipe", "opencv-python", "numpy", "shapely")


def folder() -> Path | None:
    """Where results are kept; ``None`` where there is no place for them."""
    named = os.environ.get(ENVIRONMENT)
    if named:
        return Path(named) / "series"
    home = cache_folder()
    return None if home is None else home / "series"


def common_key(reference: str, settings: Settings, model: str, points: Mapping[str, str]) -> str:
    """What all photos of a series share: reference, choices, points files, limner, its model and libraries.

    Args:
        reference: SHA-256 of the reference's bytes.
        settings: the choices; what does not change a result (threads, where files lie) is left out.
        model: SHA-256 of the model.
        points: which picture -> SHA-256 of its points file.
    """
    choices = {k: v for k, v in asdict(settings).items() if k not in _NO_MATTER}
    held = [FORMAT, __version__, _own_stamp(), [_version(name) for name in _LIBRARIES], model, reference]
    return _sha(json.dumps([*held, choices, sorted(points.items())], sort_keys=True, default=str).encode())


_NO_MATTER = {"threads", "model", "points_reference", "points_painting"}


def key_of(common: str, photo: str) -> str:
    """The name a photo's result is kept under; ``photo`` is the SHA-256 of its bytes."""
    return _sha(f"{common}:{photo}".encode())


class Cache:
    """A folder of results. Nothing that goes wrong here stops an audit; the first trouble is in ``trouble``."""

    def __init__(self, place: Path | None, *, wanted: bool = True) -> None:
        self.place = place if wanted else None
        """``None`` keeps nothing and finds nothing."""
        self.trouble: str | None = NO_HOME if wanted and place is None else None

    def get(self, key: str) -> dict[str, Any] | None:
        """What is kept under a key; ``None`` where there is nothing, or nothing whole."""
        if self.place is None:
            return None
        try:
            path = self._path(key)
            facts = path.stat()
            if not stat.S_ISREG(facts.st_mode) or facts.st_size > _MOST_BYTES:
                return None
            digest, _, body = path.read_bytes().partition(b"\n")
            if digest.decode("ascii", "replace") != _sha(body):
                return None
            held = json.loads(body)
        except (OSError, ValueError, RecursionError):
            return None
        return held if isinstance(held, dict) and held.get("key") == key else None

    def put(self, key: str, held: Mapping[str, Any]) -> None:
        """Keep a result; a failure is noted in ``trouble`` and is no more than that."""
        if self.place is None:
            return
        body = json.dumps({**held, "key": key}, allow_nan=False).encode()
        path = self._path(key)
        part = path.with_name(f".{key[:16]}-{os.getpid()}-{secrets.token_hex(6)}.part")
        try:
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            with part.open("xb") as file:
                file.write(_sha(body).encode() + b"\n" + body)
                file.flush()
                os.fsync(file.fileno())
            part.replace(path)
        except OSError as error:
            self.trouble = self.trouble or f"{error.strerror or type(error).__name__}"
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)

    def tidy(self) -> None:
        """Remove temporary files that an ended process left behind."""
        if self.place is None:
            return
        with contextlib.suppress(OSError):
            for part in self.place.glob("*/.*.part"):
                with contextlib.suppress(OSError):
                    if _ended(part) or abs(time.time() - part.stat().st_mtime) > _FORSAKEN:
                        part.unlink()

    def _path(self, key: str) -> Path:
        assert self.place is not None  # noqa: S101 - both callers asked
        return self.place / key[:2] / f"{key}.json"


def _ended(part: Path) -> bool:
    """Whether the process that a temporary file carries the number of has ended."""
    number = part.name.split("-")[1]
    if os.name != "posix" or not number.isdigit():
        return False
    try:
        os.kill(int(number), 0)
    except ProcessLookupError:
        return True
    except OSError:
        return False
    return False


def _sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "absent"


def _own_stamp() -> str:
    """What tells one state of limner's own code from another, also in a checkout that is being worked on."""
    root = Path(__file__).parent.parent
    files = sorted(p for p in root.rglob("*") if p.suffix in {".py", ".json"})
    return _sha(repr([(p.name, p.stat().st_size, p.stat().st_mtime_ns) for p in files]).encode())
