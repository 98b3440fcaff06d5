"""The page of a series: strict, self-contained, and its time line in a real browser."""

from __future__ import annotations

import io
import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from limner.series.page import series_page
from limner.series.record import Series, Skipped
from limner.series.run import Run
from pointsdesk import any_browser, quiet_page
from test_series_compare import reading, record, shifted, toned

HOSTILE = '"><img src=x onerror=alert(1)></script>.jpg'


def face(grey: int) -> bytes:
    held = io.BytesIO()
    Image.new("L", (60, 80), grey).save(held, "JPEG")
    return held.getvalue()


def run() -> Run:
    """Three photos, the second of which could not be audited."""
    first = record(
        reading(deviation=12.0), name="day-1.jpg", shifts=shifted(0.004), tones=toned(0.5), taken="2024-03-04T10:00:00"
    )
    last = record(reading(deviation=4.0, call="slight"), name=HOSTILE, shifts=shifted(0.001), tones=toned(0.1))
    photos = (first, Skipped(name="day-2.jpg", reason="No face was found."), last)
    series = Series(reference="sitter.jpg", order="as given", photos=photos, notes={"day-1.jpg": "too <b>dark</b>"})
    return Run(series=series, faces=(face(40), None, face(200)))


def test_it_tells_every_photo_and_what_has_changed_and_words_stay_words() -> None:
    page = series_page(run())
    assert page == series_page(run())
    assert "<img src=x" not in page
    assert "<b>dark" not in page
    assert "too &lt;b&gt;dark" in page
    assert "No face was found." in page
    assert "Since photo 1" in page
    assert re.search(r"was 12 % .* in photo 1", page)
    assert "2024-03-04" in page
    assert "<built-in" not in page
    assert "steps" in page


def test_nothing_of_it_comes_from_afar() -> None:
    page = series_page(run())
    assert "default-src &#39;none&#39;" in page or "default-src 'none'" in page
    plain = re.sub(r"data:image/[\w+;]+base64,[\w+/=]+", "", page)
    assert not re.search(r"(src|href|url)\s*[=(]\s*[\"']?\s*(https?:)?//", plain)
    assert " style=" not in re.sub(r"<(style|script)\b.*?</\1>", "", plain, flags=re.DOTALL)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with any_browser() as found:
        yield found


def opened(browser: Any, folder: Path, **context: Any) -> Iterator[Any]:
    with quiet_page(browser, folder, series_page(run()), **context) as made:
        yield made


def test_the_time_line_steps_over_what_was_skipped(browser: Any, tmp_path: Path) -> None:
    for page in opened(browser, tmp_path):
        assert page.text_content("#said") == "Photo 3"
        last = page.get_attribute("#face", "src")
        page.focus("#back")
        page.keyboard.press("Enter")
        assert page.text_content("#said") == "Photo 1"
        assert page.get_attribute("#face", "src") != last
        assert page.is_disabled("#back")
        page.focus("#when")
        page.keyboard.press("ArrowRight")
        assert page.text_content("#said") == "Photo 3"
        page.click('#stops a[data-photo="0"]')
        assert page.get_attribute('#stops a[data-photo="0"]', "aria-current") == "true"


def test_two_days_blink_and_a_narrow_phone_holds_it(browser: Any, tmp_path: Path) -> None:
    for page in opened(browser, tmp_path, viewport={"width": 320, "height": 640}, has_touch=True, is_mobile=True):
        assert page.evaluate("document.documentElement.scrollWidth") <= 320
        page.locator("#blink").tap()
        seen = set()
        for _ in range(20):
            seen.add(page.text_content("#said"))
            page.wait_for_timeout(100)
        assert seen == {"Photo 1", "Photo 3"}
        page.locator("#blink").tap()
        assert page.text_content("#said") == "Photo 3"


def test_no_serious_finding_of_axe(browser: Any, tmp_path: Path) -> None:
    """With axe-core where it is at hand: LIMNER_AXE names its axe.min.js (npm pack axe-core)."""
    script = os.environ.get("LIMNER_AXE", "")
    if not Path(script).is_file():
        pytest.skip("axe-core is not at hand: npm pack axe-core, unpack it and set LIMNER_AXE=package/axe.min.js")
    for scheme in ("light", "dark"):
        for page in opened(browser, tmp_path, color_scheme=scheme, bypass_csp=True):
            page.add_script_tag(path=script)
            found = page.evaluate("axe.run(document)")["violations"]
            assert [v["id"] for v in found if v["impact"] in ("serious", "critical")] == []
