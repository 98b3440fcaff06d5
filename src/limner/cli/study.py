"""``limner study``: what a painter works out before the first stroke."""

from __future__ import annotations

from enum import Enum
from pathlib import Path
from typing import Annotated, Literal

import typer

from limner.cli.applied import ConfigOption, NoConfigOption, applied
from limner.cli.choices import DebugOption, ModelOption, QuietOption
from limner.cli.out import emit_path, progress_line, tell
from limner.cli.placed import check_file, reference_of, size_of, wish_of

app = typer.Typer(add_completion=False, pretty_exceptions_enable=False, rich_markup_mode="rich")


class Paper(str, Enum):
    """What the study is printed on."""

    a4 = "a4"
    a3 = "a3"
    letter = "letter"


class By(str, Enum):
    """Whose values and colours the picture is parted by."""

    face = "face"
    picture = "picture"


@app.command(epilog="Example: limner study reference.jpg --canvas 400x500mm --print 13x18cm --grid 8")
def study(
    ctx: typer.Context,
    reference: Annotated[
        Path | None,
        typer.Argument(
            metavar="REFERENCE", help="The photograph worked from; may be left out where limner.toml names it."
        ),
    ] = None,
    canvas: Annotated[
        str | None,
        typer.Option(metavar="WxH", help="Width and height of the canvas: 400x500mm, 40x50cm, 16x20in."),
    ] = None,
    print_size: Annotated[
        str | None,
        typer.Option("--print", metavar="WxH", help="Size of your print of the reference, for the dividers' table."),
    ] = None,
    pupils: Annotated[
        float | None, typer.Option(metavar="MM", help="How far apart the pupils are to be on the canvas, mm.")
    ] = None,
    eyes: Annotated[
        str | None,
        typer.Option(metavar="X,Y", help="Where the middle between the pupils is to be, mm from left and top edge."),
    ] = None,
    grid: Annotated[
        str | None, typer.Option(metavar="N|MM", help="A grid: so many squares across, as 8, or a side, as 50mm.")
    ] = None,
    by: Annotated[
        By, typer.Option("--values-by", help="Values parted as the face's part, or as the whole picture's.")
    ] = By.face,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="FILE.pdf|.png", help="The study; REFERENCE.study.pdf here if not given."),
    ] = None,
    paper: Annotated[Paper, typer.Option(help="What it is printed on.")] = Paper.a4,
    points: Annotated[
        Path | None,
        typer.Option(
            "--points-reference", "--points", metavar="FILE", help="Points placed by hand on it (limner points)."
        ),
    ] = None,
    points_only: Annotated[
        bool, typer.Option("--points-only/--no-points-only", help="Detect nothing: take the points placed by hand.")
    ] = False,
    face: Annotated[
        int | None,
        typer.Option("--face-reference", "--face", metavar="N", min=1, help="Which face, counted from picture left."),
    ] = None,
    model: ModelOption = None,
    config: ConfigOption = None,
    no_config: NoConfigOption = False,
    quiet: QuietOption = False,
    debug: DebugOption = False,
) -> None:
    """Work out the canvas before the first stroke: placement and head size, level and plumb lines, values, dividers.

    Three pages: the placement with axes and distances in mm; the shadow shape in two, three and four values, and warm
    against cool; the main measures on the print and on the canvas. A PDF, or one PNG with the pages under each other.
    """
    under = applied(ctx)
    size = size_of(canvas)
    wish = wish_of(pupils, eyes)
    reference = reference_of(under, reference, "limner study REFERENCE --canvas WxH")
    marks = under.about("reference", reference, points, face, quiet=quiet)
    path = out or Path(f"{reference.stem}.study.pdf")
    inputs = tuple(given for given in (reference, marks.points, model, under.config.file) if given is not None)
    check_file("--out", path, (".pdf", ".png"), inputs)
    with progress_line(quiet=quiet) as step:
        from limner.sheet.placing import place_reference
        from limner.sheet.reading import read_sitter
        from limner.sheet.study import Print, grid_of, render_study, study_pages, title_of

        squares = grid_of(grid, size)
        held = None if print_size is None else Print(size=size_of(print_size))
        sitter = read_sitter(
            reference,
            points=marks.points,
            points_only=points_only and marks.points is not None,
            face=marks.face,
            model=model,
            progress=step,
        )
        placement = place_reference(sitter, size, wish)
        step("drawing")
        pages = study_pages(sitter, placement, paper=paper.value, print_=held, grid=squares, by=by.value)
        kind: Literal["pdf", "png"] = "png" if path.suffix.lower() == ".png" else "pdf"
        data = render_study(pages, kind, title=title_of(sitter, placement))
    from limner.pictures.write import write_whole

    write_whole(path, data, inputs=inputs)
    emit_path(path)
    if not quiet:
        width, height = placement.canvas
        tell(f"limner: canvas {width:g} mm wide and {height:g} mm high, as written. {' '.join(placement.said())}")
        for notice in sitter.notices:
            tell(f"limner: {notice.text}")
