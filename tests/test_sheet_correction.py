"""Correction sheets and transfer drawings: what stands where on the canvas, measured in the printed page."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from limner.errors import PictureError, UsageError
from limner.face.facepoints import POINT_COUNT
from limner.notices import Notice
from limner.result import AuditResult, CanvasReport, Correction, Quantity
from limner.sheet.correction import correction_sheet, on_canvas
from limner.sheet.letters import wrapped
from limner.sheet.marks import Stroke, Words
from limner.sheet.outlines import BELONGS, PAINTED
from limner.sheet.paper import LEFT, TOP, lay_out
from limner.sheet.placing import Wish, head_marks, place_reference
from limner.sheet.sheets import ROUND, render
from limner.sheet.transfer import transfer_sheet
from printed import MM, level_lines, printed, upright_lines
from sample import sample
from sitter import sitter

NONE = Quantity(value=None, sigma=None)
PITCH = 0.5


def quantity(value: float) -> Quantity:
    return Quantity(value=value, sigma=0.1)


def correction(step: int, **changes: object) -> Correction:
    usual = Correction(
        step=step,
        level="feature",
        unit="lips",
        name="mouth",
        centre=(200.0, 300.0),
        dx=NONE,
        dy=NONE,
        dx_mm=quantity(8.0),
        dy_mm=quantity(0.0),
        along=NONE,
        across=NONE,
        turn=NONE,
        remains=NONE,
        text="mouth: 8.0 mm toward picture right (sure to 0.2 mm)",
        mends=(),
        left_off=0,
    )
    return replace(usual, **changes)  # type: ignore[arg-type]


def found(**changes: object) -> AuditResult:
    """The sample's 400 x 500 px painting on a canvas of 200 x 250 mm."""
    report = CanvasReport(
        found_by="photo",
        sure=True,
        reason="The canvas was found by its four edges.",
        corners=(),
        size_mm=(200.0, 250.0),
        mm_per_px=Quantity(value=PITCH, sigma=0.001),
        off_axis=12.0,
    )
    return sample(canvas=report, corrections=(correction(1),), **changes)


def square(at: tuple[float, float], side: float) -> np.ndarray:
    """Points of which the face's outline is a rectangle, everything else in its middle."""
    points = np.full((POINT_COUNT, 2), at, dtype=np.float64)
    return points + np.random.default_rng(1).uniform(-side / 2, side / 2, points.shape)


