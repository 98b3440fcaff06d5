"""Names, notes and EXIF that would be formulas, markup or orders to a terminal stay what they are: text."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shutil
import sys
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from PIL import Image

from faultbench import FINE, assert_refused, run
from limner.report.csvout import cell

pytestmark = pytest.mark.skipif(
    os.name == "nt" or sys.platform == "darwin", reason="needs file names of any characters"
)

REFERENCE = "<img src=x onerror=alert(1)>.jpg"
NAMES = (
    '=HYPERLINK("http:evil","y").jpg',
    "@SUM(1+1)*cmd|' C calc'!A0.jpg",
    "+1 \t-1.jpg",
    "\uff1d1+1.jpg",
    "<script>alert(2)<script>&amp;'\".jpg",
    "]]> --> {{7*7}} ${7} %s (\\) Tj ET.jpg",
    "\x1b[2J\x1b]0;title\x07\r\n\u202etxt.jpg",
)
NOTES = ("=1+1", "</script><script>alert(3)</script>", "\x1b[31mred\x07", "{{7*7}}\n@x", "\"quoted\", 'twice'")
SIGNS = "=+-@\uff1d\uff0b\uff0d\uff20"


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory, heads: Path, model_path: Path) -> Path:
    """One painting under seven names, five with notes of their own, EXIF that is markup; and its outputs."""
    folder = tmp_path_factory.mktemp("injection")
    shutil.copy(heads / "reference.jpg", folder / REFERENCE)
    exif = Image.Exif()
    exif[0x010E] = exif[0x010F] = exif[0x0110] = "<script>alert(4)</script>=1+1\x1b[31m"
    with Image.open(heads / "canvas.jpg") as image:
        for name in NAMES:
            image.save(folder / name, exif=exif, quality=95)
    lines = [f"{json.dumps(name)} = {json.dumps(note)}" for name, note in zip(NAMES, NOTES, strict=False)]
    (folder / "limner.toml").write_text("[notes]\n" + "\n".join(lines) + "\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def printed(desk: Path) -> dict[str, str]:
    """What a series, an audit and the rest print of them; the files lie on the desk."""
    cache = str(desk.parent / f"{desk.name}-cache")
    series = ("series", REFERENCE, *NAMES, "--order", "given", "--jobs", "1", "--no-values")
    calls = {
        "series text": (*series, "--page", "series.html", "--plot", "plot.svg", "--contact", "contact.png"),
        "series csv": (*series, "--format", "csv"),
        "series json": (*series, "--format", "json"),
        "audit json": ("audit", REFERENCE, NAMES[4], "--page", "page.html", "--overlay", "o.svg", "--format", "json"),
        "audit text": ("audit", REFERENCE, NAMES[6], "--no-values"),
        "points": ("points", NAMES[4], "--output", "points.html"),
        "canon csv": ("canon", NAMES[0], "--format", "csv"),
        "study": ("study", NAMES[5], "--canvas", "100x120mm", "--out", "study.pdf"),
        "blank": ("sheet", NAMES[4], "--blank", "--canvas", "100x120mm", "--out", "blank.svg"),
    }
    said = {}
    for name, words in calls.items():
        done = run(*words, cwd=desk, LIMNER_CACHE=cache)
        assert done.returncode in FINE, (name, done.stderr)
        said[name] = done.stdout + done.stderr
    return said


def test_nothing_printed_gives_an_order_to_the_terminal(printed):
    for name, text in printed.items():
        assert re.findall(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", text) == [], name
    assert "title" in printed["series text"]


def test_no_cell_of_a_table_is_a_formula(printed):
    for name in ("series csv", "canon csv"):
        rows = list(csv.reader(io.StringIO(printed[name])))
        assert len({len(row) for row in rows}) == 1, "no quote and no line in a name breaks a row"
        for text in (text for row in rows for text in row if text.strip()[:1] in tuple(SIGNS)):
            assert re.fullmatch(r"-?\d+(\.\d+)?(e-?\d+)?", text), text
    pictures = {row["picture"] for row in csv.DictReader(io.StringIO(printed["series csv"]))}
    assert pictures >= {"'" + NAMES[0], "'" + NAMES[1], "'" + NAMES[3], NAMES[4]}


@pytest.mark.parametrize("sign", SIGNS)
def test_a_formula_by_whatever_sign_and_behind_whatever_blank(sign):
    for before in ("", " ", "\t", "\r", "\n", "\u3000", "\u00a0", "\x00", "\u200b"):
        said = str(cell(f"{before}{sign}1+1"))
        assert said.lstrip()[0] in {"'", "?"}


def test_json_gives_back_names_and_notes_as_text(printed):
    photos = json.loads(printed["series json"])["photos"]
    assert [photo["note"] for photo in photos] == [*NOTES, None, None]
    assert [photo["name"] for photo in photos][4:6] == list(NAMES[4:6])
    assert all(photo["name"].isprintable() for photo in photos)
    assert printed["series json"].isascii()
    assert json.loads(printed["audit json"])["pictures"]["painting"]["name"] == NAMES[4]


class Elements(HTMLParser):
    """The elements of a page, and its handlers of events."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.scripts: list[str] = []
        self.handlers: list[str] = []
        self.images: list[str] = []
        self.words = ""
        self._in_script = False
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handlers += [name for name, _ in attrs if name.startswith("on")]
        self.images += [value or "" for name, value in attrs if tag == "img" and name == "src"]
        self._in_script = tag == "script"
        if tag == "script":
            self.scripts.append("")

    def handle_endtag(self, tag: str) -> None:
        self._in_script = self._in_script and tag != "script"

    def handle_data(self, data: str) -> None:
        if self._in_script:
            self.scripts[-1] += data
        else:
            self.words += data


