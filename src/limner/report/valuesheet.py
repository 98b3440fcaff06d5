"""The value sheet: both faces in greys, in three values and simplified, and where they differ."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from limner.errors import UsageError
from limner.face.points import FEATURES
from limner.pictures.cielab import to_levels
from limner.pictures.picture import Picture
from limner.report.chalk import Colour, Look, Sheet, smooth, text_width, wrapped
from limner.result import AuditResult
from limner.values.bring import UNIT
from limner.values.faces import Faces
from limner.values.lamps import LampPhoto
from limner.values.masses import SIMPLE, softened
from limner.values.read import asked_in, faces_in
from limner.values.simple import squinted
from limner.values.tone import luminance_of_value
from limner.valuesresult import ValuesReport

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

LARGER = 1.2
"""px of the sheet per px of the working frame."""
FLAT = 5.5
"""Value that stands for no difference on the map of differences."""
REACH = 2.0
"""Steps of difference at either end of its scale."""
_GAP, _HEAD, _SMALL = 16, 44, 19
_OUTLINES = ("brow_right", "brow_left", "eye_right", "eye_left", "nose_base", "upper_lip", "lower_lip", "face")


class ValueSheet:
    """Draws the sheet; the painting's drawing is laid on the sitter's, so that only values differ."""

    def __init__(self, *, look: Look | None = None) -> None:
        self.look = look or Look()

    def __call__(
        self, result: AuditResult, reference: Picture, painting: Picture, lamps: tuple[LampPhoto, ...] = ()
    ) -> Pixels:
        """Return a new picture, (H, W, 3) uint8; neither the result nor the pictures are changed.

        ``lamps`` are further photos of the painting, as the audit took them.

        Raises UsageError where the result has no values.
        """
        faces = None if result.values is None else faces_in(reference, painting, asked_in(result, lamps))
        if faces is None or result.values is None:
            raise UsageError(
                "--value-sheet: expected an audit with values, but there are none; leave out --no-values, or place "
                "more points."
            )
        return self._drawn(faces, result.values)

    def _drawn(self, faces: Faces, report: ValuesReport) -> Pixels:
        panels = _panels(faces, report)
        height, width = (round(side * LARGER) for side in faces.size)
        across, notes = 4 * width + 5 * _GAP, self._notes(report, 4 * width + 3 * _GAP)
        foot = 20 + round(len(notes) * 1.35 * _SMALL)
        board = Image.new("RGB", (across, 2 * (height + _HEAD) + foot + _GAP), self.look.board)
        places = []
        for number, (_, plane) in enumerate(panels):
            at = (_GAP + number % 4 * (width + _GAP), _HEAD + number // 4 * (height + _HEAD))
            places.append(at)
            board.paste(Image.fromarray(grey(plane)).resize((width, height), Image.Resampling.BICUBIC), at)
        sheet = Sheet(board, self.look)
        for (title, _), (x, y) in zip(panels, places, strict=True):
            sheet.write(title, (x + 4.0, y - 30.0), self.look.white, size=_SMALL)
        self._differences(sheet, faces, report, places[6])
        x, y = _GAP + 3 * (width + _GAP), _HEAD + height + _HEAD
        self._legend(sheet, report, (x, y), (width, height))
        for number, line in enumerate(notes):
            below = (_GAP + 4.0, 2 * (height + _HEAD) + 14 + number * 1.35 * _SMALL)
            sheet.write(line, below, self.look.grey, size=_SMALL)
        return sheet.finished()

    def _differences(self, sheet: Sheet, faces: Faces, report: ValuesReport, at: tuple[int, int]) -> None:
        """Outlines to find one's way, and a signed number where a region is off."""
        for name in _OUTLINES:
            feature = FEATURES[name]
            outline = smooth(faces.brought.points[list(feature.indices)], closed=feature.closed) * LARGER + at
            ring = np.vstack([outline, outline[:1]]) if feature.closed else outline
            sheet.line(ring, self.look.edge, width=1.0, rim=False)
        for region in report.regions:
            if region.call in ("off", "slight") and region.local.value is not None:
                x, y = faces.centres[region.id]
                mark = "" if region.call == "off" else "?"
                place = (x * LARGER + at[0], y * LARGER + at[1])
                sheet.tag(f"{region.local.value:+.1f}{mark}", place, self.look.white)

    def _legend(self, sheet: Sheet, report: ValuesReport, at: tuple[int, int], size: tuple[int, int]) -> None:
        """The scale of the map, the scale of values, and what is off."""
        x, y = at
        width, height = size
        sheet.write("Painted darker", (x + 4.0, y + 2.0), self.look.white, size=_SMALL)
        lighter = "painted lighter"
        sheet.write(lighter, (x + width - 4 - text_width(lighter, _SMALL), y + 2.0), self.look.white, size=_SMALL)
        steps = (-2, -1, 0, 1, 2)
        for k, step in enumerate(steps):
            self._patch(
                sheet,
                (x + k * width / 5, y + 30),
                (width / 5, 40),
                FLAT + step * (4.0 / REACH),
                f"{step:+d}" if step else "0",
            )
        sheet.write("Values, black to white", (x + 4.0, y + 108.0), self.look.white, size=_SMALL)
        for value in range(11):
            self._patch(sheet, (x + value * width / 11, y + 136), (width / 11, 40), float(value), str(value))
        lines: list[str] = []
        for finding in report.findings:
            if finding.call == "off" and finding.text not in lines:
                lines += [
                    line if k else f"- {line}" for k, line in enumerate(wrapped(finding.text, _SMALL, width - 24.0))
                ]
        lines = lines or ["Nothing is off in the values."]
        room = int((height - 220) / (1.3 * _SMALL))
        if len(lines) > room:
            lines = [*lines[: room - 1], "... the text of the audit has the rest"]
        for number, line in enumerate(lines):
            sheet.write(line, (x + 4.0, y + 214 + number * 1.3 * _SMALL), self.look.white, size=_SMALL)

    def _patch(self, sheet: Sheet, at: tuple[float, float], size: tuple[float, float], value: float, name: str) -> None:
        level = int(grey(np.array([[value]]))[0, 0])
        colour: Colour = (level, level, level)
        middle = at[1] + size[1] / 2
        line = np.array(
            [[at[0] + size[1] / 2, middle], [at[0] + max(size[0] - size[1] / 2, size[1] / 2 + 0.5), middle]]
        )
        sheet.line(line, colour, width=size[1] * 0.9, rim=False)
        left = at[0] + (size[0] - text_width(name, _SMALL)) / 2
        sheet.write(name, (left, at[1] + size[1] + 4), self.look.grey, size=_SMALL)

    def _notes(self, report: ValuesReport, width: float) -> list[str]:
        text = (
            "The painting's drawing is laid on the sitter's, so that only values differ. "
            f"{report.match.said} {report.match.blind_to} Numbers on the map are steps of value; a question mark is "
            "slightly off; the map leaves out what the range as a whole explains. Sitter's left = picture right."
        )
        return wrapped(text, _SMALL, width - 8.0)


