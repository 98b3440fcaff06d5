"""The audit's page: strict, self-contained, small; and in a real browser, by mouse, keyboard and touch."""

from __future__ import annotations

import base64
import hashlib
import os
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from limner.auditing import Examined
from limner.cli.main import run
from limner.compare.corrections.units import EYES
from limner.notices import Notice
from limner.pictures.picture import Picture
from limner.report.auditpage import audit_page
from limner.result import Correction, Quantity
from pointsdesk import any_browser, quiet_page
from sample import sample

HOSTILE = '"><img src=x onerror=alert(1)></script><script>alert(2)</script>{{7*7}}.jpg'


def picture(seed: int, name: str = "sitter.jpg", size: tuple[int, int] = (400, 500)) -> Picture:
    """Soft patches of colour, so that lightness and outlines have something to lie on."""
    rng = np.random.default_rng(seed)
    small = Image.fromarray(rng.integers(30, 230, (10, 8, 3), dtype=np.uint8))
    pixels = np.asarray(small.resize(size, Image.Resampling.BICUBIC), dtype=np.uint8)
    return Picture(pixels=pixels, name=name, digest=None, full_size=size)


def examined(**changes: object) -> Examined:
    return Examined(result=sample(**changes), reference=picture(1), painting=picture(2, "canvas.jpg"))


def step(number: int, text: str = "Both eyes: 2 % narrower.") -> Correction:
    none = Quantity(value=None, sigma=None)
    much = Quantity(value=0.04, sigma=0.01)
    return Correction(
        step=number,
        level="pair",
        unit="eyes",
        name="both eyes",
        centre=(200.0, 220.0),
        dx=much,
        dy=much,
        dx_mm=none,
        dy_mm=none,
        along=none,
        across=none,
        turn=none,
        remains=none,
        text=text,
        mends=(sample().measures[0].id,),
        left_off=1,
    )


def test_the_policy_names_exactly_the_style_and_script_that_are_there() -> None:
    page = audit_page(examined())
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]+)"', page)
    assert policy is not None
    said = policy[1].replace("&#39;", "'")
    assert said.startswith("default-src 'none'; img-src data:;")
    for tag, source in (("style", "style-src"), ("script", "script-src")):
        body = re.findall(rf"<{tag}>(.*?)</{tag}>", page, flags=re.DOTALL)
        assert len(body) == 1
        digest = base64.b64encode(hashlib.sha256(body[0].encode()).digest()).decode()
        assert f"{source} 'sha256-{digest}'" in said
    assert " style=" not in re.sub(r"<(style|script)\b.*?</\1>", "", page, flags=re.DOTALL)


def test_nothing_of_it_comes_from_afar_and_it_is_the_same_each_time() -> None:
    page = audit_page(examined())
    assert page == audit_page(examined())
    elsewhere = re.sub(r"data:image/jpeg;base64,[\w+/=]+", "", page).replace("http://www.w3.org/2000/svg", "")
    assert not re.search(r"(src|href|url|action)\s*[=(]\s*[\"']?\s*(https?:)?//", elsewhere)
    assert "@import" not in elsewhere


def test_words_from_outside_stay_words() -> None:
    facts = replace(sample().painting, name=HOSTILE)
    page = audit_page(
        examined(painting=facts, warnings=(Notice(code="x", text=HOSTILE),), corrections=(step(1, HOSTILE),))
    )
    assert "<img src=x" not in page
    assert "<script>alert" not in page
    assert "&lt;img src=x" in page
    assert "{{7*7}}" in page


def test_the_plan_is_told_and_the_measures_it_mends() -> None:
    page = audit_page(examined(corrections=(step(1), step(2, "Mouth: 3 mm lower."))))
    assert "Both eyes: 2 % narrower." in page
    assert "foreseen: 1 measure off" in page
    assert page.count('class="step"') == 2
    printed = page[page.index('id="printed"') :]
    assert "Mouth: 3 mm lower." in printed[: printed.index("</section>")]


def test_without_a_plan_the_sentences_are_printed() -> None:
    page = audit_page(examined())
    printed = page[page.index('id="printed"') :]
    for line in sample().mend_first:
        assert line in printed[: printed.index("</section>")]


