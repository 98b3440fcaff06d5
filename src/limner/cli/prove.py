"""``limner prove``: plant known errors in copies of a reference and report what is recovered."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from limner.cli.choices import DebugOption, FaceReference, HoldChoice, HoldOption, ModelOption
from limner.cli.out import check_outputs, coloured, columns, emit
from limner.errors import UsageError
from limner.settings import Hold, Settings

if TYPE_CHECKING:
    from limner.proving.prove import Proof
    from limner.proving.provevalues import ValueProof

app = typer.Typer(add_completion=False, pretty_exceptions_enable=False, rich_markup_mode="markdown")


class Format(str, Enum):
    """How the proof is printed."""

    text = "text"
    json = "json"


@app.command()
def prove(
    reference: Annotated[Path, typer.Argument(metavar="REFERENCE", help="The photograph worked from.")],
    quick: Annotated[bool, typer.Option("--quick", help="A few plantings only: under a minute on two cores.")] = False,
    form: Annotated[Format, typer.Option("--format", help="How the proof is printed.")] = Format.text,
    json_file: Annotated[
        Path | None, typer.Option("--json", metavar="FILE.json", help="Also write every reading as JSON.")
    ] = None,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE.png", help="Also draw what was planted against what was read.")
    ] = None,
    values: Annotated[
        bool,
        typer.Option("--values/--no-values", help="Plant errors of value and colour too, in paintings of their own."),
    ] = True,
    everything: Annotated[bool, typer.Option("--all", help="Show every measure, not only the main ones.")] = False,
    hold: HoldOption = HoldChoice.eyes,
    seed: Annotated[int, typer.Option(metavar="N", min=0, help="Other plantings, brushes and photographs.")] = 0,
    jobs: Annotated[int, typer.Option(metavar="N", min=1, help="Processes that share the work.")] = 2,
    face_reference: FaceReference = None,
    model: ModelOption = None,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Nothing on standard error but errors.")] = False,
    debug: DebugOption = False,
) -> None:
    """Plant known errors in copies of your own reference and report what limner recovers.

    Every copy is painted, photographed and audited like a canvas. Exit code 0 when the proof is made, whatever it says.
    """
    del debug  # read by the main program
    held: Hold = hold.value
    settings = Settings(hold=held, face_reference=face_reference, model=model)
    _check_files(plot, json_file, reference)
    with _bar(quiet=quiet) as progress:
        from limner.proving.prove import prove as do

        proof = do(reference, quick=quick, seed=seed, jobs=jobs, settings=settings, progress=progress)
    of_values = None
    if values:
        with _bar(quiet=quiet) as progress:
            from limner.proving.provevalues import prove_values

            of_values = prove_values(reference, quick=quick, seed=seed, jobs=jobs, settings=settings, progress=progress)
    _write(proof, of_values, plot, json_file, reference)
    emit(_printed(proof, of_values, form, everything=everything))


def _check_files(plot: Path | None, json_file: Path | None, reference: Path) -> None:
    from limner.pictures.write import check_output

    check_outputs({"--plot": plot}, (reference,))
    if json_file is None:
        return
    if json_file.suffix.lower() != ".json":
        raise UsageError(f"--json writes a JSON file, so its name must end in .json; got '{json_file.name}'.")
    check_output(json_file, inputs=(reference,))


def _write(proof: Proof, values: ValueProof | None, plot: Path | None, json_file: Path | None, reference: Path) -> None:
    from limner.pictures.write import encode_png, write_whole
    from limner.proving.plot import plot as draw
    from limner.proving.tell import to_json

    if plot is not None:
        write_whole(plot, encode_png(draw(proof)), inputs=(reference,))
    if json_file is not None:
        write_whole(json_file, to_json(proof, values).encode(), inputs=(reference,))


def _printed(proof: Proof, values: ValueProof | None, form: Format, *, everything: bool) -> str:
    from limner.proving.tell import to_json, to_text

    if form is Format.json:
        return to_json(proof, values)
    return to_text(proof, values, everything=everything, width=columns(), colour=coloured())


@contextmanager
def _bar(*, quiet: bool) -> Iterator[Callable[[int, int], None] | None]:
    """A progress bar on standard error where that is a terminal, else nothing."""
    if quiet or sys.stderr is None or not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    looks = (TextColumn("painting and reading"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*looks, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task("trials", total=None)
        yield lambda done, every: shown.update(task, completed=done, total=every)
