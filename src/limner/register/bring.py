"""Both faces brought onto one working frame: the reference upright as it is, the painting laid over it.

The working frame has :data:`PX_PER_PUPILS` px between the reference's pupils, whatever the pictures' own size, so that
every window and blur further on is a share of the pupil distance. Only the part of each picture round the face is read.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from limner.face.facepoints import PUPIL_LEFT, PUPIL_RIGHT, FacePoints
from limner.measure.similarity import NoFit, Similarity, fit_robust
from limner.pictures.cielab import lab_of_pixels
from limner.pictures.once import Once, once_of
from limner.pictures.picture import Picture

Array = NDArray[np.float64]
Plane = NDArray[np.float32]

PX_PER_PUPILS = 130.0
"""Working px between the reference's pupils."""


@dataclass(frozen=True, kw_only=True)
class Extent:
    """How finely the working frame is drawn and how much of the pictures it shows."""

    px: float
    """Working px between the reference's pupils."""
    margin: float
    """What is kept round the outermost points, in pupil distances."""
    above: float
    """What is kept above that, in pupil distances."""


FACE = Extent(px=PX_PER_PUPILS, margin=0.45, above=0.2)
"""The face with some of the forehead."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sitter:
    """The reference in the working frame, with what is made of it once for all its paintings."""

    lab: Plane
    """(h, w, 3) array, L*a*b*."""
    places: Array
    """(478, 2) array: its points in the working frame."""
    from_reference: Array
    """(2, 3) affine matrix from px of the reference as decoded to the working frame."""
    extent: Extent
    kept: Once = field(default_factory=Once, repr=False)


@dataclass(frozen=True, kw_only=True, eq=False)
class Brought:
    """Both faces in the working frame, in CIE L*a*b*."""

    sitter: Sitter
    painting: Plane
    """(h, w, 3) array, L*a*b*; outside the photo its edge is repeated."""
    found: Array
    """(478, 2) array: the points found in the painting, in the working frame."""
    to_painting: Array
    """(2, 3) affine matrix from the working frame to px of the painting as decoded."""

    @property
    def reference(self) -> Plane:
        """(h, w, 3) array, L*a*b*."""
        return self.sitter.lab

    @property
    def places(self) -> Array:
        """(478, 2) array: the reference's points in the working frame."""
        return self.sitter.places

    @property
    def from_reference(self) -> Array:
        """(2, 3) affine matrix from px of the reference as decoded to the working frame."""
        return self.sitter.from_reference


def sitter_of(reference: Picture, points: FacePoints, extent: Extent = FACE) -> Sitter | NoFit:
    """As :func:`draw`, made once for as long as the decoded picture is kept."""
    return once_of(reference.pixels).made((points, extent), lambda: draw(reference.pixels, points.mean, extent))


def bring(
    reference: NDArray[np.uint8],
    points: Array,
    painting: NDArray[np.uint8],
    found: Array,
    extent: Extent = FACE,
) -> Brought | NoFit:
    """Lay the painting over the reference by a robust similarity of all points.

    Args:
        reference: (H, W, 3) array, sRGB.
        points: (478, 2) array, px of ``reference``.
        painting: (H, W, 3) array, sRGB.
        found: (478, 2) array, px of ``painting``.
        extent: of the working frame.

    Returns:
        Both in the working frame, or a falsy :class:`NoFit` where the points give no similarity.
    """
    sitter = draw(reference, points, extent)
    return lay(sitter, painting, found) if isinstance(sitter, Sitter) else sitter


def draw(reference: NDArray[np.uint8], points: Array, extent: Extent = FACE) -> Sitter | NoFit:
    """The reference in the working frame; arguments and what comes instead as in :func:`bring`."""
    distance = float(np.linalg.norm(points[PUPIL_LEFT] - points[PUPIL_RIGHT]))
    known = np.isfinite(points).all(axis=1)
    if not (np.isfinite(distance) and distance > 0 and known.sum() > 2):
        return NoFit("the reference's pupils or most of its points are missing")
    scale = extent.px / distance
    low = points[known].min(axis=0) * scale - extent.margin * extent.px
    high = points[known].max(axis=0) * scale + extent.margin * extent.px
    low[1] -= extent.above * extent.px
    width, height = (4 * int(n) for n in np.ceil((high - low) / 4))  # wide blurs are made on a quarter of it
    from_reference = np.array([[scale, 0.0, -low[0]], [0.0, scale, -low[1]]])
    return Sitter(
        lab=_lab(reference, from_reference, (width, height)),
        places=apply(from_reference, points),
        from_reference=from_reference,
        extent=extent,
    )


