"""Options that take several values, which typer has none of."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from typer.core import TyperCommand

from limner.cli.applied import PAIR
from limner.errors import UsageError

TOGETHER = {"--between": 2, "--corners": 4}
"""Option -> how many values it takes; typer has no such option of its own."""


class Joined(TyperCommand):
    """A command with options that take several values."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        return super().parse_args(ctx, join_values(args))


def join_values(args: list[str]) -> list[str]:
    """Return the arguments with the values after each option of :data:`TOGETHER` made one.

    >>> [arg.split(PAIR) for arg in join_values(["a.jpg", "--between", "ch_left", "gn"])]
    [['a.jpg'], ['--between=ch_left', 'gn']]
    """
    out: list[str] = []
    rest = iter(args)
    for arg in rest:
        if arg == "--":
            return [*out, arg, *rest]
        if arg not in TOGETHER:
            out.append(arg)
            continue
        count = TOGETHER[arg]
        values = [word for word in (next(rest, None) for _ in range(count)) if word is not None]
        if len(values) < count or any(word.startswith("--") for word in values):
            example = "ch_left gn" if arg == "--between" else "212,80 1630,95 1611,1890 230,1874"
            what = "two point names" if arg == "--between" else "four places x,y"
            raise UsageError(f"{arg} needs {what} after it, for example: {arg} {example}")
        out.append(f"{arg}={PAIR.join(values)}")
    return out


def corners_of(text: str | None) -> tuple[tuple[float, float], ...]:
    """Four places as --corners or limner.toml give them.

    >>> corners_of("0,0 10,0 10,12.5 0,12")
    ((0.0, 0.0), (10.0, 0.0), (10.0, 12.5), (0.0, 12.0))
    """
    if text is None:
        return ()
    places = []
    for word in text.replace(PAIR, " ").split():
        parts = word.split(",")
        try:
            x, y = (float(part) for part in parts)
        except ValueError as error:
            raise UsageError(f"--corners: expected four places x,y in px, got '{word[:40]}'.") from error
        if not (math.isfinite(x) and math.isfinite(y)):
            raise UsageError(f"--corners: expected four places x,y in px, got '{word[:40]}'.")
        places.append((x, y))
    if len(places) != 4:
        raise UsageError(f"--corners: expected four places x,y in px, got {len(places)}.")
    return tuple(places)


def lamps_of(given: list[Path] | None, usual: tuple[Path, ...], *, values: bool) -> tuple[Path, ...]:
    """The photos with the lamp moved: as --lamp gives them, else as limner.toml does.

    Raises:
        UsageError: when some are given and values are left out.
    """
    if given and not values:
        raise UsageError("--lamp is of use for values only: leave out either --lamp or --no-values.")
    return tuple(given or usual)
