"""The points page in a real browser: mouse, keyboard and touch, and that what it saves is what was meant."""

from __future__ import annotations

import json
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from limner.face.byhand import HandPoint, check_belongs, usual_sigma
from limner.face.placeable import PLACEABLE
from limner.face.pointsfile import points_text, read_points
from pointsdesk import DIGEST, EYES, Desk, any_browser, made_up_picture, open_page, start_points


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with any_browser() as found:
        yield found


@pytest.fixture
def desk(browser: Any, tmp_path: Path) -> Iterator[Desk]:
    with open_page(browser, tmp_path) as opened:
        yield opened


def near(x: float, y: float, off: float = 0.05) -> Any:
    return pytest.approx((x, y), abs=off)


def test_it_starts_from_what_was_found(desk: Desk) -> None:
    assert desk.state("p_right") == "found"
    assert desk.page.text_content("#count") == f"0 by hand, 2 as found, 0 not to be seen, {len(PLACEABLE) - 2} to do"
    assert desk.chosen() == "v"
    desk.choose("p_right")
    assert desk.place() == (600.0, 500.0)
    assert desk.page.input_value("#sigma") == "2"


def test_a_click_places_the_chosen_point_in_stored_pixels(desk: Desk) -> None:
    desk.choose("tr")
    desk.click(811, 233)
    assert desk.place() == near(811, 233, 1.5 / desk.zoom())
    assert desk.state("tr") == "hand"
    assert "hairline: by hand, across 8" in desk.said()
    desk.click(700, 300)
    assert desk.place() == near(700, 300, 1.5 / desk.zoom())


def test_a_click_on_a_mark_chooses_it_once_the_chosen_one_is_placed(desk: Desk) -> None:
    desk.click(620, 505)
    assert desk.state("v") == "hand"
    desk.click(1000, 500)
    assert desk.chosen() == "p_left"
    assert desk.place() == (1000.0, 500.0)
    assert desk.state("p_left") == "found"


def test_a_point_can_be_placed_on_top_of_another(desk: Desk) -> None:
    desk.choose("en_left")
    desk.click(1000, 500)
    assert desk.chosen() == "en_left"
    assert desk.place() == near(1000, 500, 1.5 / desk.zoom())


def test_dragging_a_mark_moves_it_by_the_way_of_the_mouse(desk: Desk) -> None:
    x, y = desk.at(600, 500)
    desk.page.mouse.move(x + 4, y - 3)
    desk.page.mouse.down()
    desk.page.mouse.move(x + 30, y + 20, steps=5)
    assert desk.state("p_right") == "found"
    desk.page.mouse.move(x + 54, y + 37, steps=5)
    desk.page.mouse.up()
    assert desk.chosen() == "p_right"
    assert desk.place() == near(600 + 50 / desk.zoom(), 500 + 40 / desk.zoom())
    assert desk.state("p_right") == "hand"
    desk.page.keyboard.press("Control+z")
    assert desk.place() == (600.0, 500.0)
    assert desk.state("p_right") == "found"


def test_dragging_the_picture_shifts_it_and_places_nothing(desk: Desk) -> None:
    before = desk.at(800, 600)
    x, y = desk.at(800, 700)
    desk.page.mouse.move(x, y)
    desk.page.mouse.down()
    desk.page.mouse.move(x - 60, y - 40, steps=4)
    desk.page.mouse.up()
    after = desk.at(800, 600)
    assert (after[0] - before[0], after[1] - before[1]) == near(-60, -40)
    assert desk.state("v") == "todo"


def test_the_wheel_brings_the_place_under_the_mouse_nearer(desk: Desk) -> None:
    place = desk.at(700, 450)
    before = desk.zoom()
    desk.page.mouse.move(*place)
    desk.page.mouse.wheel(0, -400)
    desk.page.wait_for_function(f"Number(document.getElementById('stage').dataset.zoom) > {before * 1.5}")
    assert desk.at(700, 450) == near(*place, 1.0)
    desk.choose("tr")
    desk.page.mouse.click(*place)
    assert desk.place() == near(700, 450, 1.5 / desk.zoom())


