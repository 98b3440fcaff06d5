"""Writes the documents that are bound to the code: python docs/build.py [--overlay].

With --overlay also the README's picture, from one session of the example studio (make demo).
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

import refer
from limner.measure.frames import HEAD_FEATURES
from limner.report.canonlist import canons_text
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


def canons_page() -> str:
    """Return docs/canons.md."""
    return f"""# The canons

This page is `limner canon --list`. Where an audit is asked with `--canons` or `--all`, the painting's way from the
sitter toward a canon, or toward the average face, is told as a share of the gap between the two, wherever that gap is
more than twice its uncertainty.

```text
{canons_text(width=WIDTH)}```
"""


def overlay_picture(session: int = 3, width: int = 960, colours: int = 160) -> Image.Image:
    """Return the overlay of one session of the example studio, made small."""
    with tempfile.TemporaryDirectory() as folder:
        demo = [sys.executable, str(HERE.parent / "demo" / "run.py"), folder, str(session)]
        subprocess.run(demo, check=True, stdout=subprocess.DEVNULL)
        with Image.open(Path(folder) / f"easel-{session}-overlay.png") as picture:
            height = round(picture.height * width / picture.width)
            small = picture.convert("RGB").resize((width, height), Image.Resampling.LANCZOS)
    return small.quantize(colours, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)


if __name__ == "__main__":
    if "--overlay" in sys.argv[1:]:
        overlay_picture().save(HERE / "overlay.png", optimize=True)
    (HERE / "measures.md").write_text(measures_page(), encoding="utf-8")
    (HERE / "canons.md").write_text(canons_page(), encoding="utf-8")
    for name, text in refer.pages().items():
        (HERE / "reference" / name).write_text(text, encoding="utf-8")
