"""The painting with the sitter's features drawn where they belong, and arrows to them from where they are painted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from limner.pictures.picture import Picture
from limner.report.chalk import Look, Pen, Sheet, text_width, wrapped
from limner.report.clean import clean
from limner.report.labels import LEADING, height_of
from limner.report.layers import LAYERS, USUAL, Layer, Scene, hatching
from limner.report.moves import after_stretch, find_moves, told_in
from limner.report.vector import Drawing
from limner.report.window import look_at
from limner.report.words import held
from limner.result import AuditResult

Array = NDArray[np.float64]
AnyPen = TypeVar("AnyPen", bound=Pen)

NARROW = 24
"""Width of the margins where no words stand in them, px."""


class Overlay:
    """Draws what has to move onto a copy of the painting."""

    def __init__(
        self,
        *,
        look: Look | None = None,
        height: int = 1200,
        margin: int = 330,
        most: int = 8,
        layers: Sequence[str] = USUAL,
    ) -> None:
        """Choose the look, the height of the picture, the room for words, the most arrows, and layers by name."""
        self.look = look or Look()
        self.height = height
        self.most = most
        self.layers = tuple(layer for layer in LAYERS if layer.name in layers)
        self.margin = margin if "numbers" in layers else NARROW

    def __call__(self, result: AuditResult, painting: Picture, reference: Picture | None = None) -> NDArray[np.uint8]:
        """Return a new picture, (H, W, 3) uint8; neither the result nor the pictures are changed."""

        def on_board(scene: Scene, size: tuple[int, int]) -> Sheet:
            board = Image.new("RGB", size, self.look.board)
            board.paste(scene.window.picture, (int(scene.corner[0]), int(scene.corner[1])))
            return Sheet(board, self.look)

        return self._drawn(result, painting, reference, on_board).finished()

    def svg(self, result: AuditResult, painting: Picture, reference: Picture | None = None) -> bytes:
        """Return the same as an SVG: the painting is in it, each layer is a group with a title.

        Where the size of the canvas is known its unit is true: printed at its own size, the face is the canvas's.
        """

        def on_sheet(scene: Scene, size: tuple[int, int]) -> Drawing:
            mm = result.canvas.mm_per_px.value if result.canvas else None
            drawing = Drawing(size, self.look, mm_per_px=mm / scene.window.factor if mm else None)
            drawing.layer("painting", "the photo of the canvas")
            drawing.picture(scene.window.picture, (float(scene.corner[0]), float(scene.corner[1])))
            return drawing

        return self._drawn(result, painting, reference, on_sheet).finished()

    def _drawn(
        self,
        result: AuditResult,
        painting: Picture,
        reference: Picture | None,
        start: Callable[[Scene, tuple[int, int]], AnyPen],
    ) -> AnyPen:
        scene = self._scene(result, painting, reference)
        high, width = round(scene.height), scene.window.picture.width + 2 * self.margin
        told = [layer.missing(scene) for layer in self.layers]
        places, deep = self._key_places([layer for layer, why in zip(self.layers, told, strict=True) if not why], width)
        foot = self._foot_lines(scene, told, width)
        pen = start(scene, (width, high + round(26 + deep + len(foot) * LEADING * self._small)))
        for layer in self.layers:
            pen.layer(layer.name, layer.title)
            layer.draw(pen, scene)
        pen.layer("key", "what the lines are")
        for layer, (x, y) in places:
            self._sign(pen, layer, x, high + 18 + y)
        for number, line in enumerate(foot):
            at = (24.0, high + 10 + deep + number * LEADING * self._small)
            pen.write(line, at, self.look.grey, size=self._small)
        return pen

    def _scene(self, result: AuditResult, painting: Picture, reference: Picture | None) -> Scene:
        """What is drawn: the picture high enough for the words beside it, and the moves that begin on it."""
        window = look_at(painting, np.vstack([result.painting_points, result.should_be]), height=self.height)
        scene = Scene(
            result=result,
            painting=painting,
            reference=reference,
            window=window,
            corner=np.array([self.margin, 0.0]),
            margin=self.margin,
            height=window.picture.height,
            moves=(),
        )
        moves = find_moves(result, most=self.most)
        on = [move for move in moves if scene.lies_on(scene.place(move.start))]
        scene = replace(scene, moves=on, beyond=[move for move in moves if move not in on])
        words = "numbers" in (layer.name for layer in self.layers)
        high = round(max(scene.height, 700, height_of(scene, self.look.text))) if words else round(scene.height)
        corner = np.array([self.margin, (high - window.picture.height) // 2], dtype=np.float64)
        return replace(scene, height=high, corner=corner)

    @property
    def _small(self) -> int:
        return round(self.look.text * 0.85)

    def _key_places(
        self, layers: Sequence[Layer], width: float
    ) -> tuple[list[tuple[Layer, tuple[float, float]]], float]:
        """Where each layer's sign stands below the picture, and how deep the key is, px."""
        x, y, line = 24.0, 0.0, 1.6 * self.look.text
        places = []
        for layer in layers:
            if layer.sign == "none":
                continue
            wide = 66.0 + text_width(layer.title, self.look.text)
            if x > 24.0 and x + wide > width - 24.0:
                x, y = 24.0, y + line
            places.append((layer, (x, y)))
            x += wide + 34.0
        return places, y + 56.0

    def _sign(self, pen: Pen, layer: Layer, x: float, top: float) -> None:
        y = top + 14.0
        ends = np.array([[x, y], [x + 54.0, y]])
        if layer.sign == "arrow":
            pen.arrow(ends[0], ends[1], self.look.white)
        elif layer.sign == "hatched":
            box = np.array([[x, y - 12], [x + 54, y - 12], [x + 54, y + 12], [x, y + 12]])
            for stroke in hatching(box, 45.0, 13.0):
                pen.line(stroke, self.look.white, width=0.9)
        elif layer.sign == "both":
            for up, colour in ((-5.0, self.look.white), (5.0, self.look.red)):
                pen.line(ends + (0.0, up), colour, dashed=up > 0, width=0.7 * self.look.line)
        elif layer.sign == "thin":
            pen.line(ends, self.look.grey, width=1.2)
        else:
            colour = self.look.white if layer.sign == "solid" else self.look.red
            pen.line(ends, colour, dashed=layer.sign == "dashed")
        pen.write(layer.title, (x + 66.0, top), self.look.white)

    def _foot_lines(self, scene: Scene, told: Sequence[str], width: float) -> list[str]:
        result, names = scene.result, [layer.name for layer in self.layers]
        text = [
            *([told_in(result)] if "numbers" in names else []),
            "Sides are the sitter's own: sitter's left = picture right.",
            f"Held: {held(result.scale)}.",
        ]
        first = after_stretch(result)
        if first is not None and scene.moves:
            text.append(f"The arrows begin after step {first.step} of the plan: {clean(first.text)}")
        if "numbers" in names and any(move.steps for move in scene.moves):
            text.append("Steps are the plan's, as page and sheet number them; a move without one is in no step.")
        if scene.beyond and {"arrows", "numbers"} & set(names):
            outside = "; ".join(f"{clean(move.name)} {', '.join(move.words)}" for move in scene.beyond)
            text.append(f"Outside the picture, and not drawn: {outside}.")
        text += [why for why in told if why]
        if any(m.witness == "mesh" for m in result.measures):
            text.append("Where only the face finder could read the paint, sizes read small.")
        return wrapped(" ".join(text), self._small, width - 48.0)
