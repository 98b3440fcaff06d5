"""Prints the figures a series is held to, taken on this machine: python bench/series.py [--photos 20] [--many 400].

The floor, in the same run: decoding at the needed size, one detection and one dense flow on the face, in two processes.
The flow is the one that carries points from picture to picture: the face at 130 px between the pupils, searched to the
finest scale. A leaner floor is printed beside it, without a goal: the flow as its preset comes, less than half that
work.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from PIL import Image
from skimage import data

from bench import CROP, SIDE, figure
from floor import crop
from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT
from limner.proving.render import Brush, paint

SERIES = (sys.executable, "-m", "limner.cli", "series")
BETWEEN_PUPILS = 130.0
GRAIN = 4.0
"""Steps of 255: the noise a phone's photograph has, without which a JPEG decodes faster than any of its."""


def make(folder: Path, count: int, side: tuple[int, int]) -> tuple[Path, list[Path]]:
    """A reference and so many paintings of it, all different, as photographs of that size."""
    portrait = Image.fromarray(data.astronaut()).crop(CROP)
    small = portrait.resize((768, 1024), Image.Resampling.BICUBIC)
    reference = folder / "reference.jpg"
    small.resize(side, Image.Resampling.BICUBIC).save(reference, quality=92)
    painted = [Image.fromarray(paint(np.asarray(small), Brush.random("strokes", 5 + k))) for k in range(min(count, 5))]
    noise = np.rint(np.random.default_rng(3).normal(0.0, GRAIN, side[::-1])).astype(np.int16)
    paths = []
    for k in range(count):
        smooth = np.asarray(painted[k % len(painted)].resize(side, Image.Resampling.BICUBIC), dtype=np.int16)
        grain = np.roll(noise, 7 * k, axis=0)[..., None]
        picture = Image.fromarray((smooth + grain).clip(0, 255).astype(np.uint8))
        paths.append(folder / f"day-{k + 1:03d}.jpg")
        picture.save(paths[-1], quality=90 + k // len(painted) % 5)
    return reference, paths


def floor_of(path: str, lean: bool) -> int:
    """The least any audit of one photo has to do; what is loaded once is not counted."""
    import cv2

    from limner.face.bundle import ensure_model
    from limner.face.mesh import open_mesh

    cv2.setNumThreads(1)
    mesh = open_mesh(ensure_model())
    with Image.open(path) as picture:
        picture.draft("RGB", (picture.width // 2, picture.height // 2))
        pixels = np.asarray(picture.convert("RGB"))
    points = mesh.detect(pixels)[0][:, :2]
    grey = crop(pixels, points)
    search = cv2.DISOpticalFlow_create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM)
    if not lean:
        scale = BETWEEN_PUPILS / float(np.hypot(*(points[PUPIL_RIGHT] - points[PUPIL_LEFT])))
        grey = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        search.setFinestScale(0)
        search.setPatchSize(12)
        search.setPatchStride(4)
        search.setVariationalRefinementIterations(20)
    return int(search.calc(grey, np.roll(grey, 3, axis=1), None).shape[0])


def floor_rates(paths: Sequence[Path], lean: bool = False) -> tuple[float, float]:
    """Photos a second in two processes, their start and end included, and once they are ready."""
    work, begun = [(str(path), lean) for path in paths], time.perf_counter()
    with get_context("spawn").Pool(2) as pool:
        pool.starmap(floor_of, work, chunksize=1)
    whole = time.perf_counter() - begun
    with get_context("spawn").Pool(2) as pool:
        pool.starmap(floor_of, work[:4], chunksize=1)
        begun = time.perf_counter()
        pool.starmap(floor_of, work, chunksize=1)
        return len(paths) / whole, len(paths) / (time.perf_counter() - begun)


def timed(words: Sequence[object], kept: Path) -> tuple[float, bytes]:
    """Seconds from start to end, and what was printed."""
    around = {**os.environ, "LIMNER_CACHE": str(kept)}
    begun = time.perf_counter()
    done = subprocess.run(
        [*SERIES, *map(str, words)], env=around, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, check=False
    )
    seconds = time.perf_counter() - begun
    if done.returncode not in {0, 1}:
        raise SystemExit(f"limner series ended with {done.returncode}: {' '.join(map(str, words[:3]))} ...")
    return seconds, done.stdout


def most_held(words: Sequence[object]) -> float:
    """The largest memory of all processes of a series together, MB: asked fifty times a second, so it is not timed."""
    most = 0.0
    with subprocess.Popen(
        [*SERIES, *map(str, words), "--no-cache"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as process:
        while process.poll() is None:
            most = max(most, memory(process.pid))
            time.sleep(0.02)
    return most


def memory(pid: int) -> float:
    """MB a process and those it started hold (Linux; proportional shares where pages are shared)."""
    whole = 0.0
    try:
        rollup = Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="ascii")
        whole += next(float(line.split()[1]) for line in rollup.splitlines() if line.startswith("Pss:")) / 1024
        children = Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="ascii").split()
    except (OSError, StopIteration):
        return whole
    return whole + sum(memory(int(child)) for child in children)


def killed(reference: Path, photos: Sequence[Path], folder: Path, times: int) -> int:
    """Kills so many runs at random moments, half of them on one cache; how many next runs were wrong or not whole."""
    rng, wrong = np.random.default_rng(17), 0
    seconds, right = timed([reference, *photos, "--format", "json"], folder / "right")
    for k in range(times):
        kept = folder / f"kill-{k}"
        around = {**os.environ, "LIMNER_CACHE": str(kept)}
        process = subprocess.Popen(
            [*SERIES, str(reference), *map(str, photos)],
            env=around,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        time.sleep(rng.uniform(0.05, seconds))
        process.send_signal(signal.SIGKILL)
        process.wait()
        _, found = timed([reference, *photos, "--format", "json"], kept)
        left = [path for path in kept.rglob("*") if path.is_file() and path.suffix != ".json"]
        wrong += json.loads(found) != json.loads(right) or bool(left)
    return wrong


def main() -> int:
    """Print every figure; 1 when a goal is missed."""
    parser = argparse.ArgumentParser(description="Print the figures a series is held to.")
    parser.add_argument("--photos", type=int, default=20)
    parser.add_argument("--many", type=int, default=400)
    parser.add_argument("--kills", type=int, default=50)
    asked = parser.parse_args()
    print(f"load of this machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores", flush=True)
    reached = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        reference, photos = make(folder, asked.photos, SIDE)
        floor, ready = floor_rates(photos)
        _, lean = floor_rates(photos, lean=True)
        seconds, first = timed([reference, *photos, "--jobs", 2, "--format", "json"], folder / "kept")
        again, second = timed([reference, *photos, "--jobs", 2, "--format", "json"], folder / "kept")
        begun, _ = timed([reference, *photos[:2], "--jobs", 2, "--format", "json"], folder / "two")
        rate, once = len(photos) / seconds, (len(photos) - 2) / (seconds - begun)
        for what, value in (
            ("floor: photos a second, start and end included", floor),
            ("series: photos a second, start and end included", rate),
            ("floor: photos a second once both processes are ready", ready),
            ("series: photos a second from the third on", once),
            ("leaner floor: photos a second, both ready", lean),
            ("leaner floor's rate over that of the whole series", lean / rate),
            ("floor's rate over that of the series, both whole", floor / rate),
            ("floor's rate over that of the series, both begun", ready / once),
        ):
            print(f"{what:<52}{value:8.2f}")
        # The strictest: the series with its start and end, the floor without.
        reached.append(figure("ready floor's rate over that of the whole series", ready / rate, "times", 4.0))
        reached.append(figure(f"second run of {len(photos)} photos", again, "s", 1.5))
        reached.append(figure("second run that differs from the first", float(first != second), "", 0))
        held = most_held([reference, *photos, "--jobs", 2])
        print(f"{f'memory of {len(photos)} photos of 12 megapixels':<52}{held:8.0f} MB")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        reference, photos = make(folder, asked.many, (1008, 1344))
        few, many = most_held([reference, *photos[:20]]), most_held([reference, *photos])
        print(f"{'memory of 20 smaller photos':<52}{few:8.0f} MB")
        reached.append(figure(f"memory of {asked.many} over that of 20", many / few, "times", 1.1))
        wrong = killed(reference, photos[:6], folder, asked.kills)
        reached.append(figure(f"runs wrong after {asked.kills} kills at random moments", wrong, "", 0))
    return 0 if all(reached) else 1


if __name__ == "__main__":
    sys.exit(main())
