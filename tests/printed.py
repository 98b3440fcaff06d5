"""Renders a PDF as a printer would and measures in it: poppler's pdftoppm at a known resolution."""

from __future__ import annotations

import io
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

DPI = 300
MM = 25.4 / DPI
"""mm of one px."""


def printed(data: bytes, folder: Path, page: int = 1, dpi: int = DPI) -> np.ndarray:
    """Darkness of one page, 0 white to 1 black, (H, W); a test that asks for it is skipped without poppler."""
    program = shutil.which("pdftoppm")
    if program is None:
        pytest.skip("poppler's pdftoppm is not installed: the printed page cannot be measured")
    file = folder / "printed.pdf"
    file.write_bytes(data)
    done = subprocess.run(
        [program, "-r", str(dpi), "-gray", "-f", str(page), "-l", str(page), str(file)], capture_output=True, check=True
    )
    return 1 - np.asarray(Image.open(io.BytesIO(done.stdout)), dtype=np.float64) / 255


def upright_lines(dark: np.ndarray, y: float, x0: float, x1: float, dpi: int = DPI) -> list[float]:
    """Where upright lines cross the level ``y`` between ``x0`` and ``x1``, mm: the middle of the ink of each."""
    px = 25.4 / dpi
    row = dark[round(y / px), round(x0 / px) : round(x1 / px)]
    return [middle * px for middle in _middles(row, round(x0 / px))]


def level_lines(dark: np.ndarray, x: float, y0: float, y1: float) -> list[float]:
    """Where level lines cross the plumb line ``x`` between ``y0`` and ``y1``, mm."""
    return upright_lines(dark.T, x, y0, y1)


def _middles(row: np.ndarray, start: int) -> list[float]:
    """Centres of the runs of ink in a row, px counted from the edge of the page."""
    inked = np.flatnonzero(row > 0.05)
    if not inked.size:
        return []
    runs = np.split(inked, np.flatnonzero(np.diff(inked) > 1) + 1)
    return [start + 0.5 + float(np.average(run, weights=row[run])) for run in runs]
