"""The whole comparison: which witness speaks, what is not painted yet, what is said first, in which px."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest
from numpy.testing import assert_allclose

import norms_face as norms
from limner.compare.assemble import Comparison, View, compare
from limner.compare.judge import READS_SMALL
from limner.compare.witness import PART_OF
from limner.errors import FaceError, UsageError
from limner.face.points import FEATURES
from limner.measure.catalogue import CATALOGUE, NOT_SEEN
from limner.register.carried import Carried
from limner.result import MeasureResult, Pose
from limner.settings import Settings

POSE = {"scale": 6.0, "turn": 5.0, "centre": (900.0, 700.0)}
WIDER = norms.widened(norms.widened(norms.norms_mm(), norms.EYE_LEFT, 1.15), norms.EYE_RIGHT, 1.15)
REFERENCE = norms.face_points(norms.norms_px(), noise=0.3)


def found(points: np.ndarray, **more):
    return norms.face_points(norms.place(points, **POSE), noise=0.5, seed=1, **more)


def carried(points: np.ndarray, **more) -> Carried:
    placed = norms.place(points, **POSE)
    return Carried(points=placed, runs=placed + np.array([[[-0.2, 0.0]], [[0.2, 0.0]]]), **more)


def by_id(comparison: Comparison) -> dict[str, MeasureResult]:
    return {measure.id: measure for measure in comparison.measures}


def ordinary(points: np.ndarray) -> np.ndarray:
    """What a detector pulled toward the ordinary face would find: half of what was planted."""
    return (points + norms.norms_mm()) / 2


def test_a_picture_against_itself_is_off_in_nothing_and_it_is_time_to_stop():
    result = compare(REFERENCE, REFERENCE)
    assert not [m for m in result.measures if m.call in ("off", "slight")]
    assert {m.deviation for m in result.measures if m.deviation is not None and abs(m.deviation) > 1e-9} == set()
    assert "time to stop" in result.mend_first[0]
    assert result.scale.scale == pytest.approx(1.0)
    assert not result.scale.disagree


def test_every_measure_of_the_catalogue_comes_back_with_what_is_not_seen():
    result = by_id(compare(REFERENCE, found(WIDER)))
    assert set(result) == set(CATALOGUE) | set(NOT_SEEN)
    for id_ in NOT_SEEN:
        assert result[id_].call == "not measured"
        assert result[id_].deviation is None


def test_no_result_holds_a_number_that_is_none():
    """Numbers are finite, or absent with a reason."""
    for comparison in (compare(REFERENCE, found(WIDER)), compare(REFERENCE, found(WIDER), carried=carried(WIDER))):
        for m in comparison.measures:
            numbers = [m.deviation, m.sigma, m.threshold, m.reference.value, m.painting.value]
            if m.deviation is None:
                assert numbers == [None] * 5
                assert m.reason
                assert m.witness is None
            else:
                assert np.isfinite(np.array(numbers, dtype=float)).all(), m.id
                assert m.sigma is not None
                assert m.sigma > 0
                assert m.witness is not None


def test_sizes_read_by_the_mesh_alone_say_that_they_read_small():
    result = by_id(compare(REFERENCE, found(ordinary(WIDER))))
    eye = result["eye_width_left"]
    assert eye.witness == "mesh"
    assert eye.reason == READS_SMALL == "read by the face finder alone: sizes read small"
    assert eye.deviation == pytest.approx(7.5, abs=1e-6)  # left as it was read
    assert eye.sigma is not None
    assert eye.deviation + 1.96 * eye.sigma >= 15.0
    assert eye.call == "unsure"
    assert result["mouth_width"].reason is None
    assert result["mouth_width"].call == "true"


def test_where_the_pixels_are_believed_they_speak_and_the_detectors_own_error_cancels():
    comparison = compare(REFERENCE, found(ordinary(WIDER)), carried=carried(WIDER))
    eye = by_id(comparison)["eye_width_left"]
    assert eye.witness == "pixels"
    assert eye.deviation == pytest.approx(15.0, abs=1e-6)
    assert eye.call == "off"
    assert eye.reason is None
    assert re.fullmatch(r"Both eyes are painted too wide: about 15 % \(give or take \d\)\.", comparison.mend_first[0])
    assert_allclose(comparison.painting_points, norms.place(WIDER, **POSE))


def test_where_the_pixels_are_doubted_the_mesh_speaks_for_that_feature_alone():
    shown = carried(WIDER, doubts={"eye_left": "too dark to read", "lips": "teeth"})
    comparison = compare(REFERENCE, found(ordinary(WIDER)), carried=shown)
    result = by_id(comparison)
    assert result["eye_width_left"].witness == "mesh"
    assert result["eye_width_left"].deviation == pytest.approx(7.5, abs=1e-6)
    assert result["eye_width_right"].witness == "pixels"
    assert result["eye_width_right"].deviation == pytest.approx(15.0, abs=1e-6)
    assert result["nose_width"].witness == "pixels"
    for id_ in ("upper_lip", "mouth_opening", "mouth_width", "philtrum", "mouth_y"):
        assert result[id_].witness == "mesh", id_
    eye = list(norms.EYE_LEFT)
    assert_allclose(comparison.painting_points[eye], norms.place(ordinary(WIDER), **POSE)[eye])
    # A length read by the pixels, but set against pupils that only the detector has found, is less sure.
    plain = by_id(compare(REFERENCE, found(ordinary(WIDER)), carried=carried(WIDER)))
    assert (result["nose_width"].sigma or 0) > (plain["nose_width"].sigma or 0)


def test_a_doubt_is_the_reason_of_what_it_makes_unsure():
    shown = carried(WIDER, doubts={"brow_left": "hair over the brow"})
    result = by_id(compare(REFERENCE, found(WIDER), carried=shown))
    assert result["brow_length_left"].reason == f"{READS_SMALL}; hair over the brow"
    assert result["brow_height_left"].call in ("unsure", "true")
    assert result["brow_length_right"].reason is None


def test_what_a_picture_s_edge_cuts_off_is_not_measured_and_not_moved():
    cheek = 454
    whole = by_id(compare(REFERENCE, found(WIDER), carried=carried(WIDER)))
    comparison = compare(REFERENCE, found(WIDER), carried=carried(WIDER, cut=frozenset({cheek})))
    told = by_id(comparison)
    for id_ in ("face_width", "face_area", "face_overlap"):
        assert whole[id_].deviation is not None
        assert told[id_].call == "not measured"
        assert told[id_].deviation is None
        assert "outside the picture" in told[id_].reason
    for id_ in ("nose_width", "mouth_width", "jaw_width"):
        assert told[id_].deviation == whole[id_].deviation
    assert np.flatnonzero(~np.isfinite(comparison.point_sigma)).tolist() == [cheek]


def test_less_confidence_is_a_wider_interval():
    sure = by_id(compare(REFERENCE, found(WIDER), carried=carried(WIDER, confidence={"nose": 1.0})))
    unsure = by_id(compare(REFERENCE, found(WIDER), carried=carried(WIDER, confidence={"nose": 0.1})))
    assert (unsure["nose_width"].sigma or 0) > (sure["nose_width"].sigma or 0)
    assert unsure["mouth_width"].sigma == sure["mouth_width"].sigma


def test_pixels_that_are_refused_say_nothing_and_the_painter_is_told():
    comparison = compare(REFERENCE, found(WIDER), carried=carried(WIDER, refused="a line drawing"))
    assert {m.witness for m in comparison.measures} == {"mesh", None}
    assert [n.code for n in comparison.warnings] == ["pixels_refused"]
    assert "a line drawing" in comparison.warnings[0].text


def test_why_the_pixels_are_refused_is_not_told_in_a_bracket_within_another():
    why = "the paint does not match (a line drawing, another pose)"
    (told,) = compare(REFERENCE, found(WIDER), carried=carried(WIDER, refused=why)).warnings
    assert why in told.text
    assert not re.search(r"\([^)]*\(", told.text)


def test_the_painter_is_told_when_the_edges_of_values_spoke_too():
    shown = dataclasses.replace(carried(WIDER), by_shapes=True)
    assert [n.code for n in compare(REFERENCE, found(WIDER), carried=shown).warnings] == ["shapes_spoke"]
    alone = compare(REFERENCE, found(WIDER), carried=shown, settings=Settings(witness="mesh"))
    assert not alone.warnings


def test_the_mesh_can_be_asked_for_alone():
    shown = carried(WIDER, unpainted={"nose": "bare ground there"})
    comparison = compare(REFERENCE, found(WIDER), carried=shown, settings=Settings(witness="mesh"))
    result = by_id(comparison)
    assert {m.witness for m in comparison.measures} == {"mesh", None}
    assert result["nose_width"].call == "not painted yet"


def test_points_placed_by_hand_are_their_own_witness():
    comparison = compare(REFERENCE, found(WIDER, found_by="hand"))
    eye = by_id(comparison)["eye_width_left"]
    assert eye.witness == "hand"
    assert eye.reason != READS_SMALL


@pytest.mark.parametrize("feature", ["eye_left", "eye_right", "nose", "lips", "brow_left", "brow_right", "face"])
def test_what_is_not_painted_yet_gets_no_number(feature):
    shown = carried(WIDER, unpainted={feature: "bare ground there"})
    result = by_id(compare(REFERENCE, found(WIDER), carried=shown, stage="glaze"))
    parts = {id_ for id_ in FEATURES if id_.startswith(feature.split("_")[0]) and (feature in id_ or feature == "nose")}
    touched = [m for m in CATALOGUE.values() if {feature, *parts} & set(m.features)]
    assert touched
    for measure in touched:
        whole = {feature, *parts, *(part for part, of in PART_OF.items() if of == feature)}
        own = whole & {measure.feature, *(() if measure.feature in FEATURES else measure.about.needs)}
        assert result[measure.id].deviation is None
        assert result[measure.id].call == ("not painted yet" if own else "not measured"), measure.id
        if own:
            assert result[measure.id].reason == "bare ground there"
        else:
            assert "not painted yet" in (result[measure.id].reason or "")
    assert any(m.call in ("true", "off", "slight") for m in result.values())


def test_without_a_painted_eye_sizes_are_held_by_the_head():
    shown = carried(WIDER, unpainted={"eye_left": "an empty socket"})
    comparison = compare(REFERENCE, found(WIDER), carried=shown)
    result = by_id(comparison)
    assert comparison.scale.hold == "head"
    assert "hold_changed" in [n.code for n in comparison.warnings]
    assert result["nose_width"].deviation == pytest.approx(0.0, abs=0.3)
    assert result["eye_width_right"].deviation == pytest.approx(15.0, abs=0.5)
    assert result["mouth_y"].call == "not measured"  # it is painted, and measured from the eye line
    assert result["mouth_y"].reason == "measured with the help of a pupil, not painted yet"


def test_a_toned_blank_has_nothing_to_measure():
    everything = dict.fromkeys(FEATURES, "bare ground there")
    comparison = compare(REFERENCE, found(WIDER), carried=carried(WIDER, unpainted=everything))
    assert {m.call for m in comparison.measures} == {"not painted yet", "not measured"}
    assert comparison.mend_first == ("There is nothing on the canvas yet that could be measured.",)
    assert all(row.painting.value is None for row in comparison.canons)
    assert {row.id for row in comparison.canons if row.reference.value is not None} >= {"orbital", "five_eyes"}


def test_too_little_painted_to_bring_to_one_size_is_said_not_guessed():
    most = {id_: "bare ground there" for id_ in FEATURES if id_ not in ("face", "jaw", "chin")}
    most |= {"cheeks": "bare ground there", "forehead": "bare ground there", "nose_bridge": "bare ground there"}
    comparison = compare(REFERENCE, found(WIDER), carried=carried(WIDER, unpainted=most))
    width = by_id(comparison)["face_width"]
    assert width.call == "not measured"
    assert "too little is painted" in (width.reason or "")
    assert "no_size" in [n.code for n in comparison.warnings]


def test_scales_that_disagree_are_said_first():
    out = 0.05 * norms.IPD
    apart = norms.moved(norms.norms_mm(), (*norms.EYE_RIGHT, 468), -out, 0.0)
    apart = norms.moved(apart, (*norms.EYE_LEFT, 473), out, 0.0)
    comparison = compare(REFERENCE, found(apart), carried=carried(apart))
    scale = comparison.scale
    assert scale.disagree
    assert scale.eyes / scale.head == pytest.approx(1.1, rel=3e-3)
    assert scale.scale == scale.eyes
    assert comparison.warnings[0].code == "scales_disagree"
    assert re.search(r" 10(\.0)? % wider apart", comparison.warnings[0].text)
    assert comparison.mend_first[0].startswith("The distance between the pupils is too wide for the head: about 10 %")
    held = compare(REFERENCE, found(apart), carried=carried(apart), settings=Settings(hold="head"))
    assert held.scale.scale == held.scale.head
    assert by_id(held)["nose_width"].call == "true"
    assert by_id(comparison)["nose_width"].call == "off"


@pytest.mark.parametrize(("side", "pupil"), [("right", 468), ("left", 473)])
def test_one_eye_in_the_wrong_place_is_named_where_the_eyes_are_held(side, pupil):
    eye = (*(norms.EYE_RIGHT if side == "right" else norms.EYE_LEFT), *range(pupil, pupil + 5))
    slipped = norms.moved(norms.norms_mm(), eye, 0.0, 3.0)
    comparison = compare(REFERENCE, found(slipped), carried=carried(slipped))
    said = [n.text for n in comparison.warnings if n.code == "scale_one_eye"]
    assert len(said) == 1
    assert f"sitter's {side} eye alone" in said[0]
    held = compare(REFERENCE, found(slipped), carried=carried(slipped), settings=Settings(hold="head"))
    assert not [n for n in held.warnings if n.code == "scale_one_eye"]
    for fine in (
        norms.norms_mm(),
        norms.moved(norms.norms_mm(), (*norms.EYE_RIGHT, *norms.EYE_LEFT, 468, 473), 0.0, 3.0),
    ):
        warnings = compare(REFERENCE, found(fine), carried=carried(fine)).warnings
        assert not [n for n in warnings if n.code == "scale_one_eye"]


def test_scale_and_named_points_are_in_px_of_the_stored_pictures():
    here, there = View(scale=0.5), View(scale=0.25)
    plain = compare(REFERENCE, found(WIDER))
    scaled = compare(REFERENCE, found(WIDER), of_reference=here, of_painting=there)
    assert plain.scale.scale == pytest.approx(1.5)
    assert scaled.scale.scale == pytest.approx(3.0)
    assert scaled.scale.sigma == plain.scale.sigma
    for key, places in plain.points.items():
        assert_allclose(scaled.points[key]["reference"], np.array(places["reference"]) * 2)
        assert_allclose(scaled.points[key]["painting"], np.array(places["painting"]) * 4)
    assert_allclose(plain.points["gn"]["painting"], norms.place(WIDER, **POSE)[152])
    for one, other in zip(plain.measures, scaled.measures, strict=True):
        assert one == other
    assert_allclose(scaled.should_be, plain.should_be)


def test_the_scatter_of_the_readings_is_given_where_the_finder_spoke():
    noisy = norms.face_points(norms.norms_px(), noise=2.0, runs=400)
    hand = {"gn": (1.0, 2.0, 0.5)}
    spread = compare(noisy, dataclasses.replace(found(WIDER), hand=hand), of_reference=View(scale=0.5)).spread
    # Two axes of 2 px each, decoded at half size: 2 * sqrt(2) / 0.5 px of the stored picture.
    assert_allclose([spread[key]["reference"] for key in ("ch_left", "prn", "gn")], 2 * np.sqrt(2) / 0.5, rtol=0.1)
    assert_allclose(noisy.relative_spread[1], noisy.spread[1] / noisy.pupil_distance)
    assert "painting" not in spread["gn"]
    assert spread["ch_left"]["painting"] < 1.0
    assert "tr" not in spread  # the mesh has no such point


@pytest.mark.parametrize("hold", ["eyes", "head"])
def test_where_things_belong(hold):
    painted = norms.moved(norms.norms_mm(), norms.MOUTH, 0.0, 5.0)
    comparison = compare(REFERENCE, found(painted), carried=carried(painted), settings=Settings(hold=hold))
    assert_allclose(comparison.should_be, norms.place(norms.norms_mm(), **POSE), atol=0.6)
    gap = comparison.painting_points[61] - comparison.should_be[61]
    assert_allclose(np.linalg.norm(gap), 5.0 * POSE["scale"], atol=0.6)
    assert comparison.point_sigma.shape == (478,)
    assert (comparison.point_sigma > 0).all()


def test_the_points_doubt_grows_with_the_scatter():
    calm = compare(REFERENCE, norms.face_points(norms.place(WIDER, **POSE), noise=0.1))
    wild = compare(REFERENCE, norms.face_points(norms.place(WIDER, **POSE), noise=20.0))
    assert (wild.point_sigma > calm.point_sigma).mean() > 0.95


def test_a_turned_head_is_told():
    poses = [View(pose=Pose(yaw=yaw, pitch=0.0, roll=0.0, sigma=1.0)) for yaw in (0.0, 14.0)]
    comparison = compare(REFERENCE, found(WIDER), of_reference=poses[0], of_painting=poses[1])
    assert [n.code for n in comparison.warnings] == ["pose_differs"]
    assert "14 degrees" in comparison.warnings[0].text
    assert "3 % narrower" in comparison.warnings[0].text


def test_one_eye_only():
    reference = dataclasses.replace(REFERENCE, mean=REFERENCE.mean.copy(), runs=REFERENCE.runs.copy())
    for points in (reference.mean, reference.runs):
        points[..., 473, :] = np.nan
        points[..., list(norms.EYE_LEFT), :] = np.nan
    comparison = compare(reference, found(WIDER))
    result = by_id(comparison)
    assert comparison.warnings[0].code == "no_pupil_distance"
    assert result["nose_width"].deviation == pytest.approx(0.0, abs=1e-6)
    assert result["eye_width_right"].deviation == pytest.approx(15.0, abs=1e-6)
    assert result["eye_width_left"].reason == "not there in the reference: outer eye corner, sitter's left"
    assert result["mouth_y"].call == "not measured"
    assert "pupil" in (result["mouth_y"].reason or "")
    assert "painting" in comparison.points["ex_left"]
    assert "reference" not in comparison.points["ex_left"]
    assert np.isfinite(comparison.should_be[61]).all()


def test_faces_without_a_size_are_refused_in_one_sentence():
    flat = norms.face_points(np.full((478, 2), 5.0))
    with pytest.raises(FaceError, match="brought to one size"):
        compare(REFERENCE, flat)


def test_the_painters_own_measures():
    settings = Settings(between=(("ex-left", "ch_left"),))
    result = by_id(compare(REFERENCE, found(WIDER), settings=settings))
    assert result["between_ex_left_ch_left"].deviation is not None
    with pytest.raises(UsageError):
        compare(REFERENCE, found(WIDER), settings=Settings(between=(("ex_left", "ear"),)))


def test_strict_and_stage_move_the_thresholds():
    def threshold(**more) -> float:
        stage = more.pop("stage", "block-in")
        comparison = compare(REFERENCE, found(WIDER), carried=carried(WIDER), settings=Settings(**more), stage=stage)
        return by_id(comparison)["mouth_width"].threshold or 0.0

    assert threshold() == 8.0
    assert threshold(strict=0.5) == 4.0
    assert threshold(stage="finish") < threshold(stage="colour") < 8.0


def test_the_gap_is_held_against_the_published_shift_over_the_features_own_size():
    eye = by_id(compare(REFERENCE, found(WIDER)))["eye_left_gap"]
    assert eye.threshold == pytest.approx(3.2 / (norms.EX_EN / norms.IPD))


def test_the_same_in_the_same_out():
    one, other = (compare(REFERENCE, found(WIDER), carried=carried(WIDER)) for _ in range(2))
    assert one.measures == other.measures
    assert one.mend_first == other.mend_first
    assert (one.point_sigma == other.point_sigma).all()
