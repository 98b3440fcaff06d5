"""What stands in no step of the plan, and what limits every number: on page and sheet too, and in their place."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from limner.compare.corrections import PLACED
from limner.compare.ranking import mend_first
from limner.measure.catalogue import CATALOGUE
from limner.notices import Notice
from limner.report.auditpage import audit_page
from limner.report.beside import HEADING, beside_the_plan
from limner.report.cautions import cautions, remarks
from limner.report.onefile import typed
from limner.result import WholeFinding
from limner.sheet.correction import correction_sheet
from sample import sample
from test_audit_page import examined, step
from test_sheet_correction import found

POSE = Notice(code="pose_differs", text="The head is turned by 9 degrees: see `--hold head`.")
FEW = Notice(code="shapes_spoke", text="The painting has few tones.")
PROFILE = Notice(code="no_profile", text="No colour profile.")


def told(*mends: str, **changes: Any) -> Any:
    """The sample with what its measures would be told by, and one step that mends some of them."""
    sentences = mend_first(sample().measures, CATALOGUE)
    return sample(mend_first=sentences, corrections=(replace(step(1), mends=mends),), **changes)


def test_without_a_plan_nothing_stands_beside_it() -> None:
    assert beside_the_plan(replace(told("face_width"), corrections=())) == ()


def test_beside_the_plan_stands_what_no_step_is_foreseen_to_mend() -> None:
    all_told = told().mend_first
    assert len(all_told) == 3
    assert beside_the_plan(told()) == all_told
    for id_, word in (("face_width", "face"), ("eye_width_left", "eye"), ("mouth_y", "mouth")):
        (mended,) = set(all_told) - set(beside_the_plan(told(id_)))
        assert word in mended
    assert beside_the_plan(told("face_width", "eye_width_left", "mouth_y")) == ()


def test_a_head_out_of_place_stands_beside_a_plan_that_does_not_place_it() -> None:
    low = WholeFinding(
        id="place_y", name="place", unit="mm", deviation=9.0, sigma=1.0, threshold=3.0, call="off", axis=None,
        cause="drawing", reason=None, source="typed in by hand", text="The head stands 9 mm too low.",
    )  # fmt: skip
    result = told("face_width", "eye_width_left", "mouth_y", whole=(low,))
    result = replace(result, mend_first=(low.text, *result.mend_first))
    assert beside_the_plan(result) == (low.text,)
    assert beside_the_plan(replace(result, mend_first=("", low.text))) == (low.text,)
    placed = replace(result.corrections[0], unit=PLACED)
    assert beside_the_plan(replace(result, corrections=(placed, *result.corrections))) == ()


def test_page_and_sheet_tell_what_stands_beside_the_plan() -> None:
    result = told("face_width")
    page = audit_page(replace(examined(), result=result))
    plan, printed = page[page.index('id="plan"') : page.index('id="measures"')], page[page.index('id="printed"') :]
    sheet = {
        section.heading: " ".join(note.text for note in section.notes)
        for section in correction_sheet(replace(found(), mend_first=result.mend_first)).sections
    }
    for sentence in beside_the_plan(result):
        assert sentence.replace("'", "&#39;") in plan
        assert sentence.replace("'", "&#39;") in printed
    for sentence in result.mend_first:  # the only step of that sheet mends nothing
        assert sentence in sheet[HEADING]
    assert HEADING not in audit_page(examined(corrections=()))


def test_cautions_come_before_remarks_and_what_all_rests_on_before_the_rest() -> None:
    assert cautions((PROFILE, FEW, POSE)) == [POSE, FEW]
    assert remarks((PROFILE, FEW, POSE)) == [PROFILE]


def test_the_page_says_what_limits_the_numbers_before_them() -> None:
    page = audit_page(examined(corrections=(step(1),), warnings=(PROFILE, FEW, POSE)))
    pose, few, number, rows, profile = (
        page.index(text) for text in ("turned by 9", FEW.text, "measures are off", 'id="measures"', PROFILE.text)
    )
    assert pose < few < number < rows < profile
    shown, printed = page.split('id="printed"')
    assert shown.count(FEW.text) == shown.count(PROFILE.text) == printed.count(FEW.text) == 1
    assert PROFILE.text not in printed
    assert 'id="cautions"' not in audit_page(examined(warnings=(PROFILE,)))


def test_many_cautions_are_folded_but_none_is_lost() -> None:
    many = [Notice(code=f"c{n}", text=f"Caution {n}.") for n in range(7)]
    page = audit_page(examined(warnings=tuple(many)))
    folded = page[page.index("<summary>3 more</summary>") : page.index("</aside>")]
    assert [notice.text in folded for notice in many] == [False] * 4 + [True] * 3


def test_the_sheet_says_what_limits_the_numbers_before_them() -> None:
    canvas = Notice(code="canvas_shape_rough", text="The canvas is rough.")
    sections = [
        (s.heading, [n.text for n in s.notes]) for s in correction_sheet(found(warnings=(canvas, POSE))).sections
    ]
    heads = [heading for heading, _ in sections]
    before = heads.index("Know before you read on")
    assert before < heads.index("What to mend, in this order")
    assert sections[before][1] == [POSE.text.replace("`", "")]
    assert canvas.text in dict(sections)["How sure"]


def test_marks_round_what_is_typed_are_not_printed_on_paper() -> None:
    held = Notice(code="pupils", text="Compare `--hold eyes` with `--hold head`.")
    canvas = Notice(code="canvas_found", text="Give `--corners`.")
    told = [n.text for s in correction_sheet(found(warnings=(held, canvas))).sections for n in s.notes]
    assert "Compare --hold eyes with --hold head." in told
    assert "Give --corners." in told


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("use --canvas-size now", 'use <span class="typed">--canvas-size</span> now'),
        ("`--hold eyes`", '<span class="typed">--hold eyes</span>'),
        ("`<b>` & --x", '<span class="typed">&lt;b&gt;</span> &amp; --x'),
        ("a--b-c, 3 -- 4", "a--b-c, 3 -- 4"),
    ],
)
def test_what_is_to_be_typed_is_kept_whole(text: str, shown: str) -> None:
    assert str(typed(text)) == shown
