"""The plots of a series: both numbers over the photos, the families, and every measure in every photo.

Drawn as marks in millimetres, so that PNG and SVG show the same. Nothing is told by colour: the strip has a sign and a
shade, and shades differ in lightness only.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from limner.report.clean import clean
from limner.series.compare import Typical, drawing_error, values_error
from limner.series.record import Reading, Record, Series
from limner.series.say import DECLARED, Ruler, ruler_of
from limner.sheet.letters import fitted
from limner.sheet.marks import BLACK, GREY, Area, Ink, Mark, Page, Pen, Stroke, Words, circle, corners_of, line

_EDGE, _WIDE, _NAMES = 12.0, 250.0, 88.0
_TALL, _SMALL = 46.0, 26.0
_ROW = 4.0
_THIN, _FINE = Pen(width=0.35), Pen(width=0.15, ink=(0.7, 0.7, 0.7))
_SHADES: tuple[Ink, ...] = ((0.90, 0.90, 0.90), (0.66, 0.66, 0.66), (0.25, 0.25, 0.25))
"""True, slightly off, off."""
_KEY = (
    "dark: off   grey: slightly off   pale: true   u: unsure   m: held or meant so   . : not read",
    "painted  + too large, far or open   - too small, near or closed   ^ too high   v too low",
    "< too far toward picture left   > right   c turned clockwise   a anticlockwise   no sign: in another shape",
)
_SIGNS = {"unsure": "u", "held": "m", "intended": "m"}
_WAYS = {
    "too low": "v",
    "too high": "^",
    "too far toward picture left": "<",
    "too far toward picture right": ">",
    "turned clockwise": "c",
    "turned anticlockwise": "a",
}
"""How the words for a deviation begin -> its sign; all others have + for more than the sitter's, - for less."""

FAMILIES = "Families of measures: how far they are off on average (1: as far as a viewer notices)"


