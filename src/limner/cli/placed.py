"""What ``limner sheet`` and ``limner study`` ask alike: the canvas, the placement on it, and the reference alone."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from limner.cli.applied import Applied
from limner.config import NAME
from limner.errors import UsageError

if TYPE_CHECKING:
    from limner.sheet.placing import Wish

_PAIR = re.compile(r"\s*(\d+(?:\.\d+)?)\s*,\s*(\d+(?:\.\d+)?)\s*(?:mm)?\s*", re.ASCII)


def size_of(canvas: str | None) -> tuple[float, float]:
    """The canvas's two sides, mm, in the order written.

    Raises UsageError where it is not given or no size.
    """
    if canvas is None:
        raise UsageError(
            "Missing --canvas: expected the size of the canvas, for example --canvas 400x500mm, 40x50cm or 16x20in."
        )
    from limner.pictures.canvassize import parse_canvas_size

    return parse_canvas_size(canvas)


def wish_of(pupils: float | None, eyes: str | None) -> Wish:
    """What the painter decides of the placement.

    Raises UsageError where it cannot be read.
    """
    from limner.sheet.placing import Wish

    if eyes is None:
        return Wish(pupils=pupils)
    match = _PAIR.fullmatch(eyes)
    if match is None:
        raise UsageError(f"--eyes: expected two numbers, mm from the left and the top edge, as 200,180; got '{eyes}'.")
    return Wish(pupils=pupils, eyes=(float(match[1]), float(match[2])))


def reference_of(under: Applied, reference: Path | None, usage: str) -> Path:
    """The reference: as named, else the file's.

    Raises UsageError where it comes from neither.
    """
    reference = reference or under.config.path("reference")
    if reference is None:
        whence = f"{NAME} does not name it" if under.config.file else f"there is no {NAME} that names it"
        raise UsageError(f"Missing the reference: expected {usage}, and {whence}.")
    return reference


def check_file(option: str, path: Path, endings: tuple[str, ...], inputs: tuple[Path | None, ...]) -> None:
    """Refuse an output that could lose something or cannot be written, before any work is done.

    Raises UsageError for another ending, OutputError for the rest.
    """
    from limner.pictures.write import check_output

    check_output(path, inputs=[given for given in inputs if given is not None])
    if path.suffix.lower() not in endings:
        raise UsageError(f"{option}: expected a name that ends in {' or '.join(endings)}, got '{path.name}'.")


def check_files(
    files: Mapping[str, Path], endings: Mapping[str, tuple[str, ...]], inputs: tuple[Path | None, ...]
) -> None:
    """The same for several outputs, by their options, and that no two go to one path."""
    for option, path in files.items():
        check_file(option, path, endings[option], inputs)
    places: dict[str, str] = {}
    for option, path in files.items():
        other = places.setdefault(os.path.realpath(path), option)
        if other != option:
            raise UsageError(f"{other} and {option} both write to '{path.name}': name two files.")
