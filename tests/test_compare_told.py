"""Order and words: ranked by weight, large before small, no digit finer than the doubt, no bare left."""

from __future__ import annotations

import re

import pytest

from limner.compare.poses import pose_notices
from limner.compare.ranking import FOLLOWS, LINES, heaviness, mend_first, outlines_told_plainer, ranked, top_down
from limner.compare.wording import rounded
from limner.measure.catalogue import CATALOGUE
from limner.measure.heads import HEADS
from limner.result import Call, MeasureResult, Pose, Quantity

KEPT_OUT = re.compile(r"\b(IPD|sigma|IoU|mesh|registration|CIEDE)\b", re.IGNORECASE)


ALL = {**CATALOGUE, **HEADS}
OF_THE_PUPILS = "of the distance between the pupils (give or take 2)."
OF_ITS_SIZE = "of its size apart (give or take 2)."
RESHAPED = "painted in another shape"


def result(id_: str, deviation: float | None, sigma: float = 1.0, call: Call = "off", threshold: float = 8.0):
    measure = ALL[id_]
    return MeasureResult(
        id=id_,
        name=measure.name,
        family=measure.family,
        feature=measure.feature,
        unit=measure.unit,
        reference=Quantity(value=1.0, sigma=0.01),
        painting=Quantity(value=1.0, sigma=0.01),
        deviation=deviation,
        sigma=None if deviation is None else sigma,
        threshold=None if deviation is None else threshold,
        call=call,
        reason=None,
        witness="pixels",
        source="",
    )


def told(*results: MeasureResult) -> tuple[str, ...]:
    return mend_first(results, ALL)


@pytest.mark.parametrize(
    ("value", "sigma", "printed"),
    [
        (14.2, 1.0, ("14", "2")),
        (14.2, 0.04, ("14.2", "0.1")),
        (2.54, 0.15, ("2.5", "0.3")),
        (17.0, 11.7, ("17", "23")),
        (9.6, 5.2, ("10", "11")),
        (57.0, 31.0, ("60", "70")),
        (3.0, 0.0, ("3.0", "0.0")),
        (3.04, float("nan"), ("3.0", "0.0")),
        (250.0, 60.0, ("250", "120")),
        (8.4, 4.2, ("8", "8")),
        (-8.4, 4.2, ("-8", "8")),
        (8.1, 4.2, ("8", "9")),
        (2.35, 1.15, ("2", "2")),
        (0.04, 0.01, ("0.0", "0.1")),
    ],
)
def test_no_digit_is_finer_than_the_doubt(value, sigma, printed):
    assert rounded(value, sigma) == printed


def test_ranked_by_weight_and_the_unsure_apart():
    results = [
        result("mouth_width", 3.0, call="true"),
        result("nose_width", None, call="not measured"),
        result("eye_width_left", 30.0, call="unsure"),
        result("jaw_width", None, call="not painted yet"),
        result("eye_width_right", -16.0),
        result("mouth_y", 9.0, threshold=4.7),
    ]
    assert [m.id for m in ranked(results)] == [
        *("eye_width_right", "mouth_y", "mouth_width"),
        *("eye_width_left", "jaw_width", "nose_width"),
    ]


def test_top_down_goes_from_the_brows_to_the_chin():
    order = [m.id for m in top_down([result(i, 1.0) for i in ("chin_y", "nose_width", "eye_width_left", "brow_axis")])]
    assert order == ["brow_axis", "eye_width_left", "nose_width", "chin_y"]
    assert len(top_down([result(id_, 1.0) for id_ in CATALOGUE])) == len(CATALOGUE)


def test_of_two_findings_of_one_level_the_surer_is_told_first():
    assert ALL["brow_length_left"].about.level == ALL["lower_lip"].about.level
    brow = result("brow_length_left", 22.0, sigma=18 / 1.96)
    assert [line.split(":")[0] for line in told(brow, result("lower_lip", 12.0, sigma=3 / 1.96))] == [
        "The lower lip is painted too thick",
        "The sitter's left brow is painted too long",
    ]
    assert "left brow" in told(brow, result("lower_lip", 12.0, sigma=9 / 1.96))[0]
    assert "left brow" in told(result("brow_length_left", 22.0), result("lower_lip", 12.0))[0]


