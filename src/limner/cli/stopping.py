"""How a command is stopped by a signal: once, where that leaves nothing locked, and with time to clear away."""

from __future__ import annotations

import _thread
import os
import signal
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any

PATIENCE = 3.0
"""Seconds a command that is stopped is given to clear away; asked again after that, it ends where it stands."""
_AGAIN = 0.01


class Stopped(BaseException):
    """The process was told to stop by a signal; not an Exception, so that nothing on the way swallows it."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.exit_code = 128 + number


@contextmanager
def stoppable() -> Iterator[None]:
    """Turn Ctrl-C, a request to end and the terminal's closing into :class:`Stopped` while it lasts.

    What the one who started the process had it ignore (nohup, a job in the background) stays ignored. A process that
    was stopped is about to end, and hears no more of it.
    """
    asking = (signal.SIGINT, signal.SIGTERM, *((signal.SIGHUP,) if hasattr(signal, "SIGHUP") else ()))
    stop = _Stop()
    kept: dict[signal.Signals, Any] = {}
    try:
        for number in asking:
            if signal.getsignal(number) is not signal.SIG_IGN:
                kept[number] = signal.signal(number, stop)
    except ValueError:  # not in the main thread: whoever runs us there has the signals
        kept.clear()
    try:
        yield
    finally:
        for number, handler in kept.items():
            signal.signal(number, handler if stop.since is None else signal.SIG_IGN)


class _Stop:
    """What a signal calls."""

    def __init__(self) -> None:
        self.since: float | None = None

    def __call__(self, number: int, frame: FrameType | None) -> None:
        if self.since is not None:
            if time.monotonic() - self.since > PATIENCE:
                os._exit(128 + number)
            return
        if _importing(frame):
            # Raised in there it would leave a module locked, and a thread that asks for it would wait for ever.
            later = threading.Timer(_AGAIN, _thread.interrupt_main, (number,))
            later.daemon = True
            later.start()
            return
        self.since = time.monotonic()
        raise Stopped(number)


def _importing(frame: FrameType | None) -> bool:
    while frame is not None:
        if frame.f_code.co_filename.startswith("<frozen importlib"):
            return True
        frame = frame.f_back
    return False
