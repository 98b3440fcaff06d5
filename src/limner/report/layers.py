"""The layers of the overlay, each declared once: its name, what it shows, how it is drawn, its line in the key.

A layer that needs more than points (an edge of the shadows, say) finds both pictures in the :class:`Scene`. To add one,
write a function ``(pen, scene)`` and put a :class:`Layer` into :data:`LAYERS`; the order there is the order of drawing.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from limner.errors import UsageError
from limner.face.facepoints import POINT_COUNT, PUPIL_LEFT, PUPIL_RIGHT
from limner.face.placeable import BEYOND, OUTLINE
from limner.face.points import FEATURES, NAMED_POINTS
from limner.measure.shapes import NEGATIVES
from limner.pictures.picture import Picture
from limner.report.chalk import SHAFT, Pen, outline, smooth
from limner.report.labels import numbers
from limner.report.moves import Move
from limner.report.shadowlayer import no_shadow, shadow
from limner.report.window import Window, inside, known_runs
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
LEVELS = (
    ("brows", ("bp_right", "bp_left")),
    ("eyes", ("p_right", "p_left")),
    ("nose base", ("sn",)),
    ("mouth", ("ch_right", "ch_left")),
    ("chin", ("gn",)),
)
"""Level lines: what each is called, and the points whose mean height it has."""
PLUMBS = ("p_right", "sn", "p_left")
"""Points a plumb line hangs through."""
AXES = (("p_right", "p_left"), ("ch_right", "ch_left"), ("n", "gn"))
"""Pairs of points an axis runs through: eyes, mouth, centre line."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Scene:
    """What every layer is drawn from, and where on the sheet."""

    result: AuditResult
    painting: Picture
    reference: Picture | None
    """``None`` where the overlay was asked for without it."""
    window: Window
    """What of the painting is shown."""
    corner: Array
    """(2,) array, px of the sheet: the window's upper left corner."""
    margin: float
    """Width of the margin on each side, px."""
    height: float
    """Of the sheet without its foot, px."""
    moves: Sequence[Move]
    """Those that begin on the picture."""
    beyond: Sequence[Move] = ()
    """Those that begin outside it, and are not drawn."""

    def place(self, points: Array) -> Array:
        """Return where points of the decoded painting, (..., 2) px, lie on the sheet, px."""
        return self.window.place(points) + self.corner

    def named(self, points: Array, key: str) -> Array:
        """(2,) array, px of the sheet: a named point among (478, 2) points of the painting; NaN where it is not."""
        return self.place(points[list(NAMED_POINTS[key].indices)].mean(axis=0))

    @property
    def box(self) -> tuple[Array, Array]:
        """Upper left and lower right corner of the picture, px of the sheet: beyond it stand the words."""
        return self.corner, self.corner + np.array(self.window.picture.size, dtype=np.float64)

    def shown(self, curve: Array) -> list[Array]:
        """Return the stretches of an (N, 2) curve on the sheet that lie on the picture."""
        return inside(curve, *self.box)

    def lies_on(self, place: Array) -> bool:
        """Whether a place of the sheet lies on the picture."""
        low, high = self.box
        return bool((place >= low).all() and (place <= high).all())

    def arrow(self, pen: Pen, start: Array, end: Array) -> None:
        """An arrow between two places of the sheet; without a head, up to the edge, where it leads off the picture."""
        if self.lies_on(start) and self.lies_on(end):
            pen.arrow(start, end, pen.look.white)
        elif self.lies_on(start):
            for part in self.shown(np.stack([start, end])):
                pen.line(part, pen.look.white, width=SHAFT)

    @property
    def hidden(self) -> frozenset[str]:
        """Features that are not painted yet."""
        return frozenset(m.feature for m in self.result.measures if m.call == "not painted yet")


@dataclass(frozen=True, kw_only=True)
class Layer:
    """One layer of the overlay."""

    name: str
    """As ``--layers`` takes it."""
    title: str
    """What it shows, in the key and in an SVG."""
    draw: Callable[[Pen, Scene], None]
    sign: Literal["solid", "dashed", "both", "arrow", "thin", "hatched", "none"]
    """How the key shows it; ``none`` leaves it out of the key."""
    usual: bool = False
    """Whether it is drawn when no layers are asked for."""
    missing: Callable[[Scene], str] = lambda _scene: ""
    """Why there is nothing of it to draw, as a sentence; empty where there is. What is not drawn is not in the key."""


