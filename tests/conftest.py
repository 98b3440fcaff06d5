"""Fixtures shared by all tests."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from limner.errors import ModelError
from limner.face.bundle import ensure_model


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
