"""Where the head stands on the canvas, and how far that is from where it was meant to."""

from __future__ import annotations

from dataclasses import replace

import jsonschema
import numpy as np
import pytest

import norms_face as norms
from limner.checking import check
from limner.compare.apart import set_apart
from limner.compare.corrections import after
from limner.compare.placement import parse_placement, with_placement
from limner.compare.wholeplan import with_whole_plan
from limner.errors import UsageError
from limner.report.jsonout import schema, to_dict
from limner.report.text import to_text
from limner.report.view import View
from limner.report.words import of_placement
from limner.result import CanvasReport, PictureFacts, Quantity
from limner.series.take import record_of
from limner.settings import Settings
from limner.sheet.correction import PLACE_FIRST, correction_sheet
from sample import sample
from test_corrections import judged

SIZE = (400.0, 500.0)
PITCH = 0.25
"""mm per px of the painting; the reference is half as large, 800 x 1000 px."""


def facts(width: int, height: int) -> PictureFacts:
    return PictureFacts(
        name="a.png", digest=None, width=width, height=height, scale=1.0, pupil_distance=250.0, found_by="plain"
    )


def audited(shift_mm=(0.0, 0.0), larger=1.0, *, placement=None, reference=(800, 1000), share=0.003):
    """A face painted where the reference has it on the canvas, then shifted, and larger about the pupils' middle."""
    there = norms.norms_px(scale=2.0, centre=(380.0, 420.0))
    painted = 2 * there + 0.5
    eyes = painted[[468, 473]].mean(axis=0)
    painted = eyes + larger * (painted - eyes) + np.array(shift_mm) / PITCH
    canvas = CanvasReport(
        found_by="hand",
        sure=True,
        reason="Its corners were given by hand.",
        corners=(),
        size_mm=SIZE,
        mm_per_px=Quantity(value=PITCH, sigma=share * PITCH),
        off_axis=0.0,
    )
    return sample(
        settings=Settings(placement=placement),
        reference=facts(*reference),
        painting=facts(1600, 2000),
        reference_points=there,
        painting_points=painted,
        should_be=painted,
        point_sigma=np.full(478, 0.5),
        more_points=np.zeros((0, 2)),
        canvas=canvas,
        whole=(),
        measures=(),
        corrections=(),
    )


def calls(result) -> dict[str, str]:
    return {f.id: f.call for f in result.whole}


def test_where_it_stands_is_told_in_mm_from_the_edges():
    result = with_placement(audited())
    eyes = (norms.norms_px(scale=2.0, centre=(380.0, 420.0))[[468, 473]].mean(axis=0) + 0.5) * 0.5
    assert result.placement.eyes_x.value == pytest.approx(eyes[0], abs=1e-6)
    assert result.placement.eyes_y.value == pytest.approx(eyes[1], abs=1e-6)
    assert result.placement.meant_eyes == pytest.approx(eyes, abs=1e-6)
    assert result.placement.meant_by == "as the reference is framed"
    assert set(calls(result).values()) == {"true"}
    assert "Placement:" in to_text(result)


def test_a_head_of_a_seldom_size_asks_whether_the_unit_is_right():
    found = replace(with_placement(audited()).placement, head_height=Quantity(value=230.0, sigma=2.0))
    asks = "is the size of the canvas right, and its unit?"
    assert asks not in of_placement(found)
    for height in (23.0, 2300.0):
        assert asks in of_placement(replace(found, head_height=Quantity(value=height, sigma=1.0)))


@pytest.mark.parametrize(
    ("shift", "larger", "words"),
    [
        ((14.0, 0.0), 1.0, "about 14 mm too far to picture right"),
        ((-15.0, 0.0), 1.0, "about 15 mm too far to picture left"),
        ((0.0, 16.0), 1.0, "about 16 mm too low"),
        ((0.0, -16.0), 1.0, "about 16 mm too high"),
        ((0.0, 0.0), 1.06, "about 6.0 % too large"),
        ((0.0, 0.0), 0.93, "about 7.0 % too small"),
    ],
)
def test_a_head_out_of_place_or_size_is_the_first_thing_said(shift, larger, words):
    result = with_whole_plan(audited(shift, larger))
    assert words in result.mend_first[0]
    assert View().anything_off(result)
    assert sum(call == "off" for call in calls(result).values()) == 1


def test_a_head_out_of_place_both_ways_is_said_in_one_sentence():
    result = with_whole_plan(audited((14.0, 16.0)))
    assert sum(call == "off" for call in calls(result).values()) == 2
    assert len(result.mend_first) == 1
    assert "too far to picture right" in result.mend_first[0]
    assert "too low" in result.mend_first[0]


@pytest.mark.parametrize("asked", ["62mm", "@200,180", "reference"])
def test_a_placement_asked_for_without_a_canvas_is_said_to_be_passed_over(asked):
    for canvas in (None, replace(audited().canvas, size_mm=None, mm_per_px=Quantity(value=None, sigma=None))):
        result = with_placement(replace(audited(placement=asked), canvas=canvas, warnings=()))
        assert [notice.code for notice in result.warnings] == ["placement_unknown"]
        assert f"--placement {asked} was passed over: that needs a canvas of known size" in result.warnings[0].text
    blind = audited(placement=asked)
    blind.painting_points[468] = np.nan
    assert "both pupils" in with_placement(replace(blind, warnings=())).warnings[0].text


