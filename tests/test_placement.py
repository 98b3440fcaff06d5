"""Where the head stands on the canvas, and how far that is from where it was meant to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import norms_face as norms
from limner.checking import check
from limner.compare.placement import parse_placement, with_placement
from limner.compare.wholeplan import with_whole_plan
from limner.errors import UsageError
from limner.report.text import to_text
from limner.report.view import View
from limner.result import CanvasReport, PictureFacts, Quantity
from limner.settings import Settings
from sample import sample

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
