"""The painting as its canvas shows it from straight in front: found in the photo, or by corners given by hand."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from limner.errors import PictureError, UsageError
from limner.notices import Notice
from limner.result import CanvasReport, FoundBy, Quantity
from limner.settings import Settings

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from limner.face.byhand import HandPoints
    from limner.pictures.picture import Picture

SIZE_MM = 1.0
"""One-sigma error of a canvas's side as sold and stretched, mm (limner's choice)."""
LENS = 0.002
"""One-sigma share that a phone's lens leaves in lengths (limner's choice)."""
EVEN = 0.02
"""Share by which a picture taken as the canvas may be off the canvas's proportions (limner's choice)."""
NOTHING = 0.003
"""Confidence below which nothing like a canvas stands in the photo: 0.000 on nine pictures without one, 0.011 and more
on eight scenes with one that is not found surely."""
BY_EYE = 0.003
"""One-sigma share of the size of a canvas cut out by eye (limner's choice)."""
BY_HAND_PX = 2.0
"""One-sigma error of a corner given by hand, px of the stored photo (limner's choice)."""
TILTS = (5.0, 10.0)
"""Degrees to the side for which it is told what a camera that did not stand in front does."""
FACE_MM, CAMERA_MM = 150.0, 1000.0
"""A painted face's width and the distance of the phone that the sentence on tilts is worked out for."""


FaceAt = Callable[[], "tuple[float, float] | None"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Straightened:
    """A photo of a canvas, straightened or as it came."""

    picture: Picture
    report: CanvasReport | None
    notices: tuple[Notice, ...] = ()
    homography: NDArray[np.float64] | None = None
    """(3, 3) array: px of the decoded photo to px of ``picture``; ``None`` where nothing was straightened."""

    def moved(self, placed: HandPoints, photo: Picture) -> HandPoints:
        """Points placed by hand on the stored photo, in px of the straightened canvas.

        Raises UsageError where they were placed on another picture.
        """
        import numpy as np

        from limner.face.byhand import check_belongs

        if self.homography is None:
            return placed
        check_belongs(placed, photo)
        width, height = self.picture.full_size
        moved = {}
        for key, point in placed.points.items():
            x, y, w = self.homography @ np.array([point.x * photo.scale, point.y * photo.scale, 1.0])
            moved[key] = replace(point, x=float(x / w), y=float(y / w))
        return replace(placed, width=width, height=height, sha256=self.picture.digest, points=moved)


def as_it_came(picture: Picture) -> Straightened:
    """A picture that is no photo of a canvas."""
    return Straightened(picture=picture, report=None)


def check_canvas(settings: Settings) -> None:
    """Raise UsageError for a canvas or corners that make no sense, before any work is done."""
    from limner.pictures.canvassize import parse_canvas_size

    if settings.corners and len(settings.corners) != 4:
        raise UsageError(f"--corners: expected the four corners of the canvas, got {len(settings.corners)}.")
    if settings.corners and settings.canvas == "none":
        raise UsageError("--canvas none says that there is no canvas to be seen: leave --corners out.")
    if settings.canvas not in (None, "none"):
        parse_canvas_size(str(settings.canvas))


def straighten(photo: Picture, settings: Settings, face_at: FaceAt | None = None) -> Straightened:
    """See the canvas of a photo straight on, as the settings ask for.

    ``face_at`` tells where the painted face is, (x, y) in px of the decoded photo, or ``None``: it is asked, and the
    canvas looked for round it, only where none is sure round the middle of the photo.

    Raises UsageError for a size or corners that make no sense; PictureError where a canvas of known size is neither
    found surely nor fills the picture: a reading that is not sure is never used.
    """
    if settings.canvas is None and not settings.corners:
        return Straightened(picture=photo, report=None, notices=(_not_straightened(),))
    if settings.canvas == "none":
        reason = "The picture is a crop, as said: nothing was straightened, and lengths on the canvas are not known."
        return Straightened(picture=photo, report=_report("nothing", reason), notices=(_not_straightened(),))
    from limner.pictures.canvassize import parse_canvas_size

    if settings.canvas is None:
        return _by_corners(photo, settings.corners, None)
    size = parse_canvas_size(settings.canvas)
    return _by_corners(photo, settings.corners, size) if settings.corners else _found(photo, size, face_at)


def _by_corners(
    photo: Picture, corners: tuple[tuple[float, float], ...], size: tuple[float, float] | None
) -> Straightened:
    import numpy as np

    from limner.pictures.rectify import ordered_corners

    ring = ordered_corners(np.array(corners, dtype=np.float64))
    width, height = photo.full_size
    room = 0.25 * max(width, height)
    if (ring < -room).any() or (ring > [width + room, height + room]).any():
        raise UsageError(
            f"--corners: expected px of the photo, which is {width} x {height} px; a corner lies far outside it."
        )
    return _rectified(photo, ring, size, np.full(4, BY_HAND_PX), "hand", "Its corners were given by hand.")


def _found(photo: Picture, size: tuple[float, float], face_at: FaceAt | None) -> Straightened:
    from limner.pictures.canvas import find_canvas

    found = find_canvas(photo, size_mm=size)
    spot = face_at() if face_at is not None and not found else None
    if spot is not None:
        found = find_canvas(photo, around=spot, size_mm=size) or found
    if found and found.corners is not None and found.sigma is not None:
        corners, sigma = found.corners / photo.scale, found.sigma / photo.scale
        return _rectified(photo, corners, size, sigma, "photo", found.reason)
    width, height = photo.full_size
    wide, high = min((size, size[::-1]), key=lambda sides: abs(math.log(width / height * sides[1] / sides[0])))
    off = abs(math.log(width / height * high / wide))
    if found.confidence > NOTHING or off > EVEN:
        raise PictureError(
            f"{found.reason} Expected a canvas of {size[0]:g} x {size[1]:g} mm in '{photo.name}'. Give its corners "
            "(--corners x,y x,y x,y x,y), crop the photo to it, or use --canvas none."
        )
    pitch = (wide / width + high / height) / 2 / photo.scale
    reason = "No edges were seen, so the picture was taken as the canvas edge to edge."
    share = math.hypot(BY_EYE, off / 2, SIZE_MM / math.sqrt(wide * high))
    report = _report("whole picture", reason, size=(wide, high), pitch=Quantity(value=pitch, sigma=pitch * share))
    return Straightened(picture=photo, report=report)


def _rectified(
    photo: Picture,
    corners: NDArray[np.float64],
    size: tuple[float, float] | None,
    sigma: NDArray[np.float64],
    by: FoundBy,
    reason: str,
) -> Straightened:
    """``corners`` and ``sigma`` in px of the stored photo."""
    import numpy as np

    from limner.pictures.rectify import rectify

    flat = rectify(photo, corners * photo.scale, size)
    pitch = Quantity(value=None, sigma=None)
    if flat.mm_per_px is not None and flat.size_mm is not None:
        side = float(np.sqrt(flat.size_mm[0] * flat.size_mm[1]))
        seen = float(np.linalg.norm(corners[2] - corners[0]))
        share = math.hypot(SIZE_MM / side, float(np.mean(sigma)) / seen, LENS)
        pitch = Quantity(value=flat.mm_per_px, sigma=flat.mm_per_px * share)
    report = _report(by, reason, size=flat.size_mm, pitch=pitch)
    report = replace(
        report,
        corners=tuple((round(float(x), 2), round(float(y), 2)) for x, y in corners),
        off_axis=flat.off_axis,
    )
    return Straightened(picture=flat.picture, report=report, notices=flat.notices, homography=flat.homography)


def _report(
    found_by: FoundBy, reason: str, *, size: tuple[float, float] | None = None, pitch: Quantity | None = None
) -> CanvasReport:
    return CanvasReport(
        found_by=found_by,
        sure=found_by != "nothing",
        reason=reason,
        corners=(),
        size_mm=size,
        mm_per_px=pitch or Quantity(value=None, sigma=None),
        off_axis=None,
    )


def proportions_of(canvas: CanvasReport | None) -> float | None:
    """How surely length stands against width as on the canvas: one sigma, percent; ``None`` where that is not known."""
    if canvas is None or canvas.size_mm is None or not canvas.mm_per_px.value or canvas.mm_per_px.sigma is None:
        return None
    return 100 * math.sqrt(2) * canvas.mm_per_px.sigma / canvas.mm_per_px.value


def _not_straightened() -> Notice:
    """What a camera that did not stand in front of the canvas does to a reading."""
    narrow, uneven = zip(*(tilt_bound(tilt) for tilt in TILTS), strict=True)
    text = (
        f"The canvas was not looked for (--canvas 400x500mm). A camera {TILTS[0]:.0f} or {TILTS[1]:.0f} degrees to the "
        f"side narrows all widths by {narrow[0]:.1f} or {narrow[1]:.1f} %, and at a metre draws the nearer half of a "
        f"face 15 cm wide {uneven[0]:.1f} or {uneven[1]:.1f} % larger than the other."
    )
    return Notice(code="not_straightened", text=text)


def tilt_bound(degrees: float) -> tuple[float, float]:
    """What a camera so far to the side does: percent by which widths shrink, and by which the face's halves differ.

    Widths go with the cosine; size goes with one over the distance, and the middles of the two halves of a face
    :data:`FACE_MM` wide, seen from :data:`CAMERA_MM`, lie half the face's width times the sine apart in depth.

    >>> [round(v, 2) for v in tilt_bound(10)]
    [1.52, 1.31]
    """
    turn = math.radians(degrees)
    depth = FACE_MM / 2 * math.sin(turn)
    nearer, farther = CAMERA_MM - depth / 2, CAMERA_MM + depth / 2
    return 100 * (1 - math.cos(turn)), 100 * (farther / nearer - 1)
