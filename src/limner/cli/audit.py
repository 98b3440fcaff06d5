"""``limner audit``: compare a painting with its reference."""

from __future__ import annotations

from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from limner.cli.applied import PAIR, ConfigOption, NoConfigOption, applied
from limner.cli.choices import (
    DebugOption,
    FacePainting,
    FaceReference,
    Format,
    HoldChoice,
    HoldOption,
    ModelOption,
    PlacementOption,
    PointsPainting,
    PointsReference,
    QuietOption,
    StageChoice,
)
from limner.cli.drawn import draw, paired, write
from limner.cli.joined import Joined, corners_of, lamps_of
from limner.cli.out import check_outputs, coloured, columns, emit, progress_line, tell
from limner.errors import UsageError
from limner.settings import STATES, Settings, State

if TYPE_CHECKING:
    from limner.auditing import Examined
    from limner.report.view import View

app = typer.Typer(add_completion=False, pretty_exceptions_enable=False, rich_markup_mode="rich")


class OrderChoice(str, Enum):
    """Order of the table."""

    rank = "rank"
    top_down = "top-down"


class WitnessChoice(str, Enum):
    """Who may give the painting's points."""

    best = "best"
    mesh = "mesh"


def _list(wanted: bool) -> None:
    if wanted:
        from limner.report.listing import catalogue_text

        emit(catalogue_text(width=columns()))
        raise typer.Exit


class StateChoice(str, Enum):
    """State of the paint."""

    wet = "wet"
    dry = "dry"
    oiled = "oiled"


def _state(asked: StateChoice | None, usual: str | None) -> State | None:
    word = usual if asked is None else asked.value
    return next((state for state in STATES if state == word), None)


