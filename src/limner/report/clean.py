"""Text from outside (file names above all) made safe to print."""

from __future__ import annotations

import unicodedata

_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


def clean(text: str) -> str:
    r"""Return the text with control, formatting and broken characters shown as a question mark.

    A file name may hold anything, also what would move a terminal's cursor or turn a line round.

    >>> clean("canvas\x1b[2J.jpg")
    'canvas?[2J.jpg'
    >>> clean("Bildnis Änne.jpg")
    'Bildnis Änne.jpg'
    """
    return "".join("?" if unicodedata.category(char) in _HIDDEN else char for char in text)
