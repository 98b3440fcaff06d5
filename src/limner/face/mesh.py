"""The face landmarker: pixels in, meshes of 478 points out. The only module that imports mediapipe for detection."""

from __future__ import annotations

import atexit
import functools
import hashlib
import importlib
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from limner.errors import ModelError
from limner.face.facepoints import POINT_COUNT
from limner.face.quiet import without_chatter
from limner.pictures.system import missing_library

Array = NDArray[np.float64]

PLAIN = 0.5
"""The landmarker's own thresholds for "a face is here" and "these are its points"."""
EAGER = 0.2
"""Thresholds for a second look, whose finds need a witness."""


PLAIN_FACES = 6
"""How many faces a plain search asks for; of so many the first comes out just as if only one were asked for."""


@dataclass(frozen=True)
class _Network:
    """One landmarker and what is needed to hand it a picture."""

    landmarker: Any
    image: Any
    srgb: Any


class Mesh:
    """The landmarker with one bundle. May be shared between threads: each call has a network to itself."""

    def __init__(self, model: Path) -> None:
        """Reads the bundle; a network is made when first needed and kept for the next call.

        Raises:
            ModelError: if the file cannot be read.
        """
        try:
            self._bundle = model.read_bytes()
        except OSError as error:
            raise ModelError(f"The model file {model} cannot be read: {error.strerror}.") from error
        self.version = hashlib.sha256(self._bundle).hexdigest()
        self._name = model.name
        self._lock = threading.Lock()
        self._idle: dict[tuple[int, float], list[_Network]] = {}

    def detect(self, pixels: NDArray[np.uint8], max_faces: int = 1, threshold: float = PLAIN) -> list[Array]:
        """The faces of a picture, the detector's surest first.

        Args:
            pixels: (height, width, 3) array, sRGB, red first.
            max_faces: at most so many are returned.
            threshold: what the detector and the landmark network both have to reach, 0 to 1.

        Returns:
            One (478, 3) array for each: x, y in px, and the depth in the same unit, smaller nearer.

        Raises:
            ModelError: if the landmarker cannot be made from the bundle, or fails.
        """
        height, width = pixels.shape[:2]
        with self._network(max(max_faces, PLAIN_FACES), threshold) as network:
            try:
                image = network.image(image_format=network.srgb, data=np.ascontiguousarray(pixels))
                found = network.landmarker.detect(image)
            except (RuntimeError, ValueError) as error:
                raise ModelError(f"The face landmarker failed on {width} x {height} px: {error}") from error
        size = np.array([width, height, width], dtype=np.float64)
        meshes = [np.array([(p.x, p.y, p.z) for p in face], dtype=np.float64) * size for face in found.face_landmarks]
        if any(mesh.shape != (POINT_COUNT, 3) for mesh in meshes):
            raise ModelError(
                f"{self._name} gives {len(meshes[0])} points a face, expected {POINT_COUNT}: "
                "it is another landmarker; name one with refined irises with --model FILE."
            )
        return meshes[:max_faces]

    def warm(self) -> None:
        """Makes a network for a plain search now, so that the first picture need not wait for it.

        Raises:
            ModelError: if the landmarker cannot be made from the bundle.
        """
        with self._network(PLAIN_FACES, PLAIN):
            pass

    @contextmanager
    def _network(self, max_faces: int, threshold: float) -> Iterator[_Network]:
        key = (max_faces, threshold)
        with self._lock:
            idle = self._idle.setdefault(key, [])
            network = idle.pop() if idle else None
        if network is None:
            with without_chatter():
                network = _create(self._bundle, self._name, max_faces, threshold)
        try:
            yield network
        finally:
            with self._lock:
                self._idle[key].append(network)


@functools.lru_cache(maxsize=2)
def _opened(model: Path, stamp: tuple[int, int]) -> Mesh:
    del stamp  # only there so that a changed file is opened anew
    return Mesh(model)


def open_mesh(model: Path) -> Mesh:
    """The landmarker for a bundle, made once in a process for as long as the file stays the same.

    Raises:
        ModelError: if the file cannot be read.
    """
    try:
        state = model.stat()
    except OSError as error:
        raise ModelError(f"The model file {model} cannot be read: {error.strerror}.") from error
    return _opened(model.resolve(), (state.st_mtime_ns, state.st_size))


def _create(bundle: bytes, name: str, max_faces: int, threshold: float) -> _Network:
    vision, core, options = _import_mediapipe()
    try:
        landmarker = vision.FaceLandmarker.create_from_options(
            vision.FaceLandmarkerOptions(
                base_options=options.BaseOptions(model_asset_buffer=bundle),
                num_faces=max_faces,
                min_face_detection_confidence=threshold,
                min_face_presence_confidence=threshold,
            )
        )
    except OSError as error:
        raise ModelError(_not_loaded(error)) from error
    except (RuntimeError, ValueError, FileNotFoundError) as error:
        reason = str(error).splitlines()[0] if str(error) else "no reason given"
        raise ModelError(
            f"{name} is not a face landmarker bundle that can be used ({reason}); run: limner model fetch, "
            "or name another with --model FILE."
        ) from error
    atexit.register(_forget, landmarker)
    return _Network(landmarker, core.Image, core.ImageFormat.SRGB)


def _forget(landmarker: Any) -> None:
    # By the end of the process the thread that would close the landmarker is gone, and its destructor would say so on
    # standard error; the system takes the memory back.
    landmarker._handle = None  # noqa: SLF001


def _import_mediapipe() -> tuple[Any, Any, Any]:
    # mediapipe also imports a sound recorder, which asks the system for its audio library; limner needs neither.
    without_sound = "sounddevice" not in sys.modules
    if without_sound:
        sys.modules["sounddevice"] = None  # type: ignore[assignment]
    try:
        vision = importlib.import_module("mediapipe.tasks.python.vision")
        core = importlib.import_module("mediapipe.tasks.python.vision.core.image")
        options = importlib.import_module("mediapipe.tasks.python.core.base_options")
    except ImportError as error:
        raise ModelError(
            f"mediapipe cannot be imported ({error}). limner needs mediapipe 0.10.30 or 0.10.31, which has wheels for "
            "Linux x86-64, macOS arm64 and Windows; install limner again in a fresh environment."
        ) from error
    except OSError as error:
        raise ModelError(_not_loaded(error)) from error
    finally:
        if without_sound:
            sys.modules.pop("sounddevice", None)
    return vision, core, options


def _not_loaded(error: OSError) -> str:
    return missing_library(error) or f"The face landmarker's shared library cannot be loaded: {error}"
