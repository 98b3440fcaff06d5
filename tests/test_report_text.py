"""The report a painter reads: at any width, in plain words, with no digit finer than the doubt."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limner.notices import Notice
from limner.report import words
from limner.report.canonwords import CAUTION
from limner.report.listing import catalogue_text, families
from limner.report.text import ROWS, to_text
from limner.report.view import View
from limner.result import Apart
from sample import DEGREES, measure, measures, sample

KEPT_OUT = re.compile(r"\b(IPD|sigma|IoU|mesh|registration|CIEDE)\b", re.IGNORECASE)


@pytest.mark.parametrize("width", [16, 20, 40, 63, 64, 80, 120, 400])
@pytest.mark.parametrize("everything", [False, True])
def test_no_line_is_wider_than_asked(width, everything):
    text = to_text(sample(), View(everything=everything), width=width)
    assert max(len(line) for line in text.splitlines()) <= width
    assert "\x1b" not in text
    assert text.endswith("\n")
    assert all(line == line.rstrip() for line in text.splitlines())


def test_plain_ascii_so_that_any_terminal_shows_it():
    assert to_text(sample()).isascii()


def test_colour_changes_no_word():
    coloured = to_text(sample(), colour=True)
    assert "\x1b[" in coloured
    assert "\x1b]8" not in coloured
    plain = re.sub(r"\x1b\[[0-9;]*m", "", coloured)
    assert [line.rstrip() for line in plain.splitlines()] == to_text(sample()).splitlines()


def test_says_first_which_pictures_and_whose_left():
    lines = to_text(sample()).splitlines()
    assert "canvas.jpg" in lines[0]
    assert "sitter.jpg" in lines[0]
    assert "sitter's left = picture right" in lines[1]


def test_what_all_depends_on_comes_first_and_remarks_on_decoding_last():
    notices = (
        Notice(code="no_profile", text="No colour profile."),
        Notice(code="face_near", text="Taken too near."),
        Notice(code="pose_differs", text="Turned."),
        Notice(code="scales_disagree", text="Two sizes."),
    )
    text = to_text(sample(warnings=notices))
    parts = ("Two sizes", "Turned", "Taken too near", "Mend first", "What departs", "Canons are", "No colour profile")
    order = [text.index(part) for part in parts]
    assert order == sorted(order)


def test_long_lists_are_cut_unless_everything_is_asked():
    many = tuple(
        measure(f"x{i}", f"name{i}", "width", 5.0, 9.0, call="unsure", reason="read by the face finder alone")
        for i in range(20)
    )
    text = " ".join(to_text(sample(measures=many)).split())
    assert "name5; and 14 more: read by the face finder alone." in text
    assert "name19" in to_text(sample(measures=many), View(everything=True))


def test_painters_words_only():
    assert not KEPT_OUT.search(to_text(sample(), View(everything=True)))


def test_every_call_says_itself_without_colour():
    text = to_text(sample(), View(everything=True))
    for word in ("OFF", "slightly off", "true", "unsure", "not painted yet", "not measured"):
        assert word in text


def test_reasons_reach_the_painter():
    flat = " ".join(to_text(sample()).split())
    for m in measures():
        if m.reason:
            assert m.reason in flat


def test_a_painters_own_words_are_told_as_they_are():
    meant = Apart(kind="intended", id="nose", name="nose", reason="seen through a mesh", measures=())
    assert "nose (seen through a mesh): nothing departs there." in to_text(sample(apart=(meant,)))


def test_witness_is_said():
    text = to_text(sample())
    assert re.search(r"OFF \*\s+sitter's left eye", text)
    assert "read by the face finder alone: sizes read small" in text
    assert "read from the paint" in text


def test_canons_come_with_one_caution():
    for view in (View(canons=True), View(everything=True)):
        text = " ".join(to_text(sample(), view).split())
        assert text.count(CAUTION) == 1
        assert "1.14" in text
        assert CAUTION not in " ".join(to_text(sample(canons=()), view).split())


def test_canons_take_one_line_unless_asked_for():
    asked, unasked = (to_text(sample(), View(canons=canons), width=400) for canons in (True, False))
    line = next(line for line in unasked.splitlines() if line.startswith("Canons are"))
    assert "--canons" in line
    assert "1.14" not in unasked
    assert CAUTION not in unasked
    assert line not in asked


def test_long_tables_are_cut_and_say_so():
    many = tuple(
        measure(f"face_width_{i}", f"width {i}", "width", 20.0 - i / 10, 1.0, call="off") for i in range(ROWS + 4)
    )
    text = to_text(sample(measures=many))
    assert "... and 4 more" in text
    assert f"width {ROWS - 1} " in text
    assert f"width {ROWS} " not in text
    assert "more: --all" not in to_text(sample(measures=many), View(everything=True))
    assert text.count("width ") > to_text(sample(measures=many), View(top=3)).count("width ")


def test_when_nothing_is_off_there_is_no_list_to_mend():
    true = tuple(m for m in measures() if m.call in {"slight", "true"})
    text = to_text(sample(measures=true, mend_first=("Nothing is left: it is time to stop.",)))
    assert "Mend first" not in text
    assert "it is time to stop." in text


def test_a_family_with_nothing_off_says_so():
    assert "Nothing in the family 'axis' is off." in to_text(sample(), View(only="axis"))
    assert "Nothing in the family" not in to_text(sample(), View(only="width"))


def test_a_family_alone_is_said_to_be_one():
    text = to_text(sample(), View(only="axis"))
    assert "Only the family 'axis'" in text
    assert "Mend first" not in text
    assert "face width" not in text


def test_hostile_names_cannot_move_the_cursor_or_set_styles():
    facts = replace(sample().painting, name="[bold]x[/bold]\x1b[2J\u202e.jpg")
    text = to_text(sample(painting=facts, warnings=(Notice(code="a", text="tab\tend\x07"),)))
    assert "[bold]x[/bold]?[2J?.jpg" in text
    assert "\x07" not in text


@pytest.mark.parametrize(
    ("measure_id", "deviation", "unit", "expected"),
    [
        ("nose_width", 12.4, "percent", "12 % too wide"),
        ("nose_width", -12.4, "percent", "12 % too narrow"),
        ("mouth_y", 5.0, "percent of pupil distance", "5 % of eye distance too low"),
        ("mouth_axis", -4.0, DEGREES, "4 degrees turned anticlockwise"),
        ("upper_lip", 20.0, "percent", "20 % too thick"),
        ("face_gap", 6.0, "percent", "6 % apart at most"),
        ("face_overlap", -9.0, "percent", "9 % not shared"),
        ("between_en_right_ch_right", -9.0, "percent", "9 % too short"),
        ("nose_width", 0.2, "percent", "no difference"),
    ],
)
def test_deviations_in_words(measure_id, deviation, unit, expected):
    m = measure(measure_id, "x", "x", deviation, 1.0, call="off", unit=unit)
    assert words.painted(m) == expected


@given(st.floats(-500, 500), st.floats(0.02, 200))
def test_no_digit_finer_than_the_doubt(value, sigma):
    said = words.painted(measure("nose_width", "x", "x", value, sigma, call="off"))
    doubt = float(words.give_or_take(measure("x", "x", "x", value, sigma, call="off")))
    shown = 0.0 if said == "no difference" else float(said.split()[0])
    assert doubt >= 1.96 * sigma * (1 - 1e-5) or (abs(value) > 1.96 * sigma and doubt == shown)
    if abs(value) > 1.96 * sigma and said != "no difference":
        assert shown >= doubt
    if said != "no difference":
        number = said.split()[0]
        assert ("." in number) == (1.96 * sigma < 1)
        assert abs(abs(value) - float(number)) <= max(doubt / 2, 0.05) * 1.0001


@given(st.floats(0.5, 60), st.floats(0.02, 17), st.floats(0.3, 20))
def test_what_is_off_never_reads_as_less_than_what_is_noticed(value, sigma, threshold):
    m = measure("nose_width", "x", "x", value, sigma, call="off", threshold=threshold)
    assert float(words.noticed_from(m)) > 0
    if value > threshold and value > 1.96 * sigma:
        assert float(words.painted(m).split()[0]) >= float(words.noticed_from(m))


def test_one_degree_is_not_one_degrees():
    one = measure("mouth_axis", "x", "x", 1.2, 1.0, call="slight", unit=DEGREES)
    assert words.painted(one) == "1 degree turned clockwise"


def test_one_error_is_not_counted_by_its_outlines_too():
    same = measure("eye_left_area", "area of the eye", "shape", 40.0, 1.0, call="off")
    only = measure("lips_area", "area of the mouth", "shape", 40.0, 1.0, call="off")
    wide = measure("eye_width_left", "eye width", "width", 20.0, 1.0, call="off")
    result = sample(measures=(only, same, wide))
    text = to_text(result)
    assert "area of the eye" not in text
    assert "area of the mouth" in text
    assert "the same over again (1)" in text
    assert "eye width" in to_text(result, View(top=2))
    for view in (View(everything=True), View(only="shape")):
        assert "area of the eye" in to_text(result, view)
        assert "over again" not in to_text(result, view)


def test_list_names_every_measure_with_its_source():
    from limner.measure.catalogue import CATALOGUE

    for width in (20, 80, 400):
        text = catalogue_text(width=width)
        assert max(len(line) for line in text.splitlines()) <= width
    for measure_id, declared in CATALOGUE.items():
        assert re.search(rf"^{measure_id}\b", text, re.MULTILINE)
        assert declared.limit.source in text
    assert set(families()) >= {m.family for m in CATALOGUE.values()}
