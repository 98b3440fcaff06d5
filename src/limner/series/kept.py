"""What a cache file says of a photo, made a record again; every value is held to its kind, for it is only a file."""

from __future__ import annotations

import base64
import io
import sys
from collections.abc import Mapping
from dataclasses import MISSING, fields, is_dataclass
from functools import cache
from types import NoneType, UnionType
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

from limner.series.record import Record, Skipped

T = TypeVar("T")
FACE_SIZE = (320, 400)
"""Width and height of a kept face, px."""
_LARGEST = 1e12
"""Past any length, share or angle there is; its square and its product with others can still be computed with."""
_NOT_NEGATIVE = frozenset({"sigma", "square", "chance", "threshold"})


def from_plain(held: object) -> Record:
    """What :func:`limner.series.record.to_plain` gave, as a record again.

    Raises:
        ValueError: when it is not.
    """
    record = built(Record, held)
    if record.pupil_mm is not None and record.pupil_mm.value <= 0:
        raise ValueError("the pupils are no distance apart")
    return record


def skipped_from_plain(held: object) -> Skipped:
    """The same of a photo that could not be audited."""
    return built(Skipped, held)


def face_from_text(text: object) -> bytes | None:
    """A kept face, JPEG; ``None`` where none was kept.

    Raises:
        ValueError: when it is no such picture.
    """
    if text is None:
        return None
    from PIL.JpegImagePlugin import JpegImageFile

    try:
        face = base64.b64decode(text, validate=True)  # type: ignore[arg-type]
        picture = JpegImageFile(io.BytesIO(face))
        whole = picture.size == FACE_SIZE and picture.load() is not None
    except Exception as error:
        raise ValueError("a damaged face") from error
    if not whole:
        raise ValueError("a face of another size")
    return face


def built(kind: type[T], held: object) -> T:
    """A dataclass of plain values, texts, tuples and other such dataclasses, from the dict that describes it.

    Raises:
        ValueError: when a field is missing, unknown, or of another kind than it is declared.
    """
    hints, needed = _hints(kind)  # type: ignore[arg-type]
    if not isinstance(held, Mapping) or not needed <= held.keys() <= hints.keys():
        raise ValueError(f"not the fields of {kind.__name__}")
    made = {name: _value(hints[name], value) for name, value in held.items()}
    for name in _NOT_NEGATIVE & made.keys():
        if made[name] is not None and made[name] < 0:
            raise ValueError(f"{name} is negative")
    return kind(**made)


@cache
def _hints(kind: type) -> tuple[dict[str, Any], frozenset[str]]:
    """Field -> its kind, and the fields that have no default."""
    listed = [f for f in fields(kind) if f.default is MISSING and f.default_factory is MISSING]
    return get_type_hints(kind), frozenset(f.name for f in listed)


def _value(hint: Any, value: Any) -> Any:
    if get_origin(hint) in (Union, UnionType):
        kinds = get_args(hint)
        if value is None and NoneType in kinds:
            return None
        return _value(next(kind for kind in kinds if kind is not NoneType), value)
    if get_origin(hint) is tuple:
        if not isinstance(value, list | tuple):
            raise ValueError("expected a list")
        return tuple(_value(get_args(hint)[0], part) for part in value)
    if is_dataclass(hint) and isinstance(hint, type):
        return built(hint, value)
    return _plain(hint, value)


def _plain(hint: Any, value: Any) -> Any:
    if hint is str and isinstance(value, str):
        return sys.intern(value)
    if hint is float and isinstance(value, int | float) and not isinstance(value, bool):
        if not abs(value) <= _LARGEST:  # also where it is no number
            raise ValueError("a number past all bounds")
        return value
    if hint in (bool, int) and type(value) is hint and abs(value) <= _LARGEST:
        return value
    raise ValueError(f"expected {hint}")
