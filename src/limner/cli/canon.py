"""``limner canon``: one picture against the classical canons."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from limner.cli.applied import ConfigOption, NoConfigOption, applied
from limner.cli.choices import DebugOption, Format, ModelOption, QuietOption
from limner.cli.out import coloured, columns, emit, progress_line

if TYPE_CHECKING:
    from limner.result import CanonResult

app = typer.Typer(add_completion=False, pretty_exceptions_enable=False, rich_markup_mode="rich")


def _list(wanted: bool) -> None:
    if wanted:
        from limner.report.canonlist import canons_text

        emit(canons_text(width=columns()))
        raise typer.Exit


@app.command()
def canon(
    ctx: typer.Context,
    picture: Annotated[Path, typer.Argument(metavar="PICTURE", help="The reference, or the photo of the canvas.")],
    form: Annotated[Format, typer.Option("--format", help="How the result is printed.")] = Format.text,
    points: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Points placed by hand (limner points): hairline, top of the head, ears."),
    ] = None,
    points_only: Annotated[
        bool | None,
        typer.Option(
            "--points-only/--no-points-only",
            help="Detect nothing: take the points placed by hand alone.",
            show_default=False,
        ),
    ] = None,
    face: Annotated[
        int | None,
        typer.Option("--face", "--face-picture", metavar="N", min=1, help="Which face, counted from picture left."),
    ] = None,
    model: ModelOption = None,
    config: ConfigOption = None,
    no_config: NoConfigOption = False,
    quiet: QuietOption = False,
    list_: Annotated[
        bool, typer.Option("--list", callback=_list, is_eager=True, help="List every canon with its source and exit.")
    ] = False,
    debug: DebugOption = False,
) -> None:
    """Set one face against the classical canons: where it departs from them, and how often they hold in people.

    Canons are drawing aids, not errors: the exit code is 0 whatever is found. Whether a painting drifts from its sitter
    toward them is told by `limner audit --canons`.
    """
    under = applied(ctx)
    known = under.known(picture, points, face)
    if points_only is None:
        points_only = known.points is not None and under.config.values.get("points.only") is True
    with progress_line(quiet=quiet) as step:
        from limner.auditing import canon as against_canons

        result = against_canons(
            picture, points=known.points, points_only=points_only, face=known.face, model=model, progress=step
        )
        text = _printed(result, form)
    emit(text)


def _printed(result: CanonResult, form: Format) -> str:
    if form is Format.json:
        from limner.report.canonjson import to_json

        return to_json(result)
    if form is Format.csv:
        from limner.report.canonjson import to_csv

        return to_csv(result)
    from limner.report.canontext import to_text

    return to_text(result, width=columns(), colour=coloured())
