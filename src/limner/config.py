"""``limner.toml``: finding it upward from a folder, reading it, and refusing what it cannot mean."""

from __future__ import annotations

import difflib
import math
import os
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, NoReturn

from limner.errors import UsageError
from limner.settings import HOLDS, STAGES, STATES
from limner.smallfile import Expected, read_small

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

NAME = "limner.toml"
MOST_BYTES = 100_000
"""A file with every key takes about 1 kB; anything past this is refused before it is read."""
_EXPECTED = Expected(
    most=MOST_BYTES, give="give a limner.toml, or use --no-config", missing="give the right name, or use --no-config"
)

NEAR = 0.7
"""Likeness (difflib's ratio, 0 to 1) from which a known key is offered for an unknown one."""

Kind = Literal["path", "paths", "choice", "number", "whole", "switch", "text", "pairs", "notes", "states"]
Value = Path | str | float | int | bool | tuple[tuple[str, str], ...] | tuple[Path, ...]


@dataclass(frozen=True, kw_only=True)
class Key:
    """One key that may stand in ``limner.toml``."""

    name: str
    """As written, with its table: ``points.reference``."""

    kind: Kind
    default: str
    """What holds where the file says nothing, in words."""

    choices: tuple[str, ...] = ()


KEYS: tuple[Key, ...] = (
    Key(name="reference", kind="path", default="none"),
    Key(name="painting", kind="path", default="none"),
    Key(name="hold", kind="choice", default="eyes", choices=HOLDS),
    Key(name="strict", kind="number", default="1.0"),
    Key(name="stage", kind="choice", default="guessed", choices=STAGES),
    Key(name="witness", kind="choice", default="best", choices=("best", "mesh")),
    Key(name="between", kind="pairs", default="none"),
    Key(name="face.reference", kind="whole", default="the largest"),
    Key(name="face.painting", kind="whole", default="the largest"),
    Key(name="points.reference", kind="path", default="none"),
    Key(name="points.painting", kind="path", default="none"),
    Key(name="points.only", kind="switch", default="no"),
    Key(name="model", kind="path", default="the kept one"),
    Key(name="threads", kind="whole", default="2"),
    Key(name="format", kind="choice", default="text", choices=("text", "json", "csv")),
    Key(name="overlay", kind="path", default="none"),
    Key(name="layers", kind="text", default="painted, belongs, arrows, numbers"),
    Key(name="blink", kind="path", default="none"),
    Key(name="page", kind="path", default="none"),
    Key(name="values", kind="switch", default="yes"),
    Key(name="match", kind="text", default="face"),
    Key(name="lamp", kind="paths", default="none"),
    Key(name="value-sheet", kind="path", default="none"),
    Key(name="side-by-side", kind="path", default="none"),
    Key(name="only", kind="text", default="every family"),
    Key(name="top", kind="whole", default="all that departs"),
    Key(name="all", kind="switch", default="no"),
    Key(name="canons", kind="switch", default="no"),
    Key(name="order", kind="choice", default="rank", choices=("rank", "top-down")),
    Key(name="canvas", kind="text", default="none"),
    Key(name="corners", kind="text", default="found"),
    Key(name="placement", kind="text", default="the reference's framing"),
    Key(name="paper", kind="choice", default="a4", choices=("a4", "a3", "letter")),
    Key(name="print", kind="text", default="none"),
    Key(name="quiet", kind="switch", default="no"),
    Key(name="series.order", kind="choice", default="auto", choices=("auto", "time", "name", "given")),
    Key(name="series.jobs", kind="whole", default="as many as cores"),
    Key(name="series.plot", kind="path", default="none"),
    Key(name="series.contact", kind="path", default="none"),
    Key(name="series.page", kind="path", default="none"),
    Key(name="series.blink", kind="path", default="none"),
    Key(name="state", kind="states", default="not said", choices=STATES),
    Key(name="notes", kind="notes", default="none"),
    Key(name="intended", kind="notes", default="none"),
)
"""Every key, in the order ``limner config`` shows them."""

BY_NAME = {key.name: key for key in KEYS}
TABLES = tuple(dict.fromkeys(key.name.split(".")[0] for key in KEYS if "." in key.name))