def grey(plane: NDArray[np.floating]) -> Pixels:
    """8-bit grey levels of an array of values 0 to 10; same shape."""
    y = luminance_of_value(np.clip(np.asarray(plane, dtype=np.float64), 0, 10))
    return np.asarray(np.rint(255 * to_levels(y)), dtype=np.uint8)


def _panels(faces: Faces, report: ValuesReport) -> list[tuple[str, NDArray[np.floating]]]:
    """Title and (h, w) values of each panel, row by row."""
    cuts = report.plans[1].thresholds
    seen, painted = softened(faces.reference, SIMPLE), softened(faces.painting, SIMPLE)
    inside = faces.outline
    tones = _tones(seen[inside], cuts)
    dark = report.plans[0].thresholds[0]
    return [
        ("sitter in greys", faces.reference),
        ("painting in greys", faces.painting),
        ("sitter in three values", tones[np.digitize(seen, cuts)]),
        ("painting in three values", tones[np.digitize(painted, cuts)]),
        ("sitter, eyes half closed", squinted(faces.reference, dark)),
        ("painting, eyes half closed", squinted(faces.painting, dark)),
        ("painting less sitter", difference(faces, report)),
    ]


def difference(faces: Faces, report: ValuesReport) -> NDArray[np.floating]:
    """(h, w) values: mid-grey where nothing differs, two values of it for a step."""
    slope = report.slope.value or 1.0
    used = faces.flesh & faces.held
    middle = float(np.median(faces.aim[used])) if used.any() else 5.0
    shift = float(np.median((faces.painting - faces.aim)[used])) if used.any() else 0.0
    expected = middle + shift + slope * (faces.aim - middle)
    apart = softened(np.asarray(faces.painting - expected, dtype=np.float32), 0.03)
    apart = np.clip(apart, -REACH, REACH) * (4.0 / REACH)
    away = cv2.distanceTransform((~faces.outline).astype(np.uint8), cv2.DIST_L2, 3) / UNIT
    fade = np.clip((0.35 - away) / 0.15, 0, 1)
    return np.asarray(FLAT + apart * fade)


def _tones(seen: NDArray[np.floating], cuts: tuple[float, ...]) -> Array:
    """The middle value of each mass in the reference."""
    mass = np.digitize(seen, cuts)
    edges = (2.0, *cuts, 9.0)
    return np.array(
        [
            float(np.median(seen[mass == k])) if (mass == k).any() else (edges[k] + edges[k + 1]) / 2
            for k in range(len(cuts) + 1)
        ]
    )
