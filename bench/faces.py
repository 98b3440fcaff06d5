"""What limner recovers over several faces: python bench/faces.py FOLDER [--paintings N] [--jobs N] [--seed N].

FOLDER holds portrait photographs, one face each. In a copy of each, known errors are planted; the copy is painted by
one of four renderers, photographed and audited, and what was read is set beside what was planted. Slopes come with the
95 % interval of a bootstrap over faces. Nothing here may be used to fit limner and to judge it on the same faces.
With a file groups.csv in the folder (a line a photograph: its name, then any words such as dark, light, young, old,
beard, glasses) the figures are also told for each word.
"""

from __future__ import annotations

import argparse
import csv
import sys
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from limner.auditing import examine
from limner.errors import LimnerError
from limner.proving.trials import Bench, Trial, crop_to_face, plan, run_trial
from limner.settings import Settings

Array = NDArray[np.float64]

GROUPS: dict[str, tuple[tuple[str, ...], float]] = {
    "eye width": (("eye_width_right", "eye_width_left"), 2.5),
    "nose width": (("nose_width",), 2.5),
    "mouth width": (("mouth_width",), 2.5),
    "eye opening": (("eye_opening_right", "eye_opening_left"), 2.5),
    "lips": (("upper_lip", "lower_lip"), 2.5),
    "place of mouth, nose, eyes": (("mouth_x", "mouth_y", "nose_x", "nose_y", "eye_left_x", "eye_right_x"), 1.0),
    "mouth axis": (("mouth_axis",), 1.0),
    "every axis": (("mouth_axis", "brow_axis", "nose_base_axis", "jaw_axis", "centre_axis", "nose_axis"), 1.0),
}
"""Name -> measures, and how much must be planted to count in the slope, in the measures' unit."""


def trials_for(number: int, paintings: int, seed: int) -> list[Trial]:
    """An even choice of the standard trials, another one for each face, a faithful copy in each kind among them."""
    everything = plan(quick=False, seed=seed * 1000 + number)
    chosen = [trial for trial in everything if not trial.slips][::4]
    rest = [trial for trial in everything if trial.slips]
    take = np.linspace(number % 3, len(rest) - 1, max(1, paintings - len(chosen))).astype(int)
    return chosen + [rest[k] for k in take]


def one_face(job: tuple[str, int, int, int]) -> list[tuple[int, str, bool, str, float, float | None, float, str, str]]:
    """All readings on one face: number, kind, faithful, measure, planted, read, sigma, call, witness."""
    path, number, paintings, seed = job
    settings = Settings(threads=1)
    first = examine(path, path, settings=Settings(threads=1, witness="mesh"))
    pixels = crop_to_face(first.reference.pixels, first.result.reference_points)
    again = examine(pixels, pixels, settings=Settings(threads=1, witness="mesh"))
    bench = Bench(pixels=pixels, points=again.result.reference_points, settings=settings)
    told = []
    for trial in trials_for(number, paintings, seed):
        outcome = run_trial(bench, trial)
        for witness, readings in (("paint", outcome.best), ("finder", outcome.mesh)):
            told += [
                (
                    number,
                    trial.brush.kind,
                    not trial.slips,
                    r.measure,
                    r.planted,
                    r.recovered,
                    r.sigma or 0.0,
                    r.call,
                    witness,
                )
                for r in readings
            ]
    return told


def slope_of(planted: Array, read: Array) -> float:
    """Read per planted, through the origin."""
    return float((read @ planted) / (planted @ planted)) if len(planted) else float("nan")


def interval(face: NDArray[np.int64], planted: Array, read: Array) -> tuple[float, float]:
    """95 % of the slopes over faces drawn with replacement."""
    rng = np.random.default_rng(1)
    names = np.unique(face)
    slopes = []
    for _ in range(500):
        rows = np.concatenate([np.flatnonzero(face == name) for name in rng.choice(names, len(names))])
        slopes.append(slope_of(planted[rows], read[rows]))
    low, high = np.nanquantile(slopes, (0.025, 0.975))
    return float(low), float(high)


def table(told: list[tuple], witness: str, blocks: bool) -> None:
    """One line a group of measures."""
    print(f"{'':28}{'slope (95 % over faces)':>25}{'RMS':>8}{'copies':>8}{'held':>7}{'unsure':>8}{'readings':>10}")
    for name, (measures, least) in GROUPS.items():
        rows = [t for t in told if t[8] == witness and (t[1] == "blocks") is blocks and t[3] in measures]
        known = [t for t in rows if t[5] is not None]
        if not known:
            continue
        face = np.array([t[0] for t in known])
        planted, read, sigma = (np.array([t[k] for t in known], dtype=np.float64) for k in (4, 5, 6))
        error, copy = read - planted, np.array([t[2] for t in known])
        moved = np.abs(planted) > least
        low, high = interval(face[moved], planted[moved], read[moved]) if moved.any() else (np.nan, np.nan)
        unsure = np.mean([t[7] == "unsure" or t[5] is None for t in rows])
        on_copies = np.sqrt((error[copy] ** 2).mean()) if copy.any() else np.nan
        print(
            f"{name:28}{slope_of(planted[moved], read[moved]):7.2f} ({low:5.2f} to {high:5.2f})"
            f"{np.sqrt((error**2).mean()):8.2f}{on_copies:8.2f}{np.mean(np.abs(error) <= 1.96 * sigma):7.1%}"
            f"{unsure:8.1%}{len(rows):10d}"
        )


