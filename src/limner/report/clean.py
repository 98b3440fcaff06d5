"""Text from outside (file names above all) made safe to print."""

from __future__ import annotations

import re
import unicodedata

_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})

_WORDS = re.compile(r"\S*\d (?:%|(?:mm|px|degrees?)\b)\S*|\S+")
"""A figure with its unit, or a word."""


def clean(text: str) -> str:
    r"""Return the text with control, formatting and broken characters shown as a question mark.

    A file name may hold anything, also what would move a terminal's cursor or turn a line round.

    >>> clean("canvas\x1b[2J.jpg")
    'canvas?[2J.jpg'
    >>> clean("Bildnis Änne.jpg")
    'Bildnis Änne.jpg'
    """
    return "".join("?" if unicodedata.category(char) in _HIDDEN else char for char in text)


def words(text: str) -> list[str]:
    """Return the words of a text as they may stand at the end of a line: no figure is parted from its unit.

    >>> words("give or take 6 mm, or 17 %.")
    ['give', 'or', 'take', '6 mm,', 'or', '17 %.']
    """
    return _WORDS.findall(text)
