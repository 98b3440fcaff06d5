"""Where the painted head stands on the canvas, and how far that is from where it was meant to stand.

Meant is what ``--placement`` says; without it, the reference's own framing where the reference has the proportions of
the canvas, since it was then most likely cropped for it.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limner.compare.calls import call_for
from limner.compare.wording import rounded
from limner.errors import UsageError
from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT
from limner.face.placeable import BEYOND, OUTLINE, rows_of
from limner.notices import Notice
from limner.result import AuditResult, PlacementReport, Quantity, WholeFinding

Array = NDArray[np.float64]

ALIKE = 0.02
"""Of the logarithm of width / height: within so much the reference has the canvas's proportions (limner's choice)."""
PLACE, SIZE = 0.02, 3.0
"""Of the canvas's shorter side, and percent of the head's size, from which a placement is off (limner's choice)."""
EDGE_MM = 1.0
"""One-sigma error of an edge of the canvas as seen and stretched, mm (limner's choice)."""
CHOICE = "limner's choice, no published figure"

_NUMBER = r"(\d+(?:\.\d+)?)"
_WISH = re.compile(rf"\s*(?:{_NUMBER}\s*mm)?\s*(?:@\s*{_NUMBER}\s*,\s*{_NUMBER}\s*(?:mm)?)?\s*", re.ASCII)


@dataclass(frozen=True, kw_only=True)
class Meant:
    """A placement, mm of the canvas."""

    pupils: float | None
    """Between the pupils."""
    eyes: tuple[float, float] | None
    """Of the middle between the pupils, from the left and the top edge."""
    by: str
    """Who says so, in words."""


def parse_placement(text: str) -> Meant | None:
    """What ``--placement`` says; ``None`` for ``reference`` and ``none``.

    Raises UsageError for anything else that is no placement.

    >>> parse_placement("62mm@200,180")
    Meant(pupils=62.0, eyes=(200.0, 180.0), by='as --placement says')
    >>> parse_placement("62mm").eyes is None
    True
    """
    if text in ("reference", "none"):
        return None
    match = _WISH.fullmatch(text)
    if match is None or (match[1] is None and match[2] is None):
        raise UsageError(
            f"--placement: expected 62mm (between the pupils), @200,180 (mm of the middle between them from the left "
            f"and the top edge), both as 62mm@200,180, reference or none; got '{text[:40]}'."
        )
    pupils = None if match[1] is None else float(match[1])
    eyes = None if match[2] is None else (float(match[2]), float(match[3]))
    return Meant(pupils=pupils, eyes=eyes, by="as --placement says")


def with_placement(result: AuditResult) -> AuditResult:
    """The result with where the head stands on its canvas, and what of that is off, before all else that is whole.

    Nothing is added where the canvas's size is not known, or a pupil is not there.
    """
    canvas = result.canvas
    pupils = result.painting_points[[PUPIL_RIGHT, PUPIL_LEFT]]
    if canvas is None or canvas.size_mm is None or not canvas.mm_per_px.value or not np.isfinite(pupils).all():
        return _not_placed(result, bool(np.isfinite(pupils).all()))
    pitch = canvas.mm_per_px.value
    found = _report(result, canvas.size_mm, pitch, (canvas.mm_per_px.sigma or 0.0) / pitch)
    meant = _meant(result, canvas.size_mm)
    if meant is None:
        return replace(result, placement=found)
    found = replace(found, meant_pupils=meant.pupils, meant_eyes=meant.eyes, meant_by=meant.by)
    findings = _findings(found, canvas.size_mm, result.settings.strict)
    return replace(result, placement=found, whole=(*findings, *result.whole))


def _not_placed(result: AuditResult, pupils: bool) -> AuditResult:
    """The result where the head's place cannot be told; that is said where the painter asked for it."""
    asked = result.settings.placement
    if asked in (None, "none"):
        return result
    lacks = "a canvas of known size, found in the photo (--canvas 400x500mm)" if pupils else "both pupils"
    text = f"--placement {asked} was passed over: that needs {lacks}."
    return replace(result, warnings=(*result.warnings, Notice(code="placement_unknown", text=text)))


def _report(result: AuditResult, size: tuple[float, float], pitch: float, share: float) -> PlacementReport:
    """``pitch``: mm per px; ``share``: its one-sigma share."""
    every = np.concatenate([result.painting_points, result.more_points])
    doubt = float(np.nanmean(result.point_sigma[[PUPIL_RIGHT, PUPIL_LEFT]])) * pitch
    pupils = every[[PUPIL_RIGHT, PUPIL_LEFT]]
    # Px are counted from pixel centres, mm from the edge of the canvas.
    eyes = (pupils.mean(axis=0) + 0.5) * pitch
    apart = float(np.linalg.norm(pupils[1] - pupils[0])) * pitch
    outline = np.array([every[BEYOND[key]] for key in OUTLINE if BEYOND[key] < len(every)]).reshape(-1, 2)
    known = (outline[np.isfinite(outline).all(axis=1)] + 0.5) * pitch
    top, chin = _mean(every, "v") * pitch, _mean(every, "gn") * pitch
    height = float(np.linalg.norm(chin - top))
    room = {"left": float(known[:, 0].min()), "right": size[0] - float(known[:, 0].max())} if len(known) >= 4 else {}
    if np.isfinite(top).all():
        room["top"] = float(top[1])
    if np.isfinite(chin).all():
        room["bottom"] = size[1] - float(chin[1])
    return PlacementReport(
        eyes_x=Quantity(value=float(eyes[0]), sigma=math.hypot(share * float(eyes[0]), doubt, EDGE_MM)),
        eyes_y=Quantity(value=float(eyes[1]), sigma=math.hypot(share * float(eyes[1]), doubt, EDGE_MM)),
        pupils=Quantity(value=apart, sigma=math.hypot(share * apart, math.sqrt(2) * doubt)),
        head_height=Quantity(value=height, sigma=math.hypot(share * height, 2 * doubt))
        if math.isfinite(height)
        else Quantity(value=None, sigma=None),
        room=room,
        meant_pupils=None,
        meant_eyes=None,
        meant_by=None,
    )


def _mean(every: Array, key: str) -> Array:
    rows = [row for row in rows_of(key) if row < len(every)]
    return np.asarray(every[rows].mean(axis=0) + 0.5) if rows else np.full(2, np.nan)


def _meant(result: AuditResult, size: tuple[float, float]) -> Meant | None:
    asked = result.settings.placement
    if asked == "none":
        return None
    if asked not in (None, "reference"):
        return parse_placement(str(asked))
    width, height = result.reference.width, result.reference.height
    off = abs(math.log(width / height * size[1] / size[0]))
    pupils = (result.reference_points[[PUPIL_RIGHT, PUPIL_LEFT]] + 0.5) / result.reference.scale
    if not np.isfinite(pupils).all() or (off > ALIKE and asked is None):
        return None
    sides = np.array([size[0] / width, size[1] / height])
    per_px = sides if off <= ALIKE else np.full(2, sides.max())
    # What the reference has too much of is cut evenly on both sides.
    begin = (np.array(size) - per_px * [width, height]) / 2
    eyes = pupils.mean(axis=0) * per_px + begin
    apart = float(np.linalg.norm((pupils[1] - pupils[0]) * per_px))
    return Meant(pupils=apart, eyes=(float(eyes[0]), float(eyes[1])), by="as the reference is framed")


def _findings(found: PlacementReport, size: tuple[float, float], strict: float) -> tuple[WholeFinding, ...]:
    out = []
    if found.meant_eyes is not None:
        limit = PLACE * min(size) * strict
        names = (("place_x", "place of the head across"), ("place_y", "place of the head up and down"))
        for (id_, name), at, meant in zip(names, (found.eyes_x, found.eyes_y), found.meant_eyes, strict=True):
            out.append(_finding(id_, name, "mm", ((at.value or 0.0) - meant, at.sigma or 0.0), limit))
    if found.meant_pupils:
        share = 100 * ((found.pupils.value or 0.0) / found.meant_pupils - 1)
        doubt = 100 * (found.pupils.sigma or 0.0) / found.meant_pupils
        out.append(_finding("size", "size of the head on the canvas", "percent", (share, doubt), SIZE * strict))
    texts = _said(out, found)
    return tuple(replace(f, text=texts.get(f.id, "")) for f in out)


def _finding(id_: str, name: str, unit: str, value: tuple[float, float], threshold: float) -> WholeFinding:
    deviation, sigma = value
    call = call_for(deviation, sigma, threshold)
    return WholeFinding(
        id=id_,
        name=name,
        unit=unit,
        deviation=deviation,
        sigma=sigma,
        threshold=threshold,
        call=call,
        axis=None,
        cause="drawing",
        reason="the canvas's edges, its size and the lens leave more open than that" if call == "unsure" else None,
        source=CHOICE,
        text="",
    )


def _said(findings: list[WholeFinding], found: PlacementReport) -> dict[str, str]:
    """Sentences by the finding they stand at: one for the place, one for the size."""
    off = {f.id: f for f in findings if f.call == "off"}
    texts = {}
    moved = [f for f in findings if f.id in ("place_x", "place_y") and f.id in off]
    if moved:
        ways = {"place_x": ("to picture right", "to picture left"), "place_y": ("low", "high")}
        parts = []
        for f in moved:
            value, doubt = rounded(abs(f.deviation), f.sigma)
            parts.append(f"about {value} mm too far {ways[f.id][0 if f.deviation > 0 else 1]} (give or take {doubt})")
        said = " and ".join(parts).replace("too far low", "too low").replace("too far high", "too high")
        texts[moved[0].id] = f"The head stands {said} on the canvas, {found.meant_by}."
    if "size" in off:
        value, doubt = rounded(abs(off["size"].deviation), off["size"].sigma)
        way = "large" if off["size"].deviation > 0 else "small"
        texts["size"] = (
            f"The head is painted about {value} % too {way} on the canvas (give or take {doubt}), {found.meant_by}."
        )
    return texts