@dataclass(frozen=True, kw_only=True)
class Config:
    """What one ``limner.toml`` says; without a file it says nothing."""

    file: Path | None = None
    values: Mapping[str, Value] = field(default_factory=dict)
    """Key -> value. Paths are absolute, or relative to the current folder as the file's own path was."""

    def path(self, name: str) -> Path | None:
        """A path the file gives, or ``None``."""
        value = self.values.get(name)
        return value if isinstance(value, Path) else None

    def pairs(self, name: str) -> tuple[tuple[str, str], ...]:
        """Pairs of words the file gives, or none."""
        value = self.values.get(name)
        return tuple(pair for pair in value if isinstance(pair, tuple)) if isinstance(value, tuple) else ()

    def paths(self, name: str) -> tuple[Path, ...]:
        """Paths the file gives, or none."""
        value = self.values.get(name)
        return tuple(path for path in value if isinstance(path, Path)) if isinstance(value, tuple) else ()

    def whole(self, name: str) -> int | None:
        """A whole number the file gives, or ``None``."""
        value = self.values.get(name)
        return value if isinstance(value, int) else None


def find_config(start: Path) -> Path | None:
    """The nearest ``limner.toml`` in a folder or above it, or ``None``."""
    folder = Path(os.path.abspath(start))  # noqa: PTH100 - resolve() would leave the folder the painter sees
    for place in (folder, *folder.parents):
        if os.path.lexists(place / NAME):
            return place / NAME
    return None


def read_config(path: str | Path) -> Config:
    """Read and check one ``limner.toml``.

    Raises:
        UsageError: when it is missing, unreadable, not a regular file, over 100 kB, not TOML, or holds an unknown key
            (the nearest known one is named) or a value of another kind than the key wants.
    """
    given = Path(path)
    what = f"configuration file '{_shown(given.name or str(given))}'"
    held = _parsed(read_small(given, what, _EXPECTED), what)
    return Config(file=given, values=dict(_checked(held, given.parent, what)))


def _parsed(data: bytes, what: str) -> dict[str, object]:
    try:
        held: dict[str, object] = tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        _refuse(what, "TOML text in UTF-8", "other bytes came", "save it as UTF-8 text")
    except RecursionError:
        _refuse(what, "a limner.toml", "it is nested too deep", "mend it")
    except tomllib.TOMLDecodeError as error:
        _refuse(
            what, "TOML", f"the reader says: {_shown(str(error), most=120)}", "mend that line; words stand in quotes"
        )
    except ValueError:
        _refuse(what, "numbers of a sane length", "one has thousands of digits", "mend it")
    return held


def _checked(held: Mapping[str, object], folder: Path, what: str) -> Iterator[tuple[str, Value]]:
    for name, value in _flat(held, what):
        if name not in BY_NAME:
            raise UsageError(f"{what}: there is no key '{_shown(name)}'. {_nearest(name)}")
        yield name, _value(BY_NAME[name], value, folder, what)


def _flat(held: Mapping[str, object], what: str) -> Iterator[tuple[str, object]]:
    """Key with its table, and value; only the tables that are known are opened."""
    for name, value in held.items():
        if name not in TABLES:
            yield name, value
            continue
        if not isinstance(value, dict):
            inside = " and ".join(key.name for key in KEYS if key.name.startswith(f"{name}."))
            _refuse(f"{what}, {name}", f"a table, [{name}]", f"{_came(value)} came", f"set {inside}")
        for inner, own in value.items():
            yield f"{name}.{inner}", own


def _nearest(name: str) -> str:
    """What to do about an unknown key."""
    plain = {_plain(key.name): key.name for key in KEYS} | {table: f"[{table}]" for table in TABLES}
    near = difflib.get_close_matches(_plain(name), plain, n=1, cutoff=NEAR)
    if near:
        return f"Did you mean '{plain[near[0]]}'?"
    return f"Known are: {', '.join(BY_NAME)}."


def _plain(name: str) -> str:
    return name.casefold()[:100].replace("_", "-").replace(".", "-")


