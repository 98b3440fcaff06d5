"""What starts the command, as a script and as ``python -m limner.cli``.

It loads nothing itself that Python has not loaded, so that Ctrl-C is heard as soon as Python runs anything of limner's.
The signals are therefore asked of the module beneath ``signal``, which brings ``enum`` and more: four times as long.
"""

from __future__ import annotations

import _signal  # type: ignore[import-not-found]
import os
import sys

TYPE_CHECKING = False  # as that of typing, which takes longer to load than all else here
if TYPE_CHECKING:
    from types import FrameType

FEWER_SWEEPS = 200_000
"""Objects made before Python looks for circular garbage: loading makes many and no garbage, and each look costs."""


def script() -> None:
    """Run the command line, and end the process without taking apart in order what the system takes back at once."""
    listen()
    import atexit
    import contextlib

    code: object = 0
    try:
        run()
    except SystemExit as end:
        code = end.code
    atexit._run_exitfuncs()  # noqa: SLF001 - what asked to be done at the end is done
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError, ValueError, AttributeError):
            stream.flush()
    os._exit(code if isinstance(code, int) else 0)


def run() -> None:
    """Run the command line; until it is loaded and has signals of its own, Ctrl-C ends it at once."""
    listen()
    import gc

    gc.set_threshold(FEWER_SWEEPS)
    from limner.cli import main

    main.run()


def listen() -> None:
    """End at Ctrl-C from now on, unless who started the process had it ignored; nothing is begun yet."""
    if _signal.getsignal(_signal.SIGINT) is _signal.default_int_handler:
        _signal.signal(_signal.SIGINT, _end)


def _end(number: int, _frame: FrameType | None) -> None:
    if sys.stderr is not None:  # else another file may have its number
        try:  # noqa: SIM105 - nothing is to be loaded in a handler
            os.write(2, b"limner: stopped.\n")
        except OSError:
            pass
    os._exit(128 + number)


if __name__ == "__main__":
    script()
