"""What starts the command, as a script and as ``python -m limner.cli``."""

import atexit
import contextlib
import gc
import os
import signal
import sys

FEWER_SWEEPS = 200_000
"""Objects made before Python looks for circular garbage: loading makes many and no garbage, and each look costs."""


def script() -> None:
    """Run the command line, and end the process without taking apart in order what the system takes back at once."""
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
    """Run the command line; until it is loaded and has signals of its own, Ctrl-C simply ends it."""
    gc.set_threshold(FEWER_SWEEPS)
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    from limner.cli import main

    main.run()


if __name__ == "__main__":
    script()
