"""The layer of the overlay that shows the shadows as shapes: where their edges belong, and where they are painted."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from limner.report.chalk import Pen

if TYPE_CHECKING:
    from limner.report.layers import Scene


def shadow(pen: Pen, scene: Scene) -> None:
    """Edges of the shadows, thin; those that are off with an arrow from where they are painted to where they belong."""
    report = scene.result.values
    if report is None:
        return
    for shape in report.shadows:
        for lines, colour, dashed in ((shape.belongs, pen.look.white, False), (shape.painted, pen.look.red, True)):
            for line in lines:
                for part in scene.shown(scene.place(np.array(line))):
                    pen.line(part, colour, dashed=dashed, width=0.7 * pen.look.line)
    right, left = scene.result.painting_points[[468, 473]]
    apart = float(np.hypot(*(left - right)))
    for finding in report.findings:
        moved = finding.call in ("off", "slight") and finding.kind in ("shadow edge", "cast shadow")
        if moved and finding.place is not None and finding.move is not None:
            end = np.array(finding.place)
            scene.arrow(pen, scene.place(end + np.array(finding.move) * apart), scene.place(end))


def no_shadow(scene: Scene) -> str:
    """Why there is no edge of a shadow."""
    report = scene.result.values
    if report is None:
        return "No edges of shadows: values were not compared."
    return "" if report.shadows else "No edges of shadows: none could be read in both pictures."
