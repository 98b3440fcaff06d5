"""The landmarker's wrapper: quiet, shared between threads, and plain about what is wrong."""

from __future__ import annotations

import importlib
import subprocess
import sys
import threading
import zipfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from limner.errors import ModelError
from limner.face.mesh import Mesh, open_mesh

SCRIPT = """
import sys
from pathlib import Path
import numpy as np
from limner.face.mesh import Mesh
mesh = Mesh(Path(sys.argv[1]))
print(len(mesh.detect(np.zeros((300, 200, 3), dtype=np.uint8), 6)))
sys.stderr.write("from python\\n")
print("sounddevice" in sys.modules)
"""


def test_nothing_of_the_librarys_chatter_reaches_the_terminal(model_path):
    done = subprocess.run([sys.executable, "-c", SCRIPT, str(model_path)], capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert done.stdout.split() == ["0", "False"]
    assert done.stderr == "from python\n"


QUIET_SCRIPT = """
import os, sys
from limner.face.quiet import without_chatter
with without_chatter():
    os.write(2, b"INFO: Created a delegate\\nW0000 00:00:1.2 3 file.cc:1] a warning\\n")
    os.write(2, b"E0000 00:00:1.2 3 file.cc:1] an error\\n")
    with without_chatter():
        os.write(2, b"something else\\n")
os.write(2, b"after\\n")
"""


MINGLED = """
import os
from limner.face.quiet import without_chatter
said = b"The model is not a valid Flatbuffer buffer"
for pieces in ((b"ERROR: ", b"ERROR: ", said, b"\\n", said, b"\\n"), (b"ERROR: ", said, said, b"\\n", b"\\n"),
               (b"ERROR: ", said, b"ERROR: ", b"\\n", said, b"\\n"), (b"ERROR: ", said, b"\\nERROR: another\\n")):
    with without_chatter():
        for piece in pieces:
            os.write(2, piece)
"""


def test_an_error_that_is_told_anyway_is_dropped_where_two_threads_wrote_it_at_once():
    done = subprocess.run([sys.executable, "-c", MINGLED], capture_output=True, text=True, timeout=300, check=True)
    assert done.stderr == "ERROR: another\n"


def test_errors_and_all_else_still_reach_the_terminal():
    done = subprocess.run([sys.executable, "-c", QUIET_SCRIPT], capture_output=True, text=True, check=True)
    assert done.stderr.splitlines() == ["E0000 00:00:1.2 3 file.cc:1] an error", "something else", "after"]


def test_two_threads_read_the_same(model_path, portrait):
    mesh = Mesh(model_path)
    start = threading.Barrier(2)

    def read() -> bytes:
        start.wait()
        return b"".join(mesh.detect(portrait)[0].tobytes() for _ in range(3))

    with ThreadPoolExecutor(2) as pool:
        first, second = (future.result() for future in [pool.submit(read), pool.submit(read)])
    assert first == second == mesh.detect(portrait)[0].tobytes() * 3


def test_coordinates_are_px_and_depth_has_their_scale(model_path, portrait):
    mesh = open_mesh(model_path)
    (whole,) = mesh.detect(portrait)
    (part,) = mesh.detect(portrait[0:300, 100:400])
    assert whole.shape == (478, 3)
    assert np.abs(part[:, :2] + (100, 0) - whole[:, :2]).max() < 3
    assert part[4, 2] == pytest.approx(whole[4, 2], rel=0.15)


def test_a_landmarker_is_opened_once(model_path):
    assert open_mesh(model_path) is open_mesh(Path(str(model_path)))


def test_a_bundle_without_models_is_refused_in_a_sentence(tmp_path):
    path = tmp_path / "own.task"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("face_detector.tflite", b"one")
        archive.writestr("face_landmarks_detector.tflite", b"two")
    with pytest.raises(ModelError, match=r"own\.task is not a face landmarker bundle.*limner model fetch"):
        Mesh(path).warm()
    with pytest.raises(ModelError, match="cannot be read"):
        Mesh(tmp_path / "nowhere.task")


def test_a_missing_mediapipe_or_system_library_gives_a_sentence(model_path, portrait, monkeypatch):
    def missing(name):
        raise ImportError(f"No module named {name!r}")

    monkeypatch.setattr(importlib, "import_module", missing)
    with pytest.raises(ModelError, match="wheels for Linux"):
        Mesh(model_path).detect(portrait)

    def unloadable(name):
        raise OSError("libGLESv2.so.2: cannot open shared object file: No such file or directory")

    monkeypatch.setattr(importlib, "import_module", unloadable)
    with pytest.raises(ModelError, match="apt-get install libgles2"):
        Mesh(model_path).detect(portrait)


def test_an_unknown_loading_failure_keeps_the_loaders_words(model_path, portrait, monkeypatch):
    def unloadable(name):
        raise OSError("libmediapipe.so: invalid ELF header")

    monkeypatch.setattr(importlib, "import_module", unloadable)
    with pytest.raises(ModelError, match="invalid ELF header"):
        Mesh(model_path).detect(portrait)


def test_asking_for_more_faces_changes_nothing_of_the_first(model_path, portrait):
    mesh = open_mesh(model_path)
    (one,), several, many = mesh.detect(portrait, 1), mesh.detect(portrait, 6), mesh.detect(portrait, 8)
    assert one.tobytes() == several[0].tobytes() == many[0].tobytes()
