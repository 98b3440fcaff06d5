"""The plot of a proof: for each measure what was planted against what was read."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from limner.proving.prove import Proof
from limner.proving.score import Z95, Reading

SHOWN = (
    "eye_width_right", "eye_width_left", "eye_opening_right", "eye_opening_left",
    "nose_width", "mouth_width", "upper_lip", "lower_lip",
    "nose_x", "nose_y", "mouth_x", "mouth_y",
    "mouth_axis", "chin_height", "face_width", "jaw_width",
)  # fmt: skip
"""Measures that get a panel, where they were read at all."""

_FINE = 2
_PANEL, _GAP, _EDGE, _HEAD = 260, 30, 46, 64
_COLUMNS = 4
_PAPER, _INK, _PALE, _BEST, _MESH = (250, 248, 243), (40, 38, 36), (205, 200, 190), (20, 82, 130), (176, 92, 40)
_UNITS = {"percent": "%", "percent of pupil distance": "% of pupils' distance", "degrees": "degrees"}


class _Panel:
    """One square with its own scale; both axes alike, so that truth is the diagonal."""

    def __init__(self, draw: ImageDraw.ImageDraw, at: tuple[int, int], reach: float) -> None:
        self.draw, self.at, self.reach = draw, at, reach

    def place(self, planted: float, recovered: float) -> tuple[float, float]:
        unit = _PANEL / 2 / self.reach
        up = float(np.clip(recovered, -self.reach, self.reach))
        return (self.at[0] + _PANEL / 2 + planted * unit) * _FINE, (self.at[1] + _PANEL / 2 - up * unit) * _FINE

    def frame(self, title: str, unit: str) -> None:
        x, y = self.at
        self.draw.rectangle([x * _FINE, y * _FINE, (x + _PANEL) * _FINE, (y + _PANEL) * _FINE], outline=_PALE, width=2)
        r = self.reach
        for a, b in (((-r, 0), (r, 0)), ((0, -r), (0, r)), ((-r, -r), (r, r))):
            self.draw.line([self.place(*a), self.place(*b)], fill=_PALE, width=2 if 0 in a else 3)
        _write(self.draw, (x, y - 21), title, 14)
        _write(self.draw, (x, y + _PANEL + 3), f"planted, ±{r:g} {unit}", 12)

    def bar(self, reading: Reading) -> None:
        if reading.recovered is None or reading.sigma is None:
            return
        ends = [self.place(reading.planted, reading.recovered + s * Z95 * reading.sigma) for s in (-1, 1)]
        self.draw.line(ends, fill=(150, 178, 200), width=_FINE)

    def dot(self, reading: Reading, *, full: bool) -> None:
        if reading.recovered is None:
            return
        x, y = self.place(reading.planted, reading.recovered)
        r = 3.2 * _FINE
        if full:
            self.draw.ellipse([x - r, y - r, x + r, y + r], fill=_BEST)
        else:
            self.draw.rectangle([x - r, y - r, x + r, y + r], outline=_MESH, width=_FINE)


def _write(draw: ImageDraw.ImageDraw, at: tuple[int, int], text: str, size: int) -> None:
    draw.text((at[0] * _FINE, at[1] * _FINE), text, fill=_INK, font=ImageFont.load_default(size * _FINE))


def plot(proof: Proof, group: str = "full") -> NDArray[np.uint8]:
    """(height, width, 3) picture: a panel for each measure; dots are limner's, squares the face finder's alone."""
    rows = [row for id_ in SHOWN for row in proof.group(group) if row.measure == id_]
    tall = max(1, -(-len(rows) // _COLUMNS))
    width = 2 * _EDGE + _COLUMNS * (_PANEL + _GAP) - _GAP
    height = _HEAD + tall * (_PANEL + _EDGE + _GAP) + _GAP
    sheet = Image.new("RGB", (width * _FINE, height * _FINE), _PAPER)
    draw = ImageDraw.Draw(sheet)
    _write(draw, (_EDGE, 12), "Planted across, read upward; the diagonal is truth", 18)
    _write(draw, (_EDGE, 36), "dots with bars: limner, give or take (95 %)     squares: the face finder alone", 13)
    for k, row in enumerate(rows):
        at = (_EDGE + k % _COLUMNS * (_PANEL + _GAP), _HEAD + 24 + k // _COLUMNS * (_PANEL + _EDGE + _GAP))
        chosen = [o for o in proof.outcomes if o.trial.group == group]
        best, mesh = (
            [r for o in chosen for r in getattr(o, who) if r.measure == row.measure] for who in ("best", "mesh")
        )
        panel = _Panel(draw, at, _reach(best + mesh))
        panel.frame(row.name, _UNITS[row.unit])
        for reading in best:
            panel.bar(reading)
        for reading in mesh:
            panel.dot(reading, full=False)
        for reading in best:
            panel.dot(reading, full=True)
    return np.asarray(sheet.resize((width, height), Image.Resampling.BOX), dtype=np.uint8)


def _reach(readings: list[Reading]) -> float:
    """A round number that everything planted fits under, and nearly everything read."""
    planted = [abs(r.planted) for r in readings]
    read = sorted(abs(r.recovered) for r in readings if r.recovered is not None)
    need = max([1e-6, *planted, *read[: max(1, int(0.97 * len(read)))]]) * 1.08
    step = 10 ** np.floor(np.log10(need))
    return float(next(m * step for m in (1, 1.5, 2, 3, 4, 5, 6, 8, 10) if m * step >= need))
