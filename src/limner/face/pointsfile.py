"""The points file, ``limner.points/1``: reading, checking, writing. JSON Schema: report/schema/points-1.json."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NoReturn, get_args

from limner.errors import OutputError, UsageError
from limner.face.byhand import (
    LONGEST_SIDE,
    HandPoint,
    HandPoints,
    Source,
    check_belongs,
    finite,
    known,
    placed,
    refuse,
    shortly,
)
from limner.face.placeable import PLACEABLE
from limner.pictures.picture import Picture
from limner.pictures.reading import printable_name
from limner.pictures.write import write_whole
from limner.smallfile import Expected, read_small

SCHEMA = "limner.points/1"
MOST_BYTES = 1_000_000
"""A whole set takes about 6 kB; anything past this is refused before it is read."""
_EXPECTED = Expected(
    most=MOST_BYTES,
    give="give the file that limner points saved",
    missing="make one with: limner points PICTURE",
)


def read_points(path: str | Path) -> HandPoints:
    """Read and check one points file.

    Raises:
        UsageError: when it is missing, unreadable, not a regular file, over 1 MB, not JSON, of another schema or
            version, or holds an unknown or repeated name, a number that is none, or a point outside its picture.
    """
    given = Path(path)
    what = f"points file '{printable_name(given)}'"
    return parse_points(read_small(given, what, _EXPECTED), what)


def parse_points(data: bytes | str, what: str = "points file") -> HandPoints:
    """Check the text of a points file; ``what`` names it in messages.

    Raises:
        UsageError: as :func:`read_points`, for everything but the file itself.
    """
    try:
        text = data.decode("utf-8-sig") if isinstance(data, bytes) else data
        held = json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant)
    except _StrangeJsonError as error:
        refuse(what, error.expected, error.came, "mend or remove it")
    except UnicodeDecodeError:
        refuse(what, "JSON text in UTF-8", "other bytes came", "give the file that limner points saved")
    except RecursionError:
        refuse(what, "a points file", "it is nested too deep", "give the file that limner points saved")
    except json.JSONDecodeError as error:
        came = f"line {error.lineno}, column {error.colno}: {error.msg}"
        refuse(what, "JSON", came, "mend it or save the points again")
    except ValueError:
        refuse(what, "numbers of a sane length", "one has thousands of digits", "mend it or save the points again")
    return _checked(held, what)


class _StrangeJsonError(Exception):
    """Something Python's reader would let pass and JSON does not mean."""

    def __init__(self, expected: str, came: str) -> None:
        super().__init__(came)
        self.expected = expected
        self.came = came


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    seen: dict[str, Any] = {}
    for key, value in pairs:
        if key in seen:
            raise _StrangeJsonError("every name once", f"{shortly(key)} is there twice")
        seen[key] = value
    return seen


def _no_constant(text: str) -> NoReturn:
    raise _StrangeJsonError("numbers", f"{text} came, which is none")


def _checked(held: object, what: str) -> HandPoints:
    if not isinstance(held, dict) or "schema" not in held:
        refuse(what, f'an object with "schema": "{SCHEMA}"', "it has none", "give the file that limner points saved")
    if held["schema"] != SCHEMA:
        came = f"its schema is {shortly(held['schema'])}"
        refuse(what, f'"{SCHEMA}"', came, "save the points again with this version of limner, or update limner")
    _only_keys(held, ("schema", "picture", "points"), ("unseen",), what)
    width, height, digest = _picture(held["picture"], f"{what}, picture")
    if not isinstance(held["points"], dict):
        refuse(what, '"points" to be an object', f"{shortly(held['points'])} came", "mend it")
    points = {key: _point(key, value, (width, height), what) for key, value in held["points"].items()}
    return HandPoints(
        width=width, height=height, sha256=digest, points=points, unseen=_unseen(held.get("unseen", []), points, what)
    )


