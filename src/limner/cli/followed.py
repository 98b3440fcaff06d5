"""Which picture a series takes for its reference, which for photos of the canvas, and who says so."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from limner.config import NAME, Config
from limner.errors import UsageError


@dataclass(frozen=True, kw_only=True)
class Followed:
    """One series, as its pictures were named."""

    reference: Path
    photos: list[Path]
    """Photos of the canvas, and folders that hold some."""
    told_by: str
    """Who named the reference, in words."""


def followed(pictures: Sequence[Path], named: Path | None, config: Config) -> Followed:
    """The reference and the photos: ``--reference`` names it, else limner.toml, else it is the first picture.

    Where it is named, every picture given is a photo, but for the reference itself.

    Raises:
        UsageError: when nothing names a reference, or when one picture before a folder may be meant either way.
    """
    usual = config.path("reference")
    if named is not None:
        return _of(named, pictures, "named by --reference")
    if usual is not None:
        file = config.file.name if config.file else NAME
        _refuse_either_way(pictures, usual, file)
        return _of(usual, pictures, f"named in {file}")
    if len(pictures) < 2:
        raise UsageError(f"Expected limner series REFERENCE PHOTO... or REFERENCE FOLDER; no {NAME} names one.")
    return Followed(reference=pictures[0], photos=list(pictures[1:]), told_by="the first picture given")


def same(one: Path, other: Path) -> bool:
    """Whether two names are of one file."""
    return os.path.realpath(one) == os.path.realpath(other)


def _of(reference: Path, pictures: Sequence[Path], told_by: str) -> Followed:
    photos = [path for path in pictures if not same(path, reference)]
    return Followed(reference=reference, photos=photos or [Path()], told_by=told_by)


def _refuse_either_way(pictures: Sequence[Path], usual: Path, file: str) -> None:
    """``PICTURE FOLDER`` is how a reference is given, and how a photo may be: it is not guessed which."""
    first, rest = (pictures[0], pictures[1:]) if pictures else (usual, ())
    if rest and not same(first, usual) and not first.is_dir() and all(path.is_dir() for path in rest):
        raise UsageError(
            f"{file} names '{usual.name}' as the reference: is '{first.name}' another reference, or a photo? For a "
            f"reference write --reference {first.name}; a photo is written after the folder."
        )
