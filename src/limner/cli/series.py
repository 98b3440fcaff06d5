"""``limner series``: one reference, the photos of a canvas as it grew, and whether it is nearer than last time."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from limner.cli.applied import ConfigOption, NoConfigOption, applied
from limner.cli.choices import (
    DebugOption,
    FaceReference,
    Format,
    HoldChoice,
    HoldOption,
    ModelOption,
    PointsReference,
    QuietOption,
    StageChoice,
)
from limner.cli.followed import Followed, followed, same
from limner.cli.out import coloured, columns, emit, shows_progress, tell
from limner.cli.placed import check_files
from limner.errors import UsageError
from limner.settings import Settings

if TYPE_CHECKING:
    from limner.series.record import Series
    from limner.series.run import Plan, Run

app = typer.Typer(add_completion=False, pretty_exceptions_enable=False, rich_markup_mode="rich")

SKIPPED = 7
"""Exit code of a series that finished with photos skipped."""


class OrderChoice(str, Enum):
    """How the order of the photos is told."""

    auto = "auto"
    time = "time"
    name = "name"
    given = "given"


@app.command(
    epilog="Example: limner series reference.jpg photos/   Or: limner series reference.jpg day1.jpg day2.jpg day3.jpg"
)
def series(
    ctx: typer.Context,
    pictures: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="[REFERENCE] PHOTO...|FOLDER",
            help="The photograph worked from, then the photos of the canvas, or folders that hold them. Where "
            "limner.toml or --reference names the reference, all of these are photos, and one FOLDER is enough.",
        ),
    ] = None,
    reference: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The photograph worked from; every PHOTO is then a photo.")
    ] = None,
    form: Annotated[Format, typer.Option("--format", help="How the result is printed.")] = Format.text,
    order: Annotated[
        OrderChoice,
        typer.Option(
            help="Of the photos: by the camera's time, by the numbers in their names, as given; auto takes the first "
            "of these that tells."
        ),
    ] = OrderChoice.auto,
    hold: HoldOption = HoldChoice.eyes,
    strict: Annotated[
        float, typer.Option(metavar="FACTOR", help="Factor on every threshold; below 1 is stricter.")
    ] = 1.0,
    stage: Annotated[
        StageChoice | None, typer.Option(help="Stage of every photo; guessed photo by photo when not given.")
    ] = None,
    face_reference: FaceReference = None,
    points_reference: PointsReference = None,
    canvas: Annotated[
        str | None,
        typer.Option(
            metavar="WxH", help="Size of the canvas, 400x500mm: found in every photo; lengths are then told in mm."
        ),
    ] = None,
    values: Annotated[bool, typer.Option("--values/--no-values", help="Compare values and colour too.")] = True,
    match: Annotated[
        str,
        typer.Option(metavar="WAY", help="How each photo is brought to the reference's exposure, as in limner audit."),
    ] = "face",
    plot: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE.png|.svg", help="Draw both numbers, the families and every measure over the photos."
        ),
    ] = None,
    contact: Annotated[
        Path | None, typer.Option(metavar="FILE.png", help="All painted faces on one sheet, at one place and size.")
    ] = None,
    blink: Annotated[
        Path | None, typer.Option(metavar="FILE.gif|.webp", help="The painted faces one after the other.")
    ] = None,
    page: Annotated[
        Path | None,
        typer.Option(metavar="FILE.html", help="One page to look at: the faces on a time line, both numbers, changes."),
    ] = None,
    watch: Annotated[
        bool,
        typer.Option(
            "--watch", help="Stay, and tell again whenever a photo has come into the FOLDER; end it with Ctrl-C."
        ),
    ] = False,
    jobs: Annotated[
        int | None, typer.Option(metavar="N", min=1, help="Processes side by side; as many as there are cores.")
    ] = None,
    no_cache: Annotated[
        bool, typer.Option("--no-cache", help="Audit everything again, and keep nothing for next time.")
    ] = False,
    model: ModelOption = None,
    config: ConfigOption = None,
    no_config: NoConfigOption = False,
    quiet: QuietOption = False,
    debug: DebugOption = False,
) -> None:
    """Follow a painting through its photos: what got better, what got worse, what is left.

    Exit code 0 when nothing is off in the last photo, 1 when something is, 7 when a photo had to be skipped.
    """
    under = applied(ctx)
    given = followed(pictures or [], reference, under.config)
    of_reference = under.about("reference", given.reference, points_reference, face_reference, quiet=quiet)
    settings = Settings(
        hold=hold.value,
        intended=under.config.pairs("intended"),
        strict=strict,
        stage=None if stage is None else stage.value,
        face_reference=of_reference.face,
        points_reference=of_reference.points,
        model=model,
        threads=1,
        values=values,
        match=match,
        canvas=canvas,
    )
    read = (given.reference, *given.photos, of_reference.points, model, under.config.file)
    inputs = tuple(path for path in read if path)
    wanted = {"--plot": plot, "--contact": contact, "--blink": blink, "--page": page}
    files = {option: path for option, path in wanted.items() if path is not None}
    check_files(files, _ENDINGS, inputs)
    from limner.series.run import Plan

    asked = _Asked(
        given=given,
        inputs=inputs,
        files=files,
        form=form,
        quiet=quiet,
        notes=dict(under.config.pairs("notes")),
        states=dict(under.config.pairs("state")),
        plan=Plan(
            settings=settings,
            order=order.value,
            jobs=jobs or os.cpu_count() or 1,
            keep=not no_cache,
            faces=bool({"--contact", "--blink", "--page"} & files.keys()),
        ),
    )
    raise typer.Exit(_watched(asked) if watch else _told(asked))


@dataclass(frozen=True, kw_only=True)
class _Asked:
    """One series as it was asked for."""

    given: Followed
    inputs: tuple[Path, ...]
    files: dict[str, Path]
    form: Format
    quiet: bool
    notes: dict[str, str]
    states: dict[str, str]
    plan: Plan


def _told(asked: _Asked) -> int:
    """Do the series once, write and print what is asked for; the exit code."""
    from limner.series.order import photos_in
    from limner.series.run import run_series

    reference = asked.given.reference
    taken = photos_in(asked.given.photos, leave_out=[reference, *asked.files.values()])
    inputs = (*asked.inputs, *taken)
    check_files(asked.files, _ENDINGS, inputs)
    with _bar(quiet=asked.quiet) as step:
        run = run_series(reference, taken, asked.plan, step)
        from limner.pictures.write import write_together
        from limner.series.surface import unlike

        remarks = (*run.series.remarks, *unlike(run.series, asked.states))
        told_by = asked.given.told_by
        run = replace(run, series=replace(run.series, notes=asked.notes, remarks=remarks, reference_by=told_by))
        drawn = {option: _drawn(option, path, run) for option, path in asked.files.items()}
    write_together({path: drawn[option] for option, path in asked.files.items()}, inputs=inputs)
    emit(_printed(run.series, asked.form))
    return _code(run.series)


def _watched(asked: _Asked) -> int:
    """Do it again whenever a photo has come in; ends only by being stopped."""
    from limner.series.order import is_photo
    from limner.series.watch import arrivals

    if len(asked.given.photos) != 1 or asked.form is not Format.text:
        raise UsageError("--watch: expected one folder, and the text format.")
    reference, (folder,) = asked.given.reference, asked.given.photos
    for _ in arrivals(folder, [reference, *asked.files.values()]):
        if any(is_photo(path) and not same(path, reference) for path in folder.iterdir()):
            _told(asked)
        if not asked.quiet:
            tell(f"limner: watching '{folder.name or folder}' for photos; Ctrl-C ends it.")
    return 0


_ENDINGS = {"--plot": (".png", ".svg"), "--contact": (".png",), "--blink": (".gif", ".webp"), "--page": (".html",)}


def _drawn(option: str, path: Path, run: Run) -> bytes:
    kind = path.suffix.lower()
    if option == "--plot":
        from limner.series.plot import pages

        if kind == ".svg":
            from limner.sheet.svg import to_svg

            return to_svg(pages(run.series), title="limner series")
        from limner.sheet.png import to_png

        return to_png([pages(run.series)])
    if option == "--page":
        from limner.series.page import series_page

        return series_page(run).encode("utf-8")
    from limner.series.faces import blink, contact

    if option == "--contact":
        return contact(run)
    return blink(run, "gif" if kind == ".gif" else "webp")


def _code(found: Series) -> int:
    if found.skipped:
        return SKIPPED
    last = found.records[-1]  # nothing was skipped, so there is one
    return 1 if last.off or last.values_off else 0


def _printed(found: Series, form: Format) -> str:
    if form is Format.json:
        from limner.series.jsonout import to_json

        return to_json(found)
    if form is Format.csv:
        from limner.series.csvout import to_csv

        return to_csv(found)
    from limner.series.text import to_text

    return to_text(found, width=columns(), colour=coloured())


@contextmanager
def _bar(*, quiet: bool) -> Iterator[Callable[[int, int], None]]:
    """A bar with the time left, on standard error where that is a terminal."""
    if quiet or not shows_progress():
        yield lambda _done, _of: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns_ = (TextColumn("auditing"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns_, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task("", total=None)
        yield lambda done, of: progress.update(task, completed=done, total=of)