@pytest.mark.parametrize("asked", [None, "none"])
def test_no_placement_asked_for_is_not_missed(asked):
    assert with_placement(replace(audited(placement=asked), canvas=None, warnings=())).warnings == ()
    assert with_placement(replace(audited(placement="62mm"), warnings=())).warnings == ()


@pytest.mark.parametrize(
    ("shift", "larger", "words"),
    [
        ((14.0, 0.0), 1.0, "14 mm toward picture left (give or take"),
        ((0.0, -16.0), 1.0, "16 mm down (give or take"),
        ((-15.0, 12.0), 1.0, "15 mm toward picture right, 12 mm up (give or take"),
        ((0.0, 0.0), 1.06, "5.7 % smaller about the middle of the eyes (give or take"),
        ((0.0, 0.0), 0.93, "7.5 % larger about the middle of the eyes (give or take"),
    ],
)
def test_to_move_the_whole_head_is_the_first_step_of_the_plan(shift, larger, words):
    """What is said to be wrong is what the step undoes, told the way the hand has to go; nothing else is foreseen."""
    result = with_whole_plan(audited(shift, larger))
    step = result.corrections[0]
    assert (step.step, step.level, step.unit) == (1, "placement", "head")
    assert f"The head, all of it: {words}" in step.text
    assert (step.dx_mm.value or 0.0, step.dy_mm.value or 0.0) == pytest.approx((-shift[0], -shift[1]), abs=0.3)
    apart = np.linalg.norm(result.painting_points[473] - result.painting_points[468]) * PITCH
    assert (step.dx.value or 0.0) * apart == pytest.approx(step.dx_mm.value or 0.0)
    again = (1 + (step.along.value or 0.0) / 100) * larger
    assert again == pytest.approx(1.0, abs=1e-3)
    assert step.mends == ()
    assert "How to move it" in to_text(result)
    jsonschema.validate(to_dict(result), schema())


def test_the_head_is_not_moved_where_it_stands_well_or_a_part_of_it_is_held():
    assert with_whole_plan(audited()).corrections == ()
    held = audited((14.0, 0.0))
    held = replace(held, scale=replace(held.scale, hold="mouth"))
    assert with_whole_plan(held).corrections == ()
    meant = audited((14.0, 0.0))
    meant = replace(meant, settings=replace(meant.settings, intended=(("place_x", "she looks into the room"),)))
    assert with_whole_plan(set_apart(meant)).corrections == ()


def test_the_steps_after_it_are_those_of_a_head_that_stands_well():
    slipped = norms.moved(norms.norms_mm(), norms.MOUTH, 0.0, 4.0)
    well = judged(slipped, audited().canvas)
    moved = replace(well, settings=replace(well.settings, placement="@10,10"), mend_first=(), corrections=())
    plan = with_whole_plan(moved).corrections
    assert plan[0].level == "placement"
    assert [step.text for step in plan[1:]] == [step.text for step in well.corrections]
    assert [step.step for step in plan] == list(range(1, len(plan) + 1))
    np.testing.assert_array_equal(after(replace(moved, corrections=plan)), after(well))


def test_it_is_no_move_within_the_drawing_and_the_sheet_says_that_its_lines_leave_the_head_there():
    result = with_whole_plan(audited((14.0, 0.0)))
    assert record_of(result, None).largest is None
    notes = [note.text for section in correction_sheet(result).sections for note in section.notes]
    assert PLACE_FIRST in notes
    assert PLACE_FIRST not in [n.text for s in correction_sheet(with_whole_plan(audited())).sections for n in s.notes]


def test_what_is_asked_for_wins_over_the_reference():
    asked = with_placement(audited(placement="40mm@100,100"))
    assert asked.placement.meant_pupils == 40.0
    assert asked.placement.meant_eyes == (100.0, 100.0)
    assert calls(asked)["size"] == "off"
    assert set(calls(with_placement(audited(placement="@100,100")))) == {"place_x", "place_y"}
    assert with_placement(audited(placement="none")).whole == ()


def test_a_reference_of_other_proportions_says_nothing_unless_asked():
    assert with_placement(audited(reference=(1000, 1000))).whole == ()
    assert calls(with_placement(audited(reference=(1000, 1000), placement="reference")))


def test_the_give_or_take_grows_with_the_size_of_the_canvas_and_its_edges():
    near, far = (with_placement(audited(share=share)).placement for share in (0.001, 0.02))
    for key in ("eyes_x", "eyes_y", "pupils"):
        assert getattr(far, key).sigma > getattr(near, key).sigma
    assert far.pupils.sigma == pytest.approx(0.02 * far.pupils.value, rel=0.1)
    doubtful = with_placement(audited((9.0, 0.0), share=0.05))
    assert calls(doubtful)["place_x"] == "unsure"


def test_without_a_canvas_nothing_is_said():
    assert with_placement(replace(audited((50.0, 0.0)), canvas=None)).placement is None


@pytest.mark.parametrize("text", ["", "62", "62mm@", "@1", "large", "62cm", "-3mm", "62mm 200,180", "nanmm"])
def test_a_placement_that_is_none_is_refused(text):
    with pytest.raises(UsageError, match="--placement"):
        parse_placement(text)
    with pytest.raises(UsageError, match="--placement"):
        check(Settings(placement=text))
