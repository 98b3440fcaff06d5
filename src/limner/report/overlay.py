"""The painting with the sitter's features drawn where they belong, and arrows to them from where they are painted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from limner.face.facepoints import POINT_COUNT, PUPIL_LEFT, PUPIL_RIGHT
from limner.face.placeable import BEYOND, OUTLINE
from limner.face.points import FEATURES
from limner.pictures.picture import Picture
from limner.report.chalk import Look, Sheet, smooth, text_width, wrapped
from limner.report.clean import clean
from limner.report.moves import Move, find_moves, told_in
from limner.report.words import held
from limner.result import AuditResult

Array = NDArray[np.float64]

DRAWN = (
    "face",
    "brow_right",
    "brow_left",
    "eye_right",
    "eye_left",
    "iris_right",
    "iris_left",
    "nose_bridge",
    "nose_base",
    "lips",
    "mouth_opening",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Window:
    """The part of a picture that is shown, and how large."""

    picture: Image.Image
    """What is shown, already at its size on the sheet."""
    origin: Array
    """(2,) array, px of the decoded picture: what lies at the upper left corner."""
    factor: float
    """px of the sheet per px of the decoded picture."""

    def place(self, points: Array) -> Array:
        """Return where points of the decoded picture, (..., 2) px, lie in the window, px."""
        return (points - self.origin) * self.factor


def look_at(picture: Picture, points: Array, *, height: int, most: float = 4.0) -> Window:
    """Return the window round the (N, 2) points of a face, with room for the hair, about ``height`` px high."""
    low, high = np.nanmin(points, axis=0), np.nanmax(points, axis=0)
    size = high - low
    low = low - size * (0.35, 0.4)
    high = high + size * (0.35, 0.2)
    full = np.array([picture.pixels.shape[1], picture.pixels.shape[0]], dtype=np.float64)
    x0, y0 = np.floor(np.clip(low, 0, full - 1)).astype(int)
    x1, y1 = np.ceil(np.clip(high, 1, full)).astype(int)
    crop = Image.fromarray(picture.pixels[y0:y1, x0:x1])
    factor = min(height / crop.height, most)
    shown = crop.resize(
        (max(1, round(crop.width * factor)), max(1, round(crop.height * factor))), Image.Resampling.LANCZOS
    )
    return Window(picture=shown, origin=np.array([x0, y0], dtype=np.float64), factor=factor)


class Overlay:
    """Draws what has to move onto a copy of the painting."""

    def __init__(self, *, look: Look | None = None, height: int = 1200, margin: int = 330, most: int = 8) -> None:
        self.look = look or Look()
        self.height = height
        self.margin = margin
        self.most = most

    def __call__(self, result: AuditResult, painting: Picture) -> NDArray[np.uint8]:
        """Return a new picture, (H, W, 3) uint8; neither the result nor the painting is changed."""
        everything = np.vstack([result.painting_points, result.should_be])
        window = look_at(painting, everything, height=self.height)
        shown = window.picture
        moves = find_moves(result, most=self.most)
        foot_text = self._foot_lines(result, moves, shown.width + 2 * self.margin)
        foot = round(82 + len(foot_text) * self._leading(self._small))
        height = max(shown.height, 700)
        board = Image.new("RGB", (shown.width + 2 * self.margin, height + foot), self.look.board)
        corner = np.array([self.margin, (height - shown.height) // 2], dtype=np.float64)
        board.paste(shown, (int(corner[0]), int(corner[1])))
        sheet = Sheet(board, self.look)
        self._outlines(sheet, result, window, corner)
        self._moves(sheet, moves, window, corner, height)
        self._key(sheet, height + 18)
        for number, line in enumerate(foot_text):
            at = (24.0, height + 66.0 + number * self._leading(self._small))
            sheet.write(line, at, self.look.grey, size=self._small)
        return sheet.finished()

    @property
    def _small(self) -> int:
        return round(self.look.text * 0.85)

    @staticmethod
    def _leading(size: int) -> float:
        return 1.35 * size

    def _outlines(self, sheet: Sheet, result: AuditResult, window: Window, corner: Array) -> None:
        hidden = {m.feature for m in result.measures if m.call == "not painted yet"}
        for name in DRAWN:
            feature = FEATURES[name]
            indices = list(feature.indices)
            is_at, should = (window.place(p[indices]) + corner for p in (result.painting_points, result.should_be))
            if name not in hidden and np.isfinite(is_at).all():
                curve = smooth(is_at, closed=feature.closed)
                sheet.line(curve, self.look.red, dashed=True, width=0.8 * self.look.line)
            if np.isfinite(should).all():
                sheet.line(smooth(should, closed=feature.closed), self.look.white)

        self._big_shape(sheet, result, window, corner)

    def _big_shape(self, sheet: Sheet, result: AuditResult, window: Window, corner: Array) -> None:
        """The head's outline wherever it is known in both, the hairline as a stroke across the forehead."""
        for places, dashed in ((result.more_points, True), (result.more_should_be, False)):
            if not len(places):
                continue
            there = window.place(places)
            there[((there < 0) | (there > window.picture.size)).any(axis=1)] = np.nan
            there += corner
            colour, width = (self.look.red, 0.8 * self.look.line) if dashed else (self.look.white, self.look.line)
            outline = there[[BEYOND[key] - POINT_COUNT for key in OUTLINE]]
            for part in known_runs(outline):
                sheet.line(smooth(part, closed=False), colour, dashed=dashed, width=width)
            middle = there[BEYOND["tr"] - POINT_COUNT]
            pupils = window.place(result.should_be[[PUPIL_RIGHT, PUPIL_LEFT]])
            across = 0.25 * (pupils[1] - pupils[0])
            if np.isfinite(middle).all() and np.isfinite(across).all():
                sheet.line(np.stack([middle - across, middle + across]), colour, dashed=dashed, width=width)

    def _moves(self, sheet: Sheet, moves: Sequence[Move], window: Window, corner: Array, height: int) -> None:
        middle = sheet.base.width / 2
        sides: dict[str, list[tuple[Move, Array]]] = {"left": [], "right": []}
        for move in reversed(moves):  # the strongest is drawn last, on top
            start, end = (window.place(point) + corner for point in (move.start, move.end))
            sheet.arrow(start, end, self.look.white)
            sides["left" if start[0] < middle else "right"].append((move, start))
        for side, labels in sides.items():
            self._labels(sheet, side, labels, height)

    def _labels(self, sheet: Sheet, side: str, labels: list[tuple[Move, Array]], height: int) -> None:
        """Write the labels of one margin from top to bottom, none over another, each with a leader to its arrow."""
        size, room, edge = self.look.text, self.margin - 52.0, 20.0
        leading = self._leading(size)
        blocks = []
        for move, start in sorted(labels, key=lambda pair: float(pair[1][1])):
            names = [line for part in clean(move.name).split(", ") for line in wrapped(part, size, room)]
            ways = [line for way in move.words for line in wrapped(way, size, room)]
            blocks.append(([(n, self.look.white) for n in names] + [(w, self.look.grey) for w in ways], start))
        wanted = [float(start[1]) - 0.6 * leading for _, start in blocks]
        tops = stacked(wanted, [len(lines) * leading for lines, _ in blocks], height)
        knee = self.margin - 10.0 if side == "left" else sheet.base.width - self.margin + 10.0
        for (lines, start), top in zip(blocks, tops, strict=True):
            for number, (line, colour) in enumerate(lines):
                left = knee - edge - text_width(line, size) if side == "left" else knee + edge
                sheet.write(line, (left, top + number * leading), colour)
            level = top + 0.6 * leading
            beside = knee - edge + 8 if side == "left" else knee + edge - 8
            leader = np.array([[beside, level], [knee, level], start])
            sheet.line(leader, self.look.grey, width=1.3)
            sheet.dot(start, self.look.white, radius=3.0)

    def _key(self, sheet: Sheet, top: float) -> None:
        x, y = 24.0, top + 14.0
        for kind, text in (
            ("solid", "where the sitter's features belong"),
            ("dashed", "as painted"),
            ("arrow", "what to move, and where to"),
        ):
            ends = np.array([[x, y], [x + 54.0, y]])
            if kind == "arrow":
                sheet.arrow(ends[0], ends[1], self.look.white)
            else:
                sheet.line(ends, self.look.white if kind == "solid" else self.look.red, dashed=kind == "dashed")
            sheet.write(text, (x + 66.0, top), self.look.white)
            x += 66.0 + text_width(text, self.look.text) + 34.0

    def _foot_lines(self, result: AuditResult, moves: Sequence[Move], width: float) -> list[str]:
        text = [
            told_in(result),
            "Sides are the sitter's own: sitter's left = picture right.",
            f"Held: {held(result.scale)}.",
        ]
        if not moves:
            text.append("No arrow: nothing departs by more than the uncertainty and what a viewer notices.")
        if any(m.witness == "mesh" for m in result.measures):
            text.append("Where only the face finder could read the paint, sizes read small.")
        return wrapped(" ".join(text), self._small, width - 48.0)


def known_runs(line: Array) -> list[Array]:
    """Return the stretches of an (N, 2) line without gaps, of two points and more.

    >>> [len(run) for run in known_runs(np.array([[0, 0], [1, 0], [np.nan, 0], [3, 0], [4, 0], [5, 0]]))]
    [2, 3]
    """
    there = np.atleast_1d(np.isfinite(line).all(axis=1))
    starts = np.flatnonzero(there & ~np.concatenate([[False], there[:-1]]))
    ends = np.flatnonzero(there & ~np.concatenate([there[1:], [False]])) + 1
    return [line[a:b] for a, b in zip(starts, ends, strict=True) if b - a > 1]


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
