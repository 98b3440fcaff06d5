"""What has to be known before any number is read, apart from what may as well be told at the end."""

from __future__ import annotations

from collections.abc import Iterable

from limner.notices import Notice

_FIRST = ("scale", "pose", "camera")
"""What everything measured rests on."""
_LAST = ("not_straightened", "canvas_side", "no_profile", "cmyk", "profile", "first_page", "hdr", "transparent")
"""Remarks on decoding a picture, which change little."""


def cautions(notices: Iterable[Notice]) -> list[Notice]:
    """What limits the numbers, most of all first: to be read before them.

    >>> told = [Notice(code=code, text=text) for code, text in (("hdr", "c"), ("few_tones", "b"), ("pose", "a"))]
    >>> [notice.text for notice in cautions(told)]
    ['a', 'b']
    """

    def rank(notice: Notice) -> int:
        return next((place for place, start in enumerate(_FIRST) if notice.code.startswith(start)), len(_FIRST))

    return sorted((notice for notice in notices if not notice.code.startswith(_LAST)), key=rank)


def remarks(notices: Iterable[Notice]) -> list[Notice]:
    """What changes little, and is told at the end."""
    return [notice for notice in notices if notice.code.startswith(_LAST)]
