"""The example studio: what it promises is there, and what it says was planted was planted."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from limner import audit
from limner.settings import STAGES, Settings

DEMO = Path(__file__).resolve().parents[1] / "demo"


@pytest.fixture(scope="module")
def studio(example_studio: Path) -> Path:
    return example_studio


@pytest.fixture(scope="module")
def truth(studio: Path) -> dict:
    return json.loads((studio / "truth.json").read_text())


def test_the_studio_has_a_reference_and_five_sessions_of_readable_pictures(studio, truth):
    names = {path.name for path in studio.iterdir()}
    photos = (f"{kind}-{n}.jpg" for n in range(1, 6) for kind in ("session", "easel"))
    assert names == {"reference.jpg", "truth.json", *photos}
    for name in names - {"truth.json"}:
        with Image.open(studio / name) as picture:
            picture.load()
            assert min(picture.size) > 900


def test_sessions_go_through_the_stages_in_the_order_of_their_exif_times(studio, truth):
    taken = []
    for row in truth["sessions"]:
        with Image.open(studio / row["picture"]) as picture:
            taken.append(picture.getexif().get_ifd(0x8769)[0x9003])
        assert taken[-1] == row["taken"]
    assert taken == sorted(taken)
    assert [row["stage"] for row in truth["sessions"]] == list(STAGES)


def test_every_error_shrinks_except_the_one_that_comes_back(truth):
    by_kind: dict[str, list[float]] = {}
    for row in truth["sessions"]:
        for slip in row["slips"]:
            by_kind.setdefault(slip["kind"], []).append(abs(slip["amount"]))
    assert len(by_kind) == 5
    for kind, amounts in by_kind.items():
        worse = [n for n in range(1, 5) if amounts[n] > amounts[n - 1]]
        assert worse == ([3] if kind == "mouth_width" else []), kind


def test_the_true_points_hold_the_planted_errors(truth):
    reference = np.array(truth["reference"]["points"])
    for row in truth["sessions"]:
        points = np.array(row["points"])
        amounts = {slip["kind"]: slip["amount"] for slip in row["slips"]}
        told = {id_: measure["deviation"] / 100 for id_, measure in row["measures"].items()}
        assert told["mouth_width"] == pytest.approx(amounts["mouth_width"], abs=1e-4)
        assert told["eye_width_left"] == pytest.approx(amounts["eyes_size"], abs=0.002)
        # The eyes, painted too large, take both brows up a little; one is raised by its own slip as well.
        assert told["brow_left_y"] - told["brow_right_y"] == pytest.approx(amounts["brow_left_y"], abs=0.01)
        assert told["chin_height"] == pytest.approx(amounts["chin"], abs=0.01)

        def change(a, b, points=points):
            scale = np.linalg.norm(points[473] - points[468]) / np.linalg.norm(reference[473] - reference[468])
            length = [np.linalg.norm(p[b] - p[a]) for p in (reference, points)]
            return length[1] / scale / length[0] - 1

        assert change(61, 291) == pytest.approx(amounts["mouth_width"], abs=0.002)
        assert change(33, 133) == pytest.approx(amounts["eyes_size"], abs=0.002)
        assert change(362, 263) == pytest.approx(amounts["eyes_size"], abs=0.002)


def test_the_photographs_differ_in_exposure_and_show_the_painting_where_truth_says(studio, truth):
    # The pupil is the darkest spot of an eye on the canvas, too: it has to be where truth.json puts it.
    row = truth["sessions"][4]
    with Image.open(studio / row["picture"]) as picture:
        grey = np.asarray(picture.convert("L"), dtype=float)
    points = np.array(row["points"])
    pupils_apart = np.linalg.norm(points[473] - points[468])
    for index in (468, 473):
        x, y = np.rint(points[index]).astype(int)
        r, far = round(0.05 * pupils_apart), round(0.35 * pupils_apart)
        here = grey[y - r : y + r, x - r : x + r].mean()
        around = grey[y - far : y + far, x - far : x + far].mean()
        assert here < 0.7 * around
    means = [np.asarray(Image.open(studio / row["picture"])).mean() for row in truth["sessions"]]
    assert np.ptp(means) > 10


@pytest.mark.parametrize("number", [2, 5])
def test_through_the_photo_of_the_easel_the_planted_errors_are_read(studio, truth, model_path, number):
    """Found by its edges, straightened, and read: the planted change lies within the stated doubt, or a little past."""
    row = truth["sessions"][number - 1]
    settings = Settings(model=model_path, canvas="440x500mm", values=False)
    result = audit(studio / "reference.jpg", studio / row["easel"]["picture"], settings=settings)
    corners = np.array(row["easel"]["corners"])
    off = np.linalg.norm(np.array(result.canvas.corners) - corners, axis=1).max()
    assert off < 0.003 * np.linalg.norm(corners[2] - corners[0])
    assert result.canvas.size_mm == (440.0, 500.0)
    assert result.canvas.off_axis == pytest.approx(abs(row["easel"]["degrees to the side"]), abs=4)
    read = {m.id: m for m in result.measures}
    for id_ in ("eye_width_left", "mouth_width", "brow_left_y", "chin_y", "nose_width", "mouth_y"):
        measure = read[id_]
        error = measure.deviation - row["measures"][id_]["deviation"]
        assert abs(error) < max(3 * measure.sigma, 2.0), id_


def test_building_it_twice_gives_the_same_bytes(studio, tmp_path, model_path):
    subprocess.run(
        [sys.executable, str(DEMO / "studio.py"), str(tmp_path)], check=True, capture_output=True, timeout=300
    )
    for path in studio.iterdir():
        assert (tmp_path / path.name).read_bytes() == path.read_bytes(), path.name
