"""The documents: every command in them runs, what they show is what limner says, and what is made is fresh.

Commands that fetch, install, build, take minutes or do not end are not run here; their words are held to the command
line, the Makefile and the files of the project instead. :func:`blocks.not_run` says which, and why.
"""

from __future__ import annotations

import difflib
import doctest
import importlib.util
import io
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import redirect_stderr, redirect_stdout
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw
from typer import main as typer_main

import blocks as reader
from blocks import Block, blocks, commands_in, not_run
from follow import HERE, PAGES, PICTURES, followed, prepare, said_by
from limner.cli.main import app, ended
from limner.config import read_config
from limner.face.mesh import Mesh, open_mesh
from limner.looking import Job, Progress, Seen, look
from limner.proving.plant import plant
from limner.proving.slips import Slip
from refer import commands, pages

ROOT = HERE.parent
ALL = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "models" / "README.md", *sorted(HERE.rglob("*.md"))]
BY_NAME = dict(commands())
MADE = pages()
ALIKE = 0.75
"""What a page shows has to be so like what limner says now, numbers left out."""


def shell() -> list[tuple[str, list[str]]]:
    """Every command of every shell block, once, with where it stands."""
    found: dict[tuple[str, ...], str] = {}
    for path in ALL:
        for block in blocks(path.read_text(encoding="utf-8")):
            if block.language == "sh":
                for words in commands_in(block):
                    found.setdefault(tuple(words), f"{path.relative_to(ROOT)}:{block.line}")
    return [(where, list(words)) for words, where in found.items()]


FOLLOWED = tuple(f"docs/{name}" for name in PAGES)
RUN = [(where, words) for where, words in shell() if not_run(words) is None and not where.startswith(FOLLOWED)]
CHECKED = [(where, words) for where, words in shell() if not_run(words) is not None]


@pytest.fixture(scope="module")
def desk(tmp_path_factory, model_path, portrait) -> Path:
    """A folder with the files that the documents name: small pictures of the portrait, some with a planted slip."""
    folder = tmp_path_factory.mktemp("desk")
    head = Image.fromarray(portrait).crop((80, 0, 384, 380)).resize((800, 1000), Image.Resampling.BICUBIC)
    for number, value in enumerate((50, 122, 203)):  # Munsell values 2, 5 and 8
        ImageDraw.Draw(head).rectangle((35 + 70 * number, 915, 85 + 70 * number, 965), fill=(value,) * 3)
    pixels = np.asarray(head)
    points = open_mesh(model_path).detect(pixels)[0][:, :2]
    head.save(folder / "reference.jpg", quality=92)
    head.save(folder / "canvas.jpg", quality=92)
    (folder / "photos").mkdir()
    for number, amount in enumerate((0.12, 0.08), start=1):
        painted = Image.fromarray(plant(pixels, points, [Slip(kind="mouth_y", amount=amount)]).pixels)
        for name in (f"day{number}.jpg", f"photos/canvas-{number}.jpg"):
            painted.save(folder / name, quality=92)
    painted.save(folder / "canvas.jpg", quality=92)
    painted.save(folder / "canvas-lamp.jpg", quality=90)
    return folder