def lay(sitter: Sitter, painting: NDArray[np.uint8], found: Array) -> Brought | NoFit:
    """Lay a painting over a reference that is drawn already; arguments and what comes instead as in :func:`bring`."""
    known = np.isfinite(sitter.places).all(axis=1) & np.isfinite(found).all(axis=1)
    if known.sum() < 3:
        return NoFit("most of the painting's points are missing")
    fit = fit_robust(found[known], sitter.places[known], rounds=4)  # only a start for what follows
    if not isinstance(fit, Similarity):
        return fit
    from_painting = _matrix(fit)
    height, width = sitter.lab.shape[:2]
    return Brought(
        sitter=sitter,
        painting=_lab(painting, from_painting, (width, height)),
        found=apply(from_painting, found),
        to_painting=turned_back(from_painting),
    )


def apply(matrix: Array, points: Array) -> Array:
    """A (2, 3) affine matrix on (..., 2) points."""
    return np.asarray(points @ matrix[:, :2].T + matrix[:, 2], dtype=np.float64)


def turned_back(matrix: Array) -> Array:
    """The inverse of a (2, 3) affine matrix."""
    linear = np.linalg.inv(matrix[:, :2])
    return np.hstack([linear, (-linear @ matrix[:, 2])[:, None]])


def _matrix(fit: Similarity) -> Array:
    """The (2, 3) affine matrix of a similarity."""
    factor, shift = complex(fit.factor), complex(fit.shift)
    return np.array([[factor.real, -factor.imag, shift.real], [factor.imag, factor.real, shift.imag]])


def _lab(pixels: NDArray[np.uint8], matrix: Array, size: tuple[int, int]) -> Plane:
    """Resample the part of a picture that the working frame shows, without aliasing, as L*a*b*."""
    corners = np.array([[0, 0], [size[0], 0], [0, size[1]], size], dtype=np.float64)
    seen = apply(turned_back(matrix), corners)
    height, width = pixels.shape[:2]
    x0, y0 = (int(n) for n in np.clip(np.floor(seen.min(axis=0)) - 8, 0, [width - 2, height - 2]))
    x1, y1 = (int(n) for n in np.clip(np.ceil(seen.max(axis=0)) + 8, [x0 + 2, y0 + 2], [width, height]))
    part = pixels[y0:y1, x0:x1]
    matrix = np.hstack([matrix[:, :2], (matrix[:, 2] + matrix[:, :2] @ [x0, y0])[:, None]])
    scale = float(np.sqrt(abs(np.linalg.det(matrix[:, :2]))))
    shrink = int(1 / scale)
    if shrink > 1:
        size_there = -(-part.shape[1] // shrink), -(-part.shape[0] // shrink)
        more = (0, size_there[1] * shrink - part.shape[0], 0, size_there[0] * shrink - part.shape[1])
        padded = cv2.copyMakeBorder(part, *more, borderType=cv2.BORDER_REPLICATE)
        part = np.asarray(cv2.resize(padded, size_there, interpolation=cv2.INTER_AREA), dtype=np.uint8)
        # The middle of a large pixel is the middle of those it was made from.
        linear = matrix[:, :2] * shrink
        matrix = np.hstack([linear, (matrix[:, 2] + matrix[:, :2] @ np.full(2, (shrink - 1) / 2))[:, None]])
        scale *= shrink
    if scale < 0.9:
        part = np.asarray(cv2.GaussianBlur(part, (0, 0), 0.45 / scale), dtype=np.uint8)
    how = cv2.INTER_LINEAR if scale < 0.9 else cv2.INTER_CUBIC
    drawn = cv2.warpAffine(part, matrix, size, flags=how, borderMode=cv2.BORDER_REPLICATE)
    return lab_of_pixels(np.asarray(drawn, dtype=np.uint8))
