"""The canons' tables against the publications, and ratios taken on constructed faces."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import norms_face as norms
from limner.compare.canons.finder import READS, reads, said
from limner.compare.canons.lengths import LENGTHS
from limner.compare.canons.observed import ANSUR, NORMS, OBSERVED, SURVEYS, ratio_in
from limner.compare.canons.studies import HELD, REMARKS, STUDIES
from limner.compare.canons.table import CANONS, RATIOS
from limner.compare.canons.taking import OUTLINE_YAW, WIDEST_PITCH, WIDEST_YAW, Taken, face_of, take
from limner.face.points import NAMED_POINTS
from limner.measure.catalogue import CATALOGUE
from limner.result import Pose

LEVEL = Pose(yaw=0.0, pitch=0.0, roll=0.0, sigma=0.5)

# Ratios as printed with the survey they come from: 3D Facial Norms (Weinberg et al. 2016, Cleft Palate Craniofac J
# 53(6):e185-e197), means at age 25 with the standard deviation for independent lengths; ANSUR II (Gordon et al. 2014,
# NATICK/TR-15/007), each person's ratio. (men, women), each mean and standard deviation.
PRINTED = {
    "orbitonasal": (((1.10, 0.13), (1.04, 0.12)), 2, 2),
    "orbital": (((1.14, 0.13), (1.13, 0.13)), 2, 2),
    "naso_oral": (((1.40, 0.15), (1.47, 0.15)), 2, 2),
    "nasofacial": (((0.262, 0.023), (0.251, 0.021)), 3, 3),
    "five_eyes": (((4.78, 0.39), (4.67, 0.38)), 2, 2),
    "face_height_pupils": (((1.920, 0.134), (1.838, 0.130)), 3, 3),
    "face_width_pupils": (((2.232, 0.117), (2.173, 0.117)), 3, 3),
    "face_height_width": (((0.861, 0.054), (0.847, 0.051)), 3, 3),
}

# How often the canons hold, percent, typed in again from the abstracts: (study, canon, group) -> percent.
FREQUENCIES = {
    ("farkas_1985", "orbitonasal", ""): 40,  # Farkas et al. 1985, 153 North American white adults
    ("farkas_1985", "nasofacial", ""): 37,
    ("farkas_1985", "three_section", ""): 0,  # never more than two parts equal
    ("le_2002", "three_section", "white people"): 0,  # Le et al. 2002
    ("le_2002", "three_section", "Chinese, Vietnamese and Thai people"): 0,
    ("jayaratne_2012", "three_section", ""): 0,  # Jayaratne et al. 2012, PLoS ONE 7(12):e52593
    ("jayaratne_2012", "orbital", ""): 0,
    ("jayaratne_2012", "orbitonasal", ""): 19,
    ("porter_2001", "orbital", "women"): 30.6,  # Porter & Olson 2001
    ("porter_2001", "nasofacial", "women"): 9.3,
    ("porter_2001", "naso_aural", "women"): 13.0,
    ("turkish_2016", "orbital", "women"): 25,  # Folia Morphol 2016;75(4):512-517
    ("turkish_2016", "orbital", "men"): 23,
    ("turkish_2016", "orbitonasal", "women"): 30,
    ("turkish_2016", "orbitonasal", "men"): 21,
    ("turkish_2016", "naso_oral", "women"): 17,
    ("turkish_2016", "naso_oral", "men"): 17,
    ("turkish_2016", "nasofacial", "women"): 33,
    ("turkish_2016", "nasofacial", "men"): 19,
    ("turkish_2003", "three_section", "women"): 0,  # Surg Radiol Anat, doi 10.1007/s00276-003-0202-2
    ("turkish_2003", "three_section", "men"): 0.4,
    ("turkish_2003", "four_section", "women"): 0,
    ("turkish_2003", "four_section", "men"): 0,
}

# Departures that were counted: (study, canon, group) -> (what, percent).
DEPARTURES = {
    ("turkish_2003", "orbital", "women"): ("en-en below ex-en", 50.0),
    ("turkish_2003", "orbital", "men"): ("en-en below ex-en", 52.2),
    ("turkish_2003", "orbitonasal", "women"): ("en-en below al-al", 50.4),
    ("turkish_2003", "orbitonasal", "men"): ("en-en below al-al", 78.9),
    ("turkish_2003", "naso_oral", "women"): ("ch-ch above 1.5 al-al", 66.9),
    ("turkish_2003", "naso_oral", "men"): ("ch-ch above 1.5 al-al", 49.1),
    ("turkish_2003", "two_section", "women"): ("v-en above en-gn", 97.8),
    ("turkish_2003", "two_section", "men"): ("v-en above en-gn", 91.7),
    ("arabian_2015", "three_section", "men"): ("sn-gn above n-sn", 91.4),  # Head Face Med 2015;11:4
    ("arabian_2015", "three_section", "women"): ("sn-gn above n-sn", 88.0),
    ("arabian_2015", "orbital", "men"): ("en-en above ex-en", 55.9),
    ("arabian_2015", "orbital", "women"): ("en-en above ex-en", 74.7),
    ("arabian_2015", "orbitonasal", "men"): ("al-al above en-en", 92),
    ("arabian_2015", "orbitonasal", "women"): ("al-al above en-en", 56),
    ("farkas_notes", "naso_oral", ""): ("ch-ch above 1.5 al-al", 60),
}

CANON_VALUES = {  # Farkas as in Jayaratne et al. 2012, Table 1; Leonardo nos. 310 and 316 (Richter 1880); manuals
    **dict.fromkeys(("two_section", "three_section_upper", "three_section_lower", "orbital", "orbitonasal"), 1.0),
    **dict.fromkeys(("four_section_top", "four_section_upper", "four_section_lower", "naso_aural"), 1.0),
    **dict.fromkeys(("thirds_upper", "thirds_lower", "mouth_under_pupils", "ear_brow_to_base"), 1.0),
    **dict.fromkeys(("leonardo_mouth", "leonardo_corner", "leonardo_hair"), 1.0),
    **dict.fromkeys(("leonardo_lower", "leonardo_nose", "leonardo_forehead"), 1 / 3),
    **dict.fromkeys(("eyes_at_half", "lower_lip_half"), 0.5),
    "naso_oral": 1.5,
    "nasofacial": 0.25,
    "naso_aural_slope": 0.0,
    "five_eyes": 5.0,
    "leonardo_lip": 1 / 7,
    "leonardo_chin": 1 / 4,
    "leonardo_brow": 2 / 3,
    "face_height_width": None,
    "face_width_pupils": None,
    "face_height_pupils": None,
}


@pytest.mark.parametrize("id_", PRINTED)
def test_observed_ratios_are_the_printed_ones(id_):
    (men, women), *digits = PRINTED[id_]
    told = OBSERVED[id_]
    for found, printed in ((told.men, men), (told.women, women)):
        assert [round(v, d) for v, d in zip(found, digits, strict=True)] == list(printed)


def test_lips_and_eyes_of_the_norms_are_the_printed_shares():
    # 3D Facial Norms: ls-sto over sto-li 0.87 and 0.86; lengths over half of (en-en plus ex-ex), 60.80 and 58.55 mm.
    def share(sex: str, above: str) -> float:
        return round(ratio_in(NORMS, sex, {above: 1}, {"en-en": 0.5, "ex-ex": 0.5})[0], 3)

    assert [round(ratio_in(NORMS, sex, {"ls-sto": 1}, {"sto-li": 1})[0], 2) for sex in ("men", "women")] == [0.87, 0.86]
    printed = {
        "en-en": (0.539, 0.537),
        "ex-ex": (1.461, 1.463),
        "ex-en": (0.472, 0.475),
        "al-al": (0.591, 0.558),
        "ch-ch": (0.824, 0.818),
        "n-gn": (2.083, 2.016),
        "n-sn": (0.932, 0.930),
        "sn-sto": (0.372, 0.346),
        "sn-ls": (0.269, 0.239),
        "ls-sto": (0.125, 0.126),
        "zy-zy": (2.255, 2.222),
        "go-go": (1.706, 1.656),
        "sto-li": (0.143, 0.147),
    }
    assert {above: (share("men", above), share("women", above)) for above in printed} == printed


def test_ansur_means_agree_with_the_ratios_formed_for_each_person():
    # The mean of the ratios is not the ratio of the means, but near it.
    for survey, table, ratios in ((ANSUR, ANSUR.men, ANSUR.men_ratios), (ANSUR, ANSUR.women, ANSUR.women_ratios)):
        for name, (mean, _) in ratios.items():
            above, below = name.split(" / ")
            assert table[above][0] / table[below][0] == pytest.approx(mean, rel=0.006), survey.id


def test_two_surveys_are_never_mixed_in_one_ratio():
    with pytest.raises(KeyError, match="never taken from two surveys"):
        ratio_in(NORMS, "men", {"al-al": 1}, {"p-p": 1})
    with pytest.raises(KeyError):
        ratio_in(NORMS, "women", {"n-sn": 1}, {"ear": 1})
    assert "naso_aural" not in OBSERVED
    assert all(told.survey in SURVEYS for told in OBSERVED.values())


def test_frequencies_are_the_published_ones():
    found = {(cell.study, cell.canon, cell.group): cell.percent for cell in HELD if cell.what == "holds"}
    assert found == FREQUENCIES
    departures = {
        (cell.study, cell.canon, cell.group): (cell.what, cell.percent) for cell in HELD if cell.what != "holds"
    }
    assert departures == DEPARTURES


def test_percentages_are_of_whole_people():
    """A mistyped figure mostly is not: each must be some count over the number measured, as far as it is printed."""
    checked = 0
    for cell in HELD:
        people = dict(STUDIES[cell.study].groups)[cell.group]
        if people is not None:
            counts = np.round(100 * np.arange(people + 1) / people, cell.digits)
            assert np.isclose(counts, cell.percent).any(), cell
            checked += 1
    assert checked > 25


def test_ranges_told_without_their_canons_are_kept_as_notes():
    # Le et al. 2002: five other canons, 10 to 22 of 60 white people, 1 to 16 of each 60 Asian people.
    note = STUDIES["le_2002"].note
    for low, high, counts in (("16.7", "36.7", (10, 22)), ("1.7", "26.7", (1, 16))):
        assert f"{low} to {high} %" in note
        assert [f"{100 * count / 60:.1f}" for count in counts] == [low, high]


def test_every_cell_names_a_canon_and_a_study_with_its_source():
    ids = {canon.id for canon in CANONS}
    for cell in (*HELD, *REMARKS):
        assert cell.canon in ids
        assert STUDIES[cell.study].cite
        assert STUDIES[cell.study].url.startswith("http")
    assert len({(c.study, c.canon, c.group, c.what) for c in HELD}) == len(HELD)


def test_canons_give_what_their_sources_say():
    assert {id_: ratio.value for id_, (_, ratio) in RATIOS.items()} == CANON_VALUES
    assert all(canon.source for canon in CANONS)


def test_the_two_kinds_of_thirds_are_told_apart():
    by_root, by_brow = (next(c for c in CANONS if c.id == id_) for id_ in ("three_section", "thirds"))
    assert by_root.definition == "tr-n = n-sn = sn-gn"
    assert by_brow.definition == "tr-g = g-sn = sn-gn"


def test_lengths_are_the_catalogues_where_it_has_them():
    assert all(LENGTHS[id_] is CATALOGUE[id_] for id_ in LENGTHS if id_ in CATALOGUE)
    assert {id_ for _, ratio in RATIOS.values() for id_ in (*ratio.above, *ratio.below)} <= set(LENGTHS)


# Constructed faces: y down in px, the pupils 100 px apart.


def marked(**places: tuple[float, float]):
    """The neutral face at 100 px between the pupils with named points moved, all of it placed by hand."""
    points = norms.norms_px(scale=100 / norms.IPD, centre=(300.0, 300.0))
    beyond = {}
    for key, (x, y) in places.items():
        indices = NAMED_POINTS[key].indices
        if indices:
            points[list(indices)] = (x, y)
        beyond[key] = (x, y, 0.0)
    face = norms.face_points(points, found_by="hand")
    return replace(face, hand=beyond)


def ratio(id_: str, face, pose: Pose | None = LEVEL) -> Taken:
    return take(RATIOS[id_][1], face_of(face, pose))


MIDDLE = 300.0
SECTIONS = marked(
    v=(MIDDLE, 0.0),
    tr=(MIDDLE, 100.0),
    g=(MIDDLE, 200.0),
    n=(MIDDLE, 260.0),
    sn=(MIDDLE, 300.0),
    gn=(MIDDLE, 400.0),
    sto=(MIDDLE, 325.0),
    li=(MIDDLE, 350.0),
    sa_left=(440.0, 210.0),
    sba_left=(440.0, 310.0),
)


@pytest.mark.parametrize(
    ("id_", "value"),
    [
        ("four_section_top", 1.0),
        ("four_section_upper", 1.0),
        ("four_section_lower", 1.0),
        ("thirds_upper", 1.0),
        ("thirds_lower", 1.0),
        ("three_section_upper", 160 / 40),  # by the root of the nose the same face is far from thirds
        ("three_section_lower", 40 / 100),
        ("naso_aural", 40 / 100),
        ("ear_brow_to_base", 1.0),
        ("lower_lip_half", 0.5),
        ("leonardo_lower", 1 / 3),
        ("leonardo_nose", 1 / 3),
        ("leonardo_forehead", 1 / 3),
        ("leonardo_brow", 2 / 3),
        ("leonardo_lip", 25 / 300),
        ("leonardo_chin", 75 / 300),
        ("leonardo_hair", 100 / 25),
    ],
)
def test_identities_of_heights_on_a_constructed_head(id_, value):
    taken = ratio(id_, SECTIONS)
    assert taken.value.value == pytest.approx(value, rel=1e-9)
    assert taken.witness == "hand"


def test_eyes_at_half_of_the_head():
    face = marked(v=(MIDDLE, 100.0), gn=(MIDDLE, 500.0))
    right, left = (face.mean[list(NAMED_POINTS[key].indices)].mean(axis=0) for key in ("en_right", "en_left"))
    assert (right[1] + left[1]) / 2 == pytest.approx(300.0)
    for id_, value in (("two_section", 1.0), ("leonardo_corner", 1.0), ("eyes_at_half", 0.5)):
        assert ratio(id_, face).value.value == pytest.approx(value, rel=1e-9)


def test_widths_on_a_constructed_face():
    face = marked(ch_right=(250.0, 380.0), ch_left=(350.0, 380.0), sto=(MIDDLE, 380.0), gn=(MIDDLE, 480.0))
    assert ratio("mouth_under_pupils", face).value.value == pytest.approx(1.0)
    assert ratio("leonardo_mouth", face).value.value == pytest.approx(1.0)


def test_what_cannot_be_measured_says_which_marks_are_needed():
    face = norms.face_points(norms.norms_px())
    needed = {id_: ratio(id_, face).reason or "" for id_ in RATIOS}
    assert "hairline (tr)" in needed["three_section_upper"]
    assert "top of the head (v)" in needed["eyes_at_half"]
    assert "top of the ear (sa_right, sa_left)" in needed["naso_aural"]
    assert "one side is enough" in needed["naso_aural"]
    assert needed["orbital"] == ""
    assert all(ratio(id_, face).value.value is None for id_, reason in needed.items() if reason)


def test_a_hand_hides_nothing_and_the_finder_does():
    found = norms.face_points(norms.norms_px())
    by_hand = replace(found, found_by="hand")
    for id_ in ("orbitonasal", "nasofacial", "five_eyes"):
        one, other = ratio(id_, found), ratio(id_, by_hand)
        assert (one.witness, other.witness) == ("mesh", "hand")
        above, below = RATIOS[id_][1].above[0], RATIOS[id_][1].below[0]
        assert (one.value.value or 0) * READS[above].share / READS[below].share == pytest.approx(other.value.value)
        assert (one.value.sigma or 0) > 3 * (other.value.sigma or 1)


def test_a_points_correction_goes_with_the_points_that_lie_otherwise():
    nose = [LENGTHS["nose_width"]]
    wings = {row for key in ("al_right", "al_left") for row in NAMED_POINTS[key].indices}
    assert reads(nose, frozenset()) == (
        READS["nose_width"].share,
        READS["nose_width"].doubt / READS["nose_width"].share,
    )
    assert reads(nose, frozenset(wings)) == (1.0, 0.0)
    root = frozenset(NAMED_POINTS["n"].indices)
    assert reads([LENGTHS["nose_length"]], root)[0] == 1.0  # the base stays the finder's, and needs no correction
    assert reads([LENGTHS["nose_length"]], root)[1] > 0
    assert reads([LENGTHS["base_to_mouth"]], frozenset())[0] == 1.0


def test_corrections_leave_about_half_of_themselves_as_doubt_and_are_said():
    for id_, read in READS.items():
        assert read.doubt >= 0.4 * abs(read.share - 1), id_
        assert 0.01 < read.doubt < 0.1
    assert "nose width 1.2" in said()


def turned(yaw: float) -> np.ndarray:
    """The flat neutral face turned about its upright and seen from far off."""
    points = norms.norms_px()
    points[:, 0] = 400.0 + (points[:, 0] - 400.0) * np.cos(np.radians(yaw))
    return points


@pytest.mark.parametrize("yaw", [-14.0, 5.0, 14.0])
def test_a_turn_is_corrected_where_it_tells_and_nowhere_else(yaw):
    straight, aside = (norms.face_points(turned(angle)) for angle in (0.0, yaw))
    pose = replace(LEVEL, yaw=yaw)
    for id_ in (
        "orbital",
        "orbitonasal",
        "naso_oral",
        "nasofacial",
        "five_eyes",
        "leonardo_mouth",
        "face_height_width",
    ):
        assert ratio(id_, aside, pose).value.value == pytest.approx(ratio(id_, straight).value.value, rel=1e-9), id_
    assert (ratio("leonardo_mouth", aside, pose).value.sigma or 0) > (
        ratio("leonardo_mouth", straight).value.sigma or 0
    )
    uncorrected = ratio("leonardo_mouth", aside).value.value
    assert uncorrected == pytest.approx(
        np.cos(np.radians(yaw)) * (ratio("leonardo_mouth", straight).value.value or 0), rel=1e-9
    )


def test_beyond_the_stated_turn_and_nod_it_is_refused():
    face = norms.face_points(norms.norms_px())
    assert ratio("orbital", face, replace(LEVEL, yaw=WIDEST_YAW)).reason is None
    assert f"{WIDEST_YAW + 1:.0f} degrees" in (ratio("orbital", face, replace(LEVEL, yaw=-WIDEST_YAW - 1)).reason or "")
    assert ratio("five_eyes", face, replace(LEVEL, yaw=OUTLINE_YAW + 1)).reason is not None
    assert ratio("orbital", face, replace(LEVEL, yaw=OUTLINE_YAW + 1)).reason is None
    assert ratio("three_section_lower", face, replace(LEVEL, yaw=WIDEST_YAW + 10)).reason is None  # heights stay
    assert ratio("three_section_lower", face, replace(LEVEL, pitch=WIDEST_PITCH + 1)).reason is not None
    assert ratio("orbital", face, replace(LEVEL, pitch=WIDEST_PITCH + 1)).reason is None


def test_a_nod_widens_the_doubt_of_heights_as_the_depths_say():
    face = replace(norms.face_points(norms.norms_px()), found_by="hand")
    level = ratio("three_section_lower", face)
    nod = ratio("three_section_lower", face, replace(LEVEL, pitch=15.0))
    assert nod.value.value == level.value.value
    # depth 0.42, 15 degrees: 0.109 of the ratio at least
    assert (nod.value.sigma or 0) == pytest.approx(0.42 * np.sin(np.radians(15.3)) * (nod.value.value or 0), rel=0.03)


def test_unknown_turn_leaves_widths_and_refuses_what_needs_it():
    face = norms.face_points(norms.norms_px())
    assert ratio("orbital", face, None).value.value is not None
    assert "cannot be told" in (ratio("leonardo_mouth", face, None).reason or "")


def test_the_slopes_of_nose_and_ear_are_for_a_profile_only():
    front = marked(sa_left=(440.0, 200.0), sba_left=(430.0, 300.0), n=(300.0, 260.0), prn=(280.0, 330.0))
    assert "profile" in (ratio("naso_aural_slope", front).reason or "")
    side = replace(LEVEL, yaw=80.0)
    assert "front" in (ratio("orbital", front, side).reason or "")
    taken = ratio("naso_aural_slope", front, side)
    bridge, ear = np.degrees(np.arctan2(70.0, -20.0)), np.degrees(np.arctan2(100.0, -10.0))
    assert taken.value.value == pytest.approx(bridge - ear)
    same = marked(sa_left=(440.0, 200.0), sba_left=(420.0, 270.0), n=(300.0, 260.0), prn=(280.0, 330.0))
    assert ratio("naso_aural_slope", same, side).value.value == pytest.approx(0.0, abs=1e-9)


def test_points_in_one_place_give_a_reason_and_no_nan():
    points = norms.norms_px()
    points[[133, 362]] = points[133]
    taken = ratio("orbitonasal", norms.face_points(points))
    assert taken.value.value is None
    assert taken.reason
