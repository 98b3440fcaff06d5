"""What a command says: data to standard output, the rest to standard error, output files checked before the work."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TextIO

from limner.errors import OutputError, UsageError

NARROWEST, USUAL = 20, 80

KINDS: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "--page": ("a page", (".html",)),
    "--overlay": ("a picture", (".png", ".svg")),
    "--blink": ("an animation, or two pictures", (".gif", ".webp", ".png")),
}
"""Output -> what it is, and how its name may end."""


def emit(text: str) -> None:
    """Write data to standard output; a reader that has gone away is not an error, a full disk is."""
    if sys.stdout is None:
        raise OutputError(
            "Standard output is closed, so the result cannot be printed: open it or redirect it to a file."
        )
    _through(lambda: sys.stdout.write(text))


def emit_path(path: Path) -> None:
    """Write where an output is as one line: for a program byte for byte, for a terminal without what acts on it."""
    buffer = getattr(sys.stdout, "buffer", None)
    if buffer is None or sys.stdout.isatty():
        from limner.report.clean import clean

        emit(clean(str(path)) + "\n")
        return
    _through(lambda: buffer.write(os.fsencode(path) + b"\n"))


def _through(write: Callable[[], object]) -> None:
    try:
        write()
        sys.stdout.flush()
    except BrokenPipeError:
        _drop_stdout()
    except OSError as error:
        _drop_stdout()
        raise OutputError(f"The result cannot be written to standard output: {error.strerror or error}.") from error


def tell(text: str) -> None:
    """Write one line to standard error, if there is one; on a terminal it is broken between words, not within them."""
    if sys.stderr is not None:
        try:
            sys.stderr.write((_broken(text, columns(sys.stderr)) if sys.stderr.isatty() else text) + "\n")
            sys.stderr.flush()
        except OSError:
            return


def _broken(text: str, width: int) -> str:
    """The text in lines of that width; a name that is longer stays whole."""
    import textwrap

    lines = (textwrap.wrap(line, width, break_long_words=False, break_on_hyphens=False) for line in text.splitlines())
    return "\n".join("\n".join(line) for line in lines)


def shows_progress() -> bool:
    """Whether standard error is a terminal that a line can be wiped from."""
    return sys.stderr is not None and sys.stderr.isatty() and os.environ.get("TERM") != "dumb"


@contextmanager
def progress_line(*, quiet: bool) -> Iterator[Callable[[str], None]]:
    """Give a function that shows the step being done, on one line of a terminal that is wiped at the end.

    Where standard error is no terminal, or ``quiet``, it shows nothing.
    """
    if quiet or not shows_progress():
        yield lambda _step: None
        return
    from rich.console import Console

    with Console(stderr=True, highlight=False, markup=False).status("starting") as status:
        yield status.update


def _drop_stdout() -> None:
    """Point standard output at nothing, so that closing it at the end cannot fail a second time."""
    nothing = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nothing, sys.stdout.fileno())
    os.close(nothing)


def columns(stream: TextIO | None = None) -> int:
    """Return how wide the text may be: COLUMNS, else the terminal that standard output or ``stream`` is, else 80."""
    stream = stream or sys.stdout
    asked = os.environ.get("COLUMNS", "")
    if asked.isdigit() and int(asked) > 0:
        return max(int(asked), NARROWEST)
    if stream is not None and stream.isatty():
        return max(os.get_terminal_size(stream.fileno()).columns or USUAL, NARROWEST)
    return USUAL


def coloured() -> bool:
    """Whether standard output is a terminal that wants colours (NO_COLOR and TERM=dumb say no)."""
    if sys.stdout is None or not sys.stdout.isatty():
        return False
    return not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def check_outputs(outputs: Mapping[str, Path | None], inputs: Sequence[Path]) -> dict[str, Path]:
    """Return the outputs that are asked for, after refusing what could lose something, before any work is done.

    ``outputs`` maps an option's name to its path. Raises UsageError for a name with another ending than the option
    writes (.png, unless :data:`KINDS` says otherwise) and for two outputs to one path; OutputError for an output that
    is an input or cannot be written.
    """
    from limner.pictures.write import check_output

    asked = {option: path for option, path in outputs.items() if path is not None}
    for option, path in asked.items():
        what, endings = KINDS.get(option, ("a PNG picture", (".png",)))
        if path.suffix.lower() not in endings:
            known = " or ".join(endings)
            raise UsageError(f"{option} writes {what}, so its name must end in {known}; got '{path.name}'.")
        check_output(path, inputs=inputs)
    options = list(asked)
    for number, option in enumerate(options):
        for other in options[:number]:
            if os.path.realpath(asked[option]) == os.path.realpath(asked[other]):
                raise UsageError(f"{other} and {option} both write to '{asked[option].name}': name two files.")
    return asked