def _only_keys(held: dict[str, Any], needed: tuple[str, ...], allowed: tuple[str, ...], what: str) -> None:
    for key in needed:
        if key not in held:
            refuse(what, f'"{key}"', "it is not there", "give the file that limner points saved")
    for key in held:
        if key not in needed and key not in allowed:
            refuse(what, f"only {', '.join((*needed, *allowed))}", f"{shortly(key)} came", "remove it")


def _picture(held: object, what: str) -> tuple[int, int, str | None]:
    if not isinstance(held, dict):
        refuse(what, "an object", f"{shortly(held)} came", "give the file that limner points saved")
    _only_keys(held, ("width", "height", "sha256"), (), what)
    for key in ("width", "height"):
        side = held[key]
        if not isinstance(side, int) or isinstance(side, bool) or not 0 < side <= LONGEST_SIDE:
            refuse(what, f"{key} as a whole number of px", f"{shortly(side)} came", "save the points again")
    digest = held["sha256"]
    if digest is not None and not (
        isinstance(digest, str) and len(digest) == 64 and set(digest) <= set("0123456789abcdef")
    ):
        refuse(what, "sha256 as 64 hexadecimal digits", f"{shortly(digest)} came", "save the points again")
    return held["width"], held["height"], digest


def _point(key: str, held: object, size: tuple[int, int], what: str) -> HandPoint:
    known(key, what)
    where = f"{what}, {key}"
    if not isinstance(held, dict):
        refuse(where, "an object with x and y", f"{shortly(held)} came", "mend it")
    _only_keys(held, ("x", "y"), ("sigma", "source"), where)
    source = held.get("source", "hand")
    if source not in get_args(Source):
        refuse(where, 'source "hand" or "found"', f"{shortly(source)} came", "mend it")
    sigma = None if "sigma" not in held else finite(held["sigma"], where, "sigma")
    return placed(held["x"], held["y"], size, where, sigma=sigma, source=source)


def _unseen(held: object, points: Mapping[str, HandPoint], what: str) -> tuple[str, ...]:
    if not isinstance(held, list):
        refuse(what, '"unseen" to be a list of names', f"{shortly(held)} came", "mend it")
    for place, key in enumerate(held):
        known(key, f"{what}, unseen")
        if key in points or key in held[:place]:
            refuse(what, "every name once", f"{shortly(key)} is there twice", "remove one of them")
    return tuple(held)


def points_text(points: HandPoints) -> str:
    """The points file as text; the same points give the same bytes."""
    held: dict[str, Any] = {
        "schema": SCHEMA,
        "picture": {"width": points.width, "height": points.height, "sha256": points.sha256},
        "points": {key: _row(points.points[key]) for key in PLACEABLE if key in points.points},
    }
    if points.unseen:
        held["unseen"] = [key for key in PLACEABLE if key in points.unseen]
    return json.dumps(held, indent=1, ensure_ascii=True, allow_nan=False) + "\n"


def _row(point: HandPoint) -> dict[str, Any]:
    sigma = {} if point.sigma is None else {"sigma": round(point.sigma, 3)}
    return {"x": round(point.x, 2), "y": round(point.y, 2), **sigma, "source": point.source}


def check_free(path: Path, *, belongs_to: Picture) -> None:
    """Refuse to write points over anything but a points file of the same picture.

    Raises:
        OutputError: when something else is there.
    """
    if not path.exists():
        return
    try:
        check_belongs(read_points(path), belongs_to)
    except UsageError as error:
        name = printable_name(path)
        raise OutputError(
            f"'{name}' is there and is not a points file of this picture ({error}) Give another name."
        ) from error


def save_points(path: str | Path, points: HandPoints, *, picture: Picture) -> None:
    """Write a points file, whole or not at all, never over another kind of file.

    Raises:
        OutputError: when something else is there or it cannot be written.
    """
    target = Path(path)
    check_free(target, belongs_to=picture)
    write_whole(target, points_text(points).encode())