@pytest.mark.parametrize(
    ("page", "shows"),
    [
        ("series.html", (NAMES[0], NAMES[4], NOTES[1], "{{7*7}}")),
        ("page.html", (NAMES[4],)),
        ("points.html", (NAMES[4],)),
    ],
)
def test_a_page_holds_no_element_that_a_name_or_note_made(desk, printed, page, shows):
    text = (desk / page).read_text(encoding="utf-8")
    found = Elements(text)
    plain = Elements((desk / page).read_text(encoding="utf-8").replace("alert", ""))
    assert found.handlers == []
    assert all(source.startswith("data:image/") or not source for source in found.images)
    assert len(found.scripts) == len(plain.scripts) <= 2
    assert not any("<script" in script or ("</" in script and "alert" in script) for script in found.scripts)
    everything = found.words + "".join(json.dumps(script) for script in found.scripts)
    for words in shows:
        assert words in found.words or as_script(words) in everything, words
    assert "49" not in re.findall(r"\]\]> --> (\S+)", found.words)
    assert "\x1b" not in text
    assert "alert(4)" not in text, "nothing of EXIF is shown"


def as_script(words: str) -> str:
    """Words as they stand in the data of a script, once more in the quotes of a JSON text."""
    held = json.dumps(words).strip('"').replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
    return json.dumps(held).strip('"')


@pytest.mark.parametrize("drawing", ["plot.svg", "o.svg", "blank.svg"])
def test_a_drawing_is_whole_xml_without_script(desk, printed, drawing):
    root = ET.fromstring((desk / drawing).read_bytes())  # noqa: S314 - our own file
    names = {element.tag.rpartition("}")[2].lower() for element in root.iter()}
    assert not names & {"script", "foreignobject", "a", "iframe"}
    assert not [name for element in root.iter() for name in element.attrib if name.lower().startswith("on")]


def test_a_pdf_holds_no_order_that_a_name_made(desk, printed):
    data = re.sub(rb"stream\r?\n.*?endstream", b"", (desk / "study.pdf").read_bytes(), flags=re.DOTALL)
    assert not re.search(rb"/(JavaScript|JS|OpenAction|AA|URI|Launch)\b", data)
    assert b"%s \\(\\\\\\) Tj ET.jpg" in data, "brackets and backslashes of a name are written so that they end no text"


def test_a_refusal_repeats_a_name_as_one_harmless_line(desk):
    missing = "\x1b[2J\u202e" + "no\nsuch" + "<b>.jpg"
    assert_refused(run("audit", REFERENCE, missing, cwd=desk), 3, "no")
    refused = run("audit", REFERENCE, NAMES[0], "--overlay", f"none/{missing}.png", cwd=desk)
    assert_refused(refused, 6, "does not exist")
    for done in (refused, run("series", REFERENCE, missing, "--jobs", "1", "--no-values", "--no-cache", cwd=desk)):
        assert re.findall(r"[\x00-\x09\x0b-\x1f\u202e]", done.stdout + done.stderr) == []
