"""``limner sheet``: a correction sheet, or the transfer drawing, at exactly 1:1."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from limner.cli.applied import ConfigOption, Marks, NoConfigOption, applied
from limner.cli.choices import (
    DebugOption,
    FacePainting,
    FaceReference,
    HoldChoice,
    HoldOption,
    ModelOption,
    PointsPainting,
    PointsReference,
    QuietOption,
)
from limner.cli.joined import Joined, corners_of
from limner.cli.out import emit_path, progress_line, tell
from limner.cli.placed import check_file, reference_of, size_of, wish_of
from limner.errors import UsageError
from limner.settings import Hold, Settings

if TYPE_CHECKING:
    from collections.abc import Callable

    from limner.sheet.placing import Wish
    from limner.sheet.sheets import OneToOne

app = typer.Typer(add_completion=False, pretty_exceptions_enable=False, rich_markup_mode="rich")


class Paper(str, Enum):
    """What the sheet is printed on."""

    a4 = "a4"
    a3 = "a3"
    letter = "letter"
    whole = "whole"


@dataclass(frozen=True, kw_only=True)
class _Order:
    """What is wanted, as far as both kinds of sheet share it."""

    size: tuple[float, float]
    corners: tuple[tuple[float, float], ...]
    film: bool
    mirror: bool
    points_only: bool
    model: Path | None
    quiet: bool


@app.command(
    cls=Joined,
    epilog="Example: limner sheet reference.jpg canvas.jpg --canvas 400x500mm   "
    "Before the first stroke: limner sheet reference.jpg --blank --canvas 400x500mm",
)
def sheet(
    ctx: typer.Context,
    reference: Annotated[
        Path | None,
        typer.Argument(
            metavar="REFERENCE", help="The photograph worked from; may be left out where limner.toml names it."
        ),
    ] = None,
    painting: Annotated[
        Path | None,
        typer.Argument(metavar="PAINTING", help="The photo of the canvas; none with --blank."),
    ] = None,
    canvas: Annotated[
        str | None, typer.Option(metavar="WxH", help="Size of the canvas: 400x500mm, 40x50cm, 16x20in.")
    ] = None,
    corners: Annotated[
        str | None,
        typer.Option(metavar="X,Y X,Y X,Y X,Y", help="The canvas's four corners in the photo, px, if it is not found."),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="FILE.pdf|.svg", help="The sheet; PAINTING.sheet.pdf here if not given."),
    ] = None,
    paper: Annotated[
        Paper, typer.Option(help="Tiled over a4, a3 or letter; whole is one page as large as the canvas.")
    ] = Paper.a4,
    film: Annotated[bool, typer.Option("--film", help="Thin lines for clear film, without the painted ones.")] = False,
    mirror: Annotated[bool, typer.Option("--mirrored", help="As in a mirror, to be laid face down.")] = False,
    face: Annotated[
        bool, typer.Option("--face", help="The face alone on one page, located from the canvas's edges.")
    ] = False,
    blank: Annotated[
        bool, typer.Option("--blank", help="The drawing to transfer before the first stroke; needs no painting.")
    ] = False,
    pupils: Annotated[
        float | None, typer.Option(metavar="MM", help="With --blank: how far apart the pupils are to be, mm.")
    ] = None,
    eyes: Annotated[
        str | None,
        typer.Option(metavar="X,Y", help="With --blank: where the middle between the pupils is to be, mm."),
    ] = None,
    hold: HoldOption = HoldChoice.eyes,
    face_reference: FaceReference = None,
    face_painting: FacePainting = None,
    points_reference: PointsReference = None,
    points_painting: PointsPainting = None,
    points_only: Annotated[
        bool,
        typer.Option("--points-only/--no-points-only", help="Detect nothing in a picture that has a points file."),
    ] = False,
    model: ModelOption = None,
    config: ConfigOption = None,
    no_config: NoConfigOption = False,
    quiet: QuietOption = False,
    debug: DebugOption = False,
) -> None:
    """Make a sheet at exactly 1:1: where things belong on this canvas, how they are painted, what to mend first.

    Print it at 100 %, check its bars with a ruler, and lay it on touch-dry paint only. A PDF is tiled; an SVG is one
    sheet as large as the canvas. Exit code 0 when the sheet is made, whatever is off.
    """
    under = applied(ctx)
    order = _Order(
        size=size_of(canvas),
        corners=corners_of(corners),
        film=film,
        mirror=mirror,
        points_only=points_only,
        model=model,
        quiet=quiet,
    )
    _refuse_what_contradicts(blank=blank, painting=painting, placed=(pupils, eyes))
    if blank:
        reference = reference_of(under, reference, "limner sheet REFERENCE --blank")
        of_painting = None
    else:
        reference, painting = under.pictures(reference, painting, "sheet")
        of_painting = under.about("painting", painting, points_painting, face_painting, quiet=quiet)
    of_reference = under.about("reference", reference, points_reference, face_reference, quiet=quiet)
    marked = (of_reference.points, of_painting.points if of_painting else None)
    inputs = tuple(path for path in (reference, painting, *marked, model, under.config.file) if path is not None)
    path = out or Path(f"{(painting or reference).stem}.{'transfer' if blank else 'sheet'}.pdf")
    check_file("--out", path, (".pdf", ".svg"), inputs)
    with progress_line(quiet=quiet) as step:
        from limner.sheet.sheets import render

        if painting is None or of_painting is None:
            made = _transfer(reference, of_reference, order, wish_of(pupils, eyes), step)
        else:
            pair = ((reference, of_reference), (painting, of_painting))
            made = _correction(pair, order, (hold.value, under.config.pairs("intended")), step)
        step("drawing")
        kind: Literal["pdf", "svg"] = "svg" if path.suffix.lower() == ".svg" else "pdf"
        data, pages = render(made, kind, paper=paper.value, face=face)
    from limner.pictures.write import write_whole

    write_whole(path, data, inputs=inputs)
    emit_path(path)
    if not quiet:
        tell(_said(made, pages, kind))


def _refuse_what_contradicts(*, blank: bool, painting: Path | None, placed: tuple[object, object]) -> None:
    if blank and painting is not None:
        raise UsageError("--blank is made from the reference alone: leave the painting out.")
    if not blank and placed != (None, None):
        raise UsageError("--pupils and --eyes place the drawing of --blank; a painting has its places already.")


def _transfer(reference: Path, marks: Marks, order: _Order, wish: Wish, step: Callable[[str], None]) -> OneToOne:
    from limner.sheet.placing import place_reference
    from limner.sheet.reading import read_sitter
    from limner.sheet.transfer import transfer_sheet

    sitter = read_sitter(
        reference,
        points=marks.points,
        points_only=order.points_only and marks.points is not None,
        face=marks.face,
        model=order.model,
        progress=step,
    )
    placement = place_reference(sitter, order.size, wish)
    return transfer_sheet(sitter, placement, film=order.film, mirror=order.mirror)


def _correction(
    pair: tuple[tuple[Path, Marks], tuple[Path, Marks]],
    order: _Order,
    kept: tuple[Hold, tuple[tuple[str, str], ...]],
    step: Callable[[str], None],
) -> OneToOne:
    from limner.auditing import examine
    from limner.sheet.correction import correction_sheet

    (reference, of_reference), (painting, of_painting) = pair
    settings = Settings(
        hold=kept[0],
        intended=kept[1],
        face_reference=of_reference.face,
        face_painting=of_painting.face,
        points_reference=of_reference.points,
        points_painting=of_painting.points,
        points_only=order.points_only,
        canvas=f"{order.size[0]:.6f}x{order.size[1]:.6f}mm",
        corners=order.corners,
        values=False,
        model=order.model,
    )
    result = examine(reference, painting, settings=settings, progress=step).result
    return correction_sheet(result, film=order.film, mirror=order.mirror)


def _said(made: OneToOne, pages: int, kind: str) -> str:
    width, height = made.canvas
    many = f"{pages} pages" if pages > 1 else "one page" if kind == "pdf" else "one sheet"
    first = ", the first one explains the others" if pages > 1 else ""
    return "\n".join(
        (
            f"limner: {many}{first}; canvas {width:g} mm wide, {height:g} mm high.",
            *(note.text for section in made.sections[-1:] for note in section.notes),
            "Print at 100 %, check the bars of 100 mm with a ruler.",
            "Lay it on touch-dry paint only.",
        )
    )
