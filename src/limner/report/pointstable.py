"""The table of points for the terminal: what is placed, where, how sure."""

from __future__ import annotations

from limner.face.byhand import HandPoints
from limner.face.placeable import PLACEABLE
from limner.report.clean import clean
from limner.report.pointspage.places import in_order

STATES = {"hand": "by hand", "found": "found"}


def points_table(points: HandPoints, name: str, *, width: int = 80) -> str:
    """The table as text, never wider than ``width`` where that is at least 60.

    Args:
        points: px of the stored picture.
        name: the picture's name.
        width: columns of the terminal.
    """
    lines = [
        f"Points of {clean(name)}, {points.width} x {points.height} px. Right and left are the sitter's own.",
        "",
        f"{'name':<9}{'across':>8}{'down':>8}{'+/-':>6}",
    ]
    for title, keys in in_order():
        lines.append(title)
        lines += [_row(points, key, width) for key in keys]
    by_hand, placed = len(points.by_hand), len(points.points)
    left = len(PLACEABLE) - placed - len(points.unseen)
    lines += ["", f"{by_hand} by hand, {placed - by_hand} found, {len(points.unseen)} not to be seen, {left} to do."]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _row(points: HandPoints, key: str, width: int) -> str:
    point = points.points.get(key)
    if point is None:
        state = "unseen" if key in points.unseen else "-"
        numbers = f"{'':>22}"
    else:
        state = STATES[point.source]
        numbers = f"{point.x:>8.1f}{point.y:>8.1f}{points.sigma_of(key):>6.1f}"
    row = f"{key:<9}{numbers}  {state:<7} {PLACEABLE[key].name}"
    return row if len(row) <= max(width, 60) else row[: max(width, 60) - 3] + "..."
