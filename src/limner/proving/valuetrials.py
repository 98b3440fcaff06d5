"""Trials of values and colour: what is planted, how it is painted and photographed, and what is read of it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limner.auditing import examine
from limner.errors import FaceError
from limner.pictures.cielab import RGB_TO_XYZ
from limner.proving.photograph import Photo, Shot, rephotograph
from limner.proving.render import Brush, Kind, Palette, paint
from limner.proving.score import Reading
from limner.proving.trials import Bench
from limner.proving.valueslips import ToneSlip, plant_tones
from limner.result import AuditResult
from limner.values.bring import BURNT, UNIT, bring
from limner.values.faces import flesh_of, values_of
from limner.values.regions import region_masks
from limner.values.steps import MOST_LOST

Array = NDArray[np.float64]

STOPS, KELVIN = 1.0, 1500.0
"""The photograph's exposure and the colour of its light are drawn from so much to either side."""
NEAR = 0.1
"""Pupil distances within which a highlight that is told is one that was planted."""
KINDS: tuple[Kind, ...] = ("strokes", "glazes", "knife")
_SHIFTS = (
    ("cheek_right",), ("cheek_left", "under_eye_left"), ("chin", "under_lip"), ("forehead",),
    ("nose_bridge", "nose_ball"), ("mouth_side_right", "jaw_right"), ("lip_area_left", "philtrum"), ("socket_right",),
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class ValueTrial:
    """One painting with known errors of value; none is a faithful copy."""

    number: int
    slips: tuple[ToneSlip, ...]
    brush: Brush
    shot: Shot


@dataclass(frozen=True, kw_only=True)
class ValueOutcome:
    """What was read on one trial."""

    trial: ValueTrial
    regions: tuple[Reading, ...]
    """Steps of every region in which both pictures hold something; none where the whole range was changed."""
    lost: float
    """Share of the regions that the photograph holds nothing of."""
    planted: int
    """Highlights in the painting that the photograph does not burn out."""
    found: int
    """Of them, told."""
    strays: int
    """Highlights told where none is; not counted where slips of another kind make lights of their own."""
    slope: float | None
    """Steps painted for each seen, as read; ``None`` where no face was found."""
    lights: float | None
    """Steps by which the lights as a whole are read too strong."""
    warmth: tuple[tuple[str, float, float], ...]
    """Zone, planted and read, CIE a* and b* together."""
    failed: str | None = None
    """Why there is no reading, where the face was not found."""


def plan_values(*, quick: bool, seed: int = 0, first: int = 0) -> tuple[ValueTrial, ...]:
    """The trials: regions lighter and darker, highlights, a compressed range, stronger lights, a warm chin, copies.

    ``first`` is the number of the first of them.
    """
    rng = np.random.default_rng([seed, 83])

    def signed() -> float:
        return float(rng.uniform(0.5, 1.1) * rng.choice([-1.0, 1.0]))

    def shift(regions: tuple[str, ...]) -> ToneSlip:
        return ToneSlip(kind="region", amount=signed(), regions=regions)

    pairs = [(shift(a), shift(b)) for a, b in zip(_SHIFTS[::2], _SHIFTS[1::2], strict=True)]
    others = [
        (ToneSlip(kind="highlights", amount=float(rng.uniform(0.9, 1.5)), count=5, seed=seed),),
        (ToneSlip(kind="range", amount=float(rng.uniform(0.65, 0.85))),),
        (ToneSlip(kind="lights", amount=float(rng.uniform(0.6, 1.0))),),
        (ToneSlip(kind="warm", amount=float(rng.uniform(7, 10)), regions=("chin",)),),
    ]
    sets: list[tuple[ToneSlip, ...]] = [*pairs[:2], *others[:1], (), *([] if quick else [*pairs, *others, (), ()])]
    return tuple(_trial(first + k, slips, seed) for k, slips in enumerate(sets))


def _trial(number: int, slips: tuple[ToneSlip, ...], seed: int) -> ValueTrial:
    """A painter who keeps the tones but for the slips, and a photograph of unknown exposure and light."""
    own = 1000 * seed + 500 + number
    rng = np.random.default_rng([own, 84])
    warm = float(rng.normal(0.02, 0.03))
    palette = Palette(
        tint=(1 + warm, 1.0, 1 - warm), chroma=float(rng.uniform(0.85, 1.1)), gamma=1.0, low=0.0, high=1.0
    )
    shot = replace(
        Shot.random(own),
        stops=float(rng.uniform(-STOPS, STOPS)),
        balance=daylight(6504 + float(rng.uniform(-KELVIN, KELVIN))),
    )
    kind = KINDS[(number + number // len(KINDS)) % len(KINDS)]  # so that no slip meets one kind only
    brush = replace(Brush.random(kind, own), palette=palette)
    return ValueTrial(number=number, slips=slips, brush=brush, shot=shot)


def daylight(kelvin: float) -> tuple[float, float, float]:
    """Gains of red, green and blue light, green 1, of a CIE daylight against that of 6504 K (CIE 15, 4000 to 25000 K).

    >>> [round(gain, 3) for gain in daylight(6504.0)]
    [1.0, 1.0, 1.0]
    """

    def white(t: float) -> Array:
        low, high = (-4.6070e9, 2.9678e6, 99.11, 0.244063), (-2.0064e9, 1.9018e6, 247.48, 0.237040)
        a, b, c, d = low if t <= 7000 else high
        x = a / t**3 + b / t**2 + c / t + d
        y = -3.0 * x**2 + 2.870 * x - 0.275
        return np.asarray(np.linalg.inv(RGB_TO_XYZ) @ np.array([x / y, 1.0, (1 - x - y) / y]))

    gain = white(kelvin) / white(6504.0)
    return float(gain[0] / gain[1]), 1.0, float(gain[2] / gain[1])


def run_value_trial(bench: Bench, trial: ValueTrial) -> ValueOutcome:
    """Plant, paint, photograph and audit one."""
    toned = plant_tones(bench.pixels, bench.points, trial.slips)
    photo = rephotograph(paint(toned.pixels, trial.brush), trial.shot)
    try:
        settings = replace(bench.settings, values=True, stage="colour")
        result = examine(bench.sitter, photo.pixels, settings=settings).result
    except FaceError as error:
        return _without(trial, len(toned.spots), str(error))
    if result.values is None:
        return _without(trial, len(toned.spots), "too few points for values")
    return _read(bench, trial, result, toned.pixels, _spots(photo, toned.spots))


def _without(trial: ValueTrial, planted: int, why: str) -> ValueOutcome:
    return ValueOutcome(
        trial=trial, regions=(), lost=1.0, planted=planted, found=0, strays=0, slope=None, lights=None, warmth=(),
        failed=why,
    )  # fmt: skip


def _spots(photo: Photo, spots: Array) -> Array:
    """(N, 2) array, px of the photograph: the planted highlights, without those it burns out."""
    if not len(spots):
        return spots
    places = photo.place(spots)
    height, width = photo.pixels.shape[:2]
    at = np.clip(np.rint(places).astype(int), 2, [width - 3, height - 3])
    held = [(photo.pixels[y - 2 : y + 3, x - 2 : x + 3, 1] < BURNT).mean() > 0.5 for x, y in at]
    return np.asarray(places[held])


def _read(bench: Bench, trial: ValueTrial, result: AuditResult, toned: NDArray[np.uint8], spots: Array) -> ValueOutcome:
    report = result.values
    if report is None:
        raise ValueError("expected a result with values")
    truth = true_steps(bench.pixels, toned, bench.points)
    kinds = {slip.kind for slip in trial.slips}
    held = [r for r in report.regions if max(r.lost_reference, r.lost_painting) <= MOST_LOST]
    told = [] if kinds & {"range", "lights", "highlights"} else [r for r in held if r.id in truth]
    apart = float(np.hypot(*(result.painting_points[473] - result.painting_points[468])))
    hit = set()
    strays = 0
    for light in report.highlights:
        away = np.hypot(*(spots - light.place).T) / apart if len(spots) else np.array([np.inf])
        if away.min() <= NEAR:
            hit.add(int(away.argmin()))
        else:
            strays += 1
    warm = [(zone, slip.amount) for slip in trial.slips if slip.kind == "warm" for zone in slip.regions]
    read = {r.id: r.warmth.value for r in report.regions}
    return ValueOutcome(
        trial=trial,
        regions=tuple(
            Reading(
                case=trial.number,
                measure=r.id,
                planted=truth[r.id],
                threshold=r.threshold,
                recovered=r.local.value,
                sigma=r.local.sigma,
                call=r.call,
            )
            for r in told
        ),
        lost=1 - len(held) / max(len(report.regions), 1),
        planted=len(spots),
        found=len(hit),
        strays=0 if kinds & {"lights", "range", "region"} else strays,
        slope=report.slope.value,
        lights=next((f.amount.value for f in report.findings if f.kind == "lights"), None),
        warmth=tuple((zone, amount, seen) for zone, amount in warm if (seen := read.get(zone)) is not None),
    )


def true_steps(pixels: NDArray[np.uint8], toned: NDArray[np.uint8], points: Array) -> dict[str, float]:
    """Region id -> steps of value planted in it: the median over the region, without paint or photograph."""
    brought = bring(pixels, toned, points, points)
    if brought is None:
        return {}
    steps = values_of(brought.painting) - values_of(brought.reference)
    flesh = flesh_of(brought)
    steps = steps - np.float32(np.median(steps[flesh]) if flesh.any() else 0.0)
    masks = region_masks(brought.points, brought.size, UNIT)
    return {id_: float(np.median(steps[mask])) for id_, mask in masks.items()}