def painted(pen: Pen, scene: Scene) -> None:
    """Outlines as they are painted, dashed."""
    for name in DRAWN:
        places = scene.place(scene.result.painting_points[list(FEATURES[name].indices)])
        if name not in scene.hidden and np.isfinite(places).all():
            for curve in scene.shown(outline(places, closed=FEATURES[name].closed)):
                pen.line(curve, pen.look.red, dashed=True, width=0.8 * pen.look.line)
    _big_shape(pen, scene, scene.result.more_points, dashed=True)


def belongs(pen: Pen, scene: Scene) -> None:
    """Outlines where the sitter's features belong."""
    for name in DRAWN:
        places = scene.place(scene.result.should_be[list(FEATURES[name].indices)])
        if np.isfinite(places).all():
            for curve in scene.shown(outline(places, closed=FEATURES[name].closed)):
                pen.line(curve, pen.look.white)
    _big_shape(pen, scene, scene.result.more_should_be, dashed=False)


def _big_shape(pen: Pen, scene: Scene, places: Array, *, dashed: bool) -> None:
    """The head's outline wherever it is known, the hairline as a stroke across the forehead."""
    if not len(places):
        return
    there = scene.place(places)
    colour, width = (pen.look.red, 0.8 * pen.look.line) if dashed else (pen.look.white, pen.look.line)
    head = there[[BEYOND[key] - POINT_COUNT for key in OUTLINE]]
    for run in known_runs(head):
        for part in scene.shown(smooth(run, closed=False)):
            pen.line(part, colour, dashed=dashed, width=width)
    middle = there[BEYOND["tr"] - POINT_COUNT]
    pupils = scene.window.place(scene.result.should_be[[PUPIL_RIGHT, PUPIL_LEFT]])
    across = 0.25 * (pupils[1] - pupils[0])
    for part in scene.shown(np.stack([middle - across, middle + across])):
        pen.line(part, colour, dashed=dashed, width=width)


def arrows(pen: Pen, scene: Scene) -> None:
    """What has to move, from where it is painted to where it belongs."""
    for move in reversed(scene.moves):  # the strongest is drawn last, on top
        scene.arrow(pen, scene.place(move.start), scene.place(move.end))


def no_arrows(scene: Scene) -> str:
    """Why there is no arrow."""
    if scene.moves or scene.beyond:
        return ""
    return "No arrow: nothing departs by more than the uncertainty and what a viewer notices."


def lines(pen: Pen, scene: Scene) -> None:
    """Level and plumb lines through where things belong, and the axes of both faces."""
    width, height = scene.window.picture.size
    left, top = scene.corner
    should, is_at = scene.result.should_be, scene.result.painting_points
    levels = [(name, [scene.named(should, key)[1] for key in keys]) for name, keys in LEVELS]
    for _, ys in levels:
        y = float(np.mean(ys))
        if top <= y < top + height:
            pen.line(np.array([[left, y], [left + width - 1.0, y]]), pen.look.grey, width=1.2)
    for key in PLUMBS:
        x = float(scene.named(should, key)[0])
        if left <= x < left + width:
            pen.line(np.array([[x, top], [x, top + height - 1.0]]), pen.look.grey, width=1.2)
    for points, dashed in ((is_at, True), (should, False)):
        axes(pen, [[scene.named(points, key) for key in ends] for ends in AXES], scene.box, dashed=dashed)
    small = round(0.85 * pen.look.text)
    for name, ys in levels:
        if top <= float(np.mean(ys)) < top + height:
            pen.tag(name, (left + 52.0, float(np.mean(ys))), pen.look.white, size=small)


def axes(pen: Pen, ends: Sequence[Sequence[Array]], box: tuple[Array, Array], *, dashed: bool = False) -> None:
    """Lines through pairs of places, drawn a quarter beyond them within the box; dashed as painted."""
    for a, b in ends:
        reach = 0.25 * (b - a)
        for part in inside(np.vstack([a - reach, b + reach]), *box):
            pen.line(part, pen.look.red if dashed else pen.look.white, dashed=dashed)