def test_arrow_keys_move_by_a_tenth_and_with_shift_by_a_whole_pixel(desk: Desk) -> None:
    desk.choose("p_right")
    desk.page.locator("#stage").focus()
    desk.page.keyboard.press("ArrowRight")
    desk.page.keyboard.press("ArrowRight")
    desk.page.keyboard.press("ArrowUp")
    assert desk.place() == near(600.2, 499.9, 1e-9)
    desk.page.keyboard.press("Shift+ArrowLeft")
    desk.page.keyboard.press("Shift+ArrowDown")
    assert desk.place() == near(599.2, 500.9, 1e-9)
    assert desk.state("p_right") == "hand"


def test_quick_steps_are_undone_together_and_done_again(desk: Desk) -> None:
    desk.choose("p_right")
    desk.page.locator("#stage").focus()
    for _ in range(5):
        desk.page.keyboard.press("ArrowRight")
    assert desk.place() == near(600.5, 500, 1e-9)
    desk.page.keyboard.press("Control+z")
    assert (desk.place(), desk.state("p_right")) == ((600.0, 500.0), "found")
    assert desk.page.is_disabled("#undo")
    desk.page.keyboard.press("Control+Shift+Z")
    assert desk.place() == near(600.5, 500, 1e-9)
    desk.page.click("#undo")
    desk.page.click("#redo")
    assert desk.place() == near(600.5, 500, 1e-9)
    assert desk.page.is_disabled("#redo")


def test_all_can_be_done_from_the_keyboard(desk: Desk) -> None:
    page = desk.page
    page.locator("[role=option][aria-selected=true]").focus()
    page.keyboard.press("ArrowDown")
    assert desk.chosen() == "tr"
    assert "hairline: to do" in desk.said()
    page.keyboard.press("End")
    assert desk.chosen() == "ho_4"
    page.keyboard.press("Home")
    assert desk.chosen() == "v"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "stage"
    page.keyboard.press("ArrowRight")
    middle = desk.place()
    assert desk.at(*middle) == near(*desk.page.evaluate(MIDDLE), 1.0)
    page.keyboard.press("ArrowRight")
    assert desk.place() == near(middle[0] + 0.1, middle[1], 1e-9)
    page.keyboard.press("Enter")
    assert desk.chosen() == "tr"
    page.keyboard.press("u")
    assert desk.state("tr") == "unseen"
    page.keyboard.press("Delete")
    assert desk.state("tr") == "todo"
    page.keyboard.press("Shift+Enter")
    assert desk.chosen() == "ho_4"
    before = desk.zoom()
    page.keyboard.press("+")
    assert desk.zoom() > before
    page.keyboard.press("0")
    assert desk.zoom() <= before
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") != "stage"


MIDDLE = """() => { const box = document.getElementById("stage").getBoundingClientRect();
  return [box.x + box.width / 2, box.y + box.height / 2]; }"""


def test_points_beyond_the_edge_stay_inside(desk: Desk) -> None:
    desk.choose("p_right")
    desk.page.fill("#x", "0")
    desk.page.press("#x", "Tab")
    assert desk.place() == (0.0, 500.0)
    desk.page.locator("#stage").focus()
    desk.page.keyboard.press("Shift+ArrowLeft")
    assert desk.place() == (0.0, 500.0)
    desk.page.fill("#x", "1600.1")
    desk.page.press("#x", "Tab")
    assert "Across goes from 0 to 1600" in desk.said()
    desk.choose("tr")
    desk.choose("p_right")
    assert desk.place() == (0.0, 500.0)
    desk.choose("tr")
    box = desk.page.locator("#stage").bounding_box()
    desk.page.keyboard.press("0")
    desk.page.click("#whole")
    desk.page.mouse.click(box["x"] + box["width"] / 2, box["y"] + 2)
    assert desk.said() == "That is outside the picture."
    assert desk.state("tr") == "todo"


