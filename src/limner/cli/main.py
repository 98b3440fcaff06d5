"""The ``limner`` command: finds the sub-command, and turns every way it can end into a documented exit code.

0  nothing is off                      5  the face model is unavailable
1  something is off                    6  an output cannot be written
2  usage, configuration, points file   7  a series finished with photos skipped
3  a picture cannot be used           70  an error inside limner
4  no, ambiguous or too small a face 130  interrupted (143 when told to end, 129 when its terminal closes)
"""

from __future__ import annotations

import importlib
import os
import signal
import sys
import traceback
from collections.abc import Callable, Sequence
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from limner import __version__
from limner.cli.choices import ShellChoice
from limner.cli.examples import epilog
from limner.cli.out import emit, tell
from limner.cli.stopping import Stopped, stoppable
from limner.errors import LimnerError
from limner.pictures.system import missing_library

USAGE, INTERNAL = 2, 70
COMPLETING = "_LIMNER_COMPLETE"
"""Set by the shell that asks how a command line may go on."""

COMMANDS = {
    "audit": ("limner.cli.audit", "Compare a painting with its reference: what is off, which way, how far, how sure."),
    "canon": ("limner.cli.canon", "Set one face against the classical canons, and how often they hold in people."),
    "config": ("limner.cli.config", "Show what limner.toml and the defaults set here, and from where."),
    "model": ("limner.cli.model", "Show or fetch the face model that limner needs once."),
    "points": ("limner.cli.points", "Place or correct points by hand: hairline, ears, profiles, drawings."),
    "prove": ("limner.cli.prove", "Plant known errors in your own reference and report what limner recovers."),
    "series": ("limner.cli.series", "Follow a painting through its photos: is it nearer than last time?"),
    "sheet": ("limner.cli.sheet", "Make a 1:1 sheet for the canvas: what to correct, or the drawing to transfer."),
    "study": ("limner.cli.study", "Before the first stroke: placement, sizes, values, and a table for the dividers."),
}
"""Sub-command -> the module that holds its typer app, and one line of help. Loaded only when called."""


_HELP = (
    "Say where a painted portrait departs from its reference, which way, how far, and how sure that is.\n\n"
    "Exit codes: 0 nothing off, 1 something off, 2 usage, 3 picture, 4 face, 5 face model, 6 output, "
    "7 photos skipped, 70 internal error, 130 interrupted."
)


class _Late(TyperGroup):
    """A group whose sub-commands are loaded when called, so that help and errors stay quick."""

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        name, command, rest = super().resolve_command(ctx, args)
        if name in COMMANDS:
            command = typer.main.get_command(importlib.import_module(COMMANDS[name][0]).app)
            command.name, command.epilog = name, epilog(name)
            for inner, sub in getattr(command, "commands", {}).items():
                sub.epilog = epilog(f"{name} {inner}")
        return name, command, rest


app = typer.Typer(
    cls=_Late,
    no_args_is_help=True,
    add_completion=COMPLETING in os.environ,
    pretty_exceptions_enable=False,
    rich_markup_mode="rich",
    epilog=epilog(""),
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(wanted: bool) -> None:
    if wanted:
        emit(f"limner {__version__}\n")
        raise typer.Exit


def _completion(shell: ShellChoice | None) -> None:
    if shell is not None:
        from typer._completion_shared import get_completion_script

        emit(get_completion_script(prog_name="limner", complete_var=COMPLETING, shell=shell.value) + "\n")
        raise typer.Exit


@app.callback(help=_HELP)
def _limner(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version and exit.")
    ] = False,
    show_completion: Annotated[
        ShellChoice | None,
        typer.Option(
            callback=_completion,
            is_eager=True,
            metavar="SHELL",
            help="Print what completes commands in bash, zsh, fish or powershell.",
        ),
    ] = None,
    debug: Annotated[bool, typer.Option("--debug", help="Show where an internal error arose.")] = False,
) -> None:
    """Take the options that stand before a sub-command."""


def _stub() -> None:
    """Stand for a sub-command in the help; :class:`_Late` puts the real one in its place when it is called."""


for _name, (_module, _help) in COMMANDS.items():
    app.command(_name, help=_help)(_stub)


def run(argv: Sequence[str] | None = None) -> None:
    """Run the command line and end the process with its exit code."""
    # Sums shared among threads differ in the last printed digit, and in many small products threads only wait for each
    # other. numpy reads this once.
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    _fill_closed()
    arguments = list(sys.argv[1:] if argv is None else argv)
    sys.exit(ended(lambda: app(arguments, prog_name="limner"), debug="--debug" in arguments))


def _fill_closed() -> None:
    """Let no file that is opened later take the number of a standard stream that was closed: libraries write to it."""
    nothing = os.open(os.devnull, os.O_RDWR)
    while nothing < 3:  # a new file takes the lowest number that is free
        os.set_inheritable(nothing, True)
        nothing = os.open(os.devnull, os.O_RDWR)
    os.close(nothing)


def ended(work: Callable[[], object], *, debug: bool) -> int:
    """Do the work and return the exit code it ended with, having said on standard error what went wrong."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        with stoppable():
            work()
    except SystemExit as end:
        if end.code is None or isinstance(end.code, int):
            return end.code or 0
        return USAGE
    except BaseException as error:  # noqa: BLE001 - the last line of defence: nothing may end looking like "off"
        if debug:
            tell(traceback.format_exc().rstrip())
        message, code = _judged(error)
        tell(f"limner: {message}")
        return code
    return 0


def _judged(error: BaseException) -> tuple[str, int]:
    """Return what to say of an error, and the exit code."""
    if isinstance(error, LimnerError):
        from limner.report.clean import clean

        return clean(str(error)), error.exit_code
    if isinstance(error, Stopped):
        return "stopped.", error.exit_code
    if isinstance(error, KeyboardInterrupt):
        return "stopped.", 128 + signal.SIGINT
    if isinstance(error, ImportError):
        return _import_trouble(error), USAGE
    what = f"{type(error).__name__}: {error}".splitlines()[0]
    message = (
        f"something went wrong inside limner ({what}). Your pictures are untouched. "
        "Run it again with --debug to see where, and please report it."
    )
    return message, INTERNAL


def _import_trouble(error: ImportError) -> str:
    """Return what to do about a library that does not load."""
    return missing_library(error) or (
        f"This installation is not whole ({error}). Install limner again: pip install --force-reinstall limner."
    )
