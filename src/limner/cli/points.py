"""``limner points``: place or correct the named points of one picture by hand."""

from __future__ import annotations

import os
import stat
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from limner.cli.applied import ConfigOption, NoConfigOption, applied
from limner.cli.choices import DebugOption, ModelOption, QuietOption
from limner.cli.out import columns, emit, emit_path, progress_line, tell
from limner.errors import FaceError, ModelError, OutputError, UsageError

if TYPE_CHECKING:
    from limner.face.byhand import HandPoints
    from limner.face.pointlines import Change
    from limner.pictures.picture import Picture

app = typer.Typer(add_completion=False, pretty_exceptions_enable=False, rich_markup_mode="markdown")

FINE = 4000
"""px the long side keeps at least in the page, so that the head can be shown as fine as it is stored."""

MOST_INPUT = 1_000_000
"""Bytes read from standard input."""


@dataclass(frozen=True, kw_only=True)
class _Places:
    """Where the outputs go; ``None`` where one is not wanted."""

    page: Path | None
    save: Path | None


@app.command()
def points(
    ctx: typer.Context,
    picture: Annotated[Path, typer.Argument(metavar="PICTURE", help="The reference or the photo of the canvas.")],
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FILE.html", help="The page; PICTURE.points.html here if not given."),
    ] = None,
    save: Annotated[
        Path | None,
        typer.Option(metavar="FILE.json", help="Also write the points file. One that is there is added to."),
    ] = None,
    table: Annotated[
        bool,
        typer.Option("--table", help="No page: print the points. Lines NAME X Y piped in are taken over and saved."),
    ] = False,
    sets: Annotated[
        list[str] | None,
        typer.Option(
            "--set", metavar="NAME=X,Y", help="Place one point, px; NAME=X,Y,SIGMA, NAME=unseen, NAME=away. Repeatable."
        ),
    ] = None,
    start: Annotated[
        Path | None, typer.Option(metavar="FILE.json", help="Start from a points file of this picture.")
    ] = None,
    face: Annotated[
        int | None,
        typer.Option("--face", "--face-picture", metavar="N", min=1, help="Which face, counted from picture left."),
    ] = None,
    blank: Annotated[bool, typer.Option("--blank", help="Do not look for a face: start empty.")] = False,
    model: ModelOption = None,
    config: ConfigOption = None,
    no_config: NoConfigOption = False,
    quiet: QuietOption = False,
    debug: DebugOption = False,
) -> None:
    """Place or correct the named points by hand, for what no detector sees: hairline, ears, profiles, line drawings.

    Writes one self-contained page that starts from what is found, and from which the points are saved as a file for
    `limner audit --points-reference` and `--points-painting`. Nothing leaves this machine.
    """
    from limner.face.pointlines import changes_from_options, with_changes
    from limner.pictures.load import load_picture

    lines = _piped() if table else None
    loaded = load_picture(picture, label="picture")
    changes = changes_from_options(sets or [], loaded.full_size)
    changes = _with_lines(changes, lines, loaded.full_size)
    places = _places(loaded, picture, output, save, table=table, changed=bool(changes))
    known = applied(ctx).known(picture, start, face)
    if start is None and not blank and known.points is not None and known.points.exists():
        start = known.points
    held = with_changes(_held(loaded, places, start), changes)
    if not blank:
        held = _found_under(held, loaded, known.face, model, quiet=quiet)
    if table:
        from limner.report.pointstable import points_table

        _write(places, loaded, held, (picture,), quiet=quiet)
        emit(points_table(held, loaded.name, width=columns()))
    elif places.page is not None:
        _write(places, loaded, held, (picture,), quiet=quiet)
        emit_path(places.page)


