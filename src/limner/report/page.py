"""A sheet of plain text for a terminal: headings, paragraphs and lists at a given width."""

from __future__ import annotations

import io

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from limner.report.clean import clean

WIDEST = 100
"""Columns past which a line of prose is tiring to read."""
STACKED_BELOW = 64
"""Columns below which a table is set as a list."""


def console_for(out: io.StringIO, width: int, *, colour: bool) -> Console:
    """A console that writes plain text of that width, with colours only where they are asked for."""
    return Console(
        file=out,
        width=max(width, 16),
        force_terminal=colour,
        color_system="standard" if colour else None,
        highlight=False,
        markup=False,
        emoji=False,
        legacy_windows=False,
    )


def finished(out: io.StringIO) -> str:
    """What was written, without blanks at the ends of lines."""
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines()).strip("\n") + "\n"


def bare_table() -> Table:
    """A table without lines, its heads underlined."""
    return Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="underline")


class Page:
    """A console that knows how to set a heading, a paragraph and a list."""

    def __init__(self, console: Console) -> None:
        self.console = console
        self.width = min(console.width, WIDEST)

    def heading(self, text: str) -> None:
        self.console.print()
        self.console.print(Text(text, style="bold"), width=self.width)

    def line(self, text: str, indent: int = 0, style: str = "") -> None:
        indent = indent if self.width > 40 else 0
        self.console.print(Padding(Text(clean(text), style=style), (0, 0, 0, indent)), width=self.width)

    def item(self, mark: str, text: str) -> None:
        """Set one entry of a list, its further lines hanging under the first."""
        grid = Table.grid(padding=(0, 1, 0, 0))
        grid.add_column(no_wrap=True)
        grid.add_column(overflow="fold")
        grid.add_row(f"  {mark}" if self.width > 40 else mark, Text(clean(text)))
        self.console.print(grid, width=self.width)