def negatives(pen: Pen, scene: Scene) -> None:
    """The shapes between the features: hatched where they belong, dashed as painted."""
    for number, measure in enumerate(NEGATIVES):
        rows = list(measure.own_points)
        should, is_at = (scene.place(p[rows]) for p in (scene.result.should_be, scene.result.painting_points))
        if np.isfinite(should).all():
            for stroke in hatching(should, 45.0 if number else -45.0):
                for part in scene.shown(stroke):
                    pen.line(part, pen.look.white, width=0.9)
            for part in scene.shown(_closed(should)):
                pen.line(part, pen.look.white, width=0.8 * pen.look.line)
        if not scene.hidden & set(measure.features) and np.isfinite(is_at).all():
            for part in scene.shown(_closed(is_at)):
                pen.line(part, pen.look.red, dashed=True, width=0.8 * pen.look.line)


def hatching(outline: Array, angle: float, apart: float = 26.0) -> list[Array]:
    """Parallel strokes inside an (N, 2) outline, each a (2, 2) array; ``angle`` degrees clockwise, ``apart`` px.

    >>> strokes = hatching(np.array([[0.0, 0.0], [60.0, 0.0], [60.0, 60.0], [0.0, 60.0]]), 0.0, 20.0)
    >>> [stroke.tolist() for stroke in strokes]
    [[[0.0, 10.0], [60.0, 10.0]], [[0.0, 30.0], [60.0, 30.0]], [[0.0, 50.0], [60.0, 50.0]]]
    """
    along = np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
    across = np.array([-along[1], along[0]])
    ring = _closed(outline)
    level, far = ring @ across, ring @ along
    strokes = []
    for height in np.arange(level.min() + apart / 2, level.max(), apart):
        above = level > height
        crossed = np.flatnonzero(above[1:] != above[:-1])
        share = (height - level[crossed]) / (level[crossed + 1] - level[crossed])
        ends = np.sort(far[crossed] + share * (far[crossed + 1] - far[crossed]))
        strokes += [np.outer(pair, along) + height * across for pair in ends.reshape(-1, 2)]
    return strokes


def _closed(outline: Array) -> Array:
    return np.vstack([outline, outline[:1]])


LAYERS: tuple[Layer, ...] = (
    Layer(name="negatives", title="shapes between features, where they belong", draw=negatives, sign="hatched"),
    Layer(name="lines", title="levels and plumbs where they belong; axes bold", draw=lines, sign="thin"),
    Layer(name="shadow", title="edges of the shadows; dashed as painted", draw=shadow, sign="both", missing=no_shadow),
    Layer(name="painted", title="as painted", draw=painted, sign="dashed", usual=True),
    Layer(name="belongs", title="where the sitter's features belong", draw=belongs, sign="solid", usual=True),
    Layer(
        name="arrows",
        title="what to move, and where to",
        draw=arrows,
        sign="arrow",
        usual=True,
        missing=no_arrows,
    ),
    Layer(name="numbers", title="how far, in words", draw=numbers, sign="none", usual=True),
)
"""Every layer, from the lowest to the topmost."""

USUAL = tuple(layer.name for layer in LAYERS if layer.usual)


def chosen(text: str | None) -> tuple[str, ...]:
    """Names of the layers that ``--layers`` asks for, such as ``belongs,arrows``; the usual ones where it does not.

    Raises:
        UsageError: for an unknown name, with the nearest known one, or none at all.
    """
    if text is None:
        return USUAL
    known = [layer.name for layer in LAYERS]
    asked = [name.strip().casefold() for name in text.split(",")]
    for name in asked:
        if name not in known:
            near = difflib.get_close_matches(name[:100], known, n=1, cutoff=0.6)
            todo = f"Did you mean '{near[0]}'?" if near else f"Choose from: {', '.join(known)}."
            raise UsageError(f"--layers: there is no layer called '{name[:40]}'. {todo}")
    return tuple(asked)