@pytest.fixture(scope="module", autouse=True)
def looked_at_once() -> Iterator[None]:
    """The same picture asked for in the same way is looked at once for all commands run in this process."""
    known: dict[tuple[Path, Job], Seen] = {}

    def once(job: Job, mesh: Callable[[], Mesh], step: Progress) -> Seen:
        if job.placed is not None:  # points placed by hand do not say quickly that they are the same
            return look(job, mesh, step)
        key = Path.cwd(), job
        if key not in known:
            known[key] = look(job, mesh, step)
        return known[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("limner.auditing.look", once)
        yield


def limner(words: list[str], folder: Path) -> int:
    """Run a command in the folder, in this process but for series, which start processes of their own."""
    if words[1] == "series":
        known = {**os.environ, "LIMNER_CACHE": str(folder / "cache")}
        again = [sys.executable, "-m", "limner.cli", *words[1:], "--jobs", "1"]
        return subprocess.run(again, cwd=folder, env=known, stdout=subprocess.DEVNULL, check=False).returncode
    before = Path.cwd()
    os.chdir(folder)
    try:
        return ended(lambda: app(words[1:], prog_name="limner"), debug=False)
    finally:
        os.chdir(before)


@pytest.mark.parametrize(("where", "words"), RUN, ids=[f"{where} {' '.join(words)}" for where, words in RUN])
def test_every_command_of_the_documents_runs(where, words, desk, model_path, monkeypatch, capsys):
    monkeypatch.setenv("LIMNER_MODEL", str(model_path))
    wanted = desk / "reference.points.json"
    if "reference.points.json" in words and not wanted.exists():
        assert limner(["limner", "points", "reference.jpg", "--table", "--save", wanted.name], desk) == 0
    before = {path.name: path.stat().st_mtime_ns for path in desk.iterdir()}
    assert limner(words, desk) in ((0, 1) if words[1] in ("audit", "series") else (0,)), capsys.readouterr().err
    for option, name in pairwise(words):
        if option in ("--out", "-o", "--overlay", "--page", "--plot", "--contact", "--blink", "--save"):
            assert (desk / name).stat().st_mtime_ns != before.get(name), f"{name} was not written"


@pytest.mark.parametrize(("where", "words"), CHECKED, ids=[f"{where} {' '.join(words)}" for where, words in CHECKED])
def test_commands_that_are_not_run_are_at_least_there(where, words):
    first, *rest = words
    if first == "limner":
        check_words(words)
    elif first == "make":
        targets = re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text(encoding="utf-8"), re.MULTILINE)
        assert rest[0] in targets
    elif first in ("python", "pytest", ".ci/run"):
        files = [word for word in words if "/" in word]
        assert files
        assert all((ROOT / name).exists() for name in files)
    else:
        assert (first, rest[0]) in {("pipx", "install"), ("pip", "install"), ("apt-get", "install")}


def check_words(words: list[str]) -> None:
    """Hold the sub-command and the options of a command to the command line."""
    name = next((each for each in (" ".join(words[1:3]), words[1]) if each in BY_NAME), None)
    group = words[1] in {each.split()[0] for each in BY_NAME}
    assert name or group or words[1].startswith("-"), f"there is no command '{words[1]}'"
    command = BY_NAME[name] if name else typer_main.get_command(app)
    options = {word.split("=")[0] for word in words if re.match(r"--?[a-z]", word)}
    known = {"--help", "-h"} | {opt for p in command.params for opt in (*p.opts, *p.secondary_opts)}
    assert options <= known, " ".join(words)


@pytest.mark.parametrize("path", ALL, ids=lambda path: str(path.relative_to(ROOT)))
def test_commands_and_options_named_in_the_text_are_there(path):
    text = path.read_text(encoding="utf-8")
    for block in reversed(blocks(text)):
        text = text[: block.span[0]] + text[block.span[1] :]
    inline = [" ".join(code.split()) for code in re.findall(r"(?<!`)`([^`]+)`(?!`)", text)]
    inline += re.findall(r"^    (limner .+)$", text, re.MULTILINE)
    every = {opt for command in BY_NAME.values() for p in command.params for opt in (*p.opts, *p.secondary_opts)}
    for code in inline:
        if code.startswith("limner ") and "\\" not in code:
            check_words(shlex.split(code.split("|")[0]))
        elif re.match(r"--[a-z-]+", code) and path.name != "DEVELOPERS.md":
            name = re.match(r"--[a-z-]+", code)
            assert name is not None
            assert name[0] in every | {"--help", "--version", "--debug"}, code


def said_here(words: list[str], folder: Path) -> str:
    """What a command prints, run in this process where it can be."""
    if words[1] == "series":
        return said_by(words, folder)
    said = io.StringIO()
    with redirect_stdout(said), redirect_stderr(said):
        code = limner(words, folder)
    assert code in (0, 1), said.getvalue()
    return said.getvalue()


@pytest.fixture(scope="module")
def guide(tmp_path_factory, example_studio, model_path) -> dict[str, tuple[str, str]]:
    """The followed pages as they stand, and as they would be written now."""
    folder = tmp_path_factory.mktemp("commission") / "own"
    prepare(example_studio, folder)
    out = {}
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LIMNER_MODEL", str(model_path))
        patch.setenv("COLUMNS", "80")
        for name in PAGES:
            text = (HERE / name).read_text(encoding="utf-8")
            out[name] = text, followed(text, example_studio, folder, said_here)
    for source, _, _ in PICTURES.values():
        assert (folder / source).exists(), source
    return out


