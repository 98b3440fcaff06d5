"""Overlay and side by side: what is drawn, where, and that nothing handed over is changed."""

from __future__ import annotations

import base64
import io
from dataclasses import replace
from itertools import combinations
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from limner.errors import UsageError
from limner.face.points import FEATURES, NAMED_POINTS
from limner.pictures.picture import Picture
from limner.report.chalk import Look, Sheet, dashes, smooth, text_width, wrapped
from limner.report.labels import stacked
from limner.report.layers import LAYERS, chosen
from limner.report.moves import NOTICED, find_moves
from limner.report.overlay import Overlay
from limner.report.sidebyside import SideBySide
from limner.report.window import look_at
from limner.result import CanvasReport, Correction, Quantity
from sample import half_in_shadow, measure, sample

BROW = [index for key in ("bi_left", "bp_left", "bo_left") for index in NAMED_POINTS[key].indices]
MEAN_PUPIL_DISTANCE = 63.26
"""mm, ANSUR II, men and women together."""


def picture(tone: int, size: tuple[int, int] = (400, 500)) -> Picture:
    pixels = np.full((size[1], size[0], 3), tone, dtype=np.uint8)
    pixels.flags.writeable = False
    return Picture(pixels=pixels, name="canvas.jpg", digest=None, full_size=size)


def moved(shift: dict[int, tuple[float, float]], sigma: float = 0.1):
    """Return the sample with some points painted off by (x, y) px, and called so; the pupils are 100 px apart."""
    result = sample()
    points = result.reference_points.copy()
    for index, by in shift.items():
        points[index] += by
    return replace(
        result,
        painting_points=points,
        should_be=result.reference_points.copy(),
        point_sigma=np.full(478, sigma),
        scale=replace(result.scale, scale=1.0),
        measures=tuple(replace(m, call="off") for m in result.measures if m.call != "not painted yet"),
    )


def shaded(result):
    """Return the result with an edge of a shadow in it."""
    return replace(result, values=half_in_shadow(result.painting_points))


def test_noticed_shifts_are_the_published_ones():
    published = {"eye": 2.0, "mouth": 3.0, "brow": 3.5, "nose": 4.0, "face": 6.0}
    assert {region: round(mm / MEAN_PUPIL_DISTANCE, 3) for region, mm in published.items()} == NOTICED


