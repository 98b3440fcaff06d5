"""``limner model``: the detector's weights, whether they are there and how to get them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from limner.cli.choices import DebugOption
from limner.cli.out import emit, emit_path, tell
from limner.errors import ModelError
from limner.face.bundle import decide, fetch_model, kept_candidates, model_status
from limner.report.clean import clean

app = typer.Typer(
    name="model",
    help="Show or fetch the face model that limner needs once.",
    no_args_is_help=True,
    add_completion=False,
)

ModelOption = Annotated[
    Path | None,
    typer.Option("--model", metavar="FILE", help="A face landmarker bundle of your own, instead of the kept one."),
]


@app.command()
def status(model: ModelOption = None, debug: DebugOption = False) -> None:
    """Say which face model would be used, and whether it is whole. Exit code 5 where none can be used."""
    found = model_status(model)
    if found.state != "ready":
        raise ModelError(found.text)
    emit(f"{clean(found.text)}\nSHA-256 {found.digest}\n")


@app.command()
def fetch(
    wheel: Annotated[
        Path | None,
        typer.Option("--wheel", metavar="FILE", help="A mediapipe 0.10.21 wheel already on this machine: no network."),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Build it again even if it is already kept.")] = False,
    debug: DebugOption = False,
) -> None:
    """Fetch the face model once (about 36 MB with pip) and keep it in your cache folder. Nothing is sent."""
    kept = decide(None, "kept", kept_candidates())
    if kept.state == "ready" and not force:
        emit(f"Already here: {clean(str(kept.path))}\n")
        return
    path = fetch_model(wheel=wheel, say=tell)
    emit_path(path)
