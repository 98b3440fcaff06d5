"""Repeated readings: the same every time, centred, mirrored right, robust."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import face_scenes as scenes
from limner.errors import FaceError
from limner.face.crops import face_size, patch_round
from limner.face.facepoints import FacePoints
from limner.face.locate import unclear
from limner.face.mesh import Mesh, open_mesh
from limner.face.mirror import mirror_map
from limner.face.repeat import FIRST, LOOKS, agreeing, read_briefly, read_face, read_on
from limner.face.search import find_faces
from limner.pictures.load import load_picture


@pytest.fixture(scope="module")
def mesh(model_path):
    return open_mesh(model_path)


@pytest.fixture(scope="module")
def head(portrait):
    return scenes.close_up(portrait)[0]


@pytest.fixture(scope="module")
def face(mesh, head):
    return read_face(head, find_faces(head, mesh)[0].mesh, mesh, found_by="plain")


def test_looks_are_many_different_and_balanced():
    assert len(set(LOOKS)) == len(LOOKS) == 16
    assert sum(look.mirror for look in LOOKS) == 8
    assert abs(np.mean([look.turn for look in LOOKS])) < 1.5
    assert np.mean([look.zoom for look in LOOKS]) == pytest.approx(1, abs=0.03)


def test_the_same_picture_gives_the_same_bytes(mesh, head, face, model_path):
    start = find_faces(head, mesh)[0].mesh
    again = read_face(head, start, mesh, found_by="plain")
    other = read_face(head, start, Mesh(model_path), found_by="plain")
    assert again.runs.tobytes() == face.runs.tobytes() == other.runs.tobytes()
    assert again.depth.tobytes() == face.depth.tobytes()


def test_a_few_looks_make_a_start_and_reading_on_takes_all(mesh, head, face):
    assert sum(look.mirror for look in FIRST) == len(FIRST) / 2
    found = find_faces(head, mesh)[0]
    brief = read_briefly(found, mesh)
    assert len(brief.runs) == len(found.readings[0]) + len(FIRST) == 5
    whole = read_on(head, brief, mesh)
    assert len(whole.runs) == len(LOOKS)
    scatter = face.spread.mean() / np.sqrt(len(brief.runs))
    assert np.sqrt(((brief.mean - face.mean) ** 2).sum(axis=1).mean()) < 2 * scatter
    assert np.sqrt(((whole.mean - face.mean) ** 2).sum(axis=1).mean()) < scatter


@pytest.mark.parametrize("moved", [0.2, 0.04])
def test_a_few_looks_that_disagree_are_not_enough(mesh, head, moved):
    found = find_faces(head, mesh)[0]
    runs, depths = found.readings
    aside = moved * face_size(found.mesh) * np.array([-1.0, 0.0, 1.0])[:, None, None]
    assert read_briefly(replace(found, readings=(runs + aside, depths)), mesh) is None
    assert read_briefly(replace(found, readings=None), mesh) is None


def test_a_point_scatters_by_little_and_not_by_nothing(face):
    assert len(face.runs) == len(LOOKS)
    assert 0.002 < face.spread.mean() / face.pupil_distance < 0.02
    assert np.allclose(face.runs.mean(axis=0), face.mean)


def test_a_mirrored_picture_gives_mirrored_points(mesh, head, face):
    flipped = np.ascontiguousarray(head[:, ::-1])
    other = read_face(flipped, find_faces(flipped, mesh)[0].mesh, mesh, found_by="plain")
    back = other.mean[mirror_map()]
    back[:, 0] = head.shape[1] - back[:, 0]
    apart = np.linalg.norm(back - face.mean, axis=1) / face.pupil_distance
    assert apart.mean() < 0.005
    assert apart.max() < 0.02
    assert other.depth[mirror_map()] == pytest.approx(face.depth, abs=0.05 * face.pupil_distance)


def test_the_mean_of_many_moves_less_than_one_reading(mesh, portrait):
    # The same portrait turned by 4 degrees and made larger, so that the truth is known from the map alone.
    pixels, points = scenes.close_up(portrait)
    other, _ = scenes.turned(pixels, points, 4)
    moved = np.array([scenes.turned(pixels, corner, 4)[1] for corner in np.eye(3, 2)[:, None]])[:, 0]
    origin, axes = moved[2], (moved[:2] - moved[2]).T
    single = [mesh.detect(picture)[0][:, :2] for picture in (pixels, other)]
    repeated = [read_face(p, s, mesh, found_by="plain").mean for p, s in zip((pixels, other), single, strict=True)]

    def moves(first, second):
        return float(np.linalg.norm(first @ axes.T + origin - second, axis=1).mean())

    assert moves(*repeated) < 0.7 * moves(*single)


def test_depth_puts_the_nose_before_the_cheekbones(face):
    assert face.depth[4] < face.depth[[234, 454]].min() - 0.5 * face.pupil_distance


def test_gross_readings_are_dropped():
    rng = np.random.default_rng(0)
    base = rng.uniform(0, 100, (478, 2))
    base[10], base[152] = (50, 0), (50, 262)
    runs = np.array([base + rng.normal(0, 0.3, base.shape) for _ in range(10)])
    runs[3] += 40
    assert agreeing(runs).tolist() == [index != 3 for index in range(10)]
    assert agreeing(np.zeros((0, 478, 2))).tolist() == []


def test_where_there_is_no_face_the_error_offers_points_by_hand(mesh, face, head):
    with pytest.raises(FaceError, match="limner points"):
        read_face(np.full_like(head, 90), face.mean, mesh, found_by="plain")


def test_a_patch_is_no_larger_than_needed_and_knows_the_way_back(head, face):
    patch = patch_round(head, face.mean, 60.0)
    assert face_size(patch.mesh) == pytest.approx(60, rel=0.02)
    assert patch.pixels.size < head.size
    crop = patch.crop(LOOKS[1], side=200, size=50.0)
    assert crop.mirror
    middle = np.full((478, 2), 100.0)
    assert np.linalg.norm(crop.to_picture(middle)[0] - face.mean[[468, 473, 13]].mean(axis=0)) < face.pupil_distance


def scattered(face: FacePoints, share: float) -> FacePoints:
    """The same face with readings that scatter by that share of its size."""
    noise = np.random.default_rng(0).normal(0, share * face_size(face.mean) / 2**0.5, face.runs.shape)
    runs = face.mean + noise - noise.mean(axis=0)
    return replace(face, runs=runs, mean=runs.mean(axis=0))


def test_a_face_read_differently_each_time_is_said_to_be_unclear(face, head):
    picture = load_picture(head, label="painting")
    assert unclear(picture, face) is None
    assert unclear(picture, replace(face, runs=face.mean[None])) is None
    notice = unclear(picture, scattered(face, 0.2))
    assert notice is not None
    assert notice.code == "face_unclear"
    assert "of the distance between the pupils" in notice.text
    assert notice.text.endswith("limner points PICTURE")


def test_where_all_looks_disagree_the_few_that_agreed_are_kept(mesh, head):
    brief = read_briefly(find_faces(head, mesh)[0], mesh)
    assert read_on(np.full_like(head, 90), brief, mesh) is brief
