"""Fit the doubt of a region's value on some photographs of faces, and check it on others.

    python bench/values.py --fit a.jpg b.jpg --check c.jpg d.jpg

On each photograph errors of value and errors of drawing are planted, painted and photographed as `limner prove` does;
tones are kept but for what is planted. Printed: the shares of the doubt in `limner.values.steps` (NOISE, BUSY, MIXED,
with SCATTER given), fitted as the scale of a heavy-tailed error (Student's t, 4 degrees of freedom) and widened until
95 % of the intervals hold on the fitted faces; then how many hold on the others, and slope, RMS and false alarms there.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from limner.auditing import audit
from limner.errors import LimnerError
from limner.pictures.picture import Picture
from limner.proving.bench import ready
from limner.proving.photograph import rephotograph
from limner.proving.plant import plant
from limner.proving.render import paint
from limner.proving.trials import Bench, plan
from limner.proving.valueslips import plant_tones
from limner.proving.valuetrials import ValueTrial, plan_values, true_steps
from limner.settings import Settings
from limner.values.read import Asked, faces_in
from limner.values.steps import MOST_LOST, SCATTER, STEP, fit_range, read_regions

Array = NDArray[np.float64]
STAGE = "colour"
EACH = 5
"""Paintings with slips of drawing for each face."""


@dataclass(frozen=True)
class Row:
    """One region of one painting."""

    copy: bool
    planted: float
    read: float
    busy: float
    mixed: float
    scatter: float
    lean: float


def paintings(bench: Bench, seed: int) -> Iterator[tuple[NDArray[np.uint8], dict[str, float] | None]]:
    """Photographs of paintings with what was planted in each region; ``None`` for nothing."""
    toned: list[ValueTrial] = [
        t for t in plan_values(quick=False, seed=seed) if {s.kind for s in t.slips} <= {"region"}
    ]
    for trial in toned:
        pixels = plant_tones(bench.pixels, bench.points, trial.slips).pixels
        truth = true_steps(bench.pixels, pixels, bench.points) if trial.slips else None
        yield rephotograph(paint(pixels, trial.brush), trial.shot).pixels, truth
    drawn = [t for t in plan(quick=False, seed=seed) if t.slips and t.brush.kind != "blocks"]
    for k in np.random.default_rng(seed).permutation(len(drawn))[:EACH]:
        like = toned[int(k) % len(toned)]
        brush = replace(drawn[k].brush, palette=like.brush.palette)
        moved = plant(bench.pixels, bench.points, drawn[k].slips)
        yield rephotograph(paint(moved.pixels, brush), like.shot).pixels, None


def rows_of(path: Path, seed: int) -> list[Row]:
    """Every region of every painting of one face."""
    bench = ready(path, Settings(), jobs=1, seed=seed).bench
    settings = replace(bench.settings, values=False, stage=STAGE)
    out: list[Row] = []
    for photo, truth in paintings(bench, seed):
        try:
            result = audit(bench.pixels, photo, settings=settings)
        except LimnerError:
            continue
        asked = Asked(reference_points=result.reference_points, painting_points=result.painting_points, stage=STAGE)
        faces = faces_in(_picture(bench.pixels), _picture(photo), asked)
        if faces is None:
            continue
        read = read_regions(faces)
        whole = fit_range(read)
        for r in (r for r in read if max(r.lost) <= MOST_LOST):
            local = r.difference - float(whole.at(np.array(r.reference)) - r.reference)
            planted = 0.0 if truth is None else truth.get(r.region.id, 0.0)
            lean = abs(r.reference - whole.middle) * whole.sigma
            out.append(Row(truth is None, planted, local, r.busy, r.mixed, min(whole.scatter, 0.5), lean))
    return out


def _picture(pixels: NDArray[np.uint8]) -> Picture:
    return Picture(pixels=pixels, name="", digest=None, full_size=(pixels.shape[1], pixels.shape[0]))


def columns(rows: list[Row]) -> tuple[Array, Array]:
    """(N,) errors, and (N, 5) what the doubt is made of."""
    error = np.array([r.read - r.planted for r in rows])
    return error, np.array([(1.0, r.busy, r.mixed, SCATTER * r.scatter, r.lean) for r in rows])


def doubt(parts: Array, shares: Array) -> Array:
    """(N,) one-sigma doubt."""
    return np.asarray(np.linalg.norm(parts * np.append(np.abs(shares), [1.0, 1.0]), axis=1))


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--fit", nargs="+", type=Path, required=True)
    asked.add_argument("--check", nargs="+", type=Path, required=True)
    given = asked.parse_args()
    fitted, checked = (
        [row for k, path in enumerate(paths) for row in rows_of(path, first + k)]
        for paths, first in ((given.fit, 100), (given.check, 200))
    )
    error, parts = columns(fitted)

    def unlikely(shares: Array) -> float:
        variance = doubt(parts, shares) ** 2 + 1e-6
        return float(np.sum(np.log(variance) / 2 + 2.5 * np.log1p(error**2 / variance / 4)))

    starts = ([0.05, 0.003, 0.2], [0.03, 0.01, 0.1])
    best = min((minimize(unlikely, start, method="Nelder-Mead") for start in starts), key=lambda found: found.fun)
    shares = np.abs(best.x)
    while (np.abs(error) <= 1.96 * doubt(parts, shares)).mean() < 0.95:
        shares = shares * 1.01
    print("NOISE {:.4f}  BUSY {:.4f}  MIXED {:.4f}".format(*shares), f"(SCATTER {SCATTER} given)")
    for name, rows in (("fitted on", fitted), ("checked on", checked)):
        error, parts = columns(rows)
        sigma = doubt(parts, shares)
        read, planted = np.array([r.read for r in rows]), np.array([r.planted for r in rows])
        large = np.abs(planted) >= 0.5
        slope = float((read * planted)[large].sum() / (planted[large] ** 2).sum())
        off = (np.abs(read) > STEP[STAGE]) & (np.abs(read) > 1.96 * sigma) & np.array([r.copy for r in rows])
        print(
            f"{name} {len(rows)} regions: {100 * (np.abs(error) <= 1.96 * sigma).mean():.1f} % of the intervals hold, "
            f"{large.sum()} shifts with slope {slope:.2f} and RMS {np.sqrt((error[large] ** 2).mean()):.2f}; "
            f"{off.sum()} false alarms on {sum(r.copy for r in rows)} regions without an error of value"
        )


if __name__ == "__main__":
    main()
