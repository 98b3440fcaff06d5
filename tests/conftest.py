"""Fixtures shared by all tests."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from limner.errors import ModelError
from limner.face.bundle import ensure_model


@pytest.fixture(autouse=True)
def own_environment() -> Iterator[None]:
    """What a command line run inside the process sets must not reach the processes that later tests start."""
    before = dict(os.environ)
    yield
    for name in os.environ.keys() - before.keys() - {"PYTEST_CURRENT_TEST"}:
        del os.environ[name]
    os.environ.update({name: value for name, value in before.items() if name != "PYTEST_CURRENT_TEST"})


@pytest.fixture(scope="session")
def model_path() -> Path:
    """The detector's bundle: the one LIMNER_MODEL names, else the kept one. A test run without it fails and says so."""
    try:
        return ensure_model()
    except ModelError as error:
        pytest.fail(str(error))


@pytest.fixture(scope="session")
def portrait() -> NDArray[np.uint8]:
    """The portrait photograph that scikit-image carries: (512, 512, 3), sRGB, read-only."""
    from skimage import data

    picture: NDArray[np.uint8] = np.asarray(data.astronaut())
    picture.setflags(write=False)
    return picture


@pytest.fixture(scope="session")
def heads(tmp_path_factory: pytest.TempPathFactory, portrait: NDArray[np.uint8]) -> Path:
    """Three pictures that no test may touch: `reference.jpg`; `canvas.jpg`, too long; `other.jpg`, too wide."""
    from PIL import Image

    folder = tmp_path_factory.mktemp("heads")
    head = Image.fromarray(portrait).crop((110, 0, 330, 250)).resize((440, 500), Image.Resampling.BICUBIC)
    head.save(folder / "reference.jpg", quality=95)
    head.resize((440, 530)).save(folder / "canvas.jpg", quality=95)
    head.resize((470, 500)).save(folder / "other.jpg", quality=95)
    return folder


@pytest.fixture(scope="session")
def kept(tmp_path_factory: pytest.TempPathFactory, heads: Path, model_path: Path) -> Path:
    """A cache that holds the series of these; no test may touch it."""
    from faultbench import FINE, run

    place = tmp_path_factory.mktemp("kept")
    words = ("series", "reference.jpg", "canvas.jpg", "other.jpg", "--jobs", "2")
    done = run(*words, cwd=heads, LIMNER_CACHE=str(place))
    assert done.returncode in FINE, done.stderr
    return place


@pytest.fixture(scope="session")
def example_studio(tmp_path_factory: pytest.TempPathFactory, model_path: Path) -> Path:
    """The example studio of ``make demo``, to be read only: the one that the first worker has built serves all."""
    own = tmp_path_factory.getbasetemp()
    shared = (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "example-studio"
    if shared.exists():
        return shared
    folder = tmp_path_factory.mktemp("demo") / "studio"
    script = Path(__file__).parent.parent / "demo" / "studio.py"
    done = subprocess.run(
        [sys.executable, str(script), str(folder)], capture_output=True, text=True, check=False, timeout=300
    )
    assert done.returncode == 0, done.stderr
    assert str(folder) in done.stdout
    try:
        return folder.rename(shared)
    except OSError:  # another worker had it ready meanwhile
        return folder
