"""Nothing leaves the machine, and nothing of sitter, painter or place goes into what limner writes."""

from __future__ import annotations

import io
import os
import re
import shutil
import subprocess
import sys
import zlib
from dataclasses import dataclass
from pathlib import Path

import pytest
from PIL import Image, PngImagePlugin
from reportlab.pdfgen.canvas import Canvas

from faultbench import FINE, run, seen
from lookinside import beside_the_picture, layers

PLACE, HOME, USER = "Commission-for-Ottoline-7731", "home-of-painter-5519", "painter5519"
CAMERA = ("Obscura Works", "Model Zwölf", "SN-40417723", "Ottoline Lens 85", "taken at the sitter's house 9942")
LATITUDE, LONGITUDE = (51, 28, 38.4417), (7, 36, 21.9036)
TIME = "2019:03:17 14:25:36"
SECRETS = (
    PLACE,
    HOME,
    USER,
    *CAMERA,
    "38.4417",
    "384417",
    "21.9036",
    "219036",
    "XMP-secret-6120",
    "comment-secret-3301",
)
"""What must not be found, in letters; the place also as the rational numbers of EXIF."""
POINT = (384417).to_bytes(4, "big"), (384417).to_bytes(4, "little"), (219036).to_bytes(4, "big")

REFERENCE, CANVAS, OTHER = "reference.jpg", "canvas.jpg", "other.jpg"
RUNS = {
    "points": ("points", REFERENCE, "--save", "sitter.points.json", "--output", "points.html"),
    "table": ("points", REFERENCE, "--table", "--set", "v=250,20", "--save", "sitter.points.json"),
    "audit": (
        *("audit", CANVAS, "--format", "json", "--overlay", "overlay.png", "--page", "page.html"),
        *("--side-by-side", "beside.png", "--value-sheet", "values.png", "--blink", "turns.gif"),
    ),
    "text": ("audit", CANVAS, "--overlay", "overlay.svg", "--all"),
    "csv": ("audit", CANVAS, "--no-values", "--format", "csv"),
    "series": (
        *("series", REFERENCE, CANVAS, OTHER, "--jobs", "2", "--plot", "plot.svg", "--page", "series.html"),
        *("--contact", "contact.png", "--blink", "blink.webp", "--format", "json"),
    ),
    "series text": ("series", REFERENCE, CANVAS, OTHER, "--plot", "plot.png"),
    "sheet": (
        "sheet",
        CANVAS,
        "--canvas",
        "100x120mm",
        "--corners",
        "2,2",
        "430,2",
        "430,520",
        "2,520",
        "-o",
        "sheet.pdf",
    ),
    "blank": ("sheet", "--blank", "--canvas", "100x120mm", "-o", "blank.svg"),
    "study": ("study", "--canvas", "100x120mm", "-o", "study.pdf"),
    "canon": ("canon", REFERENCE, "--format", "json"),
}


@dataclass(frozen=True, kw_only=True)
class Told:
    """All that one commission made limner write."""

    folder: Path
    outputs: dict[str, bytes]
    """Name -> bytes: files, kept results, and what was printed."""
    calls: str | None
    """What strace saw of the network; ``None`` without it."""
    alone: bool
    """Whether there was no network to reach."""


def works(*command: str) -> bool:
    return (
        shutil.which(command[0]) is not None
        and subprocess.run(command, capture_output=True, check=False).returncode == 0
    )