def test_two_twelve_megapixel_pictures_stay_under_three_megabytes(
    tmp_path: Path, model_path: Path, portrait: np.ndarray, capsys: pytest.CaptureFixture[str]
) -> None:
    large = Image.fromarray(portrait).crop((90, 0, 346, 341)).resize((3024, 4032), Image.Resampling.BICUBIC)
    noise = np.random.default_rng(0).normal(0, 6, (4032, 3024, 1))
    grained = Image.fromarray((np.asarray(large) + noise).clip(0, 255).astype(np.uint8))
    names = [tmp_path / "reference.jpg", tmp_path / "painting.jpg"]
    exif = Image.Exif()
    exif[0x010E] = "where the sitter lives"
    large.save(names[0], quality=92, exif=exif)
    grained.save(names[1], quality=92)
    out = tmp_path / "page.html"
    with pytest.raises(SystemExit) as ended:
        run(["audit", str(names[0]), str(names[1]), "--page", str(out), "--model", str(model_path)])
    assert ended.value.code in (0, 1)
    capsys.readouterr()
    text = out.read_text(encoding="utf-8")
    assert len(text) < 3_000_000
    assert "where the sitter lives" not in text
    assert str(tmp_path) not in text
    assert "Canons are drawing aids of their time" in text


@pytest.mark.parametrize(("name", "code"), [("page.png", 2), ("none/page.html", 6), ("reference.html", 6)])
def test_a_page_that_cannot_be_written_is_told_before_the_work(
    tmp_path: Path, portrait: np.ndarray, capsys: pytest.CaptureFixture[str], name: str, code: int
) -> None:
    picture_path = tmp_path / "a.jpg"
    Image.fromarray(portrait).save(picture_path)
    (tmp_path / "reference.html").mkdir()
    with pytest.raises(SystemExit) as ended:
        run(["audit", str(picture_path), str(picture_path), "--page", str(tmp_path / name)])
    assert ended.value.code == code
    assert len(capsys.readouterr().err.splitlines()) == 1


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with any_browser() as found:
        yield found


@pytest.fixture
def page(browser: Any, tmp_path: Path) -> Iterator[Any]:
    yield from opened(browser, tmp_path)


def opened(browser: Any, folder: Path, **context: Any) -> Iterator[Any]:
    """The page with two steps."""
    with quiet_page(
        browser, folder, audit_page(examined(corrections=(step(1), step(2, "Mouth: lower.")))), **context
    ) as made:
        yield made


def grey_at(page: Any, canvas: str) -> list[int]:
    return page.evaluate(
        f"(() => {{ const c = document.getElementById('{canvas}');"
        " return [...c.getContext('2d').getImageData(c.width / 2, c.height / 2, 1, 1).data]; })()"
    )


def test_the_curtain_follows_mouse_slider_and_keys(page: Any) -> None:
    box = page.locator("#frame").bounding_box()
    page.mouse.click(box["x"] + 0.25 * box["width"], box["y"] + 0.5 * box["height"])
    assert abs(int(page.input_value("#curtain")) - 25) <= 1
    assert "inset(0px 75%" in page.evaluate("document.getElementById('over').style.clipPath")
    page.focus("#frame")
    page.keyboard.press("ArrowRight")
    assert abs(int(page.input_value("#curtain")) - 27) <= 1
    page.keyboard.press("End")
    assert page.input_value("#curtain") == "100"
    assert page.evaluate("document.getElementById('edge').hidden")


def test_layers_come_and_go(page: Any) -> None:
    shown = "(name) => document.querySelector(`[data-of=\"${name}\"]`).classList.contains('shown')"
    assert page.evaluate(shown, "should")
    assert not page.evaluate(shown, "plumbs")
    page.check('[data-layer="plumbs"]')
    page.uncheck('[data-layer="should"]')
    assert page.evaluate(shown, "plumbs")
    assert not page.evaluate(shown, "should")
    for name in ("should", "is", "arrows", "axes", "plumbs", "spaces"):
        assert page.locator(f'#marks [data-of="{name}"] path').count() > 0


@pytest.mark.parametrize("tone", ["grey", "2", "3", "4", "5", "masses", "difference"])
def test_every_way_of_seeing_is_grey_and_colours_come_back(page: Any, tone: str) -> None:
    before = grey_at(page, "painted")
    page.select_option("#tone", tone)
    red, green, blue, _ = grey_at(page, "painted")
    assert red == green == blue
    if tone in "2345":
        levels = page.evaluate(
            "(() => { const c = document.getElementById('sitter'); const d = c.getContext('2d')"
            ".getImageData(0, 0, c.width, c.height).data; return new Set(d.filter((_, n) => n % 4 === 0)).size; })()"
        )
        assert levels <= int(tone)
    page.select_option("#tone", "colour")
    assert grey_at(page, "painted") == before


def test_greys_are_made_of_light(browser: Any, tmp_path: Path) -> None:
    """Pure green has 0.7152 of white's light (IEC 61966-2-1), which is the grey of byte 220, not the 150 of luma."""
    green = Picture(
        pixels=np.full((500, 400, 3), (0, 255, 0), dtype=np.uint8), name="g", digest=None, full_size=(400, 500)
    )
    file = tmp_path / "green.html"
    file.write_text(audit_page(replace(examined(), painting=green)), encoding="utf-8")
    made = browser.new_page()
    made.goto(file.as_uri())
    made.wait_for_selector("body[data-ready]")
    made.select_option("#tone", "grey")
    assert grey_at(made, "painted")[0] == pytest.approx(220, abs=1)
    made.close()


