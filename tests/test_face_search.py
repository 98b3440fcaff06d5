"""Faces are found however they stand, and none is made up where there is none."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

import face_scenes as scenes
from limner.errors import FaceError
from limner.face import search
from limner.face.choose import SMALLEST, choose
from limner.face.crops import MOUTH, face_size
from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT
from limner.face.mesh import open_mesh
from limner.face.search import FoundFace, find_faces, is_face_shaped
from limner.face.views import TONES, chain, from_centres, map_points, shrunk, tiles, turned_back


@pytest.fixture(scope="module")
def mesh(model_path):
    return open_mesh(model_path)


@pytest.fixture(scope="module")
def head(portrait):
    return scenes.close_up(portrait)


def offset(face: FoundFace, truth) -> float:
    """Mean distance of pupils and mouth from where they are, in pupil distances."""
    seen = face.mesh[[PUPIL_RIGHT, PUPIL_LEFT, MOUTH]]
    return float(np.linalg.norm(seen - truth, axis=1).mean() / np.linalg.norm(truth[1] - truth[0]))


WAYS = {
    "as it is": lambda pixels, points: (pixels, points),
    "grey": scenes.grey,
    "dark": scenes.dark,
    "half in shadow": scenes.half_in_shadow,
    "filling the frame": scenes.filling_the_frame,
    "full length": scenes.full_length,
    "tilted 45 degrees": lambda pixels, points: scenes.turned(pixels, points, 45),
    "tilted 45 degrees the other way": lambda pixels, points: scenes.turned(pixels, points, -45),
    "lying": lambda pixels, points: scenes.turned(pixels, points, 90),
    "upside down": lambda pixels, points: scenes.turned(pixels, points, 180),
}


@pytest.mark.parametrize("way", WAYS)
def test_the_face_is_found(mesh, head, way):
    pixels, truth = WAYS[way](*head)
    (face,) = find_faces(pixels, mesh)
    assert offset(face, truth) < 0.12


@pytest.mark.parametrize("seed", [0, 2, 5])
def test_the_face_is_found_in_broken_colour(mesh, head, seed):
    pixels, truth = scenes.broken_colour(*head, seed)
    (face,) = find_faces(pixels, mesh)
    assert offset(face, truth) < 0.12


def test_every_tone_is_tried_that_showed_a_face(mesh, head, monkeypatch):
    tried = []
    monkeypatch.setattr(search, "_second_looks", lambda *args: tried.append(args[-1]))
    hints = [search._Hint(mesh=mesh.detect(head[0])[0][:, :2], kind="equalised", tone=tone) for tone in TONES]
    assert search._confirm(head[0], mesh, hints, 8) is None
    assert tried == [None, *TONES]


def test_a_small_head_needs_more_than_a_plain_look(mesh, head):
    pixels, _ = scenes.full_length(*head)
    assert mesh.detect(pixels, 6) == []
    assert find_faces(pixels, mesh)[0].found_by == "tiled"


def test_a_plain_find_stays_cheap(mesh, head, monkeypatch):
    calls = []
    detect = mesh.detect

    def counted(*args):
        calls.append(args)
        return detect(*args)

    monkeypatch.setattr(mesh, "detect", counted)
    assert find_faces(head[0], mesh)[0].found_by == "plain"
    assert len(calls) <= 4


NO_FACE = ["brick", "chelsea", "clock", "coffee", "grass", "gravel", "horse", "moon", "page", "rocket", "text"]


@pytest.mark.parametrize("name", NO_FACE)
def test_no_face_is_made_up_in_other_pictures(mesh, name):
    from skimage import color, data

    pixels = getattr(data, name)()
    if pixels.dtype == bool:
        pixels = (255 * pixels).astype(np.uint8)
    if pixels.ndim == 2:
        pixels = np.asarray(255 * color.gray2rgb(pixels / 255.0), dtype=np.uint8)
    assert find_faces(np.ascontiguousarray(pixels[..., :3]), mesh) == []


@pytest.mark.parametrize("grain", [0.1, 3.0, 12.0, 40.0])
def test_no_face_is_made_up_in_noise(mesh, grain):
    assert find_faces(scenes.noise(3, grain), mesh) == []


@pytest.mark.parametrize("seed", range(4))
def test_no_face_is_made_up_in_brush_strokes(mesh, seed):
    assert find_faces(scenes.strokes(seed), mesh) == []


@pytest.mark.parametrize("size", [(1, 1), (3, 400), (400, 3), (16, 16)])
def test_tiny_and_thin_pictures_hold_no_face(mesh, size):
    assert find_faces(np.full((*size, 3), 128, dtype=np.uint8), mesh) == []


def test_two_faces_are_listed_from_picture_left(mesh, head):
    pixels, truth = head
    both = np.hstack([pixels, pixels[:, ::-1]])
    faces = find_faces(np.ascontiguousarray(both), mesh)
    assert len(faces) == 2
    assert offset(faces[0], truth) < 0.12
    assert faces[0].centre[0] < pixels.shape[1] < faces[1].centre[0]


def found(size: float, at: float) -> FoundFace:
    """A face of that size, px, at that x."""
    mesh = np.zeros((478, 2))
    mesh[10], mesh[152] = (0, -1.0 * size), (0, 1.62 * size)
    mesh[PUPIL_RIGHT], mesh[PUPIL_LEFT], mesh[MOUTH] = (-size / 2, 0), (size / 2, 0), (0, size)
    return FoundFace(mesh=mesh + (at, 100.0), found_by="plain", votes=8, looks=8)


def test_the_only_face_is_taken():
    face = found(60, 300)
    assert choose([face], None, "reference") is face


def test_the_largest_is_taken_where_it_is_twice_the_next():
    small, large = found(50, 100), found(101, 500)
    assert choose([small, large], None, "reference") is large


def test_several_without_a_choice_are_listed_with_sizes_and_the_option_named():
    with pytest.raises(FaceError, match=r"1: 50 px; 2: 99 px.*--face-painting NUMBER"):
        choose([found(50, 100), found(99, 500)], None, "painting")


def test_the_painters_choice_counts_from_picture_left():
    faces = [found(50, 100), found(99, 500)]
    assert choose(faces, 1, "reference") is faces[0]
    with pytest.raises(FaceError, match=r"--face-reference 3: there are 2 faces"):
        choose(faces, 3, "reference")


def test_no_face_says_what_was_tried_and_offers_points_by_hand():
    with pytest.raises(FaceError, match=r"turned.*limner points"):
        choose([], None, "painting")


def test_too_small_a_face_says_how_small_and_what_is_needed():
    with pytest.raises(FaceError, match=f"30 px between the pupils, {SMALLEST:.0f} are needed"):
        choose([found(30, 100)], None, "reference")
    choose([found(30, 100)], None, "reference", scale=0.5)  # 60 px of the stored picture


def test_face_shapes():
    good = found(60, 300).mesh
    good[4] = (300, 130)
    good[11:152] = np.random.default_rng(0).uniform((270, 60), (330, 180), (141, 2))
    assert is_face_shaped(good, 600, 600)
    assert not is_face_shaped(good - (330, 0), 600, 600)  # mostly outside
    upside = good.copy()
    upside[[PUPIL_RIGHT, PUPIL_LEFT], 1] += 80  # eyes below the mouth
    assert not is_face_shaped(upside, 600, 600)
    assert face_size(good) == pytest.approx(60)


def test_affine_maps_undo_each_other():
    turn = np.array([[0.8, -0.6, 12.0], [0.6, 0.8, -5.0]])
    points = np.array([[1.0, 2.0], [30.0, -4.0]])
    assert map_points(chain(turned_back(turn), turn), points) == pytest.approx(points)
    # Doubling about the picture's corner: the first pixel's centre, 0.5 px from the edge, goes to 1 px from the edge.
    assert map_points(from_centres(np.array([[2.0, 0, 0], [0, 2.0, 0]])), np.zeros((1, 2))).tolist() == [[0.5, 0.5]]


def test_tiles_of_every_size_cover_the_picture():
    pixels = np.zeros((700, 1500, 3), dtype=np.uint8)
    sizes = list(tiles(pixels))
    assert [len(size) for size in sizes] == [4, 24]
    for size in sizes:
        seen = np.zeros((700, 1500), dtype=bool)
        for view in size:
            corner = np.array([[0.0, 0.0], view.pixels.shape[1::-1]])
            (left, top), (right, bottom) = np.rint(map_points(view.back, corner)).astype(int)
            seen[top:bottom, left:right] = True
        assert seen.all()


@pytest.mark.parametrize("size", [(120, 90), (53, 41), (240, 180), (400, 300)])
def test_a_shrunk_picture_holds_the_means_of_what_it_was(size):
    ramp = np.dstack([np.add.outer(np.arange(360) / 4, np.arange(480) / 4)] * 3).astype(np.uint8)
    small = shrunk(ramp, size)
    plain = cv2.resize(ramp, size, interpolation=cv2.INTER_AREA)
    assert small.shape == (size[1], size[0], 3)
    assert np.abs(small.astype(int) - plain).max() <= 2
    assert abs(small.mean() - ramp.mean()) < 0.6