def groups_of(folder: Path, paths: list[Path]) -> dict[str, set[int]]:
    """Word -> numbers of the photographs it stands beside."""
    file = folder / "groups.csv"
    if not file.is_file():
        return {}
    numbers = {path.name: number for number, path in enumerate(paths)}
    groups: dict[str, set[int]] = {}
    for name, *words in csv.reader(file.read_text(encoding="utf-8").splitlines()):
        for word in words:
            groups.setdefault(word.strip(), set()).add(numbers[name])
    return groups


def by_group(told: list[tuple], groups: dict[str, set[int]]) -> None:
    """One line a word: how many intervals hold, and the typical error of each group of measures, on full paintings."""
    if not groups:
        return
    names = (
        "eye width",
        "nose width",
        "mouth width",
        "eye opening",
        "lips",
        "place of mouth, nose, eyes",
        "every axis",
    )
    print(
        f"\nfull paintings, RMS by group\n{'':12}{'faces':>6}{'held':>8}"
        + "".join(f"{n.split(',')[0]:>15}" for n in names)
    )
    for word, faces in groups.items():
        mine = [t for t in told if t[0] in faces and t[8] == "paint" and t[5] is not None and t[1] != "blocks"]
        held = np.mean([abs(t[5] - t[4]) <= 1.96 * t[6] for t in mine])
        errors = [np.sqrt(np.mean([(t[5] - t[4]) ** 2 for t in mine if t[3] in GROUPS[name][0]])) for name in names]
        print(f"{word:12}{len(faces):6d}{held:8.1%}" + "".join(f"{error:15.2f}" for error in errors))


def main() -> int:
    """Run the trials and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--paintings", type=int, default=12, help="paintings a face (12)")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--seed", type=int, default=5)
    wanted = parser.parse_args()
    paths = sorted(
        p for p in wanted.folder.iterdir() if p.suffix.lower() in {".jpg", ".jpeg", ".png", ".webp", ".heic"}
    )
    if not paths:
        print(f"Expected portrait photographs in {wanted.folder.name}, found none.", file=sys.stderr)
        return 2
    groups = groups_of(wanted.folder, paths)
    jobs = [(str(path), number, wanted.paintings, wanted.seed) for number, path in enumerate(paths)]
    told: list[tuple] = []
    with ProcessPoolExecutor(wanted.jobs, mp_context=get_context("spawn")) as pool:
        for path, future in [(path, pool.submit(one_face, job)) for path, job in zip(paths, jobs, strict=True)]:
            try:
                told += future.result()
            except LimnerError as error:  # noqa: PERF203 - one bad photograph leaves the others in
                print(f"{path.name}: left out: {error}", file=sys.stderr)
    for blocks, name in ((False, "full paintings (strokes, glazes, knife)"), (True, "block-ins")):
        for witness, who in (("paint", "limner, reading the paint"), ("finder", "the face finder alone, repeated")):
            print(f"\n{name}: {who}")
            table(told, witness, blocks)
    for label, chosen in (
        ("full paintings", [t for t in told if t[1] != "blocks"]),
        ("block-ins", [t for t in told if t[1] == "blocks"]),
    ):
        mine = [t for t in chosen if t[8] == "paint"]
        known = [t for t in mine if t[5] is not None]
        held = np.mean([abs(t[5] - t[4]) <= 1.96 * t[6] for t in known])
        alarms = [t[7] == "off" for t in mine if t[2]]
        print(
            f"\n{label}, all measures: {held:.1%} of {len(known)} intervals hold; "
            f"{np.mean([t[7] == 'unsure' or t[5] is None for t in mine]):.1%} unsure; "
            f"{np.mean(alarms) if alarms else float('nan'):.2%} of {len(alarms)} readings on faithful copies called off"
        )
    for number, path in enumerate(paths):
        known = [t for t in told if t[0] == number and t[8] == "paint" and t[5] is not None and t[1] != "blocks"]
        if known:
            print(
                f"  {path.name}: {np.mean([abs(t[5] - t[4]) <= 1.96 * t[6] for t in known]):.1%} of {len(known)} hold"
            )
    by_group(told, groups)
    return 0


if __name__ == "__main__":
    sys.exit(main())