def _piped() -> list[str] | None:
    """Lines of standard input if something is piped or redirected into it; a terminal is not waited for."""
    if sys.stdin is None:
        return None
    try:
        mode = os.fstat(sys.stdin.fileno()).st_mode
    except (OSError, ValueError):
        return None
    if not (stat.S_ISFIFO(mode) or stat.S_ISREG(mode)):
        return None
    data = sys.stdin.buffer.read(MOST_INPUT + 1)
    if len(data) > MOST_INPUT:
        raise UsageError(
            f"Standard input: expected at most {MOST_INPUT // 1000} kB of lines, but more came; shorten it."
        )
    try:
        return data.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError as error:
        raise UsageError("Standard input: expected lines of text, NAME X Y, but other bytes came.") from error


def _with_lines(changes: dict[str, Change], lines: list[str] | None, size: tuple[int, int]) -> dict[str, Change]:
    from limner.face.pointlines import changes_from_lines

    more = changes_from_lines(lines or [], size)
    twice = [key for key in more if key in changes]
    if twice:
        raise UsageError(f"{twice[0]} comes both from --set and from standard input: keep one of them.")
    return {**changes, **more}


def _places(
    loaded: Picture, picture: Path, output: Path | None, save: Path | None, *, table: bool, changed: bool
) -> _Places:
    """Where to write, refused before any work where something would be lost."""
    from limner.face.pointsfile import check_free
    from limner.pictures.write import check_output
    from limner.report.pointspage.build import saved_name

    if output is None and not table:
        output = Path(saved_name(loaded, "html"))
    if save is None and table and changed:
        save = Path(saved_name(loaded, "json"))
    for option, path, endings in (("--output", output, (".html", ".htm")), ("--save", save, (".json",))):
        if path is not None:
            if path.suffix.lower() not in endings:
                raise UsageError(f"{option}: expected a name that ends in {endings[0]}, got '{path.name}'.")
            check_output(path, inputs=(picture,))
    if output is not None:
        _check_page(output)
    if save is not None:
        check_free(save, belongs_to=loaded)
    return _Places(page=output, save=save)


def _check_page(path: Path) -> None:
    """Refuse to write over anything but an earlier page."""
    from limner.report.pointspage.build import is_points_page

    if not path.exists():
        return
    try:
        with path.open("rb") as file:
            begin = file.read(500).decode("utf-8", "replace")
    except OSError as error:
        raise OutputError(
            f"'{path.name}' is there and cannot be read ({error.strerror}). Give another name."
        ) from error
    if not is_points_page(begin):
        raise OutputError(f"'{path.name}' is there and is not a page of limner points. Give another name with -o.")


def _held(loaded: Picture, places: _Places, start: Path | None) -> HandPoints:
    """What is placed already: in the file that is started from, and in the one that is saved to."""
    from limner.face.byhand import check_belongs, points_for
    from limner.face.pointlines import laid_over
    from limner.face.pointsfile import read_points

    held = points_for(loaded)
    for path in (places.save, start):
        if path is not None and (path is start or path.exists()):
            read = read_points(path)
            check_belongs(read, loaded, f"points file '{path.name}'")
            held = laid_over(held, read)
    return held


def _found_under(held: HandPoints, loaded: Picture, face: int | None, model: Path | None, *, quiet: bool) -> HandPoints:
    """What is held, and below it what the detector finds; without a face it stays as it is, and that is said."""
    from limner.face.pointlines import laid_over
    from limner.face.startfound import found_points

    try:
        with progress_line(quiet=quiet) as step:
            step("finding the face")
            return laid_over(found_points(loaded, face, model), held)
    except (FaceError, ModelError) as error:
        if face is not None:
            raise
        if not quiet:
            tell(f"limner: starting without a face found. {error}")
        return held


def _write(places: _Places, loaded: Picture, held: HandPoints, inputs: tuple[Path, ...], *, quiet: bool) -> None:
    from limner.face.pointsfile import save_points
    from limner.pictures.write import write_whole

    if places.page is not None:
        from limner.pictures.load import load_picture
        from limner.report.pointspage import points_page

        fine = load_picture(inputs[0], label="picture", target=FINE)
        write_whole(places.page, points_page(fine, held).encode(), inputs=inputs)
    if places.save is not None:
        save_points(places.save, held, picture=loaded)
        if not quiet:
            tell(f"limner: points saved in {places.save}")
