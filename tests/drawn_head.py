"""A head drawn from ellipses, with known outline, hairline and neck, for tests of the big shape."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

import norms_face as norms
from limner.pictures.picture import Picture

Array = NDArray[np.float64]
CENTRE = (700.0, 640.0)
FACE = norms.norms_px(centre=CENTRE)
FACE[[9, 151, 10]] = [(700.0, 580.0), (700.0, 490.0), (700.0, 385.4)]
UNIT = float(np.linalg.norm(FACE[473] - FACE[468]))
SIZE = (1400, 1500)


@dataclass(frozen=True, kw_only=True)
class Head:
    """What is drawn; lengths in px, colours sRGB."""

    width: float = 720.0
    """Of the head with its hair."""
    top: float = 150.0
    hairline: float = 350.0
    neck: float = 300.0
    tilt: float = 0.0
    """Px the neck has gone to picture right at 300 px below the chin."""
    lift: float = 0.0
    """The whole picture is shifted up by so much."""
    hair: tuple[int, int, int] = (62, 44, 34)
    skin: tuple[int, int, int] = (206, 160, 130)
    ground: tuple[int, int, int] = (132, 138, 136)
    seed: int = 0

    @property
    def points(self) -> Array:
        """(478, 2) array, px."""
        return FACE - (0.0, self.lift)

    def outline(self, places: Array) -> Array:
        """(N,) array: how far (N, 2) places lie from the outline of the hair, px, for small distances."""
        height = 760.0 - self.top
        a, b = (places[:, 0] - 700) / (self.width / 2), (places[:, 1] + self.lift - 760) / height
        radius = np.hypot(a, b)
        slope = np.hypot(a / (self.width / 2), b / height) / np.maximum(radius, 1e-9)
        return np.asarray((radius - 1) / slope)

    def picture(self, name: str = "drawn") -> Picture:
        """Draw it, with soft edges and the noise of a camera."""
        canvas = np.full((SIZE[1], SIZE[0], 3), self.ground, dtype=np.uint8)
        half = round(self.width / 2), round(760 - self.top)
        cv2.ellipse(canvas, (700, 760), half, 0, 0, 360, self.hair, -1)
        chin = FACE[152, 1]
        low = chin + 500
        neck = np.array(
            [
                (700 - self.neck / 2, chin - 150),
                (700 + self.neck / 2, chin - 150),
                (700 + self.neck / 2 + self.tilt * (500 / 300), low),
                (700 - self.neck / 2 + self.tilt * (500 / 300), low),
            ]
        )
        # Below the ears there is ground beside the neck, and the face over all of it.
        cv2.rectangle(canvas, (0, 1040), (SIZE[0], SIZE[1]), self.ground, -1)
        cv2.fillPoly(canvas, [np.round(neck).astype(np.int32)], self.skin)
        cv2.ellipse(canvas, (700, 760), (274, round(760 - self.hairline)), 0, 180, 360, self.skin, -1)
        cv2.ellipse(canvas, (700, 760), (274, round(chin - 760)), 0, 0, 180, self.skin, -1)
        for x in (577, 823):
            cv2.ellipse(canvas, (x, 640), (50, 20), 0, 0, 360, (60, 45, 40), -1)
        cv2.ellipse(canvas, (700, 920), (100, 26), 0, 0, 360, (150, 70, 70), -1)
        rng = np.random.default_rng(self.seed)
        coarse = cv2.resize(rng.normal(0, 6, (SIZE[1] // 12, SIZE[0] // 12, 1)).astype(np.float32), SIZE)
        soft = cv2.GaussianBlur(canvas, (0, 0), 5).astype(np.float64) + coarse[..., None]
        moved = np.roll(np.clip(soft, 0, 255).astype(np.uint8), -round(self.lift), axis=0)
        return Picture(pixels=moved, name=name, digest=None, full_size=SIZE)
