"""Processes that audit photos side by side: results in order, and a photo that ends one of them ends no other.

Each process reads what is sent through its own pipe, and ends when that pipe closes: also when the process that started
it was killed.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Any

FEWER_SWEEPS = 200_000
"""Objects made before Python looks for circular garbage: an audit makes many and next to no garbage."""

Work = Callable[[Any, Any], Any]
"""(what all share, one piece) -> result; must not raise. Where pieces are given ahead of what all share, that may be a
function without arguments which waits for it."""


@dataclass(eq=False)
class _Hand:
    """One process and what it is at."""

    process: BaseProcess
    pipe: Connection
    at: int | None = None
    shared: bool = field(default=False)


@contextmanager
def _without_interrupt() -> Iterator[None]:
    """While it lasts SIGINT waits. A process started in it never gets one, not even before its own code runs."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    from multiprocessing import resource_tracker

    resource_tracker.ensure_running()  # or it is started with the process, and lets SIGINT through again
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def serve(pipe: Connection, warm: Callable[[], None], work: Work) -> None:
    """What a process does: get ready, then one piece after another until the pipe closes, and end without tidying up.

    What all share comes through the pipe, or is what this process made itself. A piece that is given ahead of it gets a
    way to ask for it instead.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the one who started it is asked to stop, and ends it
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    gc.set_threshold(FEWER_SWEEPS)
    shared: Any = None

    def take() -> Any:
        nonlocal shared
        _, shared = pipe.recv()
        return shared

    try:
        warm()
        while True:
            kind, payload = pipe.recv()
            if kind == "share":
                shared = payload
            elif kind == "first":
                pipe.send("ready")
                shared = work(None, payload)
                pipe.send(shared)
            else:
                pipe.send(work(take if kind == "ahead" else shared, payload))
    except (EOFError, OSError, KeyboardInterrupt):
        os._exit(0)


class Crew:
    """So many processes; use it in a ``with``."""

    def __init__(self, jobs: int, warm: Callable[[], None], work: Work) -> None:
        self._context = multiprocessing.get_context("spawn")
        self._warm, self._work = warm, work
        self._hands = [self._start() for _ in range(jobs)]

    def __enter__(self) -> Crew:  # noqa: PYI034 - Self needs Python 3.11
        return self

    def __exit__(self, *_: object) -> None:
        for hand in self._hands:
            hand.pipe.close()
        for hand in self._hands:
            hand.process.join(timeout=0.5)
            if hand.process.is_alive():
                hand.process.terminate()
                hand.process.join()

    def begin(self, piece: Any) -> None:
        """Give one process one piece to do, whose result all are to share; wait until that process is ready for it."""
        hand = self._hands[0]
        with suppress(EOFError, OSError):  # it has ended: that is told when its answer is wanted
            hand.pipe.send(("first", piece))
            hand.pipe.recv()

    def first(self, pieces: Sequence[Any] = ()) -> Any:
        """What came of the piece that was begun with; meanwhile the others begin with the first of ``pieces``.

        Raises:
            ChildProcessError: when the process ended over it.
        """
        for number, hand in enumerate(self._hands[1 : 1 + len(pieces)]):
            hand.at = number
            with suppress(OSError):  # it has ended: its closed pipe will say so
                hand.pipe.send(("ahead", pieces[number]))
        hand = self._hands[0]
        try:
            found = hand.pipe.recv()
        except (EOFError, OSError) as error:
            raise ChildProcessError(f"exit status {self._ended(hand)}") from error
        hand.shared = True
        return found

    def each(self, shared: Any, pieces: Sequence[Any]) -> Iterator[tuple[int, Any]]:
        """Number and result of every piece, as they are done; the result is a ChildProcessError where one ended."""
        ahead = {hand.at for hand in self._hands}
        waiting = [number for number in reversed(range(len(pieces))) if number not in ahead]
        for k in range(len(self._hands)):
            self._give(k, shared, pieces, waiting)
        while any(hand.at is not None for hand in self._hands):
            busy = {hand.pipe: k for k, hand in enumerate(self._hands) if hand.at is not None}
            for pipe in wait(list(busy)):
                k = busy[pipe]  # type: ignore[index]
                hand = self._hands[k]
                number, hand.at = hand.at, None
                try:
                    result = hand.pipe.recv()
                except (EOFError, OSError):
                    result = ChildProcessError(f"exit status {self._ended(hand)}")
                    self._hands[k] = self._start()
                self._give(k, shared, pieces, waiting)
                if number is not None:
                    yield number, result

    def _give(self, k: int, shared: Any, pieces: Sequence[Any], waiting: list[int]) -> None:
        """What all share, unless it has that, and the next piece, unless it is at one."""
        hand = self._hands[k]
        if hand.at is None and not waiting:
            return
        with suppress(OSError):  # it has ended: its closed pipe will say so
            if not hand.shared:
                hand.shared = True
                hand.pipe.send(("share", shared))
            if hand.at is None:
                hand.at = waiting.pop()
                hand.pipe.send(("work", pieces[hand.at]))

    def _start(self) -> _Hand:
        ours, theirs = self._context.Pipe()
        process = self._context.Process(target=serve, args=(theirs, self._warm, self._work), daemon=True)
        with _without_interrupt():
            process.start()
        theirs.close()
        return _Hand(process=process, pipe=ours)

    @staticmethod
    def _ended(hand: _Hand) -> int | None:
        hand.process.join(timeout=5)
        return hand.process.exitcode