def test_confirming_hiding_and_taking_away(desk: Desk) -> None:
    desk.choose("p_left")
    desk.page.click("#keep")
    assert desk.state("p_left") == "hand"
    assert desk.place() == (1000.0, 500.0)
    desk.page.click("#unseen")
    assert desk.state("p_left") == "unseen"
    desk.page.click("#clear")
    assert desk.state("p_left") == "todo"
    for state in ("unseen", "hand", "found"):
        desk.page.click("#undo")
        assert desk.state("p_left") == state


def test_the_buttons_move_by_the_chosen_step(desk: Desk) -> None:
    desk.choose("p_right")
    desk.page.select_option("#step", "10")
    desk.page.get_by_role("button", name="Toward picture left").click()
    desk.page.select_option("#step", "0.1")
    desk.page.get_by_role("button", name="Down", exact=True).click()
    assert desk.place() == near(590.0, 500.1, 1e-9)


def test_what_is_saved_fits_the_schema_and_the_reader(desk: Desk, tmp_path: Path) -> None:
    desk.choose("tr")
    desk.click(800, 300)
    desk.choose("v")
    desk.click(800, 250)
    desk.page.fill("#sigma", "7.5")
    desk.page.press("#sigma", "Tab")
    desk.choose("sa_left")
    desk.page.click("#unseen")
    path = desk.save(tmp_path)
    assert path.name == "canvas.points.json"
    schema = json.loads(resources.files("limner.report").joinpath("schema/points-1.json").read_text(encoding="utf-8"))
    jsonschema.validate(json.loads(path.read_text()), schema)
    read = read_points(path)
    check_belongs(read, made_up_picture())
    assert set(read.points) == {"v", "tr", "p_right", "p_left"}
    assert set(read.by_hand) == {"v", "tr"}
    assert read.unseen == ("sa_left",)
    assert read.points["v"].sigma == 7.5
    assert read.points["p_left"] == EYES["p_left"]
    # 400 px between the pupils: 2.5 % is 10 px, and a shown px is 4 stored ones.
    assert read.points["tr"].sigma == usual_sigma("tr", read.points) == pytest.approx(10.0)
    assert (read.points["tr"].x, read.points["tr"].y) == near(800, 300, 1.5 / desk.zoom())


def test_a_coarsely_shown_picture_is_not_believed_finer(browser: Any, tmp_path: Path) -> None:
    with open_page(browser, tmp_path, start=start_points()) as desk:
        desk.click(800, 600)
        read = read_points(desk.save(tmp_path))
    assert usual_sigma("v", read.points) == 1.0
    assert read.points["v"].sigma == 4.0


def test_a_saved_file_can_be_opened_again(browser: Any, tmp_path: Path) -> None:
    saved = tmp_path / "saved.json"
    held = start_points(gn=HandPoint(x=810.5, y=900.25, sigma=3.0), p_left=HandPoint(x=990, y=501, source="found"))
    saved.write_text(points_text(held))
    with open_page(browser, tmp_path) as desk:
        desk.page.set_input_files("#load", saved)
        desk.page.wait_for_selector("#item-gn[data-state=hand]")
        desk.choose("gn")
        assert desk.place() == (810.5, 900.25)
        assert desk.state("p_right") == "todo"
        assert desk.page.is_hidden("#alarm")
        desk.page.click("#undo")
        assert desk.state("p_right") == "found"


