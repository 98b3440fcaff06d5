"""Keeps a library's log lines off the painter's terminal without losing anything else that is written there."""

from __future__ import annotations

import os
import re
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import BinaryIO

_CHATTER = re.compile(
    rb"(?:[IW]\d{4} |INFO: |WARNING: All log messages before absl::InitializeLog|WARNING: Logging before InitGoogle)"
)
"""How a line of plain information or warning starts in the logs of mediapipe, absl and TensorFlow Lite."""
_TOLD = re.compile(rb"(?:(?:ERROR: \n*)*The model is not a valid Flatbuffer buffer\n*)+")
"""An error that limner tells itself; it is written in pieces, which two threads may mingle."""


class _Diversion:
    """Standard error as the operating system sees it, diverted once however many threads ask for it."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._depth = 0
        self._kept: BinaryIO | None = None
        self._original = -1

    def enter(self) -> None:
        with self._lock:
            self._depth += 1
            if self._depth > 1:
                return
            try:
                self._original = os.dup(2)
                self._kept = tempfile.TemporaryFile()  # noqa: SIM115 - closed in leave()
                os.dup2(self._kept.fileno(), 2)
            except OSError:  # no standard error to divert, or nowhere to divert it to
                self._kept = None
                if self._original >= 0:
                    os.close(self._original)
                    self._original = -1

    def leave(self) -> None:
        with self._lock:
            self._depth -= 1
            if self._depth or self._kept is None:
                return
            if sys.stderr is not None:
                sys.stderr.flush()
            os.dup2(self._original, 2)
            os.close(self._original)
            self._original = -1
            self._kept.seek(0)
            lines = _TOLD.sub(b"", self._kept.read()).splitlines(keepends=True)
            self._kept.close()
            self._kept = None
            rest = b"".join(line for line in lines if not _CHATTER.match(line))
            if rest:
                os.write(2, rest)


_DIVERSION = _Diversion()


@contextmanager
def without_chatter() -> Iterator[None]:
    """While it lasts, log lines of information and plain warnings are dropped; everything else follows when it ends.

    Works on the file descriptor, since the lines come from compiled code. Threads may overlap: what another thread
    writes to standard error meanwhile is delayed, not lost.
    """
    _DIVERSION.enter()
    try:
        yield
    finally:
        _DIVERSION.leave()