def test_a_step_is_brought_near_and_let_go_by_keyboard(page: Any) -> None:
    first = page.locator(".step").first
    first.focus()
    page.keyboard.press("Enter")
    assert first.get_attribute("aria-expanded") == "true"
    assert page.is_visible("#more-1")
    assert "scale(2.5" in page.evaluate("document.querySelector('.turned').style.transform")
    page.keyboard.press("Enter")
    assert first.get_attribute("aria-expanded") == "false"
    assert "scale(1," in page.evaluate("document.querySelector('.turned').style.transform")
    page.locator(".step").nth(1).click()
    page.click("#whole")
    assert not page.is_visible("#more-2")


def test_both_are_mirrored_and_turned_together(page: Any) -> None:
    sheets = "[...new Set([...document.querySelectorAll('.turned')].map((s) => s.style.transform))]"
    page.check("#mirror")
    (turned,) = page.evaluate(sheets)
    assert "scale(-1, 1)" in turned
    page.check("#upside")
    (turned,) = page.evaluate(sheets)
    assert "scale(1, -1)" in turned  # mirrored and half turned
    page.uncheck("#mirror")
    (turned,) = page.evaluate(sheets)
    assert "scale(-1, -1)" in turned


def test_blink_shows_one_and_the_other(page: Any) -> None:
    page.click("#blink")
    assert page.get_attribute("#blink", "aria-pressed") == "true"
    seen = set()
    for _ in range(20):
        seen.add(page.evaluate("document.getElementById('over').hidden"))
        page.wait_for_timeout(100)
    assert seen == {True, False}
    page.click("#blink")
    assert not page.evaluate("document.getElementById('over').hidden")


def test_by_touch_on_a_narrow_phone(browser: Any, tmp_path: Path) -> None:
    for made in opened(browser, tmp_path, viewport={"width": 320, "height": 640}, has_touch=True, is_mobile=True):
        assert made.evaluate("document.documentElement.scrollWidth") <= 320
        box = made.locator("#frame").bounding_box()
        made.touchscreen.tap(box["x"] + 0.8 * box["width"], box["y"] + 20)
        assert abs(int(made.input_value("#curtain")) - 80) <= 2
        made.locator(".step").first.tap()
        assert made.is_visible("#more-1")
        seen = made.evaluate(
            "(() => { const b = document.getElementById('frame').getBoundingClientRect();"
            " return Math.min(b.bottom, innerHeight) - Math.max(b.top, 0); })()"
        )
        assert seen > 150  # what was brought near is on the screen


def test_no_number_lies_under_the_curtain(page: Any) -> None:
    """The handle begins below them, and wherever it is drawn to, numbers and lines lie over it."""
    assert page.evaluate(
        "document.getElementById('edge').compareDocumentPosition(document.getElementById('marks'))"
        " & Node.DOCUMENT_POSITION_FOLLOWING"
    )
    frame = page.locator("#frame").bounding_box()
    handle = frame["y"] + frame["height"] - page.evaluate(
        "(() => { const s = getComputedStyle(document.getElementById('edge'), '::after');"
        " return parseFloat(s.bottom) + parseFloat(s.height); })()"
    )  # fmt: skip
    numbers = page.locator("#marks text")
    assert numbers.count() == 4  # two steps of a pair
    for number in numbers.all():
        box = number.bounding_box()
        assert box["y"] + box["height"] <= handle
        assert box["y"] >= frame["y"]


def test_a_pair_is_brought_near_whole(browser: Any, tmp_path: Path) -> None:
    wide = sample().painting_points.copy()
    right, left = (EYES[side].rows for side in ("right", "left"))
    wide[list(right)], wide[list(left)] = (60.0, 250.0), (340.0, 250.0)
    one = replace(step(1), centre=(200.0, 250.0), dx=step(1).dx_mm, dy=step(1).dy_mm)
    html = audit_page(examined(corrections=(one,), painting_points=wide, should_be=wide))
    with quiet_page(browser, tmp_path, html) as made:
        made.locator(".step").click()
        frame = made.locator("#frame").bounding_box()
        for number in made.locator("#marks text").all():
            box = number.bounding_box()
            assert frame["x"] <= box["x"]
            assert box["x"] + box["width"] <= frame["x"] + frame["width"]


CAUTION = "The painted pupils stand 1.0 % narrower apart for this head: compare `--hold eyes` with `--no-points-only`."


