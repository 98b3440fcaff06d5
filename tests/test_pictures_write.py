"""Files out: whole or not at all, and never onto a picture that was read."""

from __future__ import annotations

import io
import os
import stat
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from limner.errors import OutputError
from limner.pictures.system import missing_library
from limner.pictures.write import check_output, encode_png, write_whole


def refused(path: Path | str, *inputs: Path | str) -> str:
    with pytest.raises(OutputError) as caught:
        write_whole(path, b"new", inputs=inputs)
    assert caught.value.exit_code == 6
    sentence = str(caught.value)
    assert sentence.startswith("Expected ")
    assert sentence.endswith(".")
    with pytest.raises(OutputError, match=r"^Expected "):
        check_output(path, inputs=inputs)
    return sentence


def test_a_new_file_and_a_replaced_one(tmp_path: Path) -> None:
    out = tmp_path / "Über lay.png"
    write_whole(out, b"first")
    assert out.read_bytes() == b"first"
    out.chmod(0o640)
    write_whole(str(out), b"second")
    assert out.read_bytes() == b"second"
    assert list(tmp_path.iterdir()) == [out]
    if sys.platform != "win32":
        assert stat.S_IMODE(out.stat().st_mode) == 0o640


def test_a_new_file_gets_the_permissions_of_any_new_file(tmp_path: Path) -> None:
    write_whole(tmp_path / "ours", b"")
    (tmp_path / "plain").write_bytes(b"")
    assert (tmp_path / "ours").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_an_input_is_never_written_under_any_of_its_names(tmp_path: Path) -> None:
    photo = tmp_path / "photo.jpg"
    photo.write_bytes(b"photo")
    (tmp_path / "link.jpg").symlink_to("photo.jpg")
    os.link(photo, tmp_path / "second.jpg")
    for name in (photo, tmp_path / "." / "photo.jpg", tmp_path / "link.jpg", tmp_path / "second.jpg"):
        assert "was read" in refused(name, tmp_path / "other.jpg", photo)
        assert "was read" in refused(photo, name)
    assert photo.read_bytes() == b"photo"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["link.jpg", "photo.jpg", "second.jpg"]


def test_a_link_is_written_through(tmp_path: Path) -> None:
    (tmp_path / "real").write_bytes(b"old")
    (tmp_path / "link").symlink_to("real")
    write_whole(tmp_path / "link", b"new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_bytes() == b"new"


def test_places_that_cannot_be_written(tmp_path: Path) -> None:
    assert "a folder" in refused(tmp_path)
    assert "does not exist" in refused(tmp_path / "none" / "a.png")
    assert "cannot be one" in refused(str(tmp_path / "a") + "\0")
    if sys.platform != "win32":
        assert "pipe or device" in refused("/dev/null")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    out = tmp_path / "a.png"
    out.write_bytes(b"old")

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(*((os, "fsync", fail) if step == "fsync" else (Path, "replace", fail)))
    with pytest.raises(OutputError, match="No space left on device"):
        write_whole(out, b"new")
    assert out.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [out]


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such permissions")
def test_what_is_write_protected_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "a.png"
    out.write_bytes(b"old")
    out.chmod(0o444)
    if os.geteuid() == 0:  # the superuser is asked through the same question, answered as for anybody else
        monkeypatch.setattr(os, "access", lambda path, mode: not (Path(path) == out and mode == os.W_OK))
    assert "write-protected" in refused(out)
    assert out.read_bytes() == b"old"


@pytest.mark.parametrize("shape", [(5, 7), (5, 7, 3), (5, 7, 4)])
def test_a_png_holds_the_pixels_and_nothing_but_the_pixels(shape: tuple[int, ...]) -> None:
    pixels = np.random.default_rng(0).integers(0, 256, shape, dtype=np.uint8)
    data = encode_png(pixels)
    assert data == encode_png(np.asfortranarray(pixels))
    back = Image.open(io.BytesIO(data))
    assert np.array_equal(np.asarray(back), pixels)
    assert back.info == {}
    names = {data[i + 4 : i + 8] for i in _chunks(data)}
    assert names == {b"IHDR", b"IDAT", b"IEND"}


def _chunks(data: bytes) -> list[int]:
    starts, at = [], 8
    while at < len(data):
        starts.append(at)
        at += 12 + int.from_bytes(data[at : at + 4], "big")
    return starts


@pytest.mark.parametrize(
    ("message", "words"),
    [
        ("libGL.so.1: cannot open shared object file: No such file or directory", "libgl1"),
        ("libgthread-2.0.so.0: cannot open shared object file: No such file or directory", "libglib2.0-0"),
        ("libSM.so.6: cannot open shared object file: No such file or directory", "libsm6"),
        ("libEGL.so.1: cannot open shared object file: No such file or directory", "libegl1"),
        ("/usr/lib/libGLESv2.so.2: cannot open shared object file", "libgles2"),
        ("No module named 'cv2'", "pip install"),
        ("numpy.core.multiarray failed to import", "pip install"),
    ],
)
def test_an_opencv_that_does_not_load_gives_a_sentence(tmp_path: Path, message: str, words: str) -> None:
    """In a process of its own, with an OpenCV that fails in the way the real one does."""
    (tmp_path / "cv2.py").write_text(f"raise ImportError({message!r})\n")
    code = "import sys\nfrom limner.cli.main import ended\nsys.exit(ended(lambda: __import__('cv2'), debug=False))"
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(tmp_path), os.environ.get("PYTHONPATH", "")])},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert words in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_other_import_failures_are_not_blamed_on_the_system() -> None:
    assert missing_library(ImportError("cannot import name 'x'")) is None
    assert missing_library(OSError("libmediapipe.so: invalid ELF header")) is None
    assert "libEGL.so.1" in str(missing_library(OSError("libEGL.so.1: cannot open shared object file")))
