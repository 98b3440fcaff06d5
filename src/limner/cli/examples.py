"""What the end of every command's help shows: commands as a painter would type them."""

from __future__ import annotations

from collections.abc import Mapping

EXAMPLES: Mapping[str, tuple[str, ...]] = {
    "": (
        "limner audit reference.jpg canvas.jpg",
        "limner model fetch",
    ),
    "audit": (
        "limner audit reference.jpg canvas.jpg",
        "limner audit reference.jpg canvas.jpg --canvas 400x500mm --overlay overlay.png --page page.html",
        "limner audit reference.jpg canvas.jpg --stage block-in --between ch_left gn --format csv",
    ),
    "canon": (
        "limner canon reference.jpg",
        "limner canon reference.jpg --points reference.points.json --format json",
    ),
    "config": (
        "limner config",
        "limner config --format json",
    ),
    "model": ("limner model fetch",),
    "model status": ("limner model status",),
    "model fetch": ("limner model fetch",),
    "points": (
        "limner points canvas.jpg",
        "limner points canvas.jpg --table --set tr=320,41.5 --save canvas.points.json",
    ),
    "prove": (
        "limner prove reference.jpg --quick",
        "limner prove reference.jpg --plot proof.png --json proof.json",
    ),
    "series": (
        "limner series reference.jpg photos",
        "limner series reference.jpg day1.jpg day2.jpg --page series.html --canvas 400x500mm",
    ),
    "sheet": (
        "limner sheet reference.jpg canvas.jpg --canvas 400x500mm --out sheet.pdf",
        "limner sheet reference.jpg --blank --canvas 400x500mm --paper a3",
    ),
    "study": ("limner study reference.jpg --canvas 400x500mm --out study.pdf",),
}
"""Command, with its sub-command -> examples."""


def epilog(command: str) -> str:
    """The examples of one command as its help ends with them."""
    examples = EXAMPLES[command]
    return "\n\n".join(("Example:" if len(examples) == 1 else "Examples:", *examples))
