"""What several commands let the painter choose among."""

from __future__ import annotations

from enum import Enum
from pathlib import Path
from typing import Annotated

import typer


class Format(str, Enum):
    """How the result is printed."""

    text = "text"
    json = "json"
    csv = "csv"


class HoldChoice(str, Enum):
    """What stays put."""

    eyes = "eyes"
    head = "head"
    eye_right = "eye_right"
    eye_left = "eye_left"
    brows = "brows"
    brow_right = "brow_right"
    brow_left = "brow_left"
    nose = "nose"
    mouth = "mouth"
    upper_lip = "upper_lip"
    lower_lip = "lower_lip"
    chin = "chin"
    jaw = "jaw"
    face = "face"


class StageChoice(str, Enum):
    """How far the painting has come."""

    block_in = "block-in"
    glaze = "glaze"
    colour = "colour"
    lights = "lights"
    finish = "finish"


class ShellChoice(str, Enum):
    """Whose completion is printed."""

    bash = "bash"
    zsh = "zsh"
    fish = "fish"
    powershell = "powershell"


HoldOption = Annotated[
    HoldChoice,
    typer.Option(
        metavar="eyes|head|PART",
        help="What stays put: the pupils' distance, the whole head, or what you will not repaint: eye_right, eye_left, "
        "brows, brow_right, brow_left, nose, mouth, upper_lip, lower_lip, chin, jaw, face (its outline).",
    ),
]
PlacementOption = Annotated[
    str | None,
    typer.Option(
        metavar="WHERE",
        help="Where the head is meant to stand on the canvas: 62mm (between the pupils), @200,180 (mm of their middle "
        "from left and top edge), 62mm@200,180, reference or none. If not given, as the reference is framed where it "
        "has the canvas's proportions.",
    ),
]
ModelOption = Annotated[Path | None, typer.Option(metavar="FILE", help="A face landmarker bundle of your own.")]
QuietOption = Annotated[bool, typer.Option("--quiet/--no-quiet", "-q", help="Nothing on standard error but errors.")]
DebugOption = Annotated[bool, typer.Option("--debug", help="Show where an internal error arose.")]
FaceReference = Annotated[
    int | None, typer.Option(metavar="N", help="Which face of the reference, counted from picture left.")
]
FacePainting = Annotated[
    int | None, typer.Option(metavar="N", help="Which face of the painting, counted from picture left.")
]
PointsReference = Annotated[
    Path | None, typer.Option(metavar="FILE", help="Points placed by hand on the reference (limner points).")
]
PointsPainting = Annotated[
    Path | None, typer.Option(metavar="FILE", help="Points placed by hand on the photo of the canvas.")
]
