"""The trials of a proof: what is planted, how it is painted and photographed, and the bench they are run on."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.auditing import examine, read_reference
from limner.errors import FaceError
from limner.looking import Seen
from limner.proving.photograph import Shot, rephotograph
from limner.proving.plans import Plan, plantings
from limner.proving.plant import plant_gently
from limner.proving.render import Brush, Kind, paint
from limner.proving.score import Reading
from limner.proving.slips import Slip
from limner.proving.truth import true_deviations
from limner.result import AuditResult
from limner.settings import Settings

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

PUPIL_DISTANCE = 220.0
"""px between the pupils at which trials are painted and read."""
_ROOM = (2.2, 2.3, 2.9)
"""Left in the picture round the middle between the pupils: to each side, above, below; in pupil distances."""


@dataclass(frozen=True, kw_only=True)
class Trial:
    """One painting with known slips."""

    number: int
    slips: tuple[Slip, ...]
    brush: Brush
    shot: Shot

    @property
    def group(self) -> str:
        """``full`` for a painting with all its tones, ``block-in`` for one of a few values."""
        return "block-in" if self.brush.kind == "blocks" else "full"


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What was read on one trial, by limner's best witness, by the face finder alone, and by one plain call of it."""

    trial: Trial
    best: tuple[Reading, ...]
    mesh: tuple[Reading, ...]
    plain: tuple[Reading, ...] = ()
    """The baseline: one call on each picture as it is, set against the distance between the pupils; it states no doubt.
    Empty where that call finds no face."""
    lost: str | None = None
    """Why there is no reading at all, where the face was not found on the painting."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Bench:
    """The reference as the trials use it."""

    pixels: Pixels
    points: Array
    """(478, 2) array, px: the reference's own points, as the audit itself reads them."""
    settings: Settings
    plain: Array | None = None
    """(478, 2) array, px: the reference's points by one plain call; ``None`` where it finds no face."""

    @cached_property
    def sitter(self) -> Seen:
        """The reference as it is read once in each process."""
        return read_reference(self.pixels, self.settings)


def plain_points(pixels: Pixels, settings: Settings) -> Array | None:
    """(478, 2) array, px: what one call of the face finder on a whole picture gives; ``None`` without a face."""
    from limner.face.bundle import ensure_model
    from limner.face.mesh import open_mesh

    found = open_mesh(ensure_model(settings.model)).detect(pixels, 1)
    return found[0][:, :2] if found else None


def plan(*, quick: bool, seed: int = 0) -> tuple[Trial, ...]:
    """The trials of a proof: every set of slips in several kinds of painting, each with a seed of its own.

    The kinds are ``strokes``, ``glazes`` and ``knife``, which keep all tones, and ``blocks``, a block-in.
    """
    kind_of_plan: Plan = "quick" if quick else "standard"
    kinds: tuple[Kind, ...] = ("strokes", "glazes", "blocks") if quick else ("strokes", "glazes", "knife", "blocks")
    out: list[Trial] = []
    for k, kind in enumerate(kinds):
        for slips in plantings(kind_of_plan, seed * 10 + k):
            own = 1000 * seed + len(out)
            out.append(Trial(number=len(out), slips=slips, brush=Brush.random(kind, own), shot=Shot.random(own)))
    return tuple(out)


def crop_to_face(pixels: Pixels, points: Array) -> Pixels:
    """Head and shoulders of a (height, width, 3) picture, brought to :data:`PUPIL_DISTANCE`."""
    apart = float(np.linalg.norm(points[473] - points[468]))
    middle = (points[473] + points[468]) / 2
    side, above, below = (room * apart for room in _ROOM)
    height, width = pixels.shape[:2]
    x0, y0 = np.maximum(np.floor(middle - [side, above]), 0).astype(int)
    x1, y1 = np.minimum(np.ceil(middle + [side, below]), [width, height]).astype(int)
    part = pixels[y0:y1, x0:x1]
    factor = PUPIL_DISTANCE / apart
    size = (max(1, round(part.shape[1] * factor)), max(1, round(part.shape[0] * factor)))
    how = cv2.INTER_AREA if factor < 1 else cv2.INTER_LANCZOS4
    return np.asarray(cv2.resize(np.ascontiguousarray(part), size, interpolation=how), dtype=np.uint8)


def readings(result: AuditResult, truth: dict[str, float], number: int) -> tuple[Reading, ...]:
    """Every measure of an audit that has a truth and a threshold."""
    return tuple(
        Reading(
            case=number,
            measure=m.id,
            planted=truth[m.id],
            threshold=m.threshold,
            recovered=m.deviation,
            sigma=m.sigma,
            call=m.call,
        )
        for m in result.measures
        if m.id in truth and m.threshold is not None
    )


def run_trial(bench: Bench, trial: Trial) -> Outcome:
    """Plants, paints, photographs and audits, once with the best witness and once with the face finder alone."""
    planted = plant_gently(bench.pixels, bench.points, trial.slips)
    trial = replace(trial, slips=planted.slips)
    photo = rephotograph(paint(planted.pixels, trial.brush), trial.shot)
    truth = true_deviations(bench.points, planted.points, bench.settings.hold)
    told = []
    for witness in ("best", "mesh"):
        try:
            settings = replace(bench.settings, witness=witness)
            result = examine(bench.sitter, photo.pixels, settings=settings).result
        except FaceError as error:
            return Outcome(trial=trial, best=(), mesh=(), lost=str(error))
        told.append(readings(result, truth, trial.number))
    plain = _plain_readings(bench, photo.pixels, told[0])
    return Outcome(trial=trial, best=told[0], mesh=told[1], plain=plain)


def _plain_readings(bench: Bench, pixels: Pixels, told: tuple[Reading, ...]) -> tuple[Reading, ...]:
    found = plain_points(pixels, bench.settings)
    if bench.plain is None or found is None:
        return ()
    read = true_deviations(bench.plain, found, bench.settings.hold)
    return tuple(replace(r, recovered=read.get(r.measure), sigma=None, call="no doubt stated") for r in told)
