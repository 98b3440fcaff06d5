"""The tables of named points and features: whole, on the right side, and plausible on a real portrait."""

from __future__ import annotations

import numpy as np
import pytest

from limner.errors import UsageError
from limner.face.locate import locate
from limner.face.mesh import open_mesh
from limner.face.mirror import MIDDLE, PAIRS, mirror_map
from limner.face.points import (
    FEATURES,
    HAND_POINTS,
    MESH_POINTS,
    NAMED_POINTS,
    check_points,
    feature_outline,
    named_point_positions,
)
from limner.pictures.load import load_picture


@pytest.fixture(scope="module")
def face(model_path, portrait):
    return locate(load_picture(portrait, label="reference"), open_mesh(model_path))


def test_the_mirror_table_is_whole_and_its_own_inverse():
    swap = mirror_map()
    assert sorted([*MIDDLE, *(index for pair in PAIRS for index in pair)]) == list(range(478))
    assert (swap[swap] == np.arange(478)).all()


def test_the_mirror_table_maps_the_published_mesh_onto_itself():
    from mediapipe.tasks.python.vision import FaceLandmarksConnections

    edges = {frozenset((edge.start, edge.end)) for edge in FaceLandmarksConnections.FACE_LANDMARKS_TESSELATION}
    swap = mirror_map()
    broken = [edge for edge in edges if frozenset(int(swap[end]) for end in edge) not in edges]
    # The mesh itself splits six quadrilaterals along different diagonals on its two sides.
    assert len(edges) > 1300
    assert len(broken) == 6


def test_right_and_left_are_each_others_mirror_image():
    swap = mirror_map()
    for key, point in NAMED_POINTS.items():
        if key.endswith("_right"):
            left = NAMED_POINTS[key.removesuffix("_right") + "_left"]
            assert [int(swap[index]) for index in point.indices] == list(left.indices), key
            assert (point.side, left.side) == ("right", "left")
        elif point.side == "middle":
            assert all(index in MIDDLE for index in point.indices), key
    for name, feature in FEATURES.items():
        if name.endswith("_right"):
            other = FEATURES[name.removesuffix("_right") + "_left"]
            assert {int(swap[index]) for index in feature.indices} == set(other.indices)
        elif feature.side == "middle":
            assert {int(swap[index]) for index in feature.indices} == set(feature.indices), name


KNOWN = {"ex", "en", "ps", "pi", "p", "al", "ch", "ls", "li", "sto", "gn", "go", "zy", "g", "n", "prn", "sn"}


def test_names_are_told_apart_and_only_a_hand_can_place_the_rest():
    names = [point.name for point in NAMED_POINTS.values()]
    assert len(set(names)) == len(names)
    assert {point.abbr for point in HAND_POINTS} == {"tr", "v", "sa", "sba"}
    assert {point.abbr for point in MESH_POINTS} >= KNOWN


@pytest.mark.parametrize(
    ("first", "second", "indices"),
    [
        ("ex_right", "en_right", (33, 133)),
        ("ex_left", "en_left", (263, 362)),
        ("ps_right", "pi_right", (159, 145)),
        ("ps_left", "pi_left", (386, 374)),
        ("al_right", "al_left", (129, 358)),
        ("ch_right", "ch_left", (61, 291)),
        ("ls", "stu", (0, 13)),
        ("stl", "li", (14, 17)),
        ("p_right", "p_left", (468, 473)),
    ],
)
def test_the_indices_measures_are_declared_with(first, second, indices):
    assert (NAMED_POINTS[first].indices, NAMED_POINTS[second].indices) == ((indices[0],), (indices[1],))


def test_a_part_of_a_mesh_is_refused_by_one_typed_error():
    for wrong in (np.zeros((468, 2)), np.zeros((478, 4)), np.zeros(478)):
        with pytest.raises(UsageError, match="478"):
            check_points(wrong)
    with pytest.raises(UsageError, match="eye_right"):
        feature_outline(np.zeros((478, 2)), "ear")


def test_closed_outlines_do_not_cross_themselves(face):
    from shapely import Polygon

    for name, feature in FEATURES.items():
        outline = feature_outline(face.mean, name)
        assert len(set(feature.indices)) == len(feature.indices) or name in {"upper_lip", "lower_lip"}
        if feature.closed:
            assert Polygon(outline).is_valid, name


def test_the_sitters_right_is_picture_left_and_features_stand_in_order(face):
    at = named_point_positions(face.mean)
    across = ["zy_right", "ex_right", "p_right", "en_right", "n", "en_left", "p_left", "ex_left", "zy_left"]
    assert [at[key][0] for key in across] == sorted(at[key][0] for key in across)
    down = ["g", "n", "prn", "sn", "ls", "stu", "sto", "stl", "li", "gn"]
    assert [at[key][1] for key in down] == sorted(at[key][1] for key in down)
    for side in ("right", "left"):
        assert at[f"bp_{side}"][1] < at[f"ps_{side}"][1] < at[f"p_{side}"][1] < at[f"pi_{side}"][1]
        inner, middle, outer = (at[f"{key}_{side}"][0] for key in ("ii", "p", "io"))
        assert (inner - middle) * (outer - middle) < 0
        assert abs(inner - at["n"][0]) < abs(outer - at["n"][0])


# ANSUR II (US Army 2010-12, Gordon et al., NATICK/TR-15/007; ratios computed from its public tables), women, mean, SD:
# menton-sellion over interpupillary breadth, bizygomatic over interpupillary breadth, menton-sellion over bizygomatic.
FACE_OVER_PUPILS = (1.838, 0.130)
WIDTH_OVER_PUPILS = (2.173, 0.117)
FACE_OVER_WIDTH = (0.847, 0.051)
# Rufer et al. 2005, Cornea 24(3):259-261: visible iris 11.71 mm; over ANSUR II's pooled pupil distance, 63.26 mm.
IRIS_OVER_PUPILS = (0.185, 0.068 * 0.185)


def within(value: float, published: tuple[float, float], spread: float = 2.33) -> bool:
    """Between about the first and the ninety-ninth of a hundred people."""
    return abs(value - published[0]) <= spread * published[1]


def test_a_real_portrait_has_the_proportions_people_have(face):
    at, unit = named_point_positions(face.mean), face.pupil_distance

    def length(first: str, second: str) -> float:
        return float(np.linalg.norm(at[first] - at[second])) / unit

    assert within(length("n", "gn"), FACE_OVER_PUPILS)
    assert within(length("zy_right", "zy_left"), WIDTH_OVER_PUPILS)
    assert within(length("n", "gn") / length("zy_right", "zy_left"), FACE_OVER_WIDTH)
    for side in ("right", "left"):
        assert within(length(f"ii_{side}", f"io_{side}"), IRIS_OVER_PUPILS)
