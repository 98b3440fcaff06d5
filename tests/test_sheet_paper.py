"""Drawings at 1:1 on paper, measured in the printed page."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from limner.sheet.keypage import Note, Section, key_pages
from limner.sheet.letters import fitted, width_of, wrapped
from limner.sheet.marks import (
    Area,
    Drawing,
    Page,
    Pen,
    Raster,
    Stroke,
    Window,
    Words,
    arrow,
    corners_of,
    line,
    mirrored,
    rectangle,
    touches,
)
from limner.sheet.paper import (
    BAR,
    LEFT,
    OVERLAP,
    PAPERS,
    TOP,
    across_bar,
    cross_places,
    lay_out,
    tiled,
    upright_bar,
    whole,
)
from limner.sheet.pdf import to_pdf
from limner.sheet.svg import to_svg
from printed import MM, level_lines, printed, upright_lines

THIN = Pen(width=0.2)
CANVAS = (400.0, 500.0)
BOX = (-16.0, -16.0, 432.0, 532.0)
DRAWING = Drawing(
    box=BOX,
    marks=(
        rectangle((0.0, 0.0, *CANVAS), THIN),
        line(123.4, -10.0, 123.4, 510.0, THIN),
        line(-10.0, 234.5, 410.0, 234.5, THIN),
    ),
)


@pytest.mark.parametrize("paper", PAPERS)
def test_both_bars_of_every_page_are_100_mm(paper, tmp_path):
    pages = tiled(DRAWING, paper, title="bars")
    data = to_pdf(pages, title="bars")
    for number, page in enumerate(pages, 1):
        if number not in (1, len(pages)):
            continue
        dark = printed(data, tmp_path, number)
        x, y = across_bar((page.width, page.height))
        ticks = upright_lines(dark, y - 2.3, x - 3, x + BAR + 1.5)
        assert len(ticks) == 3
        assert ticks[0] == pytest.approx(x, abs=0.05)
        assert ticks[-1] - ticks[0] == pytest.approx(100.0, abs=0.1)
        x, y = upright_bar()
        ticks = level_lines(dark, x - 2.3, y - 3, y + BAR + 1.5)
        assert len(ticks) == 3
        assert ticks[-1] - ticks[0] == pytest.approx(100.0, abs=0.1)


@pytest.mark.parametrize("paper", PAPERS)
def test_pages_have_the_size_of_their_paper(paper, tmp_path):
    layout = lay_out(BOX, paper)
    assert sorted(layout.size) == sorted(PAPERS[paper])
    dark = printed(to_pdf(tiled(DRAWING, paper, title="size"), title="size"), tmp_path)
    assert dark.shape == pytest.approx((layout.size[1] / MM, layout.size[0] / MM), abs=1.0)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("box", [BOX, (0.0, 0.0, 50.0, 60.0), (-5.0, -5.0, 1010.0, 310.0)])
def test_tiles_cover_everything_and_share_the_overlap(paper, box):
    layout = lay_out(box, paper)
    xs, ys = np.meshgrid(np.linspace(box[0], box[0] + box[2], 97), np.linspace(box[1], box[1] + box[3], 89))
    covered = np.zeros(xs.shape, dtype=bool)
    for tile in layout.tiles:
        x, y, w, h = tile.box
        covered |= (xs >= x) & (xs <= x + w) & (ys >= y) & (ys <= y + h)
    assert covered.all()
    at = {(tile.row, tile.column): tile.box for tile in layout.tiles}
    for (row, column), (x, y, w, h) in at.items():
        if (row, column + 1) in at:
            assert x + w - at[row, column + 1][0] == pytest.approx(OVERLAP)
        if (row + 1, column) in at:
            assert y + h - at[row + 1, column][1] == pytest.approx(OVERLAP)


def test_lines_of_the_drawing_lie_at_their_millimetre_on_every_tile(tmp_path):
    layout = lay_out(BOX, "a4")
    data = to_pdf(tiled(DRAWING, "a4", title="lines"), title="lines")
    seen = 0
    for number, tile in enumerate(layout.tiles, 1):
        x, y, w, h = tile.box
        if not (x + 8 < 123.4 < x + w - 8 and y + 8 < 234.5 < y + h - 8):
            continue
        dark = printed(data, tmp_path, number)
        level = TOP + (234.5 - y) + 5.0
        near = LEFT + (123.4 - x)
        assert upright_lines(dark, level, near - 3, near + 3) == [pytest.approx(near, abs=0.05)]
        near_y = TOP + (234.5 - y)
        assert level_lines(dark, near + 5.0, near_y - 3, near_y + 3) == [pytest.approx(near_y, abs=0.05)]
        seen += 1
    assert seen


def test_neighbouring_tiles_show_the_same_register_crosses_at_their_place(tmp_path):
    drawing = Drawing(box=(0.0, 0.0, 300.0, 150.0), marks=())
    layout = lay_out(drawing.box, "a4")
    assert (layout.columns, layout.rows) == (2, 1)
    places = cross_places(layout)
    assert len(places) == 2
    data = to_pdf(tiled(drawing, "a4", title="crosses"), title="crosses")
    for number, tile in enumerate(layout.tiles, 1):
        dark = printed(data, tmp_path, number)
        for x, y in places:
            here = (LEFT + x - tile.box[0], TOP + y - tile.box[1])
            across = upright_lines(dark, here[1] + 1.5, here[0] - 2.5, here[0] + 2.5)
            upright = level_lines(dark, here[0] - 1.5, here[1] - 2.5, here[1] + 2.5)
            assert across == [pytest.approx(here[0], abs=0.05)]
            assert upright == [pytest.approx(here[1], abs=0.05)]


def test_a_window_cuts_what_is_outside(tmp_path):
    ground = Area(points=corners_of((-50.0, -50.0, 200.0, 200.0)))
    page = Page(
        width=60.0, height=60.0, marks=(Window(box=(10.0, 20.0, 30.0, 15.0), origin=(0.0, 0.0), marks=(ground,)),)
    )
    dark = printed(to_pdf([page], title="cut"), tmp_path)
    rows, columns = np.nonzero(dark > 0.5)
    assert (columns.min() * MM, (columns.max() + 1) * MM) == pytest.approx((10.0, 40.0), abs=0.1)
    assert (rows.min() * MM, (rows.max() + 1) * MM) == pytest.approx((20.0, 35.0), abs=0.1)


def test_a_picture_lies_in_its_box_the_right_way_up(tmp_path):
    pixels = np.full((20, 10, 3), 255, dtype=np.uint8)
    pixels[:5, :5] = 0
    for photo in (False, True):
        page = Page(width=60.0, height=60.0, marks=(Raster(pixels=pixels, box=(10.0, 10.0, 20.0, 40.0), photo=photo),))
        dark = printed(to_pdf([page], title="picture"), tmp_path)
        rows, columns = np.nonzero(dark > 0.5)
        assert (columns.min() * MM, (columns.max() + 1) * MM) == pytest.approx((10.0, 20.0), abs=0.3)
        assert (rows.min() * MM, (rows.max() + 1) * MM) == pytest.approx((10.0, 20.0), abs=0.3)


def test_the_bytes_repeat_and_tell_nothing():
    pages = tiled(DRAWING, "a4", title="sitter's portrait.jpg")
    first, second = (to_pdf(pages, title="sitter's portrait.jpg") for _ in range(2))
    assert first == second
    assert b"/Author ()" in first
    assert b"20000101" in first
    assert b"/PrintScaling /None" in first
    assert not re.search(rb"/home|/tmp|/Users|/root|Exif|anonymous", first)
    assert to_svg(pages[0], title="a") == to_svg(pages[0], title="a")


def test_an_svg_counts_in_millimetres_and_escapes_words():
    page = whole(DRAWING, title="<b>&\"it's\x1b[2J")
    root = ET.fromstring(to_svg(page, title="<b>&"))  # noqa: S314 - made here
    assert root.get("width") == f"{page.width:g}mm"
    assert root.get("viewBox") == f"0 0 {page.width:g} {page.height:g}"
    texts = [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "<b>&\"it's?[2J" in texts
    assert not list(root.iter("{http://www.w3.org/2000/svg}b"))


def test_an_svg_shows_the_same_marks_in_the_same_place():
    picture = Raster(pixels=np.zeros((2, 2), dtype=np.uint8), box=(1.0, 2.0, 3.0, 4.0))
    shown = Window(box=(10.0, 20.0, 30.0, 40.0), origin=(5.0, 6.0), factor=0.5, marks=(line(5.0, 6.0, 9.0, 6.0, THIN),))
    dashed = Stroke(points=np.array([[0.0, 0.0], [1.0, 1.0]]), pen=Pen(width=0.3, dash=(2.0, 1.0)))
    upward = Words(text="up", at=(1.0, 2.0), size=3.0, upward=True, bold=True)
    root = ET.fromstring(to_svg(Page(width=50.0, height=60.0, marks=(picture, shown, dashed, upward)), title="t"))  # noqa: S314
    space = "{http://www.w3.org/2000/svg}"
    assert root.find(f".//{space}image").get("width") == "3"
    assert root.find(f".//{space}clipPath/{space}rect").attrib == {"x": "10", "y": "20", "width": "30", "height": "40"}
    assert root.find(f".//{space}g/{space}g").get("transform") == "translate(7.5 17) scale(0.5)"
    assert [p.get("stroke-dasharray") for p in root.iter(f"{space}polyline")] == [None, "2 1"]
    assert root.find(f"{space}text").get("transform") == "rotate(-90 1 2)"


def test_one_sheet_as_large_as_the_drawing():
    page = whole(DRAWING, title="one", below=30.0)
    assert page.width > BOX[2]
    assert page.height > BOX[3] + 30.0


def test_mirrored_marks():
    marks = (
        line(0.0, 0.0, 10.0, 5.0, THIN),
        Words(text="left", at=(10.0, 3.0), size=2.0),
        Words(text="up", at=(10.0, 3.0), size=2.0, upward=True),
        Raster(pixels=np.array([[1, 2]], dtype=np.uint8), box=(0.0, 0.0, 20.0, 10.0)),
    )
    stroke, words, up, picture = mirrored(marks, 50.0)
    assert stroke.points.tolist() == [[100.0, 0.0], [90.0, 5.0]]
    assert (words.at, words.anchor) == ((90.0, 3.0), "end")
    assert (up.at, up.anchor) == ((90.0, 3.0), "start")
    assert (picture.box, picture.pixels.tolist()) == ((80.0, 0.0, 20.0, 10.0), [[2, 1]])
    with pytest.raises(TypeError):
        mirrored([Window(box=(0.0, 0.0, 1.0, 1.0), origin=(0.0, 0.0), marks=())], 0.0)


def test_only_known_marks_are_drawn():
    page = Page(width=10.0, height=10.0, marks=("word",))  # type: ignore[arg-type]
    with pytest.raises(TypeError):
        to_pdf([page], title="t")
    with pytest.raises(TypeError):
        to_svg(page, title="t")


def test_an_arrow_ends_where_it_points_to():
    shaft, tip = arrow((0.0, 0.0), (10.0, 0.0), THIN)
    assert shaft.points.tolist()[0] == [0.0, 0.0]
    assert tip.points[0].tolist() == [10.0, 0.0]
    assert arrow((1.0, 1.0), (1.0, 1.0), THIN) == []
    (only,) = arrow((0.0, 0.0), (1.0, 0.0), THIN)
    assert only.points[:, 0].min() == pytest.approx(0.0)


def test_what_lies_far_from_a_tile_is_left_out_of_it():
    far = line(0.0, 0.0, 10.0, 0.0, THIN)
    assert touches(far, (5.0, -5.0, 20.0, 20.0))
    assert not touches(far, (50.0, 0.0, 20.0, 20.0))
    assert touches(Words(text="w", at=(0.0, 0.0), size=2.0), (50.0, 0.0, 20.0, 20.0))


def test_words_are_broken_and_cut_to_their_room():
    lines = wrapped("the whole head, then the eyes as a pair, then " + "one" * 40, 3.0, 40.0)
    assert all(width_of(text, 3.0) <= 40.0 for text in lines)
    assert "".join(lines).replace(" ", "").endswith("one" * 40)
    assert fitted("canvas.jpg", 3.0, 100.0) == "canvas.jpg"
    short = fitted("canvas" * 30, 3.0, 40.0)
    assert short.endswith("...")
    assert width_of(short, 3.0) <= 40.0


def test_a_long_key_runs_over_several_pages():
    notes = tuple(Note(text="The mouth sits too low. " * 12, mark=f"{n}.") for n in range(1, 40))
    pages = key_pages([Section(heading="What to mend", notes=notes)], "a4", title="key")
    assert len(pages) > 1
    for page in pages:
        windows = [mark for mark in page.marks if isinstance(mark, Window)]
        assert windows
        assert all(w.box[1] >= 0 and w.box[1] + w.box[3] < page.height for w in windows)