def test_one_error_told_once_is_as_sure_as_the_surer_of_its_two_measures():
    """A brow too high, give or take much, that stands too far above its eye, give or take little."""
    high, above = result("brow_left_y", -8.0, sigma=2.5), result("brow_height_left", 29.0, sigma=1.0)
    low = result("mouth_y", 12.0, sigma=1.0)
    assert ALL["brow_left_y"].about.level == ALL["mouth_y"].about.level
    assert "mouth" in told(high, low)[0]
    first, *rest = told(high, above, low)
    assert first.startswith("The sitter's left brow is too high")
    assert len(rest) == 1
    elsewhere = result("chin_height", -40.0, sigma=1.0)  # it follows from the mouth, and is another feature
    assert heaviness([result("mouth_y", 8.0, sigma=2.0), elsewhere])["mouth_y"] == pytest.approx((8 - 3.92) / 8)


def test_the_five_that_are_told_are_those_that_are_surely_there():
    sure = ("nose_width", "mouth_width", "upper_lip", "lower_lip", "brow_slant_right")
    lines = told(result("brow_length_left", 22.0, sigma=11.0), *(result(id_, 12.0) for id_ in sure))
    assert len(lines) == LINES
    assert not any("left brow" in line for line in lines)


@pytest.mark.parametrize(
    ("id_", "deviation", "sentence"),
    [
        ("eye_width_left", 14.0, "The sitter's left eye is painted too wide: about 14 % (give or take 2)."),
        ("eye_width_right", -14.0, "The sitter's right eye is painted too narrow: about 14 % (give or take 2)."),
        ("mouth_y", 6.0, "The mouth is too low: about 6 % " + OF_THE_PUPILS),
        ("mouth_x", -6.0, "The mouth is too far toward picture left: about 6 % " + OF_THE_PUPILS),
        ("mouth_axis", 3.0, "The mouth line is turned clockwise: about 3 degrees (give or take 2)."),
        ("lips_overlap", -21.0, f"The mouth is {RESHAPED}: about 21 % of it is not shared (give or take 2)."),
        ("face_gap", 9.0, f"The outline of the face is {RESHAPED}: the outlines lie up to about 9 % {OF_ITS_SIZE}"),
        ("lower_lip", -20.0, "The lower lip is painted too thin: about 20 % (give or take 2)."),
    ],
)  # fmt: skip
def test_a_finding_in_words(id_, deviation, sentence):
    assert told(result(id_, deviation)) == (sentence,)


@pytest.mark.parametrize(
    ("cause", "effect", "noun"),
    [
        (("eye_width_left", 15.0), ("between_eyes", -13.0), "left eye"),
        (("mouth_y", 8.0), ("chin_height", -12.0), "mouth"),
        (("brow_left_y", -8.0), ("brow_height_left", 30.0), "left brow"),
        (("lower_face", -12.0), ("face_height", -9.0), "lower face"),
    ],
)
def test_what_follows_from_another_finding_is_not_told_again(cause, effect, noun):
    (line,) = told(result(*cause), result(*effect))
    assert noun in line
    assert len(told(result(*cause), result(effect[0], -effect[1]))) == 2  # the other way round it does not follow
    assert len(told(result(cause[0], cause[1], call="slight"), result(*effect))) == 1


def test_nothing_follows_from_itself_so_something_is_always_told():
    for id_ in FOLLOWS:
        for deviation in (20.0, -20.0):
            everything = [result(i, deviation) for i in FOLLOWS] + [result(c, w * 9.0) for c, w in FOLLOWS[id_]]
            assert told(*everything)[0].endswith(").")


def test_the_same_error_on_both_sides_is_said_once():
    both = told(result("eye_width_left", 15.0), result("eye_width_right", 13.0))
    assert both == ("Both eyes are painted too wide: about 14 % (give or take 2).",)
    (apart,) = told(result("eye_width_left", 30.0), result("eye_width_right", 13.0))
    assert apart == (
        "Both eyes are painted too wide: the sitter's right about 13 % (give or take 2), "
        "the sitter's left about 30 % (give or take 2)."
    )
    against = told(result("eye_width_left", 30.0), result("eye_width_right", -13.0))
    assert against == ("The sitter's left eye is painted too wide: about 30 % (give or take 2).",)


def test_one_story_is_told_once_by_its_plainest_measure():
    lines = told(
        result("eyes_mouth_angle", 5.0, threshold=2.3),
        result("mouth_axis", 4.8, threshold=2.3),
        result("mouth_corner_level", 9.0, threshold=4.7),
        result("lips_overlap", -20.0),
    )
    assert lines == ("The mouth line is turned clockwise: about 5 degrees (give or take 2).",)


