"""Find the canvas in invented phone photos whose corners are known: how many are said to be sure, and how truly.

``python bench/canvas.py [FIRST] [SCENES]``: the scenes of tests/scenes.py from that number on (by default 60 from
1000), up to 35 degrees off axis, four rooms in turn, searched as an audit does: the size known, nothing else.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from skimage import data

from limner.pictures.canvas import find_canvas
from limner.pictures.picture import Picture

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))
from scenes import Scene, make_scene

HELD = 0.3
"""Percent of the canvas's diagonal to which every corner is held."""
WRONG = 1.0
"""Percent of the diagonal from which on it is another rectangle, not an inexact one."""


@dataclass(frozen=True, kw_only=True)
class Tried:
    """One scene searched."""

    sure: bool
    off: float
    """The worst corner's error, percent of the diagonal; infinite where nothing was found."""
    seconds: float


def main() -> int:
    """Return how many wrong rectangles were taken in silence."""
    first, scenes = (int(word) for word in (*sys.argv[1:], *("1000", "60")[len(sys.argv) - 1 :]))
    portrait = data.astronaut()
    tried = []
    for seed in range(first, first + scenes):
        scene = make_scene(seed, portrait)
        one = search(scene)
        tried.append(one)
        said = "sure" if one.sure else "not sure"
        print(
            f"{seed}  {scene.room:8} {scene.off_axis:4.0f} deg  {said:8}  {one.off:6.2f} %  {one.seconds:.1f} s",
            flush=True,
        )
    tell(tried)
    return sum(one.sure and one.off > WRONG for one in tried)


def search(scene: Scene) -> Tried:
    """Find the canvas of one scene and hold its corners against the true ones."""
    height, width = scene.pixels.shape[:2]
    photo = Picture(
        pixels=scene.pixels, name="scene", digest=None, full_size=(width, height), focal_35mm=scene.focal_35mm
    )
    begun = time.perf_counter()
    found = find_canvas(photo, size_mm=scene.size_mm)
    seconds = time.perf_counter() - begun
    off = np.inf
    if found.corners is not None:
        diagonal = np.linalg.norm(scene.corners[2] - scene.corners[0])
        off = 100 * float(np.linalg.norm(found.corners - scene.corners, axis=1).max() / diagonal)
    return Tried(sure=found.sure, off=off, seconds=seconds)


def tell(tried: list[Tried]) -> None:
    """Print the figures."""
    sure = [one for one in tried if one.sure]
    right = sum(one.off <= HELD for one in sure)
    print(f"said to be sure: {len(sure)} of {len(tried)}")
    if sure:
        print(f"of these every corner within {HELD} % of the diagonal: {right} ({100 * right / len(sure):.0f} %)")
        print(f"of these a wrong rectangle (over {WRONG:.0f} %): {sum(one.off > WRONG for one in sure)}")
    print(f"sure and right, of all: {right} ({100 * right / len(tried):.0f} %)")
    print(f"median time: {np.median([one.seconds for one in tried]):.1f} s")


if __name__ == "__main__":
    sys.exit(main())
