"""What ``limner.toml`` gives to a command: ``--config``, ``--no-config``, and the options that take its values.

The command line wins over the file, the file over the defaults.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

import typer

from limner.cli.out import tell
from limner.config import NAME, Config, Value, find_config, read_config
from limner.errors import UsageError

PAIR = "\N{INFORMATION SEPARATOR ONE}"
"""Stands between the two points of a --between, once they are one argument."""

Side = Literal["reference", "painting"]

TAKEN: Mapping[str, Mapping[str, str]] = {
    "audit": {
        "hold": "hold",
        "strict": "strict",
        "stage": "stage",
        "witness": "witness",
        "between": "between",
        "points.only": "points_only",
        "model": "model",
        "threads": "threads",
        "format": "form",
        "canvas": "canvas",
        "corners": "corners",
        "placement": "placement",
        "overlay": "overlay",
        "layers": "layers",
        "blink": "blink",
        "page": "page",
        "values": "values",
        "match": "match",
        "value-sheet": "value_sheet",
        "side-by-side": "side_by_side",
        "only": "only",
        "top": "top",
        "all": "everything",
        "canons": "canons",
        "order": "order",
        "quiet": "quiet",
    },
    "canon": {"format": "form", "model": "model", "quiet": "quiet"},
    "points": {"model": "model", "quiet": "quiet"},
    "study": {
        "canvas": "canvas",
        "print": "print_size",
        "paper": "paper",
        "points.only": "points_only",
        "model": "model",
        "quiet": "quiet",
    },
    "series": {
        "canvas": "canvas",
        "series.order": "order",
        "series.jobs": "jobs",
        "series.plot": "plot",
        "series.contact": "contact",
        "series.page": "page",
        "series.blink": "blink",
        "hold": "hold",
        "strict": "strict",
        "stage": "stage",
        "model": "model",
        "format": "form",
        "values": "values",
        "match": "match",
        "quiet": "quiet",
    },
    "sheet": {
        "canvas": "canvas",
        "paper": "paper",
        "hold": "hold",
        "points.only": "points_only",
        "model": "model",
        "quiet": "quiet",
    },
}
"""Command -> key of the file -> parameter that takes it as it stands. The keys that belong to one picture are taken by
:class:`Applied`, because they hold for that picture only."""


@dataclass(frozen=True, kw_only=True)
class Marks:
    """What is known of one picture beforehand."""

    points: Path | None
    face: int | None
    lamps: tuple[Path, ...] = ()
    """Further photos of a painting, as the file has them."""


@dataclass(frozen=True, kw_only=True)
class Applied:
    """The file a command works under."""

    config: Config

    def pictures(self, first: Path | None, second: Path | None, command: str = "audit") -> tuple[Path, Path]:
        """Reference and painting: one name alone is the painting, and the file gives what was left out.

        Raises:
            UsageError: when a picture comes from neither, or when the one named is the file's reference.
        """
        reference, painting = (None, first) if second is None else (first, second)
        reference = reference or self.config.path("reference")
        painting = painting or self.config.path("painting")
        missing = [name for name, path in (("reference", reference), ("painting", painting)) if path is None]
        if reference is None or painting is None:
            what = "them" if len(missing) > 1 else "it"
            whence = f"{NAME} does not name {what}" if self.config.file else f"there is no {NAME} that names {what}"
            alone = f"; '{first.name}' alone is taken for the painting" if first is not None and second is None else ""
            raise UsageError(
                f"Missing the {' and the '.join(missing)}: expected limner {command} REFERENCE PAINTING, and "
                f"{whence}{alone}."
            )
        if second is None and first is not None and _same(first, reference):
            raise UsageError(
                f"Missing the painting: '{first.name}' is the reference that {NAME} names; expected limner {command} "
                "PAINTING, or REFERENCE PAINTING."
            )
        return reference, painting

    def about(self, side: Side, picture: Path, points: Path | None, face: int | None, *, quiet: bool) -> Marks:
        """Points and face of one picture of an audit: as asked for, else as the file has them for this picture.

        Where the file names another picture, what it has does not hold for this one; that is said.
        """
        usual = self.config.path(side)
        if usual is None or _same(usual, picture):
            return self._with(side, points, face)
        own = [f"points.{side}", f"face.{side}", *(["lamp"] if side == "painting" else [])]
        passed = [name for name in own if name in self.config.values]
        if passed and not quiet:
            tell(f"limner: {NAME} gives {' and '.join(passed)} for '{usual.name}' only; left out here.")
        return Marks(points=points, face=face)

    def known(self, picture: Path, points: Path | None, face: int | None) -> Marks:
        """Points and face of any picture: as asked for, else as the file has them if it names this picture."""
        sides: tuple[Side, ...] = ("reference", "painting")
        for side in sides:
            usual = self.config.path(side)
            if usual is not None and _same(usual, picture):
                return self._with(side, points, face)
        return Marks(points=points, face=face)

    def _with(self, side: Side, points: Path | None, face: int | None) -> Marks:
        return Marks(
            points=points or self.config.path(f"points.{side}"),
            face=face if face is not None else self.config.whole(f"face.{side}"),
            lamps=self.config.paths("lamp") if side == "painting" else (),
        )

    def state_of(self, painting: Path) -> str | None:
        """Whether the file says a photo was taken wet, dry or oiled out."""
        return dict(self.config.pairs("state")).get(painting.name)


def _same(one: Path, other: Path) -> bool:
    return os.path.realpath(one) == os.path.realpath(other)


def applied(ctx: typer.Context) -> Applied:
    """The file this command works under, as its ``--config`` and ``--no-config`` left it."""
    held = ctx.meta.get(__name__)
    return held if isinstance(held, Applied) else Applied(config=Config())


def load(given: Path | None, *, left_out: bool) -> Config:
    """Read the file that is named, else the nearest one upward from the current folder, else none.

    Raises:
        UsageError: when it is wrong, or both named and left out.
    """
    if left_out:
        if given is not None:
            raise UsageError("--config and --no-config were both given: keep one of them.")
        return Config()
    if given is not None:
        return read_config(given)
    try:
        found = find_config(Path.cwd())
    except OSError:  # the current folder is gone: nothing lies above it
        return Config()
    return Config() if found is None else read_config(found)


def _take(ctx: typer.Context, value: Path | None) -> Path | None:
    """Read the file before the options that take its values as their defaults are looked at."""
    config = load(value, left_out=bool(ctx.params.get("no_config")))
    takes = TAKEN.get(ctx.command.name or "", {})
    ctx.default_map = {takes[name]: _given(held) for name, held in config.values.items() if name in takes}
    ctx.meta[__name__] = Applied(config=config)
    return value


def _leave(ctx: typer.Context, wanted: bool) -> bool:
    if wanted and ctx.params.get("config") is not None:
        load(ctx.params["config"], left_out=True)
    return wanted


def _given(value: Value) -> object:
    """A value as it would come from the command line."""
    if isinstance(value, tuple):
        return [PAIR.join(pair) for pair in value if isinstance(pair, tuple)]
    return str(value) if isinstance(value, Path) else value


ConfigOption = Annotated[
    Path | None,
    typer.Option(
        "--config",
        metavar="FILE",
        is_eager=True,
        callback=_take,
        help="A limner.toml; else the nearest one upward from the current folder.",
    ),
]
NoConfigOption = Annotated[
    bool, typer.Option("--no-config", is_eager=True, callback=_leave, help="Leave every limner.toml out.")
]
