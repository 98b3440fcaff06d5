"""``limner config``: what applies here, and from where."""

from __future__ import annotations

import json
import os
from enum import Enum
from pathlib import Path
from typing import Annotated

import typer

from limner.cli.applied import load
from limner.cli.choices import DebugOption
from limner.cli.out import emit
from limner.config import KEYS, NAME, Config, Key, Value

app = typer.Typer(add_completion=False, pretty_exceptions_enable=False, rich_markup_mode="rich")


class Format(str, Enum):
    """How it is printed."""

    text = "text"
    json = "json"


@app.command()
def config(
    form: Annotated[Format, typer.Option("--format", help="How it is printed.")] = Format.text,
    file: Annotated[
        Path | None,
        typer.Option(
            "--config", metavar="FILE", help="A limner.toml; else the nearest one upward from the current folder."
        ),
    ] = None,
    no_config: Annotated[bool, typer.Option("--no-config", help="Leave every limner.toml out.")] = False,
    debug: DebugOption = False,
) -> None:
    """Show what applies in this folder and from where: the file, the environment, or limner's own default.

    Options on the command line win over all of it. Exit code 2 when the file is wrong.
    """
    held = load(file, left_out=no_config)
    rows = [(key, *_standing(key, held)) for key in KEYS]
    emit(_as_json(held, rows) if form is Format.json else _as_text(held, rows))


def _standing(key: Key, held: Config) -> tuple[Value | None, str]:
    """The value of a key, ``None`` where limner's default holds, and from where it is."""
    if key.name in held.values:
        return held.values[key.name], "file"
    if key.name == "model" and os.environ.get("LIMNER_MODEL"):
        return os.environ["LIMNER_MODEL"], "environment"
    return None, "default"


def _as_text(held: Config, rows: list[tuple[Key, Value | None, str]]) -> str:
    lines = [f"File: {held.file}" if held.file else f"File: none (no {NAME} here or above, or it is left out)", ""]
    sources = {"file": held.file.name if held.file else "", "environment": "LIMNER_MODEL", "default": "default"}
    wide = max(len(key.name) for key in KEYS)
    shown = [
        (key.name, key.default if value is None else _words(value), sources[source]) for key, value, source in rows
    ]
    middle = min(max(len(value) for _, value, _ in shown), 40)
    lines += [f"{name:<{wide}}  {value:<{middle}}  {source}".rstrip() for name, value, source in shown]
    return "\n".join(lines) + "\n"


def _words(value: Value) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return ", ".join(str(part) if isinstance(part, Path) else " to ".join(part) for part in value) or "none"
    return str(value)


def _as_json(held: Config, rows: list[tuple[Key, Value | None, str]]) -> str:
    def plain(value: object) -> object:
        if isinstance(value, tuple):
            return [plain(part) for part in value]
        return str(value) if isinstance(value, Path) else value

    out = {
        "file": None if held.file is None else str(held.file),
        "settings": {
            key.name: {"value": plain(value), "default": key.default, "from": source} for key, value, source in rows
        },
    }
    return json.dumps(out, indent=1, ensure_ascii=True) + "\n"