WRONG = {
    "not json": ("points, please", "not JSON"),
    "another schema": ('{"schema": "limner.points/2"}', "limner.points/1"),
    "a number": ("7", "not a points file"),
    "another size": (points_text(start_points()).replace("1600", "1601"), "another picture"),
    "another digest": (points_text(start_points()).replace(DIGEST, "f" * 64), "another picture"),
    "unknown name": (points_text(start_points()).replace('"points": {}', '"points": {"eye": {}}'), "eye"),
    "outside": (points_text(start_points(gn=HandPoint(x=1601, y=1))), "gn"),
    "bad sigma": (points_text(start_points(gn=HandPoint(x=1, y=1, sigma=-1))), "gn"),
    "bad unseen": (points_text(start_points()).replace("}\n}", '}, "unseen": ["<b>"]\n}'), "<b>"),
    "unseen is no list": (points_text(start_points()).replace("}\n}", '}, "unseen": 3\n}'), "3"),
    "points is a list": (points_text(start_points()).replace('"points": {}', '"points": [1]'), "0"),
    "too large": (" " * 1_000_001, "far too large"),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_wrong_file_is_refused_and_nothing_is_lost(case: str, desk: Desk, tmp_path: Path) -> None:
    text, words = WRONG[case]
    desk.click(800, 400)
    (tmp_path / "wrong.json").write_text(text)
    desk.page.set_input_files("#load", tmp_path / "wrong.json")
    desk.page.wait_for_selector("#alarm:visible")
    assert words in desk.page.text_content("#alarm")
    assert (desk.state("v"), desk.state("p_right")) == ("hand", "found")


def test_leaving_with_unsaved_points_asks_first(desk: Desk, tmp_path: Path) -> None:
    asked = []
    desk.page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.accept()))
    desk.click(800, 400)
    desk.page.reload()
    assert asked == ["beforeunload"]
    desk.click(800, 400)
    desk.save(tmp_path)
    desk.page.reload()
    assert asked == ["beforeunload"]


PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True, "device_scale_factor": 2}


def test_touch_taps_drags_and_pinches(browser: Any, tmp_path: Path) -> None:
    with open_page(browser, tmp_path, **PHONE) as desk:
        desk.page.touchscreen.tap(*desk.at(800, 400))
        assert desk.state("v") == "hand"
        assert desk.place() == near(800, 400, 1.5 / desk.zoom())

        x, y = desk.at(600, 500)
        desk.touch("touchStart", (x + 12, y + 8))
        for step in range(1, 6):
            desk.touch("touchMove", (x + 12 + 6 * step, y + 8 - 4 * step))
        desk.touch("touchEnd")
        assert desk.chosen() == "p_right"
        assert desk.place() == near(600 + 30 / desk.zoom(), 500 - 20 / desk.zoom())

        before, centre = desk.zoom(), desk.at(800, 700)
        spread = [((centre[0] - d, centre[1]), (centre[0] + d, centre[1])) for d in (40, 50, 60, 80)]
        desk.touch("touchStart", *spread[0])
        for pair in spread[1:]:
            desk.touch("touchMove", *pair)
        desk.touch("touchEnd")
        assert desk.zoom() == pytest.approx(2 * before, rel=0.02)
        assert desk.at(800, 700) == near(*centre, 1.0)
        assert desk.place() == near(600 + 30 / before, 500 - 20 / before)


def test_a_drag_that_is_broken_off_changes_nothing(browser: Any, tmp_path: Path) -> None:
    with open_page(browser, tmp_path, **PHONE) as desk:
        x, y = desk.at(600, 500)
        desk.touch("touchStart", (x, y))
        desk.touch("touchMove", (x + 40, y))
        desk.touch("touchMove", (x + 60, y))
        desk.cancel_touch()
        desk.choose("p_right")
        assert (desk.place(), desk.state("p_right")) == ((600.0, 500.0), "found")
        assert desk.page.is_disabled("#undo")


def test_a_second_finger_turns_a_drag_into_a_pinch_and_puts_the_mark_back(browser: Any, tmp_path: Path) -> None:
    with open_page(browser, tmp_path, **PHONE) as desk:
        x, y = desk.at(600, 500)
        desk.touch("touchStart", (x, y))
        desk.touch("touchMove", (x + 40, y))
        desk.touch("touchStart", (x + 40, y), (x + 100, y))
        desk.touch("touchMove", (x + 30, y), (x + 110, y))
        desk.touch("touchEnd")
        desk.choose("p_right")
        assert (desk.place(), desk.state("p_right")) == ((600.0, 500.0), "found")


