"""What is made of one picture alone, made once and kept as long as the picture is: a reference has many paintings."""

from __future__ import annotations

import weakref
from collections.abc import Callable, Hashable
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

T = TypeVar("T")


class Once:
    """Things made once each."""

    def __init__(self) -> None:
        self._made: dict[Hashable, Any] = {}

    def made(self, key: Hashable, make: Callable[[], T]) -> T:
        """What ``make`` gives, made at the first call with this key and kept."""
        if key not in self._made:
            self._made[key] = make()
        found: T = self._made[key]
        return found


_OF: dict[int, tuple[weakref.ref[Any], Once]] = {}


def once_of(pixels: NDArray[np.uint8]) -> Once:
    """What is kept beside this very array; it goes when the array goes."""
    held = _OF.get(id(pixels))
    if held is None or held[0]() is not pixels:
        place = id(pixels)
        held = weakref.ref(pixels, lambda _: _OF.pop(place, None)), Once()
        _OF[place] = held
    return held[1]
