"""``limner points`` through its real command line."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from limner.errors import UsageError
from limner.face.byhand import HandPoint, HandPoints
from limner.face.placeable import PLACEABLE
from limner.face.pointlines import changes_from_lines, changes_from_options, laid_over, with_changes
from limner.face.points import MESH_POINTS
from limner.face.pointsfile import read_points
from limner.report.pointspage.build import is_points_page
from limner.report.pointstable import points_table

SIZE = (640, 480)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    Image.new("RGB", SIZE, (120, 110, 100)).save(tmp_path / "drawing.png")
    return tmp_path


def limner(
    folder: Path, *words: str, lines: str | bytes | None = None, **env: str
) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "limner.cli", "points", *words],
        cwd=folder,
        input=lines.encode() if isinstance(lines, str) else lines,
        stdin=subprocess.DEVNULL if lines is None else None,
        capture_output=True,
        env={**os.environ, "COLUMNS": "80", "NO_COLOR": "1", **env},
        check=False,
        timeout=300,
    )


def saved(folder: Path) -> HandPoints:
    return read_points(folder / "drawing.points.json")


def test_a_page_is_written_beside_where_one_stands(folder: Path) -> None:
    done = limner(folder, "drawing.png", "--blank")
    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout.decode().split() == ["drawing.points.html"]
    assert is_points_page((folder / "drawing.points.html").read_text(encoding="utf-8"))
    assert sorted(path.name for path in folder.iterdir()) == ["drawing.png", "drawing.points.html"]


def test_lines_piped_in_are_placed_saved_and_printed(folder: Path) -> None:
    lines = "tr 320 41.5   # hairline\n\np_right 250 200 1.5\nex_left unseen\n"
    done = limner(folder, "drawing.png", "--blank", "--table", lines=lines)
    assert done.returncode == 0
    held = saved(folder)
    assert dict(held.points) == {"p_right": HandPoint(x=250, y=200, sigma=1.5), "tr": HandPoint(x=320, y=41.5)}
    assert held.unseen == ("ex_left",)
    table = done.stdout.decode()
    assert max(len(line) for line in table.splitlines()) <= 80
    assert "tr          320.0    41.5   1.0  by hand hairline" in table
    assert "p_right     250.0   200.0   1.5  by hand pupil, sitter's right" in table
    assert "unseen" in table
    assert f"2 by hand, 0 found, 1 not to be seen, {len(PLACEABLE) - 3} to do." in table
    assert b"drawing.points.json" in done.stderr


def test_what_is_there_is_added_to_and_can_be_taken_away(folder: Path) -> None:
    assert (
        limner(folder, "drawing.png", "--blank", "--table", "--set", "tr=320,40", "--set", "v=321,10").returncode == 0
    )
    assert (
        limner(folder, "drawing.png", "--blank", "--table", "--set", "gn=322,400", "--set", "v=away", "-q").stderr
        == b""
    )
    assert set(saved(folder).points) == {"tr", "gn"}
    again = limner(
        folder, "drawing.png", "--blank", "--table", "--start", "drawing.points.json", "--save", "other.json"
    )
    assert again.returncode == 0
    assert read_points(folder / "other.json") == saved(folder)


def test_a_table_alone_writes_nothing(folder: Path) -> None:
    done = limner(folder, "drawing.png", "--blank", "--table")
    assert done.returncode == 0
    assert f"0 by hand, 0 found, 0 not to be seen, {len(PLACEABLE)} to do." in done.stdout.decode()
    assert [path.name for path in folder.iterdir()] == ["drawing.png"]


def test_the_page_starts_from_a_points_file(folder: Path) -> None:
    limner(folder, "drawing.png", "--blank", "--table", "--set", "tr=320,40")
    done = limner(folder, "drawing.png", "--blank", "--start", "drawing.points.json", "-o", "page.html")
    assert done.returncode == 0
    assert '"tr":{"x":320.0,"y":40.0,"source":"hand"}' in (folder / "page.html").read_text(encoding="utf-8")


WRONG: dict[str, tuple[list[str], str | bytes | None, int, str]] = {
    "unknown name": (["--set", "pupil=1,1"], None, 2, '"pupil" is none; the nearest is'),
    "no equals sign": (["--set", "tr"], None, 2, "expected NAME=X,Y"),
    "one number": (["--set", "tr=1"], None, 2, "x and y in px"),
    "not a number": (["--set", "tr=1,high"], None, 2, "'high' came"),
    "not finite": (["--set", "tr=1,nan"], None, 2, "finite number"),
    "outside": (["--set", "tr=641,1"], None, 2, "inside the picture, 0 to 640"),
    "sigma below 0": (["--set", "tr=1,1,-2"], None, 2, "sigma above 0"),
    "twice": (["--set", "tr=1,1", "--set", "tr=2,2"], None, 2, "comes a second time"),
    "twice in lines": ([], "tr 1 1\ntr 2 2\n", 2, "line 2: expected every point once"),
    "twice in both": (["--set", "tr=1,1"], "tr 1 1\n", 2, "both from --set and from standard input"),
    "line without numbers": ([], "\ntr\n", 2, "line 2: expected x and y"),
    "binary": ([], b"\xff\xfe\x00", 2, "lines of text"),
    "endless": ([], "#" * 1_000_001, 2, "at most 1000 kB"),
    "start is missing": (["--start", "none.json"], None, 2, "no such file"),
    "start is no points file": (["--start", "drawing.png"], None, 2, "JSON text in UTF-8"),
    "face is 0": (["--face", "0"], None, 2, "--face"),
    "page is no html": (["-o", "page.pdf"], None, 2, "ends in .html"),
    "save is no json": (["--save", "points.txt"], None, 2, "ends in .json"),
    "folder is missing": (["--save", "no/points.json"], None, 6, "does not exist"),
    "save is a folder": (["--save", "dir.json"], None, 6, "folder"),
}


@pytest.mark.parametrize("case", WRONG)
def test_wrong_input_ends_with_its_code_and_loses_nothing(case: str, folder: Path) -> None:
    words, lines, code, text = WRONG[case]
    (folder / "dir.json").mkdir()
    done = limner(folder, "drawing.png", "--blank", "--table", *words, lines=lines)
    assert done.returncode == code, done.stderr
    assert text in done.stderr.decode()
    assert done.stdout == b""
    assert sorted(path.name for path in folder.iterdir()) == ["dir.json", "drawing.png"]


def test_nothing_else_is_written_over(folder: Path) -> None:
    letter = "<!doctype html>\n<title>letter</title>"
    (folder / "drawing.points.html").write_text(letter)
    (folder / "drawing.points.json").write_text("{}")
    page = limner(folder, "drawing.png", "--blank")
    assert page.returncode == 6
    assert "is not a page of limner points" in page.stderr.decode()
    table = limner(folder, "drawing.png", "--blank", "--table", "--set", "tr=1,1")
    assert table.returncode == 6
    assert "not a points file of this picture" in table.stderr.decode()
    assert (folder / "drawing.points.html").read_text() == letter
    assert (folder / "drawing.points.json").read_text() == "{}"


def test_an_earlier_page_is_replaced(folder: Path) -> None:
    assert limner(folder, "drawing.png", "--blank").returncode == 0
    before = (folder / "drawing.points.html").read_bytes()
    assert limner(folder, "drawing.png", "--blank").returncode == 0
    assert (folder / "drawing.points.html").read_bytes() == before


def test_points_of_another_picture_are_refused(folder: Path) -> None:
    Image.new("RGB", SIZE, (0, 0, 0)).save(folder / "other.png")
    limner(folder, "other.png", "--blank", "--table", "--set", "tr=1,1")
    done = limner(folder, "drawing.png", "--blank", "--table", "--start", "other.points.json")
    assert done.returncode == 2
    assert "another picture of this size" in done.stderr.decode()


def test_a_picture_that_is_none_is_a_picture_error(folder: Path) -> None:
    (folder / "notes.jpg").write_text("not a picture")
    assert limner(folder, "notes.jpg").returncode == 3
    assert limner(folder, "missing.jpg").returncode == 3


def test_without_a_detector_it_starts_empty_and_says_so(folder: Path) -> None:
    (folder / "model.task").write_bytes(b"no model")
    done = limner(folder, "drawing.png", "--model", "model.task")
    assert done.returncode == 0
    assert "starting without a face found" in done.stderr.decode()
    assert (folder / "drawing.points.html").exists()


def test_it_starts_from_what_is_found(folder: Path, model_path: Path, portrait: NDArray[np.uint8]) -> None:
    Image.fromarray(portrait).save(folder / "sitter.png")
    env = {"LIMNER_MODEL": str(model_path)}
    done = limner(folder, "sitter.png", "--table", "--save", "found.json", "--set", "sn=224,134", **env)
    assert done.returncode == 0, done.stderr
    held = read_points(folder / "found.json")
    assert set(held.points) == {point.key for point in MESH_POINTS}
    assert set(held.by_hand) == {"sn"}
    assert all(point.sigma for point in held.points.values() if point.source == "found")
    eyes = held.points["p_left"].x - held.points["p_right"].x
    assert 40 < eyes < 48
    both = Image.new("RGB", (1024, 512))
    both.paste(Image.fromarray(portrait), (0, 0))
    both.paste(Image.fromarray(portrait), (512, 0))
    both.save(folder / "pair.png")
    several = limner(folder, "pair.png", "--table", **env)
    assert several.returncode == 0
    assert "Choose one with --face-picture NUMBER" in several.stderr.decode()
    second = limner(folder, "pair.png", "--table", "--face-picture", "2", "--save", "second.json", **env)
    assert second.returncode == 0
    moved = read_points(folder / "second.json").points["sn"].x - read_points(folder / "found.json").points["prn"].x
    assert moved == pytest.approx(512, abs=10)
    assert limner(folder, "pair.png", "--table", "--face", "3", **env).returncode == 4
    empty = limner(folder, "drawing.png", "--table", **env)
    assert empty.returncode == 0
    assert "starting without a face found" in empty.stderr.decode()


def test_a_large_picture_shows_its_head_as_fine_as_it_is_stored(folder: Path) -> None:
    Image.new("RGB", (4000, 3000), (120, 110, 100)).save(folder / "large.jpg")
    marks = ("p_right=1800,1400", "p_left=2000,1400", "gn=1900,1800")
    sets = [word for mark in marks for word in ("--set", mark)]
    assert limner(folder, "large.jpg", "--blank", *sets).returncode == 0
    text = (folder / "large.points.html").read_text(encoding="utf-8")
    held = json.loads(text.split('id="given">')[1].split("</script>")[0])
    whole, head = held["layers"]
    assert (whole["width"], whole["shown"]) == (4000, 1600)
    assert head["width"] == head["shown"]


def test_words_for_points() -> None:
    size = (100, 100)
    changes = changes_from_options(["tr=1,2", "v = 3 , 4 , 5", "gn=unseen", "sn=away"], size)
    assert changes == {
        "tr": HandPoint(x=1, y=2),
        "v": HandPoint(x=3, y=4, sigma=5),
        "gn": "unseen",
        "sn": "away",
    }
    assert changes_from_lines(["tr 1 2", "v 3 4 5", "gn unseen", "sn away"], size) == changes
    with pytest.raises(UsageError, match="comes a second time"):
        changes_from_lines(["tr 1 2", "tr away"], size)


def test_changes_and_layers() -> None:
    size = {"width": 100, "height": 100, "sha256": None}
    under = HandPoints(**size, points={"tr": HandPoint(x=1, y=1), "gn": HandPoint(x=2, y=2)}, unseen=("v",))
    over = HandPoints(**size, points={"v": HandPoint(x=3, y=3)}, unseen=("gn",))
    both = laid_over(under, over)
    assert dict(both.points) == {"tr": HandPoint(x=1, y=1), "v": HandPoint(x=3, y=3)}
    assert both.unseen == ("gn",)
    changed = with_changes(both, {"gn": HandPoint(x=9, y=9), "tr": "unseen", "v": "away"})
    assert dict(changed.points) == {"gn": HandPoint(x=9, y=9)}
    assert changed.unseen == ("tr",)


def test_the_table_never_runs_past_the_width() -> None:
    points = {key: HandPoint(x=12345.67, y=99999.99, sigma=123.4) for key in PLACEABLE}
    held = HandPoints(width=200_000, height=200_000, sha256=None, points=points)
    for width in (60, 80, 120):
        table = points_table(held, "a\x1b[31m" + "b.jpg", width=width)
        assert max(len(line) for line in table.splitlines()) <= max(width, 80)
        assert "\x1b" not in table
    assert "..." not in points_table(held, "b.jpg", width=80)


def test_the_file_is_plain_json(folder: Path) -> None:
    limner(folder, "drawing.png", "--blank", "--table", "--set", "tr=1.234,2")
    held = json.loads((folder / "drawing.points.json").read_text(encoding="ascii"))
    assert held["points"] == {"tr": {"x": 1.23, "y": 2.0, "source": "hand"}}
    assert (held["picture"]["width"], held["picture"]["height"]) == SIZE