@pytest.mark.parametrize("size", [(1280, 800), (400, 800)])
def test_cautions_leave_the_picture_on_the_first_screen(browser: Any, tmp_path: Path, size: tuple[int, int]) -> None:
    """Beside it where there is room, else below it with a word above it; what is to be typed never breaks."""
    warnings = tuple(Notice(code=f"c{number}", text=CAUTION) for number in range(6))
    html = audit_page(examined(corrections=(step(1),), warnings=warnings))
    with quiet_page(browser, tmp_path, html, viewport={"width": size[0], "height": size[1]}) as made:
        frame, shown, first = (made.locator(at).first.bounding_box() for at in ("#frame", "#cautions", ".step"))
        assert frame["y"] < 0.3 * size[1]
        assert shown["y"] + shown["height"] <= first["y"]
        if size[0] > 900:
            assert first["y"] + first["height"] < size[1]
        else:
            link = made.locator(".call-to a")
            assert link.bounding_box()["y"] < frame["y"]
            link.click()
            assert made.locator("#cautions").bounding_box()["y"] < size[1] / 2
        kept = made.locator("#cautions .typed").evaluate_all(
            "(all) => all.map((one) => getComputedStyle(one).whiteSpace)"
        )
        assert kept == ["nowrap"] * 12


def test_the_tables_are_whole_on_a_phone(browser: Any, tmp_path: Path) -> None:
    """Nothing is cut off or has to be scrolled to, and every figure has its name beside it."""
    context = {"viewport": {"width": 400, "height": 800}, "is_mobile": True}
    for made in opened(browser, tmp_path, **context):
        for folded in made.locator("summary").all():
            folded.click()
        for box in made.locator(".scroll").all():
            assert box.evaluate("(one) => one.scrollWidth <= one.clientWidth")
        rows = made.locator("#measures tbody tr")
        assert rows.count() == len(sample().measures)
        for cell in made.locator("tbody td, tbody th").all():
            place = cell.bounding_box()
            assert place is None or place["x"] + place["width"] <= 400
        named = made.locator("#measures td[data-of]:not(:empty)")
        names = named.evaluate_all("(all) => all.map((one) => getComputedStyle(one, '::before').content)")
        assert {name.strip('" ') for name in names} == {"give or take", "noticed from", "read from"}
        first = rows.first.locator("td, th").all_inner_texts()
        assert first[0].startswith("OFF")
        assert all(made.locator(f"[role={role}]").count() for role in ("table", "row", "cell", "rowheader"))


def test_five_corrections_print_on_one_page(browser: Any, tmp_path: Path) -> None:
    long = "Sitter's left eye: 2.4 mm toward picture left, 1.1 mm down, 9 % narrower, turn 1.5 degrees clockwise."
    file = tmp_path / "audit.html"
    steps = tuple(replace(step(number, long), mends=()) for number in range(1, 8))
    beside = tuple(f"{number}. {long}" for number in range(5))
    warnings = tuple(Notice(code=f"c{number}", text=f"{number}. {CAUTION}") for number in range(6))
    page = audit_page(examined(corrections=steps, mend_first=beside, warnings=warnings))
    printed = page[page.index('id="printed"') :]
    assert [f"{number}. The painted pupils" in printed for number in range(6)] == [True] * 2 + [False] * 4
    assert printed.index("1. The painted pupils") < printed.index(long.replace("'", "&#39;"))
    assert "More to know before: 4, on the page." in printed
    assert all(page.count(line.replace("'", "&#39;")) == 2 for line in beside)  # shown, and printed
    file.write_text(page, encoding="utf-8")
    made = browser.new_page()
    made.goto(file.as_uri())
    made.wait_for_selector("body[data-ready]")
    data = made.pdf(format="A4", prefer_css_page_size=True)
    made.close()
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", data)) == 1


def test_no_serious_finding_of_axe(browser: Any, tmp_path: Path) -> None:
    """With axe-core where it is at hand: LIMNER_AXE names its axe.min.js (npm pack axe-core)."""
    script = os.environ.get("LIMNER_AXE", "")
    if not Path(script).is_file():
        pytest.skip("axe-core is not at hand: npm pack axe-core, unpack it and set LIMNER_AXE=package/axe.min.js")
    for scheme, width in (("light", 1200), ("dark", 1200), ("light", 400)):
        look = {"color_scheme": scheme, "viewport": {"width": width, "height": 900}}
        for made in opened(browser, tmp_path, bypass_csp=True, **look):
            made.add_script_tag(path=script)
            found = made.evaluate("axe.run(document)")["violations"]
            assert [v["id"] for v in found if v["impact"] in ("serious", "critical")] == []
