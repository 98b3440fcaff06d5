"""The fenced blocks of a markdown page, for the script that renews them and the tests that run them."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass

_FENCE = re.compile(
    r"(?:<!-- shows: (?P<shows>[^\n]+) -->\n)?^(?P<fence>```+)(?P<language>[^\n]*)\n(?P<body>.*?)^(?P=fence)[ ]*$",
    re.MULTILINE | re.DOTALL,
)


@dataclass(frozen=True, kw_only=True)
class Block:
    """One fenced block."""

    language: str
    body: str
    shows: str | None
    """Which parts of what the commands before it print this is; see :func:`part_of`."""
    span: tuple[int, int]
    """Where the body stands in the page."""
    line: int


def blocks(page: str) -> list[Block]:
    """The fenced blocks of a page, in order."""
    return [
        Block(
            language=found["language"].strip(),
            body=found["body"],
            shows=found["shows"],
            span=found.span("body"),
            line=page.count("\n", 0, found.start("fence")) + 1,
        )
        for found in _FENCE.finditer(page)
    ]


def commands_in(block: Block) -> Iterator[list[str]]:
    r"""The commands of a shell block, as words, comments left out.

    >>> page = "```sh\nlimner audit a.jpg b.jpg   # says what is off\n```"
    >>> list(commands_in(blocks(page)[0]))
    [['limner', 'audit', 'a.jpg', 'b.jpg']]
    """
    for line in block.body.replace("\\\n", " ").splitlines():
        words = shlex.split(line, comments=True)
        if words:
            yield words


def not_run(words: list[str]) -> str | None:
    """Why a command of the pages is only checked word by word, where it is run neither by the script nor by the tests.

    >>> not_run(["limner", "audit", "--list"]) is None, not_run(["limner", "model", "fetch"])
    (True, 'fetches')
    """
    if words[:3] == ["limner", "model", "fetch"]:
        return "fetches"
    if words[:2] == ["limner", "prove"]:
        return "takes minutes; tests of its own run it small"
    if "--watch" in words:
        return "does not end"
    if words[0] != "limner":
        return "builds, installs or fetches"
    return None


def part_of(output: str, shows: str) -> str:
    r"""The parts of an output that a block shows, each with the lines down to the next empty one.

    Raises:
        ValueError: when the first of them is not there; others may be missing.

    >>> part_of("a\n\nMend first\n  1. x\n\nTrue\n", "Mend first; Nowhere; True")
    'Mend first\n  1. x\n\nTrue\n'
    """
    starts = [start.strip() for start in shows.split(";")]
    parts = [paragraph for start in starts if (paragraph := _paragraph(output, start))]
    if not parts or not parts[0].startswith(starts[0]):
        raise ValueError(f"expected a line that starts with '{starts[0]}', and there is none")
    return "\n\n".join(parts) + "\n"


def _paragraph(output: str, start: str) -> str:
    """The lines from the first that starts so, down to an empty one."""
    lines = output.splitlines()
    begin = next((number for number, line in enumerate(lines) if line.startswith(start)), len(lines))
    end = next((number for number in range(begin, len(lines)) if not lines[number].strip()), len(lines))
    return "\n".join(lines[begin:end])
