"""A face of random texture and its painting, in which known moves were made: both in the working frame."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.register.bring import FACE, Brought, Sitter

Array = NDArray[np.float64]


def textured(places: Array, move: Callable[[Array], Array], *, rounds: int, noise: float = 0.0) -> Brought:
    """Pictures of 360 x 360 px.

    ``places`` are the (478, 2) points of the reference; ``move`` says by how much each of (..., 2) spots goes, turned
    back in so many ``rounds``; ``noise`` is a share of the texture's contrast.
    """
    rng = np.random.default_rng(7)
    texture = cv2.GaussianBlur(rng.normal(size=(360, 360)).astype(np.float32), (0, 0), 3) * 80 + 50
    grid = np.stack(np.meshgrid(np.arange(360.0), np.arange(360.0)), axis=-1)
    came = grid
    for _ in range(rounds):
        came = grid - move(came)
    across, down = came.astype(np.float32).transpose(2, 0, 1)
    painted = cv2.remap(texture, across, down, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    painted += cv2.GaussianBlur(rng.normal(size=(360, 360)).astype(np.float32), (0, 0), 2) * noise * 7

    def lab(plane: Array) -> NDArray[np.float32]:
        return np.dstack([plane, np.zeros((360, 360, 2))]).astype(np.float32)

    still = np.eye(2, 3)
    sitter = Sitter(lab=lab(texture), places=places, from_reference=still, extent=FACE)
    return Brought(sitter=sitter, painting=lab(painted), found=places, to_painting=still)
