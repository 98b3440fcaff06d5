"""The real command line: every option, every exit code, and what goes wrong."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from limner.cli import main as cli_main
from limner.cli.joined import join_values
from limner.cli.main import COMMANDS, Stopped, app, ended
from limner.errors import FaceError, LimnerError, ModelError, OutputError, PictureError, UsageError
from limner.report.jsonout import schema

ROOT = Path(__file__).parent.parent
LIMNER = [sys.executable, "-m", "limner.cli"]


@pytest.fixture(scope="session")
def studio(tmp_path_factory, model_path) -> Path:
    """A reference, a painting with planted slips and a two-face picture, made once."""
    from skimage import data

    from limner.face.mesh import open_mesh
    from limner.proving.plant import plant
    from limner.proving.slips import Slip

    folder = tmp_path_factory.mktemp("studio")
    head = Image.fromarray(data.astronaut()).crop((110, 0, 330, 250)).resize((660, 750), Image.Resampling.BICUBIC)
    pixels = np.asarray(head)
    points = open_mesh(model_path).detect(pixels)[0][:, :2]
    slips = [Slip(kind="mouth_y", amount=0.12), Slip(kind="brow_left_y", amount=-0.06)]
    head.save(folder / "reference.jpg", quality=95)
    Image.fromarray(plant(pixels, points, slips).pixels).save(folder / "canvas.png")
    both = Image.new("RGB", (1320, 750))
    both.paste(head, (0, 0))
    both.paste(head, (660, 0))
    both.save(folder / "pair.png")
    Image.new("RGB", (400, 400), (120, 110, 100)).save(folder / "empty.png")
    (folder / "notes.txt").write_text("not a picture")
    whole = (folder / "reference.jpg").read_bytes()
    (folder / "cut.jpg").write_bytes(whole[: len(whole) // 3])
    head.resize((66, 75)).save(folder / "tiny.png")
    return folder


def limner(*args: object, cwd: Path | None = None, **env: str) -> subprocess.CompletedProcess[str]:
    """Run the command in a fresh process; standard output and error as text."""
    return subprocess.run(
        [*LIMNER, *map(str, args)],
        cwd=cwd,
        capture_output=True,
        text=True,
        encoding="utf-8",
        env={**os.environ, "NO_COLOR": "1", "COLUMNS": "80", **env},
        check=False,
    )


def in_process(*args: object):
    """Run the command in this process: quicker, for breadth."""
    return CliRunner().invoke(app, [str(arg) for arg in args], env={"COLUMNS": "80", "NO_COLOR": "1"})


def test_off_is_one_and_true_is_zero(studio):
    off = limner("audit", "reference.jpg", "canvas.png", cwd=studio)
    assert off.returncode == 1, off.stderr
    assert "Mend first" in off.stdout
    assert "mouth" in off.stdout
    assert "Was the right photo given?" not in " ".join(off.stdout.split())
    assert off.stderr == ""
    same = limner("audit", "reference.jpg", "reference.jpg", cwd=studio)
    assert same.returncode == 0, same.stdout + same.stderr
    assert "it is time to stop" in same.stdout
    assert "Was the right photo given?" in " ".join(same.stdout.split())


def test_json_on_standard_output_validates(studio):
    done = limner("audit", "reference.jpg", "canvas.png", "--format", "json", cwd=studio)
    assert done.returncode == 1, done.stderr
    found = json.loads(done.stdout)
    jsonschema.Draft202012Validator(schema()).validate(found)
    mouth = next(m for m in found["measures"] if m["id"] == "mouth_y")
    assert mouth["call"] == "off"
    assert mouth["deviation"] > 0
    assert found["pictures"]["painting"]["name"] == "canvas.png"
    assert str(studio) not in done.stdout


def test_same_bytes_with_one_thread_and_two(studio):
    args = ("audit", "reference.jpg", "canvas.png", "--format", "json")
    outputs = {limner(*args, "--threads", threads, cwd=studio).stdout for threads in (1, 2, 1, 2)}
    assert len(outputs) == 1


def test_csv_has_every_measure(studio):
    from limner.measure.catalogue import CATALOGUE

    done = limner("audit", "reference.jpg", "canvas.png", "--format", "csv", cwd=studio)
    assert {row["id"] for row in csv.DictReader(io.StringIO(done.stdout))} >= set(CATALOGUE)


def test_pictures_are_written_and_inputs_stay(studio, tmp_path):
    before = {path.name: path.read_bytes() for path in studio.iterdir()}
    overlay, beside = tmp_path / "overlay.png", tmp_path / "beside.png"
    done = limner(
        "audit", studio / "reference.jpg", studio / "canvas.png", "--overlay", overlay, "--side-by-side", beside
    )
    assert done.returncode == 1, done.stderr
    for path in (overlay, beside):
        with Image.open(path) as picture:
            picture.load()
            assert picture.format == "PNG"
            assert picture.width > 600
    assert sorted(path.name for path in tmp_path.iterdir()) == ["beside.png", "overlay.png"]
    assert {path.name: path.read_bytes() for path in studio.iterdir()} == before


def test_overlay_as_svg_layers_and_blink(studio, tmp_path):
    files = {name: tmp_path / name for name in ("overlay.svg", "blink.gif", "pair.png")}
    asked = ("audit", studio / "reference.jpg", studio / "canvas.png", "--no-values")
    done = in_process(
        *asked, "--overlay", files["overlay.svg"], "--layers", "lines,belongs", "--blink", files["blink.gif"]
    )
    assert done.exit_code == 1, done.output
    drawn = files["overlay.svg"].read_text(encoding="utf-8")
    assert re.findall(r'<g id="(\w+)"', drawn) == ["painting", "lines", "belongs", "key"]
    with Image.open(files["blink.gif"]) as moving:
        assert moving.n_frames == 2
        for frame in range(2):
            moving.seek(frame)
            assert moving.info["duration"] >= 500, "at most two changes a second"
    assert in_process(*asked, "--blink", files["pair.png"]).exit_code == 1
    pair = [Image.open(tmp_path / f"pair-{side}.png") for side in ("reference", "painting")]
    assert pair[0].size == pair[1].size
    both = [np.asarray(picture, dtype=float)[60:] for picture in pair]
    apart = np.abs(both[0] - both[1]).max(axis=2)
    assert np.median(apart) < 12, "laid on each other"
    assert (apart > 60).sum() > 200, "and the planted slips jump"


def test_a_wrong_layer_or_ending_is_refused_before_any_work(studio, tmp_path):
    asked = ("audit", studio / "reference.jpg", studio / "canvas.png", "--overlay")
    wrong = limner(*asked, tmp_path / "o.svg", "--layers", "belong")
    assert wrong.returncode == 2
    assert "Did you mean 'belongs'?" in wrong.stderr
    ending = limner(*asked, tmp_path / "o.pdf")
    assert ending.returncode == 2
    assert ".png or .svg" in ending.stderr
    assert not list(tmp_path.iterdir())


def test_only_asks_for_one_family(studio):
    done = limner("audit", "reference.jpg", "canvas.png", "--only", "width", "--format", "json", cwd=studio)
    found = json.loads(done.stdout)
    assert {m["family"] for m in found["measures"]} == {"width"}
    assert done.returncode == int(any(m["call"] == "off" for m in found["measures"]))


def test_top_and_all_and_order(studio):
    top = in_process("audit", studio / "reference.jpg", studio / "canvas.png", "--top", 1, "--format", "csv")
    assert len(top.stdout.splitlines()) == 2
    everything = in_process("audit", studio / "reference.jpg", studio / "canvas.png", "--all", "--order", "top-down")
    assert "The measures" in everything.stdout
    assert everything.exit_code == 1


def test_between_two_points(studio):
    done = in_process(
        *("audit", studio / "reference.jpg", studio / "canvas.png", "--format", "json"),
        *("--between", "en_right", "ch_right", "--between", "prn", "gn"),
    )
    ids = {m["id"] for m in json.loads(done.stdout)["measures"]}
    assert {"between_en_right_ch_right", "between_prn_gn"} <= ids


def test_hold_strict_stage_and_witness_reach_the_result(studio):
    done = in_process(
        *("audit", studio / "reference.jpg", studio / "canvas.png", "--format", "json"),
        *("--hold", "head", "--strict", "0.5", "--stage", "finish", "--witness", "mesh"),
    )
    found = json.loads(done.stdout)
    assert found["hold"] == "head"
    assert found["strict"] == 0.5
    assert found["stage"] == {"name": "finish", "guessed": False}
    assert {m["witness"] for m in found["measures"]} <= {"mesh", None}


def test_points_placed_by_hand_are_taken(studio, tmp_path):
    """Hairlines placed by hand give a measure that is not there without; points of another picture are refused."""
    files = []
    for name, height in (("reference.jpg", 90), ("canvas.png", 60)):
        kept = tmp_path / f"{name}.json"
        done = limner(
            "points", studio / name, "--save", kept, "--set", f"tr=330,{height}", "-o", tmp_path / "page.html"
        )
        assert done.returncode == 0, done.stderr
        files.append(kept)
    asked = ("audit", "reference.jpg", "canvas.png", "--format", "json")
    both = limner(*asked, "--points-reference", files[0], "--points-painting", files[1], cwd=studio)
    by_hand = [m for m in json.loads(both.stdout)["measures"] if m["witness"] == "hand"]
    assert by_hand
    assert any(m["deviation"] is not None and m["deviation"] > 0 for m in by_hand)
    swapped = limner(*asked, "--points-reference", files[1], cwd=studio)
    assert swapped.returncode == 2
    assert "another picture" in swapped.stderr


def test_points_alone_will_do_where_no_face_is_found(studio, tmp_path):
    places = {"p_right": (130, 150), "p_left": (250, 150), "n": (190, 150), "sn": (190, 220), "gn": (190, 320)}
    sets = [part for key, (x, y) in places.items() for part in ("--set", f"{key}={x},{y}")]
    kept = tmp_path / "points.json"
    made = limner("points", studio / "empty.png", "--blank", "--save", kept, *sets, "-o", tmp_path / "page.html")
    assert made.returncode == 0, made.stderr
    done = limner(
        *("audit", "reference.jpg", "empty.png", "--points-painting", kept, "--format", "json"),
        *("--overlay", tmp_path / "o.png", "--side-by-side", tmp_path / "s.png"),
        cwd=studio,
    )
    assert done.returncode in {0, 1}, done.stderr
    found = json.loads(done.stdout)
    jsonschema.Draft202012Validator(schema()).validate(found)
    assert found["pictures"]["painting"]["found_by"] == "hand"
    assert found["pose"]["painting"] is None
    assert {m["witness"] for m in found["measures"] if m["deviation"] is not None} == {"hand"}


def test_which_of_two_faces(studio):
    asked = ("audit", "pair.png", "reference.jpg", "--format", "json")
    unsaid = limner(*asked, cwd=studio)
    assert unsaid.returncode == 4
    assert "--face-reference" in unsaid.stderr
    found = [json.loads(limner(*asked, "--face-reference", n, cwd=studio).stdout)["points"]["prn"] for n in (1, 2)]
    assert found[1]["reference"][0] - found[0]["reference"][0] == pytest.approx(660, abs=15)
    assert limner(*asked, "--face-reference", 3, cwd=studio).returncode == 4


BAD = [
    ("missing reference", ("gone.jpg", "canvas.png"), 3, "gone.jpg"),
    ("missing painting", ("reference.jpg", "gone.png"), 3, "gone.png"),
    ("folder", (".", "canvas.png"), 3, ""),
    ("not a picture", ("reference.jpg", "notes.txt"), 3, "notes.txt"),
    ("cut off", ("cut.jpg", "canvas.png"), 3, "cut.jpg"),
    ("device", ("/dev/null", "canvas.png"), 3, ""),
    ("no face", ("reference.jpg", "empty.png"), 4, "painting"),
    ("no face, and what to do", ("reference.jpg", "empty.png"), 4, "by hand: limner points PICTURE"),
    ("face too small", ("reference.jpg", "tiny.png"), 4, "px"),
    ("unknown option", ("reference.jpg", "canvas.png", "--frobnicate"), 2, "frobnicate"),
    ("one picture", ("reference.jpg",), 2, "PAINTING"),
    ("no picture", (), 2, "REFERENCE PAINTING, and there is no limner.toml that names them."),
    ("bad format", ("reference.jpg", "canvas.png", "--format", "xml"), 2, "xml"),
    ("bad hold", ("reference.jpg", "canvas.png", "--hold", "nostril"), 2, "nose"),
    ("bad stage", ("reference.jpg", "canvas.png", "--stage", "varnish"), 2, "varnish"),
    ("strict zero", ("reference.jpg", "canvas.png", "--strict", "0"), 2, "above 0"),
    ("strict not a number", ("reference.jpg", "canvas.png", "--strict", "nan"), 2, "above 0"),
    ("no threads", ("reference.jpg", "canvas.png", "--threads", "0"), 2, "threads"),
    ("face zero", ("reference.jpg", "canvas.png", "--face-painting", "0"), 2, "counts from 1"),
    ("unknown family", ("reference.jpg", "canvas.png", "--only", "teeth"), 2, "width"),
    ("unknown point", ("reference.jpg", "canvas.png", "--between", "toe", "gn"), 2, "toe"),
    ("one point", ("reference.jpg", "canvas.png", "--between", "gn"), 2, "two point names"),
    ("same point twice", ("reference.jpg", "canvas.png", "--between", "gn", "gn"), 2, "gn"),
    ("no such points file", ("reference.jpg", "canvas.png", "--points-painting", "gone.json"), 2, "gone.json"),
    ("points file of words", ("reference.jpg", "canvas.png", "--points-reference", "notes.txt"), 2, "notes.txt"),
    ("overlay not png", ("reference.jpg", "canvas.png", "--overlay", "x.jpg"), 2, ".png"),
    ("overlay onto input", ("reference.jpg", "canvas.png", "--overlay", "canvas.png"), 6, "canvas.png"),
    ("two to one", ("reference.jpg", "canvas.png", "--overlay", "x.png", "--side-by-side", "./x.png"), 2, "both"),
    ("no such folder", ("reference.jpg", "canvas.png", "--overlay", "nowhere/x.png"), 6, "folder"),
    ("overlay is a folder", ("reference.jpg", "canvas.png", "--overlay", "sub.png"), 6, "folder"),
    ("no such model", ("reference.jpg", "canvas.png", "--model", "gone.task"), 5, "gone.task"),
    ("model is something else", ("reference.jpg", "canvas.png", "--model", "notes.txt"), 5, "notes.txt"),
]


@pytest.mark.parametrize(("args", "code", "says"), [row[1:] for row in BAD], ids=[row[0] for row in BAD])
def test_bad_input_ends_with_its_code_and_one_clear_message(studio, args, code, says):
    (studio / "sub.png").mkdir(exist_ok=True)
    before = {path.name: path.stat().st_mtime_ns for path in studio.iterdir()}
    done = limner("audit", *args, cwd=studio)
    assert done.returncode == code, done.stdout + done.stderr
    assert done.stdout == ""
    assert says in " ".join(done.stderr.split())
    assert "Traceback" not in done.stderr
    if code != 2:
        assert re.fullmatch(r"limner: [^\n]+\n", done.stderr), done.stderr
    assert {path.name: path.stat().st_mtime_ns for path in studio.iterdir()} == before


def test_a_file_may_be_called_like_an_option(studio, tmp_path):
    (tmp_path / "--reference.jpg").write_bytes((studio / "reference.jpg").read_bytes())
    done = limner("audit", "--", "--reference.jpg", "--reference.jpg", cwd=tmp_path)
    assert done.returncode == 0, done.stderr


@pytest.mark.skipif(os.name == "nt" or sys.platform == "darwin", reason="needs file names of any bytes")
def test_a_file_name_of_any_bytes_is_printed_safely(studio, tmp_path):
    name = b"can\xffvas\x1b[31m\n.png"
    (tmp_path / os.fsdecode(name)).write_bytes((studio / "canvas.png").read_bytes())
    command = [*map(os.fsencode, LIMNER), b"audit", os.fsencode(studio / "reference.jpg"), name]
    for more in ([], [b"--format", b"json"]):
        done = subprocess.run([*command, *more], cwd=tmp_path, capture_output=True, check=False)
        assert done.returncode == 1, done.stderr
        assert b"\x1b" not in done.stdout
        done.stdout.decode("utf-8")


@pytest.mark.parametrize("encoding", ["ascii", "utf-8", "cp1252"])
def test_any_encoding_of_the_terminal_will_do(studio, tmp_path, encoding):
    (tmp_path / "Gemälde 画.png").write_bytes((studio / "canvas.png").read_bytes())
    done = subprocess.run(
        [*LIMNER, "audit", studio / "reference.jpg", tmp_path / "Gemälde 画.png"],
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": encoding},
        check=False,
    )
    assert done.returncode == 1, done.stderr
    assert b"Gem" in done.stdout


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_a_full_disk_is_an_output_error(studio):
    with open("/dev/full", "w") as full:  # noqa: PTH123 - a device
        done = subprocess.run(
            [*LIMNER, "audit", "reference.jpg", "canvas.png"],
            cwd=studio,
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 6
    assert done.stderr.count("\n") == 1
    assert "standard output" in done.stderr


@pytest.mark.skipif(os.name == "nt", reason="pipes of another kind")
def test_a_reader_that_goes_away_is_no_error(studio):
    process = subprocess.Popen(
        [*LIMNER, "audit", "reference.jpg", "canvas.png", "--all"],
        cwd=studio,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert process.stdout is not None
    process.stdout.close()
    assert process.stderr is not None
    assert process.stderr.read() == b""
    process.stderr.close()
    assert process.wait() == 1, "the exit code is the audit's"


@pytest.mark.skipif(os.name == "nt", reason="signals of another kind")
@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_told_to_stop_it_leaves_nothing_behind(studio, tmp_path, number, code):
    """The signal comes when the overlay is drawn but not yet written."""
    script = (
        "import sys, time\n"
        "import limner.pictures.write as write\n"
        "from limner.cli.main import run\n"
        "encode = write.encode_png\n"
        "def slowly(pixels):\n"
        "    print('drawn', flush=True)\n"
        "    time.sleep(60)\n"
        "    return encode(pixels)\n"
        "write.encode_png = slowly\n"
        "run(sys.argv[1:])\n"
    )
    process = subprocess.Popen(
        [
            *(sys.executable, "-c", script, "audit"),
            *(studio / "reference.jpg", studio / "canvas.png", "--overlay", tmp_path / "o.png"),
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "drawn\n"
    process.send_signal(number)
    out, err = process.communicate(timeout=300)
    assert process.returncode == code, err
    assert out == ""
    assert err == "limner: stopped.\n"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_may_not_be_written(studio, tmp_path):
    tmp_path.chmod(0o500)
    done = limner("audit", studio / "reference.jpg", studio / "canvas.png", "--overlay", tmp_path / "o.png")
    assert done.returncode == 6


@pytest.mark.parametrize(
    ("error", "code", "says"),
    [
        (UsageError("u"), 2, "limner: u"),
        (PictureError("p"), 3, "limner: p"),
        (FaceError("f"), 4, "limner: f"),
        (ModelError("m"), 5, "limner: m"),
        (OutputError("o"), 6, "limner: o"),
        (LimnerError("x"), 70, "limner: x"),
        (ValueError("deep\ninside"), 70, "ValueError: deep)"),
        (MemoryError(), 70, "MemoryError"),
        (KeyboardInterrupt(), 130, "stopped"),
        (Stopped(signal.SIGTERM), 143, "stopped"),
        (ImportError("libGL.so.1: cannot open shared object file"), 2, "apt-get install"),
        (ImportError("No module named 'shapely'"), 2, "pip install"),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, BaseException) else None,
)
def test_every_way_to_fail_has_its_code(error, code, says, capsys):
    def work() -> None:
        raise error

    assert ended(work, debug=False) == code
    shown = capsys.readouterr()
    assert shown.out == ""
    assert says in shown.err
    assert shown.err.count("\n") == 1
    assert ended(work, debug=True) == code
    assert "Traceback" in capsys.readouterr().err


@pytest.mark.parametrize(("code", "expected"), [(0, 0), (None, 0), (1, 1), (5, 5), ("words", 2)])
def test_exit_codes_pass_through(code, expected):
    assert ended(lambda: sys.exit(code), debug=False) == expected


def test_version_and_help():
    version = limner("--version")
    assert version.returncode == 0
    assert re.fullmatch(r"limner \d+\.\d+\.\d+\n", version.stdout)
    for args in (("--help",), ("-h",), ("audit", "--help"), ("model", "--help")):
        done = limner(*args)
        assert done.returncode == 0
        assert "Usage: limner" in done.stdout
        assert done.stderr == ""


def test_no_command_shows_the_help():
    done = limner()
    assert done.returncode in {0, 2}
    assert "audit" in done.stdout + done.stderr


def test_help_says_the_exit_codes_and_every_command():
    text = " ".join(limner("--help").stdout.split())
    for part in ("0 nothing off", "1 something off", "70 internal error", "130 interrupted"):
        assert part in text
    for name in COMMANDS:
        assert name in text


def test_list_needs_no_pictures():
    done = limner("audit", "--list")
    assert done.returncode == 0
    assert "eye_width_left" in done.stdout
    assert "Lewandowski" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_readme_documents_every_option_and_exit_code():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = limner("audit", "--help", COLUMNS="200").stdout
    options = set(re.findall(r"--[a-z][a-z-]+", shown)) - {"--help"}
    assert options <= set(re.findall(r"--[a-z][a-z-]+", readme))
    for code in (0, 1, 2, 3, 4, 5, 6, 7, 70, 130):
        assert f"\n| {code} |" in readme


def test_pairs_end_where_options_end():
    assert join_values(["--", "--between", "a"]) == ["--", "--between", "a"]
    with pytest.raises(UsageError):
        join_values(["--between", "gn", "--all"])


def test_every_command_can_be_loaded():
    import importlib

    for module, _ in COMMANDS.values():
        assert hasattr(importlib.import_module(module), "app")
    assert cli_main.app is app


def test_quiet_and_no_terminal_leave_standard_error_empty(studio):
    done = limner("audit", "reference.jpg", "reference.jpg", "--quiet", cwd=studio)
    assert done.stderr == ""


def test_offline_the_audit_still_runs(studio):
    """A whole audit with every way to the network closed."""
    code = (
        "import socket, sys\n"
        "def closed(*a, **k): raise OSError('no network')\n"
        "socket.socket.connect = socket.create_connection = socket.getaddrinfo = closed\n"
        "from limner.cli.main import run\n"
        "run(['audit', 'reference.jpg', 'reference.jpg'])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=studio, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_width_follows_columns(studio):
    for columns in ("20", "80", "400"):
        done = limner("audit", "reference.jpg", "canvas.png", cwd=studio, COLUMNS=columns)
        assert max(map(len, done.stdout.splitlines())) <= int(columns)


@pytest.mark.skipif(os.name == "nt", reason="needs a terminal of the other kind")
def test_on_a_terminal_progress_is_shown_and_wiped(studio):
    import pty

    leader, follower = pty.openpty()
    done = subprocess.run(
        [*LIMNER, "audit", "reference.jpg", "reference.jpg"],
        cwd=studio,
        stdout=subprocess.PIPE,
        stderr=follower,
        env={**os.environ, "TERM": "xterm"},
        check=False,
    )
    os.close(follower)
    shown = os.read(leader, 100_000).decode()
    os.close(leader)
    assert done.returncode == 0
    assert "reading" in shown or "finding" in shown
    assert "\x1b" not in done.stdout.decode()


@pytest.mark.skipif(os.name == "nt", reason="needs a terminal of the other kind")
def test_on_a_terminal_a_message_is_broken_between_words(studio):
    """Elsewhere it stays one line, for a program that reads it."""
    import pty

    asked = [*LIMNER, "audit", "reference.jpg", "empty.png"]
    leader, follower = pty.openpty()
    env = {**os.environ, "TERM": "dumb", "COLUMNS": "60"}
    done = subprocess.run(asked, cwd=studio, stdout=subprocess.PIPE, stderr=follower, env=env, check=False)
    os.close(follower)
    shown = os.read(leader, 100_000).decode().replace("\r\n", "\n")
    os.close(leader)
    plain = limner("audit", "reference.jpg", "empty.png", cwd=studio).stderr
    assert done.returncode == 4
    assert max(map(len, shown.splitlines())) <= 60
    assert shown.split() == plain.split()
    assert plain.count("\n") == 1


def test_layers_without_an_overlay_are_remarked_on(studio):
    asked = ("audit", "reference.jpg", "reference.jpg", "--no-values", "--layers", "belongs")
    assert "no --overlay was asked for" in limner(*asked, cwd=studio).stderr
    assert limner(*asked, "--quiet", cwd=studio).stderr == ""
    assert limner(*asked, "--overlay", studio / "layered.png", cwd=studio).stderr == ""
    (studio / "layered.png").unlink()


def test_a_photo_of_two_faces_is_skipped_with_what_a_series_can_do_about_it(studio):
    done = limner("series", "reference.jpg", "pair.png", "--no-cache", "--no-values", cwd=studio)
    said = " ".join(done.stdout.split())
    assert done.returncode == 7
    assert "there are 2 faces" in said
    assert "Crop the photo to the canvas, so that one is left." in said
    assert "--face-painting" not in said


def test_the_bytes_do_not_depend_on_the_threads_of_the_linear_algebra(studio):
    asked = ("audit", "reference.jpg", "canvas.png", "--format", "json")
    one, two = (limner(*asked, cwd=studio, OPENBLAS_NUM_THREADS=n) for n in ("1", "2"))
    assert one.stdout
    assert one.stdout == two.stdout
