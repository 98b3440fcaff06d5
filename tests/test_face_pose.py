"""The turn of the head: recovered from the published mean face turned by known angles."""

from __future__ import annotations

import math

import numpy as np
import pytest

import face_scenes as scenes
from limner.errors import FaceError
from limner.face.facepoints import FacePoints
from limner.face.locate import locate
from limner.face.mesh import open_mesh
from limner.face.pose import MODEL_INDICES, NEUTRAL_FACE, camera_distance, pose_of, too_near
from limner.pictures.load import load_picture
from limner.pictures.picture import Picture

# 3D Facial Norms (Weinberg et al. 2016, Cleft Palate Craniofac J 53(6):e185-e197), means at age 25, mm, as printed.
MEN = {"en-en": 32.74, "ex-ex": 88.85, "ch-ch": 50.10, "zy-zy": 137.12, "n-sn": 56.65, "n-gn": 126.64}
WOMEN = {"en-en": 31.46, "ex-ex": 85.64, "ch-ch": 47.87, "zy-zy": 130.09, "n-sn": 54.47, "n-gn": 118.03}


def picture(focal: float | None = None, size: tuple[int, int] = (1000, 1000), scale: float = 1.0) -> Picture:
    return Picture(
        pixels=np.zeros((4, 4, 3), dtype=np.uint8),
        name="photo.jpg",
        digest=None,
        full_size=size,
        scale=scale,
        focal_35mm=focal,
    )


def published_face(lengths: dict[str, float]) -> dict[str, np.ndarray]:
    """The neutral face with its widths and heights replaced by one sex's, as printed."""
    face = {key: np.array(place) for key, place in NEUTRAL_FACE.items()}
    for key, length in (("en", "en-en"), ("ex", "ex-ex"), ("ch", "ch-ch"), ("zy", "zy-zy")):
        face[f"{key}_right"][0], face[f"{key}_left"][0] = -lengths[length] / 2, lengths[length] / 2
    face["sn"][1], face["gn"][1] = lengths["n-sn"], lengths["n-gn"]
    return face


def seen(face: dict[str, np.ndarray], yaw: float, pitch: float, roll: float, distance: float = 1500.0) -> FacePoints:
    """The face turned and projected; yaw to picture right, chin up, clockwise as seen."""
    y, p, r = np.radians([-yaw, -pitch, roll])
    turn_y = np.array([[np.cos(y), 0, np.sin(y)], [0, 1, 0], [-np.sin(y), 0, np.cos(y)]])
    turn_x = np.array([[1, 0, 0], [0, np.cos(p), -np.sin(p)], [0, np.sin(p), np.cos(p)]])
    turn_z = np.array([[np.cos(r), -np.sin(r), 0], [np.sin(r), np.cos(r), 0], [0, 0, 1]])
    mesh = np.zeros((478, 2))
    middle = np.mean(list(face.values()), axis=0)

    def project(place: np.ndarray) -> np.ndarray:
        x, y_, z = turn_z @ turn_x @ turn_y @ (place - middle) + (0, 0, distance)
        return np.array([x, y_]) * 4000 / z + (500, 500)

    for key, place in face.items():
        mesh[MODEL_INDICES[key]] = project(place)
    mesh[10] = project(np.array([0.0, -37.5, 10.3]))
    mesh[468], mesh[473] = (project(np.array([side * 31.5, 14.0, 15.0])) for side in (-1, 1))
    box = (0.0, 0.0, 1.0, 1.0)
    return FacePoints(mean=mesh, runs=mesh[None], depth=np.zeros(478), box=box, found_by="plain")


TURNS = [(0, 0, 0), (20, 0, 0), (-35, 0, 0), (0, 15, 0), (0, -20, 0), (0, 0, 30), (15, -10, -45), (-25, 12, 100)]


@pytest.mark.parametrize(("yaw", "pitch", "roll"), TURNS)
def test_known_turns_are_recovered_from_the_mean_face(yaw, pitch, roll):
    both = {key: (MEN[key] + WOMEN[key]) / 2 for key in MEN}
    pose = pose_of(seen(published_face(both), yaw, pitch, roll), picture())
    assert (pose.yaw, pose.pitch, pose.roll) == pytest.approx((yaw, pitch, roll), abs=0.5)


@pytest.mark.parametrize("lengths", [MEN, WOMEN])
@pytest.mark.parametrize(("yaw", "pitch", "roll"), TURNS)
def test_known_turns_are_recovered_from_either_sexs_mean(lengths, yaw, pitch, roll):
    pose = pose_of(seen(published_face(lengths), yaw, pitch, roll), picture())
    assert (pose.yaw, pose.pitch, pose.roll) == pytest.approx((yaw, pitch, roll), abs=2.5)


def test_the_neutral_face_has_the_published_lengths():
    for key, first, second in (("en-en", "en_right", "en_left"), ("ex-ex", "ex_right", "ex_left"), ("n-gn", "n", "gn")):
        length = math.dist(NEUTRAL_FACE[first], NEUTRAL_FACE[second])
        assert length == pytest.approx((MEN[key] + WOMEN[key]) / 2, abs=0.05)


def test_a_mirrored_portrait_turns_the_other_way(model_path, portrait):
    mesh = open_mesh(model_path)
    head = scenes.turned(*scenes.close_up(portrait), 12)[0]
    poses = []
    for pixels in (head, np.ascontiguousarray(head[:, ::-1])):
        read = load_picture(pixels, label="reference")
        poses.append(pose_of(locate(read, mesh), read))
    first, second = poses
    assert (second.yaw, second.pitch, second.roll) == pytest.approx((-first.yaw, first.pitch, -first.roll), abs=0.8)
    assert first.roll < -5  # turned anticlockwise
    assert 0 < first.sigma < 1


def test_points_that_are_no_face_are_refused():
    nowhere = FacePoints(
        mean=np.full((478, 2), np.nan),
        runs=np.zeros((1, 478, 2)),
        depth=np.zeros(478),
        box=(0, 0, 1, 1),
        found_by="hand",
    )
    with pytest.raises(FaceError, match="limner points"):
        pose_of(nowhere, picture())


@pytest.mark.parametrize("yaw", [0, 25])
def test_camera_distance_from_focal_length_and_face_size(yaw):
    # 63 mm between the pupils, 4000 px of focal length; a 1000 x 1000 px picture has that with 122.4 mm equivalent.
    face = seen({key: np.array(place) for key, place in NEUTRAL_FACE.items()}, yaw, 0, 0, distance=800.0)
    focal = 4000 / math.hypot(1000, 1000) * math.hypot(36, 24)
    assert camera_distance(picture(focal), face) == pytest.approx(800, rel=0.05)
    assert camera_distance(picture(focal, size=(2000, 2000), scale=0.5), face) == pytest.approx(800, rel=0.05)
    assert camera_distance(picture(None), face) is None


def test_a_selfie_is_warned_of_with_its_source_and_a_portrait_is_not():
    face = {key: np.array(place) for key, place in NEUTRAL_FACE.items()}
    focal = 4000 / math.hypot(1000, 1000) * math.hypot(36, 24)
    notice = too_near(picture(focal), seen(face, 0, 0, 0, distance=400.0))
    assert notice is not None
    assert notice.code == "camera_too_near"
    assert "0.4 m" in notice.text
    assert "Ward et al. 2018" in notice.text
    assert too_near(picture(focal), seen(face, 0, 0, 0, distance=2000.0)) is None
    assert too_near(picture(None), seen(face, 0, 0, 0, distance=400.0)) is None