def test_the_heaviest_five_are_told_large_shapes_before_small():
    results = [
        result("upper_lip", 60.0),
        result("eye_opening_left", 50.0),
        result("nose_width", 40.0),
        result("mouth_y", 35.0),
        result("face_width", 30.0),
        result("brow_length_left", 15.0),
        result("pupil_distance", 10.0),
    ]
    lines = told(*results)
    assert len(lines) == LINES
    order = ["face", "mouth", "nose", "upper lip", "left eye"]
    assert all(noun in line for noun, line in zip(order, lines, strict=True))
    heavier = told(*results[:4], result("pupil_distance", 90.0))
    assert heavier[0].startswith("The distance between the pupils")


def test_a_large_shape_is_told_rather_than_a_small_one_of_the_same_weight():
    small = [result(id_, 20.0) for id_ in ("upper_lip", "lower_lip", "eye_opening_left", "brow_length_left")]
    slanted = result("eye_slant_left", 20.0)
    lines = told(*small, slanted, result("lower_face", 16.0))
    assert len(lines) == LINES
    assert lines[0].startswith("The lower face")


def test_nothing_off_means_time_to_stop_and_what_is_unsure_is_counted():
    assert told(result("nose_width", 1.0, call="true")) == (
        "Nothing is left above what a viewer notices: it is time to stop.",
    )
    text = told(result("nose_width", 5.0, call="slight"), result("upper_lip", 9.0, call="unsure"))[0]
    assert "1 only at a second look" in text
    assert "1 could not be read finely enough" in text
    assert "time to stop" not in told(result("upper_lip", 9.0, call="unsure"))[0]


def test_it_is_not_time_to_stop_while_something_is_not_painted_yet():
    true, missing = result("nose_width", 1.0, call="true"), result("eye_width_left", None, call="not painted yet")
    (text,) = told(true, result("upper_lip", 5.0, call="slight"), missing)
    assert "stop" not in text
    assert "1 only at a second look" in text
    assert text.endswith("go on with what is not painted yet.")


def test_outlines_are_told_again_only_where_nothing_plainer_is_as_much_off():
    again = outlines_told_plainer(
        [
            result("eye_width_left", 20.0),
            result("eye_left_area", 30.0),
            result("eye_right_gap", 5.0, call="slight"),
            result("nose_width", 5.0, call="slight"),
            result("nose_area", 30.0),
            result("nose_gap", 5.0, call="slight"),
            result("lips_area", 30.0),
            result("mouth_axis", 0.1, call="true"),
        ],
        ALL,
    )
    assert again == {"eye_left_area", "eye_right_gap", "nose_gap"}


@pytest.mark.parametrize("id_", CATALOGUE)
@pytest.mark.parametrize("deviation", [20.0, -20.0])
def test_every_sentence_is_plain_and_names_the_side_as_the_sitters(id_, deviation):
    line = told(result(id_, deviation))[0]
    assert not KEPT_OUT.search(line + CATALOGUE[id_].name)
    assert line.endswith(".")
    assert len(line) < 160
    for side in ("left", "right"):
        for match in re.finditer(side, line):
            before = line[: match.start()]
            assert before.endswith(("sitter's ", "picture ")), line


def pose(yaw: float = 0.0, pitch: float = 0.0, roll: float = 0.0) -> Pose:
    return Pose(yaw=yaw, pitch=pitch, roll=roll, sigma=1.0)


@pytest.mark.parametrize(
    ("reference", "painting", "says"),
    [
        (pose(), pose(yaw=4.9), []),
        (pose(), pose(yaw=5.0), ["5 degrees further toward picture right"]),
        (pose(yaw=20.0), pose(), ["20 degrees further toward picture left", "6 % wider"]),
        (pose(pitch=-3.0), pose(pitch=6.0), ["9 degrees further up"]),
        (pose(roll=0.0), pose(roll=40.0), []),  # the eye line takes it out
        (pose(yaw=-10.0), pose(yaw=10.0), ["less than half a percent"]),
        (None, pose(yaw=30.0), []),
    ],
)
def test_a_difference_of_pose_is_told_from_five_degrees(reference, painting, says):
    texts = [notice.text for notice in pose_notices(reference, painting)]
    assert bool(texts) == bool(says)
    assert all(part in texts[0] for part in says)
    assert not any("first" in text for text in texts), (
        "no list has the turn in it, so nothing is to be mended before it"
    )
