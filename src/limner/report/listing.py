"""The catalogue as text: every measure limner takes, what a viewer notices, and who says so."""

from __future__ import annotations

import io

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from limner.face.placeable import PLACEABLE
from limner.measure.catalogue import CATALOGUE, FAMILIES, NOT_SEEN, between, measures_table
from limner.measure.heads import HEADS

BY_HAND = "head"
"""Family of the measures that the face finder has no points for."""

_TABLE_FROM = 64
"""Columns below which the list is set without a table."""


def families() -> tuple[str, ...]:
    """Return every family that --only knows; distances asked for with --between have one of their own."""
    asked = between("ch_right", "ch_left").family
    return tuple(dict.fromkeys((*FAMILIES, BY_HAND, asked)))


def catalogue_text(*, width: int = 80) -> str:
    """Return the list of measures by family, their sources numbered at the end."""
    out = io.StringIO()
    console = Console(file=out, width=width, color_system=None, highlight=False, markup=False, emoji=False)
    sources = {source: number for number, source in enumerate(dict.fromkeys(_sources()), start=1)}
    console.print(f"{len(CATALOGUE) + len(HEADS)} measures. Sides are the sitter's own: sitter's left = picture right.")
    for family in (*FAMILIES, BY_HAND):
        how = ", from edges that stand out in both pictures, or from points placed by hand"
        console.print(f"\n{family}" + (how if family == BY_HAND else ""))
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="underline")
        for title, share in (("measure", 2), ("what it is", 3), ("noticed from", 2), ("source", 0)):
            table.add_column(title, ratio=share or None, justify="left" if share else "right", overflow="fold")
        for row in (row for row in _rows() if row["family"] == family):
            noticed = f"{row['threshold']} {_unit(row)}"
            what = f"{row['name']} ({row['formula']})"
            if width >= _TABLE_FROM:
                table.add_row(row["id"], what, noticed, f"[{sources[row['source']]}]")
            else:
                console.print(f"{row['id']}: {what}; noticed from {noticed} [{sources[row['source']]}]")
        if table.row_count:
            console.print(table)
    console.print("\nnot guessed")
    for name, reason in NOT_SEEN.values():
        console.print(f"{name}: {reason}.")
    console.print("\npoints for --between")
    for key, point in PLACEABLE.items():
        console.print(f"{key}: {point.name}" + ("" if point.indices else " (by hand)"))
    console.print("\nsources")
    for source, number in sources.items():
        console.print(Padding(Text(f"[{number}] {source}"), (0, 0, 0, 0)))
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines()) + "\n"


def _sources() -> list[str]:
    return [row["source"] for row in _rows()]


def _rows() -> list[dict[str, str]]:
    return [*measures_table(), *measures_table(HEADS.values())]


def _unit(row: dict[str, str]) -> str:
    """Return the unit, unless the threshold says it already."""
    return "" if "%" in row["threshold"] else row["unit"].replace("percent", "%")