def pages(series: Series) -> Page:
    """One page with all plots under each other."""
    records, ruler = series.records, ruler_of(series)
    marks: list[Mark] = [_words(f"{len(records)} photos of the canvas against {series.reference}", _EDGE, 10.0, 4.2)]
    y = 20.0
    number_rows = (
        ("typical error of the drawing", ruler.unit, [ruler.drawing(r, drawing_error(r)) for r in records]),
        ("typical error of the values", "steps of value", [values_error(r) for r in records]),
    )
    half = (_WIDE - 3 * _EDGE) / 2
    for k, (name, unit, found) in enumerate(number_rows):
        x = _EDGE + k * (half + _EDGE)
        marks += _over_time(f"{name}, {unit}", found, series, (x, y, half, _TALL))
    y += _TALL + 16
    marks.append(_words(FAMILIES, _EDGE, y, 3.6))
    y += 8
    families = list(dict.fromkeys(r.family for record in records for r in record.readings if r.told))
    each = (_WIDE - 2 * _EDGE) / 4
    for k, family in enumerate(families):
        at = (_EDGE + k % 4 * each, y + k // 4 * (_SMALL + 12), each - 8, _SMALL)
        marks += _over_time(family, [_family(record, family) for record in records], series, at, small=True)
    y += -(-len(families) // 4) * (_SMALL + 12) + 6
    strip, y = _strip(series, ruler, y)
    return Page(width=_WIDE, height=y + _EDGE, marks=(*marks, *strip))


def _words(text: str, x: float, y: float, size: float, anchor: str = "start") -> Words:
    return Words(text=clean(text), at=(x, y), size=size, anchor=anchor)  # type: ignore[arg-type]


def _family(record: Record, family: str) -> Typical | None:
    """The mean weight of a family, with the range its measures' doubts leave; errors within a family go together."""
    rows = [r for r in record.readings if r.family == family and r.told and r.threshold]
    if not rows:
        return None
    value = float(np.mean([r.weight for r in rows]))
    doubt = float(np.mean([1.96 * (r.sigma or 0.0) / (r.threshold or 1.0) for r in rows]))
    return Typical(value=value, low=max(value - doubt, 0.0), high=value + doubt, over=len(rows))


def _over_time(
    title: str,
    found: Sequence[Typical | None],
    series: Series,
    box: tuple[float, float, float, float],
    *,
    small: bool = False,
) -> list[Mark]:
    x, y, w, h = box
    top = _round_up(max([t.high for t in found if t is not None], default=1.0) or 1.0)
    size = 2.6 if small else 3.2
    marks: list[Mark] = [
        _words(title, x, y - 1.5, size),
        line(x, y, x, y + h, _THIN),
        line(x, y + h, x + w, y + h, _THIN),
    ]
    for level in (top / 2, top):
        at = y + h * (1 - level / top)
        marks += [line(x, at, x + w, at, _FINE), _words(f"{level:g}", x - 0.8, at + 0.8, 2.2, "end")]
    steps = [x + w * (k + 0.5) / max(len(found), 1) for k in range(len(found))]
    joined = []
    every = max(1, -(-len(found) // (6 if small else 12)))
    for k, (at, typical, record) in enumerate(zip(steps, found, series.records, strict=True)):
        if k % every == 0:
            marks.append(_words(str(series.number(record)), at, y + h + 3.2, 2.4, "middle"))
        if typical is None:
            continue
        low, mid, high = (y + h * (1 - v / top) for v in (typical.low, typical.value, typical.high))
        marks += [line(at, low, at, high, _THIN), line(at - 0.8, low, at + 0.8, low, _THIN)]
        marks += [line(at - 0.8, high, at + 0.8, high, _THIN), Area(points=circle((at, mid), 0.7 if small else 1.0))]
        joined.append((at, mid))
    if len(joined) > 1:
        marks.append(Stroke(points=np.array(joined), pen=Pen(width=0.3, ink=GREY)))
    return marks


def _round_up(value: float) -> float:
    step = float(10 ** np.floor(np.log10(value)))
    return next(m * step for m in (1, 1.5, 2, 3, 4, 5, 6, 8, 10) if m * step >= value * (1 - 1e-9))


def _strip(series: Series, _ruler: Ruler, y: float) -> tuple[list[Mark], float]:
    """Measures down, photos across: a shade for the call, a sign for the way, a letter where there is no number."""
    records = series.records
    ids = _departing(records)
    marks: list[Mark] = [
        _words("Measures (down) in the photos (across), those that were ever off or slightly off", _EDGE, y, 3.6),
        *(_words(text, _EDGE, y + 5 + 4 * k, 2.8) for k, text in enumerate(_KEY)),
    ]
    y += 8 + 4 * len(_KEY)
    cell = min(8.0, (_WIDE - 2 * _EDGE - _NAMES) / max(len(records), 1))
    for k, record in enumerate(records):
        if cell >= 3 or k % 10 == 0:
            marks.append(_words(str(series.number(record)), _EDGE + _NAMES + (k + 0.5) * cell, y - 1, 2.4, "middle"))
    held = [{r.id: r for r in record.readings} for record in records]
    for row, (id_, name) in enumerate(ids.items()):
        top = y + row * _ROW
        marks.append(Words(text=fitted(name, 2.6, _NAMES - 3), at=(_EDGE, top + _ROW - 1.1), size=2.6))
        for k, readings in enumerate(held):
            at = (_EDGE + _NAMES + k * cell, top, cell - 0.2, _ROW - 0.2)
            marks += _cell(readings.get(id_), at)
    return marks, y + len(ids) * _ROW


def _departing(records: Sequence[Record]) -> dict[str, str]:
    found = {r.id: r.name for record in records for r in record.readings if r.call in ("off", "slight")}
    order = list(dict.fromkeys(r.family for record in records for r in record.readings))
    family = {r.id: order.index(r.family) for record in records for r in record.readings}
    return {id_: found[id_] for id_ in sorted(found, key=lambda i: family[i])}


def _cell(reading: Reading | None, box: tuple[float, float, float, float]) -> list[Mark]:
    x, y, w, h = box
    middle = (x + w / 2, y + h - 1.0)
    if reading is None or not reading.told:
        sign = _SIGNS.get(reading.call, ".") if reading is not None else "."
        return [Words(text=sign, at=middle, size=2.4, anchor="middle", ink=GREY)]
    shade = {"true": 0, "slight": 1, "off": 2}[reading.call]
    marks: list[Mark] = [Area(points=corners_of(box), ink=_SHADES[shade])]
    sign = sign_of(reading)
    if shade and w > 1.5 and sign:
        ink: Ink = (1.0, 1.0, 1.0) if shade == 2 else BLACK
        marks.append(Words(text=sign, at=middle, size=2.8, anchor="middle", ink=ink))
    return marks


def sign_of(reading: Reading) -> str:
    """The sign for the way the painting departs, as the words for it say; empty where it has none.

    A place too high has another sign than a length too short, though both are less than the sitter's.
    """
    declared = DECLARED.get(reading.id)
    if declared is not None and declared.kind in ("overlap", "gap"):
        return ""
    more = (reading.deviation or 0.0) > 0
    words = "" if declared is None else declared.words[0 if more else 1]
    return next((sign for start, sign in _WAYS.items() if words.startswith(start)), "+" if more else "-")