def _value(key: Key, value: object, folder: Path, what: str) -> Value:
    where = f"{what}, {key.name}"
    read: dict[Kind, Callable[[], Value]] = {
        "path": lambda: _path(value, folder, where),
        "paths": lambda: _paths(value, folder, where),
        "pairs": lambda: _pairs(value, where),
        "notes": lambda: _notes(value, where, _NOTES[key.name]),
        "states": lambda: _states(value, where, key.choices),
        "number": lambda: _number(value, where, whole=False),
        "whole": lambda: _number(value, where, whole=True),
    }
    if key.kind in read:
        return read[key.kind]()
    if key.kind == "switch":
        if not isinstance(value, bool):
            _refuse(where, "true or false", f"{_came(value)} came", "mend it; they stand without quotes")
        return value
    if not isinstance(value, str) or not value.strip():
        wanted = " or ".join(f'"{choice}"' for choice in key.choices) or "a word in quotes"
        _refuse(where, wanted, f"{_came(value)} came", "mend it")
    if key.choices and value not in key.choices:
        near = difflib.get_close_matches(value.casefold()[:100], key.choices, n=1, cutoff=NEAR)
        todo = f'did you mean "{near[0]}"?' if near else "choose one of these"
        _refuse(where, " or ".join(f'"{choice}"' for choice in key.choices), f"{_came(value)} came", todo)
    return value


def _path(value: object, folder: Path, where: str) -> Path:
    if not isinstance(value, str) or not value.strip() or "\0" in value:
        _refuse(
            where, "a file's name in quotes", f"{_came(value)} came", "mend it; it is taken from this file's folder"
        )
    try:
        return folder / Path(value).expanduser()
    except RuntimeError as error:
        raise UsageError(f"{where}: the home folder in {_came(value)} is not known. Write it out.") from error


def _paths(value: object, folder: Path, where: str) -> tuple[Path, ...]:
    if not isinstance(value, list):
        _refuse(where, 'a list of file names, such as ["lamp-left.jpg"]', f"{_came(value)} came", "mend it")
    return tuple(_path(name, folder, where) for name in value)


def _number(value: object, where: str, *, whole: bool) -> float:
    kinds = (int,) if whole else (int, float)
    wanted = "a whole number from 1" if whole else "a number above 0"
    if not isinstance(value, kinds) or isinstance(value, bool):
        _refuse(where, wanted, f"{_came(value)} came", "mend it; numbers stand without quotes")
    if not 0 < value < 1e9 or not math.isfinite(value):
        _refuse(where, wanted, f"{_came(value)} came", "mend it")
    return value


def _pairs(value: object, where: str) -> tuple[tuple[str, str], ...]:
    wanted = 'a list of pairs of point names, such as [["ch_left", "gn"]]'
    if not isinstance(value, list):
        _refuse(where, wanted, f"{_came(value)} came", "mend it")
    pairs: list[tuple[str, str]] = []
    for pair in value:
        if not isinstance(pair, list) or len(pair) != 2 or not all(isinstance(word, str) and word for word in pair):
            _refuse(where, wanted, f"{_came(pair)} came", "mend it; the names are in limner audit --list")
        pairs.append((pair[0], pair[1]))
    return tuple(pairs)


_NOTES = {
    "notes": 'a table of photos and words, such as [notes] with "canvas-3.jpg" = "nose repainted" in it',
    "intended": 'a table of measures or parts and reasons, such as [intended] with mouth = "she asked for it" in it',
}


def _notes(value: object, where: str, wanted: str) -> tuple[tuple[str, str], ...]:
    """Name -> the painter's own words about it."""
    if not isinstance(value, dict):
        _refuse(where, wanted, f"{_came(value)} came", "mend it")
    for name, words in value.items():
        if not isinstance(words, str):
            todo = "put the words in quotes"
            _refuse(f"{where}, '{_shown(str(name))}'", "words in quotes", f"{_came(words)} came", todo)
    return tuple(value.items())


def _states(value: object, where: str, known: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    """Photo's name -> wet, dry or oiled."""
    if not isinstance(value, dict):
        wanted = f'a table of photos and one of {", ".join(known)}, such as [state] with "canvas-3.jpg" = "wet" in it'
        _refuse(where, wanted, f"{_came(value)} came", "mend it")
    for name, word in value.items():
        if word not in known:
            _refuse(f"{where}, '{_shown(str(name))}'", " or ".join(known), f"{_came(word)} came", "mend it")
    return tuple(value.items())


def _came(value: object) -> str:
    """The value in a message, as TOML writes it, on one short line."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{_shown(value)}"'
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, int) and abs(value) > 1e12:
        return "a number of many digits"
    return _shown(str(value))


def _shown(text: str, most: int = 40) -> str:
    plain = "".join(char if char.isprintable() else "?" for char in text)
    return plain if len(plain) <= most else plain[: most - 3] + "..."


def _refuse(where: str, expected: str, came: str, todo: str) -> NoReturn:
    raise UsageError(f"{where}: expected {expected}, but {came}; {todo}{'' if todo.endswith('?') else '.'}")
