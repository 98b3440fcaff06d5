"""Helps tests of the points page: a browser, a page built from a made-up picture, and ways to point at places in it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from limner.face.byhand import HandPoint, HandPoints
from limner.pictures.picture import Picture
from limner.report.pointspage import points_page

ARGUMENTS = (
    *("--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"),
    *("--disable-sync", "--no-first-run"),
)
DIGEST = "0123456789abcdef" * 4
FULL = (1600, 1200)


@contextmanager
def any_browser() -> Iterator[Any]:
    """The system's Chromium, or a skip that says why there is none."""
    driver = pytest.importorskip("playwright.sync_api", reason="playwright is not installed: pip install playwright")
    names = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
    path = next((found for name in names if (found := shutil.which(name))), None)
    with driver.sync_playwright() as play:
        if path is None and Path(play.chromium.executable_path).exists():
            path = play.chromium.executable_path
        if path is None:
            pytest.skip("no Chromium or Chrome on the PATH: install one, for example apt-get install chromium")
        browser = play.chromium.launch(executable_path=path, args=list(ARGUMENTS))
        yield browser
        browser.close()


def made_up_picture(name: str = "canvas.jpg") -> Picture:
    """400 x 300 px read of a stored picture of 1600 x 1200 px: a gradient with a white cross at stored (800, 600)."""
    down, across = np.mgrid[0:300, 0:400]
    pixels = np.stack([across * 255 // 400, down * 255 // 300, np.full_like(down, 90)], axis=-1).astype(np.uint8)
    pixels[150, 190:211] = 255
    pixels[140:161, 200] = 255
    return Picture(pixels=pixels, name=name, digest=DIGEST, full_size=FULL, scale=0.25)


def start_points(**points: HandPoint) -> HandPoints:
    return HandPoints(width=FULL[0], height=FULL[1], sha256=DIGEST, points=points)


EYES = {
    "p_right": HandPoint(x=600.0, y=500.0, sigma=2.0, source="found"),
    "p_left": HandPoint(x=1000.0, y=500.0, sigma=2.0, source="found"),
}


@dataclass
class Desk:
    """One open page."""

    page: Any
    faults: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Where a place of the stored picture lies in the window."""
        box = self.page.locator("#stage").bounding_box()
        view = self.page.evaluate("({ ...document.getElementById('stage').dataset })")
        zoom, left, top = (float(view[key]) for key in ("zoom", "left", "top"))
        return box["x"] + (x - left) * zoom, box["y"] + (y - top) * zoom

    def zoom(self) -> float:
        return float(self.page.evaluate("document.getElementById('stage').dataset.zoom"))

    def click(self, x: float, y: float) -> None:
        self.page.mouse.click(*self.at(x, y))

    def choose(self, key: str) -> None:
        self.page.locator(f"#item-{key}").click()

    def place(self) -> tuple[float, float]:
        return float(self.page.input_value("#x")), float(self.page.input_value("#y"))

    def chosen(self) -> str:
        return str(self.page.locator("[role=option][aria-selected=true]").get_attribute("id")).removeprefix("item-")

    def state(self, key: str) -> str:
        return str(self.page.locator(f"#item-{key}").get_attribute("data-state"))

    def said(self) -> str:
        return str(self.page.text_content("#said"))

    def save(self, folder: Path) -> Path:
        with self.page.expect_download() as waiting:
            self.page.click("#save")
        path = folder / waiting.value.suggested_filename
        waiting.value.save_as(path)
        return path

    def cancel_touch(self) -> None:
        self.touch("touchCancel")

    def touch(self, kind: str, *places: tuple[float, float]) -> None:
        """A raw touch event; places are window px."""
        if not hasattr(self, "_wire"):
            self._wire = self.page.context.new_cdp_session(self.page)
        held = [{"x": x, "y": y, "id": number} for number, (x, y) in enumerate(places)]
        self._wire.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": held})


@contextmanager
def open_page(
    browser: Any, folder: Path, *, start: HandPoints | None = None, picture: Picture | None = None, **look: Any
) -> Iterator[Desk]:
    """The page as a file in a fresh browser profile; at the end nothing may have gone wrong or been asked for."""
    path = folder / "page.html"
    path.write_text(points_page(picture or made_up_picture(), start or start_points(**EYES)), encoding="utf-8")
    context = browser.new_context(**{"viewport": {"width": 1280, "height": 800}, "accept_downloads": True, **look})
    page = context.new_page()
    desk = Desk(page)
    page.on(
        "console", lambda message: desk.faults.append(message.text) if message.type in ("error", "warning") else None
    )
    page.on("pageerror", lambda error: desk.faults.append(str(error)))
    page.on("request", lambda request: desk.asked.append(request.url))
    page.goto(path.as_uri())
    page.wait_for_function("document.getElementById('stage').dataset.zoom")
    yield desk
    context.close()
    assert desk.faults == []
    assert [url for url in desk.asked if not url.startswith(("file:", "data:", "blob:"))] == []


@contextmanager
def quiet_page(browser: Any, folder: Path, html: str, **context: Any) -> Iterator[Any]:
    """A page that is ready; any message, error or request to elsewhere fails the test when it is left."""
    file = folder / "page.html"
    file.write_text(html, encoding="utf-8")
    held = browser.new_context(**{"viewport": {"width": 1200, "height": 900}, **context})
    made = held.new_page()
    trouble: list[str] = []
    made.on("console", lambda message: trouble.append(message.text))
    made.on("pageerror", lambda error: trouble.append(str(error)))
    made.on("request", lambda r: None if r.url.startswith(("file:", "data:")) else trouble.append(r.url))
    made.goto(file.as_uri())
    made.wait_for_selector("body[data-ready]", timeout=5000)
    yield made
    held.close()
    assert trouble == []