def test_no_outline_leaves_the_picture_for_the_words_beside_it():
    face = FEATURES["face"].indices
    result, canvas = moved(dict.fromkeys(face[: len(face) // 2], (300.0, 0.0))), picture(120)
    window = look_at(canvas, np.vstack([result.painting_points, result.should_be]), height=600)
    drawn = Overlay(layers=["painted"], height=600)(result, canvas)[: window.picture.height]
    columns = np.flatnonzero((drawn.astype(int) == Look().red).all(axis=2).any(axis=0))
    left = (drawn.shape[1] - window.picture.width) // 2
    assert len(columns) > 100  # it is drawn where it lies on the picture
    assert left - 2 <= columns.min()
    assert columns.max() <= left + window.picture.width + 2


def test_no_move_where_nothing_is_off():
    assert find_moves(moved({})) == []


def test_one_point_gets_an_arrow_from_where_it_is_to_where_it_should_be():
    result = moved({61: (6.0, 0.0)})
    (move,) = find_moves(result)
    assert move.name == "mouth corner, sitter's right"
    np.testing.assert_allclose(move.start, result.painting_points[61])
    np.testing.assert_allclose(move.end, result.should_be[61])
    assert move.words == ["toward picture left 6.0"]
    assert move.weight == pytest.approx(0.06 / 0.047, rel=1e-6)


def test_a_shift_within_the_uncertainty_is_not_drawn():
    assert len(find_moves(moved({61: (6.0, 0.0)}, sigma=2.9))) == 1
    assert find_moves(moved({61: (6.0, 0.0)}, sigma=3.2)) == []


def test_a_shift_no_viewer_notices_is_not_drawn_until_asked_stricter():
    result = moved({61: (2.0, 0.0)})
    assert find_moves(result) == []
    assert len(find_moves(replace(result, settings=replace(result.settings, strict=0.5)))) == 1


def test_a_feature_that_moves_as_one_gets_one_arrow():
    result = moved(dict.fromkeys((263, 386, 362, 374), (0.0, -5.0)))
    (move,) = find_moves(result)
    assert move.name == "the whole eye, sitter's left"
    assert move.words == ["down 5.0"]


def test_a_feature_that_is_too_wide_gets_one_arrow_a_side():
    result = moved({61: (-8.0, 0.0), 291: (8.0, 0.0)})
    assert [m.words for m in find_moves(result)] == [["toward picture right 8.0"], ["toward picture left 8.0"]]


def test_a_move_is_no_surer_than_the_place_in_the_table():
    result = moved(dict.fromkeys(BROW, (0.0, 7.0)))
    (move,) = find_moves(result)
    assert move.words == ["up 7.0"]
    place = measure("brow_left_y", "x", "position", 7.0, 2.0, call="off", unit="percent of pupil distance")
    (same,) = find_moves(replace(result, measures=(place,)))
    assert same.words == ["up 7"]
    assert find_moves(replace(result, measures=(replace(place, sigma=4.0),))) == []


def test_strongest_first_and_no_more_than_asked():
    result = moved({61: (6.0, 0.0), 291: (12.0, 0.0), 152: (0.0, 30.0)})
    names = [m.name for m in find_moves(result)]
    assert names == ["chin", "mouth corner, sitter's left", "mouth corner, sitter's right"]
    assert [m.name for m in find_moves(result, most=1)] == ["chin"]


def jaw_width(call, sigma=1.0):
    return measure("jaw_width", "jaw width", "width", 30.0, sigma, call=call)


@pytest.mark.parametrize(("call", "arrows"), [("off", 2), ("slight", 2), ("unsure", 0), ("true", 0)])
def test_an_arrow_only_where_a_measure_that_rests_on_its_point_is_called_off(call, arrows):
    result = moved({172: (-20.0, 0.0), 397: (20.0, 0.0)})
    around = measure("face_gap", "outline of the face", "shape", 9.0, 1.0, call="off")
    assert len(find_moves(replace(result, measures=(jaw_width(call), around)))) == arrows


def test_a_point_of_the_outline_is_known_no_better_than_the_width_it_ends():
    result = moved({172: (-20.0, 0.0), 397: (20.0, 0.0)})
    sure = find_moves(replace(result, measures=(jaw_width("off", sigma=8.0),)))  # 0.5 of 100 px, 1.96 * 8 %, half
    assert [move.doubt for move in sure] == pytest.approx([3.92, 3.92])
    assert find_moves(replace(result, measures=(jaw_width("off", sigma=42.0),))) == []


def lowered(unit, name, dy, **changes):
    """Return a step of the plan that shifts something down by ``dy`` pupil distances."""
    nothing, much = Quantity(value=None, sigma=None), Quantity(value=dy, sigma=0.01)
    step = Correction(
        step=1, level="feature", unit=unit, name=name, centre=(200.0, 300.0), dx=nothing, dy=much, dx_mm=nothing,
        dy_mm=nothing, along=nothing, across=nothing, turn=nothing, remains=nothing, text=f"{name}: down.", mends=(),
        left_off=0,
    )  # fmt: skip
    return replace(step, **changes)


def test_a_step_of_the_plan_that_shifts_a_feature_has_an_arrow():
    result = replace(moved({}), corrections=(lowered("chin", "the chin", 0.05),))
    (move,) = find_moves(result)
    assert (move.name, move.words) == ("chin", ["down 5"])
    np.testing.assert_allclose(move.end - move.start, (0.0, 5.0))


@pytest.mark.parametrize("unit", ["head", "whole"])
def test_a_step_of_the_whole_head_has_no_arrow_within_the_drawing(unit):
    assert find_moves(replace(moved({}), corrections=(lowered(unit, "the whole head", 0.05),))) == []


def test_a_step_whose_feature_has_an_arrow_gets_no_second_one():
    result = replace(moved({152: (0.0, -8.0)}), corrections=(lowered("chin", "the chin", 0.05),))
    assert [move.words for move in find_moves(result)] == [["down 8"]]


def test_what_is_not_painted_yet_gets_no_arrow():
    missing = measure("lips_area", "lips", "shape", None, None, call="not painted yet", reason="no mouth", witness=None)
    result = moved({61: (9.0, 0.0)})
    assert find_moves(result)
    assert find_moves(replace(result, measures=(replace(missing, feature="lips"),))) == []


def test_words_have_no_digit_finer_than_the_doubt():
    assert find_moves(moved({152: (0.0, 31.4)}, sigma=2.0))[0].words == ["up 31"]


@pytest.mark.parametrize("tone", [0, 128, 255])
@pytest.mark.parametrize("size", [(400, 500), (60, 80), (2000, 300)])
def test_overlay_draws_on_any_paint_and_leaves_the_painting_alone(tone, size):
    canvas = picture(tone, size)
    scaled = sample()
    grown = scaled.painting_points * (size[0] / 400, size[1] / 500)
    result = replace(scaled, painting_points=grown, should_be=grown + (3.0, 1.0), point_sigma=np.full(478, 0.01))
    before = canvas.pixels.copy()
    drawn = Overlay(height=600)(result, canvas)
    assert drawn.dtype == np.uint8
    assert drawn.shape[2] == 3
    np.testing.assert_array_equal(canvas.pixels, before)
    np.testing.assert_array_equal(drawn, Overlay(height=600)(result, canvas))
    middle = drawn[: drawn.shape[0] // 2, 330:-330]
    look = Look()
    for core in (look.white, look.red, look.edge):
        near = np.abs(middle.astype(int) - core).max(axis=2) < 12
        assert near.sum() > 20, "a light core and a dark edge must both be there on every ground"


def test_overlay_contour_lies_where_the_feature_belongs():
    canvas = picture(120)
    result = moved({})
    window = look_at(canvas, np.vstack([result.painting_points, result.should_be]), height=600)
    drawn = Overlay(height=600)(result, canvas)
    top = (max(window.picture.height, 700) - window.picture.height) // 2
    for index in (61, 291, 0, 17):
        x, y = np.floor(window.place(result.should_be[index])).astype(int) + (330, top)
        assert drawn[y - 1 : y + 2, x - 1 : x + 2].min(axis=2).max() > 200


def words_of(drawn: bytes, group: str | None = None) -> str:
    """What is written in an SVG, or in one of its layers."""
    root = _read(drawn)
    parts = [root] if group is None else [g for g in root.findall("svg:g", SVG) if g.get("id") == group]
    return " ".join(text.text or "" for part in parts for text in part.iter(f"{{{SVG['svg']}}}text"))


def test_overlay_says_when_nothing_has_to_move():
    still, other = (words_of(Overlay(height=300).svg(moved(s), picture(120))) for s in ({}, {152: (0.0, 30.0)}))
    assert "No arrow: nothing departs" in still
    assert "what to move" not in still
    assert "No arrow" not in other
    assert "what to move" in other


def crowded():
    """A result whose chin is painted, and belongs, past the lower edge of the photo, and whose brow leads off it."""
    result = moved({152: (0.0, 60.0), 334: (0.0, -90.0)})
    lower, points = result.should_be.copy(), result.painting_points.copy()
    lower[152, 1], points[152, 1] = 520.0, 590.0
    points[NAMED_POINTS["bp_left"].indices, 1], lower[NAMED_POINTS["bp_left"].indices, 1] = 40.0, -50.0
    return replace(result, should_be=lower, painting_points=points)


def strokes_of(root, group, names=("polyline", "polygon")):
    """All places of the lines and fills of one layer of an SVG, px."""
    (layer,) = (g for g in root.findall("svg:g", SVG) if g.get("id") == group)
    drawn = [one for name in names for one in layer.findall(f"svg:{name}", SVG)]
    return [np.array([tuple(map(float, p.split(","))) for p in one.get("points").split()]) for one in drawn]


def test_an_arrow_outside_the_picture_is_left_out_and_said():
    result = crowded()
    names = [move.name for move in find_moves(result)]
    assert "chin" in names
    assert any("brow" in name for name in names)
    drawn = Overlay(height=600).svg(result, picture(120))
    labels, foot = words_of(drawn, "numbers"), words_of(drawn, "key")
    assert "chin" not in labels
    assert "Outside the picture, and not drawn: chin up" in foot
    assert "beyond the picture" in labels
    assert "Outside the picture" not in words_of(Overlay(height=600).svg(moved({152: (0.0, 30.0)}), picture(120)))


@pytest.mark.parametrize("layer", [layer.name for layer in LAYERS])
def test_nothing_is_drawn_outside_the_picture_but_leaders(layer):
    """Lines end at its edges, arrows lead no further; what runs to a word beside it stays above the key."""
    result = shaded(crowded())
    report = result.values
    far = tuple(tuple((x, y + 400.0) for x, y in line) for line in report.shadows[0].belongs)
    result = replace(result, values=replace(report, shadows=(replace(report.shadows[0], belongs=far),)))
    root = _read(Overlay(height=600, layers=[layer]).svg(result, picture(120)))
    image = root.find(".//svg:image", SVG)
    left, top, width, height = (float(image.get(key)) for key in ("x", "y", "width", "height"))
    for places in strokes_of(root, layer):
        rim = 8.0 if layer == "arrows" else 0.1  # a head has its width
        assert places[:, 1].min() >= top - rim
        assert places[:, 1].max() <= top + height + rim
        if layer != "numbers":
            assert places[:, 0].min() >= left - rim
            assert places[:, 0].max() <= left + width + rim


def test_many_words_make_the_sheet_higher_and_stay_off_the_key():
    shift = {index: (25.0, 12.0 + 3 * n) for n, index in enumerate((33, 133, 159, 145, 61, 0, 17, 105, 70, 107))}
    result = moved(shift)
    narrow = Overlay(height=300, margin=170)
    root = _read(narrow.svg(result, picture(120)))
    (labels,) = (g for g in root.findall("svg:g", SVG) if g.get("id") == "numbers")
    (key,) = (g for g in root.findall("svg:g", SVG) if g.get("id") == "key")
    lowest = max(float(text.get("y")) for text in labels.findall("svg:text", SVG))
    assert lowest > 700  # they need more room than there usually is
    assert lowest < min(float(text.get("y")) - 23 for text in key.findall("svg:text", SVG))


def test_a_move_names_the_steps_that_make_it():
    """A brow goes down by one step, and not by one that leads away; the mouth's corner is moved by none."""
    result = moved({**dict.fromkeys(BROW, (0.0, -20.0)), 61: (12.0, 0.0)})
    step = lowered("brow_left", "sitter's left brow", 0.2, step=2)
    away = lowered("brow_left", "sitter's left brow", -0.2, step=3)
    moves = {move.name: move.steps for move in find_moves(replace(result, corrections=(step, away)))}
    assert moves == {"the whole brow, sitter's left": (2,), "mouth corner, sitter's right": ()}
    drawn = Overlay(height=600).svg(replace(result, corrections=(step,)), picture(120))
    assert words_of(drawn, "numbers").count("step 2") == 1
    assert "Steps are the plan's" in words_of(drawn, "key")
    assert "Steps" not in words_of(Overlay(height=600).svg(result, picture(120)))


def test_the_key_tells_every_kind_of_line_from_the_others():
    """Signs that look alike would be no key: no two layers have the same strokes and fills."""
    result = shaded(moved({61: (9.0, 0.0)}))
    root = _read(Overlay(height=600, layers=[layer.name for layer in LAYERS]).svg(result, picture(120)))
    (key,) = (g for g in root.findall("svg:g", SVG) if g.get("id") == "key")
    signs, own = {}, []
    for one in key:
        if one.tag.endswith("text"):
            signs[one.text] = tuple(own)
            own = []
        elif not one.tag.endswith("title"):
            own.append(tuple(one.get(k) for k in ("stroke", "stroke-width", "stroke-dasharray", "fill")))
    named = [signs[layer.title] for layer in LAYERS if layer.sign != "none"]
    assert len(set(named)) == len(named) == 6


def test_words_below_the_picture_part_no_figure_from_its_unit():
    wrong = wrapped("a move of 12 mm and 3 % more", 23, 120)
    assert len(wrong) > 2
    assert not any(line.startswith(("mm", "%")) for line in wrong)


@pytest.mark.parametrize(("values", "why"), [(False, "values were not compared"), (True, "none could be read")])
def test_shadows_that_are_not_there_are_not_in_the_key(values, why):
    result = shaded(moved({}))
    named = words_of(Overlay(height=300, layers=["shadow"]).svg(result, picture(120)), "key")
    assert "edges of the shadows" in named
    report = replace(result.values, shadows=()) if values else None
    gone = words_of(Overlay(height=300, layers=["shadow"]).svg(replace(result, values=report), picture(120)), "key")
    assert "edges of the shadows" not in gone
    assert why in gone


@given(
    st.lists(st.tuples(st.floats(-50, 900), st.floats(10, 80)), max_size=8),
)
def test_labels_never_overlap_and_stay_on_the_sheet(blocks):
    blocks.sort()
    wanted, heights = [b[0] for b in blocks], [b[1] for b in blocks]
    room = 900.0
    tops = stacked(wanted, heights, room)
    spans = [(top, top + height) for top, height in zip(tops, heights, strict=True)]
    for (a, b), (c, d) in combinations(spans, 2):
        assert b <= c + 1e-6 or d <= a + 1e-6
    if sum(heights) + 14 * len(heights) <= room:
        assert all(a >= -1e-6 and b <= room + 1e-6 for a, b in spans)


def test_labels_in_one_margin_fit_their_margin():
    for name in ("outer end of the brow", "a word-that-is-far-too-long-to-be-broken"):
        for line in wrapped(name, 23, 278):
            assert text_width(line, 23) <= 278 or " " not in line


@pytest.mark.parametrize("turn", [0.0, 7.0, -20.0])
def test_side_by_side_lays_the_painting_on_the_reference(turn):
    """A painting that is the reference turned, scaled and shifted comes back pixel on pixel."""
    rng = np.random.default_rng(3)
    coarse = rng.integers(0, 255, size=(25, 20, 3), dtype=np.uint8)
    base = np.asarray(Image.fromarray(coarse).resize((400, 500), Image.Resampling.BICUBIC))
    reference = Picture(pixels=base, name="r", digest=None, full_size=(400, 500))
    angle = np.deg2rad(turn)
    matrix = 1.4 * np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    centre = np.array([200.0, 250.0])
    shift = np.array([420.0, 450.0]) - matrix @ centre
    back = np.linalg.inv(matrix)
    data = np.column_stack([back, back @ -shift])
    turned = Image.fromarray(base).transform(
        (840, 900), Image.Transform.AFFINE, list(data.ravel()), Image.Resampling.BICUBIC
    )
    painting = Picture(pixels=np.asarray(turned), name="p", digest=None, full_size=(840, 900))
    points = sample().reference_points
    carried = points @ matrix.T + shift
    result = replace(sample(), should_be=carried, painting_points=carried)
    sheet = SideBySide(height=500)(result, reference, painting)
    width = (sheet.shape[1] - 28 - 110) // 2
    left, right = sheet[120:380, :width], sheet[120:380, -width:]
    middle = slice(width // 3, 2 * width // 3)
    apart = np.abs(left[:, middle].astype(int) - right[:, middle].astype(int)).max(axis=2)
    assert np.median(apart) <= 6


def test_side_by_side_draws_the_same_level_lines_on_both():
    result = moved({})
    sheet = SideBySide(height=600)(result, picture(120), picture(120))
    width = (sheet.shape[1] - 28 - 110) // 2
    left, right = sheet[48:560, :width], sheet[48:560, -width:]
    rows = [np.abs(part.astype(int) - 120).max(axis=2).mean(axis=1) for part in (left, right)]
    strong = [set(np.flatnonzero(row > 40)) for row in rows]
    assert strong[0]
    assert strong[0] <= strong[1]


def test_side_by_side_shortens_a_title_that_is_too_long():
    result = replace(sample(), reference=replace(sample().reference, name="x" * 300))
    assert SideBySide(height=300)(result, picture(90), picture(200)).ndim == 3


def test_curve_passes_through_its_points_and_closes():
    square = np.array([[0.0, 0.0], [9.0, 0.0], [9.0, 9.0], [0.0, 9.0]])
    curve = smooth(square, closed=True, steps=5)
    np.testing.assert_allclose(curve[::5][:4], square)
    np.testing.assert_allclose(curve[0], curve[-1])


def test_dashes_cover_their_share_of_the_line():
    line = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 40.0]])
    length = sum(np.hypot(*np.diff(piece, axis=0).T).sum() for piece in dashes(line, 4.0, 3.0))
    assert length == pytest.approx(40.0)


SVG = {"svg": "http://www.w3.org/2000/svg"}


def _read(drawn: bytes) -> ET.Element:
    return ET.fromstring(drawn)  # noqa: S314 - our own


def test_svg_has_the_painting_and_a_titled_group_for_each_layer():
    result = shaded(moved({61: (9.0, 0.0)}))
    drawn = Overlay(layers=[layer.name for layer in LAYERS]).svg(result, picture(120))
    root = _read(drawn)
    groups = root.findall("svg:g", SVG)
    assert [group.get("id") for group in groups] == ["painting", *(layer.name for layer in LAYERS), "key"]
    assert all(group.findtext("svg:title", namespaces=SVG) for group in groups)
    assert all(len(group) > 1 for group in groups), "no layer is empty"
    image = root.find(".//svg:image", SVG)
    with Image.open(io.BytesIO(base64.b64decode(image.get("href").split(",")[1]))) as painting:
        assert painting.size == (int(image.get("width")), int(image.get("height")))
        assert painting.getpixel((5, 5)) == (120, 120, 120)
    assert b"http" not in drawn.replace(SVG["svg"].encode(), b""), "nothing is loaded from elsewhere"


def test_svg_has_the_size_of_the_canvas():
    canvas = CanvasReport(
        found_by="hand",
        sure=True,
        reason="Given.",
        corners=(),
        size_mm=(200.0, 250.0),
        mm_per_px=Quantity(value=0.5, sigma=0.0),
        off_axis=0.0,
    )
    root = _read(Overlay().svg(replace(moved({}), canvas=canvas), picture(120)))
    width, high = (float(root.get(side).removesuffix("mm")) for side in ("width", "height"))
    image = root.find(".//svg:image", SVG)
    _, _, across, down = map(float, root.get("viewBox").split())
    assert width / across == pytest.approx(high / down, rel=1e-3), "true aspect"
    window = look_at(picture(120), moved({}).painting_points, height=1200)
    shown = float(image.get("width")) / window.factor
    assert float(image.get("width")) * width / across == pytest.approx(0.5 * shown, rel=1e-3)


def test_png_and_svg_draw_the_same_lines():
    """The sitter's outlines lie on the same px in both."""
    overlay, result = Overlay(height=600, layers=["belongs"]), moved({})
    root, pixels = _read(overlay.svg(result, picture(120))), overlay(result, picture(120)).min(axis=2)
    group = next(g for g in root.findall("svg:g", SVG) if g.get("id") == "belongs")
    lines = [line for line in group.findall("svg:polyline", SVG) if line.get("stroke") != "#181615"]
    assert len(lines) >= 10
    places = np.array([tuple(map(float, place.split(","))) for line in lines for place in line.get("points").split()])
    light = [pixels[int(y) - 1 : int(y) + 2, int(x) - 1 : int(x) + 2].max() > 150 for x, y in places]
    assert np.mean(light) > 0.9


@pytest.mark.parametrize("name", [layer.name for layer in LAYERS])
@pytest.mark.parametrize("tone", [0, 255])
def test_each_layer_alone_is_seen_on_dark_and_on_light_paint(name, tone):
    result = shaded(moved({61: (9.0, 0.0), 152: (0.0, 30.0)}))
    margin = 330 if name == "numbers" else 24
    drawn = Overlay(height=500, layers=[name])(result, picture(tone))[:500, margin:-margin].astype(int)
    assert (np.abs(drawn - tone).max(axis=2) > 60).sum() > 40


def test_the_usual_layers_are_drawn_when_none_are_asked_for():
    result = moved({61: (9.0, 0.0)})
    assert chosen(None) == ("painted", "belongs", "arrows", "numbers")
    usual, named = Overlay(height=300), Overlay(height=300, layers=chosen("Numbers, arrows,belongs,painted"))
    np.testing.assert_array_equal(usual(result, picture(120)), named(result, picture(120)))


def test_a_wrong_layer_gets_the_nearest_right_one():
    with pytest.raises(UsageError, match="Did you mean 'arrows'"):
        chosen("belongs,arows")
    with pytest.raises(UsageError, match="Choose from: negatives"):
        chosen("")


def test_an_arrow_of_no_length_draws_nothing():
    sheet = Sheet(Image.new("RGB", (40, 40), (9, 9, 9)), Look())
    sheet.arrow(np.array([20.0, 20.0]), np.array([20.0, 20.0]), Look().white)
    assert (sheet.finished() == 9).all()


def test_points_that_are_not_there_are_left_out():
    """Hand-placed points and profiles leave gaps."""
    result = moved({61: (9.0, 0.0), 291: (9.0, 0.0)})
    gaps = result.painting_points.copy()
    gaps[[61, 468, 33, 10]] = np.nan
    holed = replace(result, painting_points=gaps)
    assert [m.name for m in find_moves(holed)] == ["mouth corner, sitter's left"]
    assert Overlay(height=300)(holed, picture(120)).ndim == 3
    missing = result.reference_points.copy()
    missing[[473, 468]] = np.nan
    assert SideBySide(height=300)(replace(holed, reference_points=missing), picture(90), picture(120)).ndim == 3