def planted(source: Path, target: Path) -> None:
    """The same pixels with all that cameras, telephones and programs write beside them."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x013B] = CAMERA[0], CAMERA[1], USER
    exif[0x010E] = CAMERA[4]
    exif.get_ifd(0x8769).update({0x9003: TIME, 0xA431: CAMERA[2], 0xA434: CAMERA[3], 0xA405: 85})
    exif.get_ifd(0x8825).update({1: "N", 2: LATITUDE, 3: "E", 4: LONGITUDE})
    with Image.open(source) as image:
        packet = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>XMP-secret-6120</x:xmpmeta>"
        image.save(target, quality=95, exif=exif, xmp=packet, comment="comment-secret-3301")


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory, heads: Path, model_path: Path) -> Told:
    """A commission from a folder whose name is a secret, with a limner.toml that names everything by its path."""
    top = tmp_path_factory.mktemp("privacy")
    folder, home, cache = top / PLACE, top / HOME, top / "cache"
    folder.mkdir()
    home.mkdir()
    for name in (REFERENCE, CANVAS, OTHER):
        planted(heads / name, folder / name)
    shutil.copy(model_path, folder / "mine.task")
    (folder / "limner.toml").write_text(
        f'reference = "{folder / REFERENCE}"\nmodel = "mine.task"\n[points]\nreference = "sitter.points.json"\n'
        f'[notes]\n"{CANVAS}" = "first lights"\n'
    )
    before = {name: (folder / name).read_bytes() for name in (REFERENCE, CANVAS, OTHER)}
    alone = works("unshare", "-rn", "true")
    around = ("unshare", "-rn") if alone else ()
    tracer = ("strace", "-f", "-qq", "-e", "trace=network")
    traced = works(*around, *tracer, "-o", os.devnull, "true")
    # With the filter in the kernel no other call is stopped at, which is much the quicker.
    quickly = ("--seccomp-bpf",) if works(*around, *tracer, "--seccomp-bpf", "-o", os.devnull, "true") else ()
    watch = (*tracer, *quickly, "-A", "-o", str(top / "calls")) if traced else ()
    printed = {}
    for name, words in RUNS.items():
        env = {"HOME": str(home), "USER": USER, "LOGNAME": USER, "LIMNER_CACHE": str(cache), "LIMNER_MODEL": None}
        done = run(*words, cwd=folder, before=(*around, *watch), **env)
        assert done.returncode in FINE, (name, done.stderr)
        printed[f"printed by {name}"] = done.stdout.encode() + done.stderr.encode()
    assert {name: (folder / name).read_bytes() for name in before} == before
    assert not seen(home), "nothing but the cache is kept"
    given = {*before, "mine.task", "limner.toml"}
    files = {path.name: path.read_bytes() for path in folder.iterdir() if path.name not in given}
    kept = {f"kept {path.name}": path.read_bytes() for path in cache.rglob("*") if path.is_file()}
    assert len(kept) == 2
    calls = (top / "calls").read_text() if traced else None
    return Told(folder=folder, outputs={**files, **printed, **kept}, calls=calls, alone=alone)


def network_calls(trace: str) -> list[str]:
    """The lines of strace that reach further than a pair of sockets between a process and its own children."""
    begun = [line for line in trace.splitlines() if re.match(r"\d+ +[a-z_0-9]+\(", line)]
    return [
        line for line in begun if not re.match(r"\d+ +(socketpair|getsockname)\(.*AF_UNIX|\d+ +getsockname\(", line)
    ]


def found_in(data: bytes) -> set[str]:
    """The secrets that can be read in an output, however they are packed."""
    found: set[str] = set()
    for layer in layers(data):
        found |= {
            word for word in SECRETS for code in ("utf-8", "utf-16-le", "utf-16-be") if word.encode(code) in layer
        }
        found |= {"the place as numbers" for number in POINT if number in layer and layer[:2] == b"\xff\xd8"}
    return found


def test_what_is_searched_would_be_found(told):
    """In a picture's own data, in packed text, in a drawing, in a page."""
    original = (told.folder / REFERENCE).read_bytes()
    assert found_in(original) >= {*CAMERA[:1], USER, "XMP-secret-6120", "comment-secret-3301", "the place as numbers"}
    assert beside_the_picture(original) >= {"APP1", "comment"}
    held, text = io.BytesIO(), PngImagePlugin.PngInfo()
    text.add_text("where", PLACE, zip=True)
    Image.new("L", (8, 8)).save(held, "PNG", pnginfo=text)
    assert found_in(held.getvalue()) == {PLACE}
    assert beside_the_picture(held.getvalue()) == {"zTXt"}
    drawn = io.BytesIO()
    canvas = Canvas(drawn, pageCompression=1)
    canvas.drawString(9, 9, PLACE)
    canvas.save()
    assert PLACE.encode() not in drawn.getvalue()
    assert found_in(drawn.getvalue()) == {PLACE}
    import base64

    assert found_in(b"<img src='data:image/jpeg;base64," + base64.b64encode(original) + b"'>") >= {USER}
    assert zlib.crc32(original) == zlib.crc32((told.folder / REFERENCE).read_bytes())


def test_no_output_holds_path_place_camera_or_name(told):
    leaks = {name: found for name, data in told.outputs.items() if (found := found_in(data))}
    assert leaks == {}
    assert {"overlay.png", "page.html", "series.html", "sheet.pdf", "blank.svg", "points.html"} <= told.outputs.keys()


def test_no_output_holds_a_path_of_this_machine(told):
    """Only the last part of a name that was given; of the program neither."""
    ways = {str(told.folder.parent), str(Path.home()), str(Path(__file__).parent.parent), sys.prefix}
    for name, data in told.outputs.items():
        for layer in layers(data):
            assert [way for way in ways if way.encode() in layer] == [], name


def test_every_picture_holds_its_pixels_and_nothing_else(told):
    pictures = {name: sum(layer[:4] in STARTS or layer[:2] == b"\xff\xd8" for layer in layers(data))
                for name, data in told.outputs.items()}  # fmt: skip
    assert pictures["page.html"] >= 2
    assert pictures["points.html"] >= 1
    assert pictures["series.html"] >= 2
    assert all(pictures[name] for name in told.outputs if name.startswith("kept ") or Path(name).suffix in PICTURES)
    for name, data in told.outputs.items():
        for layer in layers(data):
            assert beside_the_picture(layer) == set(), name


STARTS = {b"\x89PNG", b"GIF8", b"RIFF"}
PICTURES = {".png", ".gif", ".webp"}


def test_the_time_a_picture_was_taken_is_told_only_where_photos_are_put_in_order(told):
    for name, data in told.outputs.items():
        there = any(re.search(rb"2019[-:]0?3[-:]17", layer) for layer in layers(data))
        assert not there or "series" in name or name.startswith(("kept", "plot")), name


def test_it_works_where_there_is_no_network_at_all(told):
    if not told.alone:
        pytest.skip("no network namespace without an interface may be made here (unshare -rn)")
    assert len([name for name in told.outputs if name.startswith("printed")]) == len(RUNS)


def test_no_command_but_the_fetch_asks_for_the_network(told):
    if told.calls is None:
        pytest.skip("strace is not installed, or may not be used here")
    assert network_calls(told.calls) == []
    assert "socketpair(AF_UNIX" in told.calls, "the processes of the series talk through these"


def test_a_call_to_the_network_would_be_seen(tmp_path):
    watch = ("strace", "-f", "-qq", "-e", "trace=network", "-o", str(tmp_path / "calls"))
    if not works(*watch, "true"):
        pytest.skip("strace is not installed, or may not be used here")
    code = (
        "import socket\nheld = socket.socket()\ntry: held.connect(('127.0.0.1', 9))\nexcept OSError: pass\nheld.close()"
    )
    subprocess.run([*watch, sys.executable, "-c", code], check=True)
    seen_calls = network_calls((tmp_path / "calls").read_text())
    assert any("socket(AF_INET" in line for line in seen_calls)
    assert any("connect(" in line for line in seen_calls)
