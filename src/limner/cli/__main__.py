"""What starts the command, as a script and as ``python -m limner.cli``."""

import signal


def run() -> None:
    """Run the command line; until it is loaded and has signals of its own, Ctrl-C simply ends it."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    from limner.cli import main

    main.run()


if __name__ == "__main__":
    run()