@app.command(cls=Joined)
def audit(
    ctx: typer.Context,
    reference: Annotated[
        Path | None,
        typer.Argument(
            metavar="REFERENCE", help="The photograph worked from; may be left out where limner.toml names it."
        ),
    ] = None,
    painting: Annotated[Path | None, typer.Argument(metavar="PAINTING", help="The photo of the canvas.")] = None,
    form: Annotated[Format, typer.Option("--format", help="How the result is printed.")] = Format.text,
    overlay: Annotated[
        Path | None,
        typer.Option(metavar="FILE.png|.svg", help="Draw on the painting where things belong, with arrows to there."),
    ] = None,
    layers: Annotated[
        str | None,
        typer.Option(
            metavar="NAME,NAME",
            help="What the overlay shows: negatives, lines, shadow, painted, belongs, arrows, numbers; the last four "
            "if not given.",
        ),
    ] = None,
    blink: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE.gif|.webp|.png",
            help="Both faces in turn at one place, once a second; .png writes two pictures.",
        ),
    ] = None,
    side_by_side: Annotated[
        Path | None,
        typer.Option("--side-by-side", metavar="FILE.png", help="Both pictures with the same level and plumb lines."),
    ] = None,
    page: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE.html",
            help="Write one page to look at: both pictures laid on each other, corrections, measures.",
        ),
    ] = None,
    canvas: Annotated[
        str | None,
        typer.Option(
            metavar="WxH",
            help="Size of the canvas (400x500mm, 40x50cm, 16x20in): it is found in the photo, seen straight on, and "
            "moves are told in mm. none: the photo is a crop.",
        ),
    ] = None,
    corners: Annotated[
        str | None,
        typer.Option(
            metavar="X,Y X,Y X,Y X,Y", help="The canvas's four corners in the photo, px, where it is not found."
        ),
    ] = None,
    placement: PlacementOption = None,
    hold: HoldOption = HoldChoice.eyes,
    strict: Annotated[
        float, typer.Option(metavar="FACTOR", help="Factor on every threshold; below 1 is stricter.")
    ] = 1.0,
    stage: Annotated[
        StageChoice | None, typer.Option(help="How far the painting has come; guessed when not given.")
    ] = None,
    face_reference: FaceReference = None,
    face_painting: FacePainting = None,
    points_reference: PointsReference = None,
    points_painting: PointsPainting = None,
    points_only: Annotated[
        bool,
        typer.Option(
            "--points-only/--no-points-only",
            help="Detect nothing in a picture that has a points file: profiles, drawings.",
        ),
    ] = False,
    between: Annotated[
        list[str] | None,
        typer.Option(metavar="POINT POINT", help="Also compare the distance between two points; may be repeated."),
    ] = None,
    only: Annotated[
        str | None, typer.Option(metavar="FAMILY", help="Ask for one family of measures only; see --list.")
    ] = None,
    top: Annotated[int | None, typer.Option(metavar="N", min=1, help="Show at most so many measures.")] = None,
    everything: Annotated[
        bool, typer.Option("--all/--no-all", help="Show every measure, also what is true, and the canons.")
    ] = False,
    canons: Annotated[
        bool,
        typer.Option(
            "--canons/--no-canons", help="Tell the canons, whether the painting drifts to them, and the known habits."
        ),
    ] = False,
    values: Annotated[
        bool, typer.Option("--values/--no-values", help="Compare values and colour too; with --all in full.")
    ] = True,
    match: Annotated[
        str,
        typer.Option(
            metavar="WAY",
            help="How the photo of the canvas is brought to the reference's exposure: face, ground, ground:X,Y, "
            "patch:X,Y, patch:X,Y=VALUE, patch:X,Y@X,Y or strip:X,Y=VALUE;X,Y=VALUE;X,Y=VALUE.",
        ),
    ] = "face",
    lamp: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="FILE",
            help="A further photo of the same painting in the same state with the lamp moved: glints fall out; may be "
            "repeated.",
        ),
    ] = None,
    state: Annotated[
        StateChoice | None, typer.Option(help="Whether the paint was wet, dry or oiled out when photographed.")
    ] = None,
    value_sheet: Annotated[
        Path | None,
        typer.Option(
            "--value-sheet",
            metavar="FILE.png",
            help="Both faces in greys, in three values, simplified, and their difference.",
        ),
    ] = None,
    order: Annotated[
        OrderChoice, typer.Option(help="Worst first, or down the face from hair to chin.")
    ] = OrderChoice.rank,
    model: ModelOption = None,
    witness: Annotated[
        WitnessChoice,
        typer.Option(help="best reads the paint where it can be believed; mesh asks the face finder alone."),
    ] = WitnessChoice.best,
    threads: Annotated[int, typer.Option(metavar="N", min=1, help="1 or 2; the result is the same.")] = 2,
    config: ConfigOption = None,
    no_config: NoConfigOption = False,
    quiet: QuietOption = False,
    list_: Annotated[
        bool, typer.Option("--list", callback=_list, is_eager=True, help="List every measure with its source and exit.")
    ] = False,
    debug: DebugOption = False,
) -> None:
    """Compare a painting with its reference: what is off, which way, how far, how sure that is.

    Exit code 0 when nothing is off, 1 when something is (with --only: in that family).
    """
    under = applied(ctx)
    reference, painting = under.pictures(reference, painting)
    of_reference = under.about("reference", reference, points_reference, face_reference, quiet=quiet)
    of_painting = under.about("painting", painting, points_painting, face_painting, quiet=quiet)
    view = _view(only, top, everything, order, canons=canons)
    settings = Settings(
        hold=hold.value,
        intended=under.config.pairs("intended"),
        strict=strict,
        stage=None if stage is None else stage.value,
        face_reference=of_reference.face,
        face_painting=of_painting.face,
        points_reference=of_reference.points,
        points_painting=of_painting.points,
        points_only=points_only,
        between=_pairs(between or []),
        model=model,
        threads=threads,
        witness=witness.value,
        canvas=canvas,
        corners=corners_of(corners),
        placement=placement,
        values=values,
        match=match,
        lamps=lamps_of(lamp, of_painting.lamps, values=values),
        state=_state(state, under.state_of(painting)),
    )
    given = (reference, painting, of_reference.points, of_painting.points, model, under.config.file, *settings.lamps)
    inputs = tuple(path for path in given if path is not None)
    wanted = {"--overlay": overlay, "--side-by-side": side_by_side, "--value-sheet": value_sheet, "--page": page}
    files = check_outputs({**wanted, **paired(blink)}, inputs)
    shown = _layers(layers)
    if overlay is None and not quiet:
        _without_overlay(ctx)
    with progress_line(quiet=quiet) as step:
        from limner.auditing import examine

        found = examine(reference, painting, settings=settings, progress=step)
        drawn = draw(files, found, shown, step)
        text = _printed(found, view, form)
    write(files, drawn, inputs)
    emit(text)
    raise typer.Exit(1 if view.anything_off(found.result) else 0)


def _view(only: str | None, top: int | None, everything: bool, order: OrderChoice, *, canons: bool) -> View:
    from limner.report.view import View

    if only is not None:
        from limner.report.listing import families

        if only not in families():
            known = ", ".join(families())
            raise UsageError(f"There is no family of measures called '{only}'. Choose one of: {known}.")
    return View(only=only, top=top, everything=everything, canons=canons, order=order.value)


def _layers(asked: str | None) -> tuple[str, ...]:
    from limner.report.layers import chosen

    return chosen(asked)


def _without_overlay(ctx: typer.Context) -> None:
    """Say that layers were named on the command line, and nothing asked for that shows them."""
    source = ctx.get_parameter_source("layers")
    if source is not None and source.name == "COMMANDLINE":
        tell("limner: --layers says what --overlay shows, and no --overlay was asked for.")


def _pairs(joined: list[str]) -> tuple[tuple[str, str], ...]:
    pairs = [pair.split(PAIR) for pair in joined]
    if any(len(pair) != 2 for pair in pairs):
        raise UsageError("--between needs two point names after it, for example: --between ch_left gn")
    return tuple((first, second) for first, second in pairs)


def _printed(found: Examined, view: View, form: Format) -> str:
    if form is Format.json:
        from limner.report.jsonout import to_json

        return to_json(found.result, view)
    if form is Format.csv:
        from limner.report.csvout import to_csv

        return to_csv(found.result, view)
    from limner.report.text import to_text

    return to_text(found.result, view, width=columns(), colour=coloured())
