"""Fixtures shared by all tests."""

from __future__ import annotations

import os
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
