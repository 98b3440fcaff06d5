"""What has to move, in words, in the margins: none over another, each with a leader to its arrow."""

from __future__ import annotations

from collections.abc import Sequence
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


def numbers(pen: Pen, scene: Scene) -> None:
    """What moves, which way and how far, beside the picture."""
    middle = scene.margin + scene.window.picture.width / 2
    sides: dict[str, list[tuple[Move, Array]]] = {"left": [], "right": []}
    for move in reversed(scene.moves):
        start = scene.place(move.start)
        sides["left" if start[0] < middle else "right"].append((move, start))
    for side, labels in sides.items():
        _beside(pen, scene, side, labels)


def _beside(pen: Pen, scene: Scene, side: str, labels: list[tuple[Move, Array]]) -> None:
    """Write the labels of one margin from top to bottom."""
    look = pen.look
    size, room, edge = look.text, scene.margin - 52.0, 20.0
    leading = LEADING * size
    blocks = []
    for move, start in sorted(labels, key=lambda pair: float(pair[1][1])):
        names = [line for part in clean(move.name).split(", ") for line in wrapped(part, size, room)]
        ways = [line for way in move.words for line in wrapped(way, size, room)]
        blocks.append(([(n, look.white) for n in names] + [(w, look.grey) for w in ways], start))
    wanted = [float(start[1]) - 0.6 * leading for _, start in blocks]
    tops = stacked(wanted, [len(lines) * leading for lines, _ in blocks], scene.height)
    knee = scene.margin - 10.0 if side == "left" else scene.margin + scene.window.picture.width + 10.0
    for (lines, start), top in zip(blocks, tops, strict=True):
        for number, (line, colour) in enumerate(lines):
            left = knee - edge - text_width(line, size) if side == "left" else knee + edge
            pen.write(line, (left, top + number * leading), colour)
        level = top + 0.6 * leading
        beside = knee - edge + 8 if side == "left" else knee + edge - 8
        leader = np.array([[beside, level], [knee, level], start])
        pen.line(leader, look.grey, width=1.3)
        pen.dot(start, look.white, radius=3.0)


def stacked(wanted: Sequence[float], heights: Sequence[float], room: float, gap: float = 14.0) -> list[float]:
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
