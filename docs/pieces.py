"""Bits of markdown that the made pages share."""

from __future__ import annotations

import inspect
import re
import textwrap

NOTE = "This page is made from the code (`python docs/build.py`); a test holds it to the code.\n"


def line(text: str) -> str:
    """Words on one line."""
    return " ".join(text.split())


def cell(text: str | None) -> str:
    """Words in a table."""
    return line(text or "").replace("|", "\\|").replace("<", "&lt;")


def paragraphs(text: str) -> list[str]:
    """The paragraphs of a docstring."""
    return [part for part in inspect.cleandoc(text).split("\n\n") if part.strip()]


def plain(text: str) -> str:
    """A docstring's marks as markdown, filled."""
    text = re.sub(r":\w+:`~?([^`]+)`", r"`\1`", text)
    return textwrap.fill(line(text.replace("``", "`")), width=118, break_long_words=False, break_on_hyphens=False)
