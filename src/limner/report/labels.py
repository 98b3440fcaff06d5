"""What has to move, in words, in the margins: none over another, each with a leader to its arrow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from limner.report.chalk import Pen, text_width, wrapped
from limner.report.clean import clean
from limner.report.moves import Move

if TYPE_CHECKING:
    from limner.report.layers import Scene

Array = NDArray[np.float64]

LEADING = 1.35
"""From line to line, in heights of the letters."""


GAP = 14.0
"""Between two labels, px."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Label:
    """What is written of one move."""

    move: Move
    lines: tuple[tuple[str, bool], ...]
    """Each with whether it is a name, and stands out."""


def numbers(pen: Pen, scene: Scene) -> None:
    """What moves, which way and how far, beside the picture."""
    for side, labels in _sides(scene, pen.look.text).items():
        _beside(pen, scene, side, labels)


def height_of(scene: Scene, size: int) -> float:
    """How high the fuller margin's labels stand on each other, px; ``size`` is the height of the letters."""
    heights = [[len(label.lines) * LEADING * size + GAP for label in labels] for labels in _sides(scene, size).values()]
    return max(sum(column) for column in heights)


def _sides(scene: Scene, size: int) -> dict[str, list[Label]]:
    """The labels of both margins, from top to bottom."""
    middle, room = scene.margin + scene.window.picture.width / 2, scene.margin - 52.0
    sides: dict[str, list[Label]] = {"left": [], "right": []}
    for move in sorted(scene.moves, key=lambda move: float(move.start[1])):
        end = scene.place(move.end)
        told = [(part, True) for part in clean(move.name).split(", ")] + [(way, False) for way in move.words]
        if not scene.lies_on(end):
            told.append(("beyond the picture", False))
        if move.steps:
            told.append((of_steps(move.steps), False))
        lines = tuple((line, name) for text, name in told for line in wrapped(text, size, room))
        sides["left" if scene.place(move.start)[0] < middle else "right"].append(Label(move=move, lines=lines))
    return sides


def of_steps(steps: Sequence[int]) -> str:
    """The steps of the plan that make a move, in words.

    >>> of_steps([3]), of_steps([1, 2]), of_steps([1, 2, 4])
    ('step 3', 'steps 1 and 2', 'steps 1, 2 and 4')
    """
    said = [str(step) for step in steps]
    return f"step {said[0]}" if len(said) == 1 else f"steps {', '.join(said[:-1])} and {said[-1]}"


def _beside(pen: Pen, scene: Scene, side: str, labels: list[Label]) -> None:
    """Write the labels of one margin from top to bottom."""
    look = pen.look
    size, edge, leading = look.text, 20.0, LEADING * look.text
    starts = [scene.place(label.move.start) for label in labels]
    wanted = [float(start[1]) - 0.6 * leading for start in starts]
    tops = stacked(wanted, [len(label.lines) * leading for label in labels], scene.height, GAP)
    knee = scene.margin - 10.0 if side == "left" else scene.margin + scene.window.picture.width + 10.0
    for label, start, top in zip(labels, starts, tops, strict=True):
        for number, (line, name) in enumerate(label.lines):
            left = knee - edge - text_width(line, size) if side == "left" else knee + edge
            pen.write(line, (left, top + number * leading), look.white if name else look.grey)
        level = top + 0.6 * leading
        beside = knee - edge + 8 if side == "left" else knee + edge - 8
        leader = np.array([[beside, level], [knee, level], start])
        pen.line(leader, look.grey, width=1.3)
        pen.dot(start, look.white, radius=3.0)


def stacked(wanted: Sequence[float], heights: Sequence[float], room: float, gap: float = GAP) -> list[float]:
    """Return tops for blocks as near the wanted ones as can be, in their order, none over another, inside ``room``.

    Blocks that would touch are set as one pile about the mean of what they wanted (pool adjacent violators).

    >>> stacked([10.0, 12.0], [20.0, 20.0], 100.0)
    [0.0, 34.0]
    >>> stacked([90.0], [20.0], 100.0)
    [80.0]
    """
    offsets = np.concatenate([[0.0], np.cumsum(np.asarray(heights[:-1], dtype=np.float64) + gap)])[: len(wanted)]
    piles: list[tuple[float, int]] = []
    for want in np.asarray(wanted, dtype=np.float64) - offsets:
        piles.append((float(want), 1))
        while len(piles) > 1 and piles[-2][0] > piles[-1][0]:
            (a, m), (b, n) = piles[-2:]
            piles[-2:] = [((a * m + b * n) / (m + n), m + n)]
    level = np.repeat([mean for mean, _ in piles], [count for _, count in piles])
    most = room - (offsets[-1] + heights[-1]) if len(offsets) else 0.0
    return [float(top) for top in np.clip(level, 0.0, max(most, 0.0)) + offsets]