def test_a_point_lies_at_its_millimetre_on_the_printed_sheet(tmp_path):
    """An eyebrow laid as a long upright bar: its outline is met where it belongs, to a tenth of a millimetre."""
    from limner.face.points import FEATURES

    should = np.full((POINT_COUNT, 2), np.nan)
    ring = list(FEATURES["brow_left"].indices)
    xs = np.where(np.arange(len(ring)) < len(ring) / 2, 150.0, 170.0)
    ys = np.concatenate([np.linspace(100, 300, len(ring) // 2), np.linspace(300, 100, len(ring) - len(ring) // 2)])
    should[ring] = np.column_stack([xs, ys])
    should[0] = (10.0, 10.0)
    nowhere = np.full((POINT_COUNT, 2), np.nan)
    result = replace(found(should_be=should, painting_points=nowhere), corrections=())
    data, pages = render(correction_sheet(result), "pdf")
    layout = lay_out((-ROUND, -ROUND, 200 + 2 * ROUND, 250 + 2 * ROUND), "a4")
    assert pages == len(layout.tiles) + 1
    tile = layout.tiles[0]
    dark = printed(data, tmp_path, 2)
    level = TOP + 200.0 * PITCH - tile.box[1]
    expected = [LEFT + x * PITCH - tile.box[0] for x in (150.0, 170.0)]
    if expected[1] < layout.size[0]:
        assert upright_lines(dark, level, expected[0] - 4, expected[1] + 4) == pytest.approx(expected, abs=0.1)
    edge = LEFT - tile.box[0]
    assert upright_lines(dark, TOP + 3.0 - tile.box[1], edge - 0.8, edge + 3) == [pytest.approx(edge, abs=0.05)]
    top = TOP - tile.box[1]
    assert level_lines(dark, LEFT + 3.0 - tile.box[0], top - 0.8, top + 3) == [pytest.approx(top, abs=0.05)]


def strokes(sheet: object, pen: object) -> list[Stroke]:
    return [mark for mark in sheet.marks if isinstance(mark, Stroke) and mark.pen == pen]  # type: ignore[attr-defined]


def test_painted_outlines_are_dashed_and_what_belongs_is_not():
    sheet = correction_sheet(found())
    belongs, painted = strokes(sheet, BELONGS), strokes(sheet, PAINTED)
    assert len(belongs) >= len(painted) > 5
    assert not BELONGS.dash
    assert PAINTED.dash
    lows = [stroke.points.min(axis=0) for stroke in (belongs[0], painted[0])]
    assert lows[1] - lows[0] == pytest.approx((6.0 * PITCH, 2.0 * PITCH))


def test_film_has_thin_lines_and_no_painted_ones():
    sheet = correction_sheet(found(), film=True)
    pens = {mark.pen for mark in sheet.marks if isinstance(mark, Stroke)}
    assert all(pen.width <= 0.2 for pen in pens)
    assert not any(pen.dash for pen in pens)
    assert "clear film" in said(sheet)


def said(sheet: object) -> str:
    return " ".join(note.text for section in sheet.sections for note in section.notes)  # type: ignore[attr-defined]


def test_every_step_has_its_number_and_its_words():
    sheet = correction_sheet(found())
    assert [mark.text for mark in sheet.marks if isinstance(mark, Words)] == ["1"]
    assert "mouth: 8.0 mm toward picture right" in said(sheet)
    assert "touch-dry" in said(sheet)
    assert "give or take 0.4 %" in said(sheet)
    tips = [mark.points for mark in sheet.marks if type(mark).__name__ == "Area"]
    assert tips[0][0] == pytest.approx((108.0, 150.0))


def test_numbers_do_not_lie_on_each_other():
    steps = tuple(correction(k, centre=(200.0 + k, 300.0)) for k in range(1, 6))
    sheet = correction_sheet(replace(found(), corrections=steps))
    at = np.array([mark.at for mark in sheet.marks if isinstance(mark, Words)])
    apart = np.linalg.norm(at[:, None] - at[None], axis=2)[np.triu_indices(5, 1)]
    assert apart.min() > 5.2  # a number's circle is 5.2 mm across


def test_what_was_taken_for_the_canvas_stands_on_the_sheet():
    side = Notice(code="canvas_side", text="The canvas was taken as 200 mm wide.")
    assert side.text in said(correction_sheet(found(warnings=(side,))))
    assert "found by its four edges" in said(correction_sheet(found()))


def test_without_a_plan_the_sentences_of_the_audit_stand():
    assert "15 % too wide" in said(correction_sheet(replace(found(), corrections=())))
    nothing = correction_sheet(replace(found(), corrections=(), mend_first=()))
    assert "Nothing departs" in said(nothing)


def test_a_step_without_a_number_has_no_arrow():
    still = correction(1, dx_mm=NONE, dy_mm=NONE)
    away = correction(2, centre=(float("nan"), 1.0))
    sheet = correction_sheet(replace(found(), corrections=(still, away)))
    assert [mark.text for mark in sheet.marks if isinstance(mark, Words)] == ["1"]


def test_mirrored_is_the_other_way_round_on_paper(tmp_path):
    beside = found(should_be=sample().should_be * (0.5, 1.0), painting_points=sample().painting_points * (0.5, 1.0))
    plain, turned = (
        render(correction_sheet(beside, mirror=mirror), "pdf", paper="whole")[0] for mirror in (False, True)
    )
    left, right = ((LEFT + ROUND) / MM, (LEFT + ROUND + 200.0) / MM)
    rows = slice(round((TOP + ROUND + 5) / MM), round((TOP + ROUND + 245) / MM))
    columns = slice(round(left) + 5, round(right) - 5)
    one, other = (printed(data, tmp_path)[rows, columns] for data in (plain, turned))
    ink = one.sum(axis=0)
    assert np.corrcoef(ink, other.sum(axis=0)[::-1])[0, 1] > 0.98
    assert np.corrcoef(ink, other.sum(axis=0))[0, 1] < 0.5


@pytest.mark.parametrize("mirror", [False, True])
def test_a_mirrored_sheet_says_when_its_sides_lie_right(mirror):
    """On the print as it comes the sitter's left is then at the left."""
    placement = place_reference(sitter(), (400.0, 500.0))
    for sheet in (correction_sheet(found(), mirror=mirror), transfer_sheet(sitter(), placement, mirror=mirror)):
        assert "sitter's left = picture right" in said(sheet)
        assert ("once the sheet lies face down" in said(sheet)) is mirror


def test_no_figure_is_parted_from_its_unit():
    text = "stands 10 mm toward picture left, 9 % wider, turn 1.0 degree, give or take 6 mm and 2 %."
    for width in range(20, 160):
        lines = wrapped(text, 3.2, float(width))
        assert " ".join(lines) == text
        if width > 25:
            assert not any(re.match(r"(mm|%|degree)", line) for line in lines)


def test_the_face_alone_says_how_far_it_is_from_each_edge(tmp_path):
    sheet = correction_sheet(found())
    data, pages = render(sheet, "pdf", face=True)
    assert pages == 1
    svg = render(sheet, "svg", face=True)[0].decode()
    shown = {edge: float(mm) for mm, edge in re.findall(r">([\d.]+) mm to the (\w+) edge of the canvas", svg)}
    x, y, w, h = sheet.face
    assert shown["left"] <= x
    assert shown["right"] <= 200 - x - w
    assert shown["top"] <= y
    assert shown["bottom"] <= 250 - y - h
    width, height = 200 - shown["left"] - shown["right"], 250 - shown["top"] - shown["bottom"]
    dark = printed(data, tmp_path)
    box_left = 16.0 + (210 - 26 - width) / 2
    box_top = TOP + 12.0 + (297 - TOP - 24 - 24 - height) / 2
    for at in (box_left, box_left + width):
        assert upright_lines(dark, box_top - 3.2, at - 1, at + 1) == [pytest.approx(at, abs=0.1)]
    for at in (box_top, box_top + height):
        assert level_lines(dark, box_left - 3.2, at - 1, at + 1) == [pytest.approx(at, abs=0.1)]


def test_the_mirrored_face_is_measured_from_the_other_edge():
    plain, turned = (
        render(correction_sheet(found(), mirror=mirror), "svg", face=True)[0].decode() for mirror in (False, True)
    )
    pattern = r">([\d.]+) mm to the (\w+) edge of the canvas"
    one, other = ({edge: float(mm) for mm, edge in re.findall(pattern, text)} for text in (plain, turned))
    assert other["left"] == pytest.approx(one["left"], abs=1.5)
    assert other["right"] == pytest.approx(one["right"], abs=1.5)


def test_a_face_too_large_for_the_paper_is_refused():
    sheet = correction_sheet(found(should_be=square((200, 250), 480), painting_points=square((200, 250), 480)))
    with pytest.raises(UsageError, match="--paper a3"):
        render(sheet, "pdf", face=True)
    assert render(sheet, "pdf", face=True, paper="a3")[1] == 1
    with pytest.raises(UsageError, match="whole"):
        render(sheet, "pdf", face=True, paper="whole")


def test_one_large_sheet_says_nothing_of_tiles():
    text = render(correction_sheet(found()), "svg")[0].decode()
    assert "touch-dry" in text
    assert "Neighbours" not in text
    assert "crop marks" in said(correction_sheet(found()))


def test_an_endless_stack_of_pages_is_refused():
    sheet = replace(correction_sheet(found()), canvas=(5000.0, 5000.0))
    with pytest.raises(UsageError, match="pages of a4"):
        render(sheet, "pdf")


@pytest.mark.parametrize("kind", ["pdf", "svg"])
def test_the_same_result_gives_the_same_bytes(kind):
    first, second = (render(correction_sheet(found()), kind)[0] for _ in range(2))
    assert first == second


@pytest.mark.parametrize(
    "report",
    [
        None,
        {"found_by": "nothing", "reason": "No canvas was found."},
        {"sure": False, "reason": "Not sure of the canvas."},
        {"size_mm": None},
        {"mm_per_px": NONE},
    ],
)
def test_no_sheet_is_made_from_a_canvas_that_is_not_known(report):
    result = found()
    canvas = None if report is None else replace(result.canvas, **report)
    with pytest.raises(PictureError, match="--corners"):
        on_canvas(replace(result, canvas=canvas))


# The transfer drawing


def test_as_it_comes_the_reference_fills_the_canvas_and_the_head_stays_whole():
    read = sitter()
    placement = place_reference(read, (400.0, 500.0))
    assert placement.mm_per_px == pytest.approx(1.0)
    assert placement.offset[1] == pytest.approx(0.0)
    assert placement.beyond["left"] + placement.beyond["right"] == pytest.approx(200.0)
    for place in head_marks(read).values():
        x, y = placement.place(place)
        assert 0 <= x <= 400
        assert 0 <= y <= 500
    assert "Cut from the reference" in placement.said()[0]
    assert placement.said()[0].count("%") == 2


def test_a_canvas_that_stands_another_way_is_said():
    assert "--canvas 500x400mm" in place_reference(sitter(), (400.0, 500.0)).said()[-1]
    assert "--canvas 400x500mm" in place_reference(sitter(500, 600), (500.0, 400.0)).said()[-1]
    assert "to turn it" not in " ".join(place_reference(sitter(), (500.0, 400.0)).said())


def test_the_painter_decides_size_and_place():
    read = sitter()
    pupils = read.points.mean[[468, 473]]
    placement = place_reference(read, (400.0, 500.0), Wish(pupils=60.0, eyes=(180.0, 210.0)))
    there = placement.place(pupils)
    assert np.linalg.norm(there[1] - there[0]) == pytest.approx(60.0)
    assert there.mean(axis=0) == pytest.approx((180.0, 210.0))
    assert "does not reach" in placement.said()[1]
    same = place_reference(read, (400.0, 500.0), Wish(pupils=60.0))
    usual = place_reference(read, (400.0, 500.0))
    assert same.place(pupils).mean(axis=0) == pytest.approx(usual.place(pupils).mean(axis=0))


@pytest.mark.parametrize("wish", [Wish(pupils=0.0), Wish(pupils=float("nan")), Wish(eyes=(500.0, 10.0))])
def test_a_wish_that_makes_no_sense_is_refused(wish):
    with pytest.raises(UsageError):
        place_reference(sitter(), (400.0, 500.0), wish)


def test_without_pupils_the_eyes_cannot_be_placed():
    read = sitter()
    gone = read.points.mean.copy()
    gone[468] = np.nan
    with pytest.raises(UsageError, match="pupils"):
        place_reference(replace(read, points=replace(read.points, mean=gone)), (400.0, 500.0), Wish(pupils=60.0))


def test_the_transfer_drawing_shows_where_light_parts_from_shadow(tmp_path):
    read = sitter()
    placement = place_reference(read, (400.0, 500.0))
    sheet = transfer_sheet(read, placement)
    edge = placement.place(np.array([300.0, 250.0]))[0]
    shadows = [mark.points for mark in sheet.marks if isinstance(mark, Stroke) and mark.pen.dash]
    assert shadows
    assert np.abs(np.vstack(shadows)[:, 0] - edge).max() < 2.0
    assert "transfer" in sheet.title
    data, _ = render(sheet, "pdf", paper="whole")
    assert data == render(transfer_sheet(read, placement), "pdf", paper="whole")[0]


def test_points_placed_by_hand_are_marked_with_their_names():
    read = sitter()
    hand = {"tr": (300.0, 110.0, 1.0), "sa_left": (430.0, 180.0, 1.0)}
    placement = place_reference(read, (400.0, 500.0))
    sheet = transfer_sheet(replace(read, points=replace(read.points, hand=hand)), placement)
    named = {mark.text: mark.at for mark in sheet.marks if isinstance(mark, Words)}
    assert set(named) == {"hairline", "top of the ear, sitter's left"}
    assert named["hairline"] == pytest.approx(placement.place(np.array([300.0, 110.0])) + (1.0, -0.8))