@pytest.mark.parametrize("width", [320, 390, 768, 1280])
def test_nothing_runs_out_of_the_window(width: int, browser: Any, tmp_path: Path) -> None:
    with open_page(browser, tmp_path, viewport={"width": width, "height": 800}) as desk:
        assert desk.page.evaluate("document.documentElement.scrollWidth") <= width
        box = desk.page.locator("#stage").bounding_box()
        assert box["width"] > 250
        assert 250 < box["height"] < 800


def test_fingers_get_large_buttons(browser: Any, tmp_path: Path) -> None:
    with open_page(browser, tmp_path, **PHONE) as desk:
        heights = desk.page.evaluate(
            "[...document.querySelectorAll('button, [role=option]')].map((b) => b.getBoundingClientRect().height)"
        )
        assert min(heights) >= 44


def test_everything_has_a_name_for_a_screen_reader(desk: Desk) -> None:
    tree = desk.page.locator("body").aria_snapshot()
    assert "button:" not in tree
    assert "- button\n" not in tree
    for words in ('listbox "Points"', 'group "Eyes"', 'spinbutton "Across"', 'button "Undo"'):
        assert words in tree
    assert 'option "top of the head to do" [selected]' in tree
    assert "A face from the front" in tree
    assert "Chosen: top of the head: to do" in desk.page.get_attribute("#stage", "aria-label")


def test_the_drawings_show_where_the_chosen_point_lies(desk: Desk) -> None:
    for key in PLACEABLE:
        desk.choose(key)
        shown = desk.page.evaluate("[...document.querySelectorAll('.spot.now')].map((s) => s.dataset.name)")
        assert shown
        assert set(shown) == {key}
        assert desk.page.text_content("#chosen-where")


def contrast(desk: Desk, selector: str) -> float:
    """WCAG 2.1 contrast of an element's text against the nearest painted ground."""
    return float(desk.page.evaluate(CONTRAST, selector))


CONTRAST = """(selector) => {
  const rgb = (text) => text.match(/[\\d.]+/g).map(Number);
  const linear = (v) => (v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  const light = (c) => c.slice(0, 3).reduce((sum, v, i) => sum + linear(v / 255) * [0.2126, 0.7152, 0.0722][i], 0);
  let ground = document.querySelector(selector);
  const ink = rgb(getComputedStyle(ground).color);
  while (rgb(getComputedStyle(ground).backgroundColor)[3] === 0) ground = ground.parentElement;
  const [a, b] = [light(ink), light(rgb(getComputedStyle(ground).backgroundColor))].sort((x, y) => y - x);
  return (a + 0.05) / (b + 0.05);
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_stands_out_in_light_and_dark(scheme: str, browser: Any, tmp_path: Path) -> None:
    with open_page(browser, tmp_path, color_scheme=scheme) as desk:
        desk.choose("p_right")
        desk.page.click("#keep")
        for selector in (
            "h1",
            ".sides",
            "#count",
            "#save",
            ".button",
            ".where",
            ".state",
            "#item-tr .tag",
            "#next",
            "#item-p_left .tag",
            "#item-p_right .tag",
            ".group > div",
            "#chosen-name abbr",
            "summary",
        ):
            assert contrast(desk, selector) >= 4.5, selector
        ground = desk.page.evaluate("getComputedStyle(document.body).backgroundColor")
        assert ground == {"light": "rgb(244, 242, 237)", "dark": "rgb(28, 29, 31)"}[scheme]


def test_a_hostile_file_name_stays_text(browser: Any, tmp_path: Path) -> None:
    name = "</title><script>window.intruder=1</script><img src=http://example.invalid/a>&amp;\"'.jpg"
    with open_page(browser, tmp_path, picture=made_up_picture(name)) as desk:
        assert desk.page.text_content(".file") == name
        assert desk.page.evaluate("window.intruder") is None
        assert desk.page.locator("img").count() == 0
        saved = desk.save(tmp_path).name
        assert set(saved) <= set("abcdefghijklmnopqrstuvwxyz0123456789_.-")