@pytest.mark.parametrize("name", PAGES)
def test_what_the_guide_shows_is_what_limner_says(name, guide):
    """The same findings in the same words; numbers may differ a little from machine to machine."""
    was, now = (shown(text) for text in guide[name])
    assert [block.shows for block in was] == [block.shows for block in now] != []
    alike = difflib.SequenceMatcher(None, words_of(was), words_of(now), autojunk=False).ratio()
    assert alike >= ALIKE, "renew it: python docs/follow.py"


def shown(page: str) -> list[Block]:
    """What a page shows of limner's output."""
    return [block for block in blocks(page) if block.shows]


def words_of(parts: list[Block]) -> list[str]:
    """Its words, without numbers."""
    return [word for block in parts for word in re.findall(r"[A-Za-z'-]+", block.body)]


def test_the_mouth_of_the_fourth_session_is_what_went_back(guide):
    _, now = guide["guide.md"]
    back = next(block.body for block in shown(now) if block.shows == "Gone back")
    assert re.findall(r"^  - ([^:]+):", back, re.MULTILINE)[0] == "mouth width"


@pytest.mark.parametrize("path", ALL, ids=lambda path: str(path.relative_to(ROOT)))
def test_settings_and_python_in_the_documents_hold(path, tmp_path):
    for block in blocks(path.read_text(encoding="utf-8")):
        if block.language == "toml":
            (tmp_path / "limner.toml").write_text(block.body, encoding="utf-8")
            assert read_config(tmp_path / "limner.toml").values
        elif block.language == "pycon":
            test = doctest.DocTestParser().get_doctest(block.body, {}, path.name, str(path), block.line)
            assert doctest.DocTestRunner(verbose=False).run(test).failed == 0
        else:
            # The readme's python is run by test_library.py; no other page may have any that nobody runs.
            assert block.language in {"sh", "text", "{toctree}", "{include} ../DEVELOPERS.md"} | {
                "{include} ../models/README.md",
                "python" if path == ROOT / "README.md" else "",
            }


@pytest.mark.parametrize("name", MADE)
def test_the_reference_is_fresh(name):
    assert (HERE / "reference" / name).read_text(encoding="utf-8") == MADE[name], "renew it: python docs/build.py"


def test_the_reference_names_every_key_code_and_field():
    for command, each in BY_NAME.items():
        assert f"## limner {command}\n" in MADE["commands.md"]
        assert all(f"`{param.opts[0]}`" in MADE["commands.md"] for param in each.params if param.opts[0][0] == "-")
    for code in (0, 1, 2, 3, 4, 5, 6, 7, 70, 130):
        assert f"\n| {code} |" in MADE["codes.md"]
    source = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "src").rglob("*.py"))
    codes = set(re.findall(r'Notice\(\s*code="(\w+)"', source))
    assert len(codes) > 15
    assert codes <= set(re.findall(r"^\| `(\w+)` \|", MADE["codes.md"], re.MULTILINE))


def test_the_examples_of_the_block_reader_hold():
    assert doctest.testmod(reader).failed == 0
    assert doctest.testmod(reader).attempted > 3


def test_links_of_the_pages_outside_the_site_lead_somewhere():
    for path in ALL[:3]:
        for target in re.findall(r"\]\(([^)#]+)", path.read_text(encoding="utf-8")):
            assert "://" in target or (path.parent / target).exists(), f"{path.name}: {target}"


def test_pictures_are_small_and_all_are_shown():
    text = "".join(path.read_text(encoding="utf-8") for path in ALL)
    held = [*(HERE / "pictures").iterdir(), HERE / "overlay.png"]
    assert {path.name for path in held} == {*PICTURES, "overlay.png"}
    assert all(path.name in text and path.stat().st_size < 300_000 for path in held)


@pytest.mark.skipif(
    importlib.util.find_spec("sphinx") is None, reason="sphinx is not installed: pip install -e .[docs]"
)
def test_the_site_builds_without_a_warning_and_asks_nothing_of_other_places(tmp_path):
    asked = ["--fail-on-warning", "--keep-going", "--quiet", "--builder", "html"]
    build = [sys.executable, "-m", "sphinx", *asked, "-d", str(tmp_path / "trees"), str(HERE), str(tmp_path / "site")]
    done = subprocess.run(build, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    made = [path for path in (tmp_path / "site").rglob("*") if path.suffix in {".html", ".css", ".js"}]
    assert len(made) > 15
    loads = re.compile(r"""(?:\bsrc\s*=\s*["']|<link[^>]+href\s*=\s*["']|url\(\s*["']?|@import\s+["'])(?:https?:)?//""")
    assert [path.name for path in made if loads.search(path.read_text(encoding="utf-8"))] == []
