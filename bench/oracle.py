"""How well anybody could read a planted error through the paint: python bench/oracle.py FOLDER [--seed N].

FOLDER holds portrait photographs, one face each. One known error is planted in a copy of each, the copy is painted and
photographed. The oracle is told everything but the error's size: the reference, its points, the kind of error and its
shape, and how the photograph was taken. It finds the one number whose planting matches the paint best. What it still
gets wrong is the floor that brush and camera set; limner, which is told nothing, is set beside it in the same run,
both over the errors of which limner does not say that it is unsure.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.auditing import audit, examine
from limner.errors import LimnerError, UsageError
from limner.pictures.cielab import lab_of_pixels
from limner.proving.photograph import Photo, rephotograph
from limner.proving.plant import displacement, plant, plant_gently
from limner.proving.render import paint
from limner.proving.trials import PUPIL_DISTANCE, Trial, crop_to_face, plan
from limner.proving.truth import true_deviations
from limner.settings import Settings

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

READ_IN = {
    "eyes_width": ("eye width", "eye_width_left"),
    "eyes_size": ("eye width", "eye_width_left"),
    "eye_size_left": ("eye width", "eye_width_left"),
    "nose_width": ("nose width", "nose_width"),
    "mouth_width": ("mouth width", "mouth_width"),
    "eyes_opening": ("eye opening", "eye_opening_left"),
    "eye_opening_left": ("eye opening", "eye_opening_left"),
    "upper_lip": ("lips", "upper_lip"),
    "lower_lip_edge": ("lips", "lower_lip"),
    "eye_left_y": ("place", "eye_left_y"),
    "mouth_turn": ("mouth axis", "mouth_axis"),
}
"""Kind of slip -> group and the measure it is read in."""
SOFT, WIDE = 0.015 * PUPIL_DISTANCE, 0.25 * PUPIL_DISTANCE
"""px: what is blurred away before pictures are compared, and over which light and contrast are evened out."""


@dataclass(frozen=True)
class Found:
    """One error, as planted and as read by both, in the measure's unit."""

    group: str
    blocks: bool
    planted: float
    oracle: float
    limner: float | None
    """``None`` where limner says that it is unsure."""


def plane(pixels: Pixels) -> NDArray[np.float32]:
    """Lightness, evened out."""
    soft = cv2.GaussianBlur(lab_of_pixels(pixels)[..., 0], (0, 0), SOFT)
    mean = cv2.GaussianBlur(soft, (0, 0), WIDE)
    spread = cv2.GaussianBlur(soft * soft, (0, 0), WIDE) - mean * mean
    return np.asarray((soft - mean) / np.sqrt(np.maximum(spread, 0) + 4), dtype=np.float32)


def straight(photo: Photo, shape: tuple[int, ...]) -> Pixels:
    """The painting as it was before it was photographed."""
    how = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpPerspective(photo.pixels, photo.matrix, shape[1::-1], flags=how), dtype=np.uint8)


def oracle(pixels: Pixels, points: Array, trial: Trial, photo: Photo) -> Array:
    """(478, 2) array, px: where the points lie for the amount that matches best."""
    (slip,) = trial.slips
    seen = plane(straight(photo, pixels.shape))
    moved = displacement(slip, points)(points)
    near = np.linalg.norm(moved - points, axis=1) > 0.5
    low, high = points[near].min(axis=0) - 0.3 * PUPIL_DISTANCE, points[near].max(axis=0) + 0.3 * PUPIL_DISTANCE
    (x0, y0), (x1, y1) = np.maximum(low, 0).astype(int), high.astype(int)

    def misfit(amount: float) -> float:
        try:
            made = plane(plant(pixels, points, replace(slip, amount=amount)).pixels)[y0:y1, x0:x1].ravel()
        except UsageError:  # so much would fold the picture
            return 1.0
        there = seen[y0:y1, x0:x1].ravel()
        return -float(np.corrcoef(made, there)[0, 1])

    reach = abs(slip.amount)
    amounts = slip.amount + reach * np.linspace(-0.3, 0.3, 9)
    worth = [misfit(amount) for amount in amounts]
    k = int(np.clip(np.argmin(worth), 2, len(amounts) - 3))
    # The lowest point of a parabola through the five nearest.
    a, b, _ = np.polyfit(amounts[k - 2 : k + 3], worth[k - 2 : k + 3], 2)
    best = np.clip(-b / (2 * a), amounts[k - 2], amounts[k + 2]) if a > 0 else amounts[k]
    return displacement(replace(slip, amount=float(best)), points)(points)


def one_face(job: tuple[str, int]) -> list[Found]:
    """Every single error of the standard plan on one face, in strokes and as a block-in."""
    path, seed = job
    first = examine(path, path, settings=Settings(threads=1, witness="mesh"))
    pixels = crop_to_face(first.reference.pixels, first.result.reference_points)
    points = examine(pixels, pixels, settings=Settings(threads=1, witness="mesh")).result.reference_points
    out = []
    for trial in plan(quick=False, seed=seed):
        if trial.brush.kind not in {"strokes", "blocks"} or len(trial.slips) != 1:
            continue
        if trial.slips[0].kind not in READ_IN:
            continue
        group, measure = READ_IN[trial.slips[0].kind]
        planted = plant_gently(pixels, points, trial.slips)
        trial = replace(trial, slips=planted.slips)  # noqa: PLW2901 - what narrow eyes have room for
        photo = rephotograph(paint(planted.pixels, trial.brush), trial.shot.square_on())
        try:
            result = audit(pixels, photo.pixels, settings=Settings(threads=1))
        except LimnerError:
            continue
        out.append(
            Found(
                group=group,
                blocks=trial.brush.kind == "blocks",
                planted=true_deviations(points, planted.points)[measure],
                oracle=true_deviations(points, oracle(pixels, points, trial, photo))[measure],
                limner=next(None if m.call == "unsure" else m.deviation for m in result.measures if m.id == measure),
            )
        )
    return out


def main() -> int:
    """Run the trials and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--seed", type=int, default=3)
    wanted = parser.parse_args()
    paths = sorted(p for p in wanted.folder.iterdir() if p.suffix.lower() in {".jpg", ".jpeg", ".png", ".webp"})
    if not paths:
        print(f"Expected portrait photographs in {wanted.folder.name}, found none.", file=sys.stderr)
        return 2
    with ProcessPoolExecutor(wanted.jobs, mp_context=get_context("spawn")) as pool:
        jobs = [(str(path), wanted.seed + number) for number, path in enumerate(paths)]
        found = [one for some in pool.map(one_face, jobs) for one in some]
    print(f"{'':14}{'in':>12}{'oracle RMS':>12}{'limner RMS':>12}{'ratio':>8}{'errors':>8}{'unsure':>8}")
    for group in dict.fromkeys(group for group, _ in READ_IN.values()):
        for blocks in (False, True):
            asked = [f for f in found if f.group == group and f.blocks is blocks]
            rows = [f for f in asked if f.limner is not None]
            if not rows:
                continue
            least, ours = (
                float(np.sqrt(np.mean([(getattr(f, who) - f.planted) ** 2 for f in rows])))
                for who in ("oracle", "limner")
            )
            name = "block-in" if blocks else "strokes"
            counts = f"{len(asked):8d}{len(asked) - len(rows):8d}"
            print(f"{group:14}{name:>12}{least:12.2f}{ours:12.2f}{ours / least:8.1f}{counts}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
