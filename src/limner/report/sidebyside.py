"""Reference and painting beside each other at one size, with the same level, plumb and axis lines on both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from limner.face.points import NAMED_POINTS
from limner.pictures.picture import Picture
from limner.report.chalk import Look, Sheet, text_width, wrapped
from limner.report.clean import clean
from limner.report.layers import AXES, LEVELS, PLUMBS, axes
from limner.report.window import Window, look_at
from limner.report.words import held
from limner.result import AuditResult

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Fit:
    """The similarity that lays the decoded painting on the decoded reference: p -> turn @ p + shift."""

    turn: Array
    shift: Array

    def __call__(self, points: Array) -> Array:
        return np.asarray(points @ self.turn.T + self.shift, dtype=np.float64)


class SideBySide:
    """Draws both pictures at the reference's size; the painting is only scaled, turned and shifted as a whole."""

    def __init__(self, *, look: Look | None = None, height: int = 1100, gap: int = 28) -> None:
        self.look = look or Look()
        self.height = height
        self.gap = gap

    def __call__(self, result: AuditResult, reference: Picture, painting: Picture) -> NDArray[np.uint8]:
        """Return a new picture, (H, W, 3) uint8; neither the result nor the pictures are changed."""
        fit = _lay_on(result.should_be, result.reference_points)
        both = np.vstack([result.reference_points, fit(result.painting_points)])
        window = look_at(reference, both, height=self.height)
        width, height = window.picture.size
        head, label = 48, 110
        small = round(0.85 * self.look.text)
        notes = self._notes(result, 2 * width + self.gap + label)
        foot = round(30 + len(notes) * 1.35 * small)
        board = Image.new("RGB", (2 * width + self.gap + label, height + head + foot), self.look.board)
        corners = [np.array([x, head], dtype=np.float64) for x in (0, width + self.gap + label)]
        board.paste(window.picture, (0, head))
        board.paste(self._laid(painting, fit, window), (int(corners[1][0]), head))
        sheet = Sheet(board, self.look)
        sitter = window.place(result.reference_points)
        painted = window.place(fit(result.painting_points))
        for corner in corners:
            self._lines(sheet, sitter, corner, (width, height))
        self._axes(sheet, painted, corners[1], (width, height), dashed=True)
        self._level_names(sheet, sitter, width, height, label)
        for corner, name in zip(
            corners, (f"reference: {result.reference.name}", f"painting: {result.painting.name}"), strict=True
        ):
            self._title(sheet, clean(name), corner[0], width)
        for number, line in enumerate(notes):
            sheet.write(line, (16.0, height + head + 14 + number * 1.35 * small), self.look.grey, size=small)
        return sheet.finished()

    def _laid(self, painting: Picture, fit: _Fit, window: Window) -> Image.Image:
        """Return the painting resampled so that the window shows it where it lies on the reference."""
        size = window.picture.size
        shrink = max(1, int(1.0 / (np.sqrt(abs(np.linalg.det(fit.turn))) * window.factor)))
        source = Image.fromarray(painting.pixels)
        if shrink > 1:
            source = source.reduce(shrink)
        # From px of the window to px of the painting, both counted from the edge, as Pillow does.
        back = np.linalg.inv(fit.turn)
        turn = back / window.factor
        shift = back @ (window.origin - fit.shift)
        rows = np.column_stack([turn, shift]) / shrink
        return source.transform(
            size,
            Image.Transform.AFFINE,
            data=[float(v) for v in rows.ravel()],
            resample=Image.Resampling.BICUBIC,
            fillcolor=self.look.board,
        )

    def _lines(self, sheet: Sheet, sitter: Array, corner: Array, size: tuple[int, int]) -> None:
        width, height = size
        for _, y in _levels(sitter, height):
            sheet.line(np.array([[0.0, y], [width - 1.0, y]]) + corner, self.look.grey, width=1.2, rim=True)
        for key in PLUMBS:
            x = float(_place(sitter, key)[0])
            if not 0 <= x < width:  # also where the point is not there
                continue
            sheet.line(np.array([[x, 0.0], [x, height - 1.0]]) + corner, self.look.grey, width=1.2, rim=True)
        self._axes(sheet, sitter, corner, size)

    def _axes(self, sheet: Sheet, points: Array, corner: Array, size: tuple[int, int], *, dashed: bool = False) -> None:
        ends = [[_place(points, key) + corner for key in pair] for pair in AXES]
        axes(sheet, ends, (corner, corner + size), dashed=dashed)

    def _level_names(self, sheet: Sheet, sitter: Array, width: int, height: int, room: int) -> None:
        small = round(0.85 * self.look.text)
        for name, y in _levels(sitter, height):
            left = width + (self.gap + room - text_width(name, small)) / 2
            sheet.write(name, (left, y + 48 - 0.6 * small), self.look.grey, size=small)

    def _title(self, sheet: Sheet, text: str, left: float, width: int) -> None:
        shown = text
        while len(shown) > 4 and text_width(shown, self.look.text) > width - 32:
            shown = f"{shown[:-4].rstrip('.')}..."
        sheet.write(shown, (left + 16.0, 10.0), self.look.white)

    def _notes(self, result: AuditResult, width: float) -> list[str]:
        text = (
            "All lines but the dashed ones are the sitter's, and lie at the same place on both pictures: levels and "
            "plumbs thin, axes of eyes, mouth and centre line bold. Dashed on the painting: its own axes. "
            f"Held: {held(result.scale)}. Sitter's left = picture right."
        )
        return wrapped(text, round(0.85 * self.look.text), width - 32.0)


def _place(points: Array, key: str) -> Array:
    return np.asarray(points[list(NAMED_POINTS[key].indices)].mean(axis=0), dtype=np.float64)


def _levels(sitter: Array, height: int) -> list[tuple[str, float]]:
    """Return name and height of each level line that lies on a picture so high."""
    named = [(name, float(np.mean([_place(sitter, key)[1] for key in keys]))) for name, keys in LEVELS]
    return [(name, y) for name, y in named if 0 <= y < height]


def _lay_on(source: Array, target: Array) -> _Fit:
    """Return the least-squares similarity from (N, 2) points to (N, 2) points, by complex numbers."""
    known = np.isfinite(source).all(axis=1) & np.isfinite(target).all(axis=1)
    source, target = source[known], target[known]
    p, q = source[:, 0] + 1j * source[:, 1], target[:, 0] + 1j * target[:, 1]
    p0, q0 = p.mean(), q.mean()
    ratio = np.vdot(p - p0, q - q0) / np.vdot(p - p0, p - p0)
    shift = q0 - ratio * p0
    turn = np.array([[ratio.real, -ratio.imag], [ratio.imag, ratio.real]])
    return _Fit(turn=turn, shift=np.array([shift.real, shift.imag]))
