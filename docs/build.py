"""Writes the documents that are bound to the code: python docs/build.py."""

from __future__ import annotations

from pathlib import Path

from limner.measure.frames import HEAD_FEATURES
from limner.report.listing import catalogue_text

HERE = Path(__file__).parent
WIDTH = 110


def measures_page() -> str:
    """Return docs/measures.md."""
    places = "\n".join(
        f"| {name} | {len(indices)} | {weight:g} | {', '.join('+'.join(map(str, place)) for place in indices)} |"
        for name, (indices, weight) in HEAD_FEATURES.items()
    )
    return f"""# The measures

This page is `limner audit --list`, and the points of the head fit. Numbers of points are those of the 478-point face
mesh; right and left are the sitter's own.

```text
{catalogue_text(width=WIDTH)}```

## The head fit

`--hold head` brings the painting to the reference's size by a robust fit (turn, size and place) over these places, each
the mean of the mesh points joined by `+`. No single feature can drag it.

| part | places | weight of each | mesh points |
|---|---|---|---|
{places}
"""


if __name__ == "__main__":
    (HERE / "measures.md").write_text(measures_page(), encoding="utf-8")
