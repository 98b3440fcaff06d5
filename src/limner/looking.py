"""One picture of an audit looked at: read, straightened, the face in it found and its points read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from numpy.typing import NDArray

from limner.errors import FaceError
from limner.notices import Notice
from limner.result import CanvasReport, PictureFacts, Pose
from limner.settings import Settings

if TYPE_CHECKING:
    from limner.face.byhand import HandPoints
    from limner.face.facepoints import FacePoints
    from limner.face.mesh import Mesh
    from limner.face.withhand import Handed
    from limner.pictures.picture import Picture

Source = str | Path | NDArray[Any]
"""A path, or an array of shape (H, W), (H, W, 3) or (H, W, 4): sRGB, red first, 8 or 16 bits or 0 to 1."""
Progress = Callable[[str], None]


@dataclass(frozen=True)
class Job:
    """One picture to be read."""

    source: Source
    label: str
    wanted: int | None
    placed: HandPoints | None
    by_hand_only: bool
    canvas: Settings | None = None
    """What is to be straightened, of a painting."""

    @property
    def briefly(self) -> bool:
        """Whether a few looks may do, because the points are only where reading the paint starts from."""
        return self.canvas is not None and self.placed is None and self.canvas.witness != "mesh"


@dataclass(frozen=True, kw_only=True, eq=False)
class Seen:
    """What was read from one picture."""

    picture: Picture
    points: FacePoints
    whole: FacePoints
    """The same without gaps, where a face was detected."""
    pose: Pose | None
    of_face: tuple[Notice, ...]
    """What is to be said of the points..."""
    of_picture: tuple[Notice, ...]
    """...and of the picture."""
    canvas: CanvasReport | None = None
    brief: bool = False
    """Whether it was looked at a few times only."""

    @property
    def notices(self) -> tuple[Notice, ...]:
        """All there is to be said."""
        return (*self.of_face, *self.of_picture)

    @property
    def facts(self) -> PictureFacts:
        """The picture and the face's size in it."""
        width, height = self.picture.full_size
        return PictureFacts(
            name=self.picture.name,
            digest=self.picture.digest,
            width=width,
            height=height,
            scale=self.picture.scale,
            pupil_distance=self.points.pupil_distance / self.picture.scale,
            found_by=self.points.found_by,
        )


def look(job: Job, mesh: Callable[[], Mesh], step: Progress) -> Seen:
    """Read one picture and the face in it."""
    from limner.face.repeat import LOOKS
    from limner.pictures.load import load_picture
    from limner.straighten import as_it_came, straighten

    step(f"reading the {job.label}")
    photo = load_picture(job.source, label=job.label)
    flat = as_it_came(photo) if job.canvas is None else straighten(photo, job.canvas, lambda: _spot(job, photo, mesh))
    picture, canvas = flat.picture, flat.report
    if job.placed is not None:
        job = replace(job, placed=flat.moved(job.placed, photo))
    step(f"finding the face in the {job.label}")
    face = _points(job, picture, mesh)
    remarks = tuple(replace(notice, text=f"{picture.name}: {notice.text}") for notice in picture.notices)
    pose, of_face = _told_of(picture, face.points, by_hand=job.placed is not None)
    return Seen(
        picture=picture,
        points=face.points,
        whole=face.whole,
        pose=pose,
        of_face=of_face,
        of_picture=(*face.notices, *flat.notices, *remarks),
        canvas=canvas,
        brief=job.briefly and len(face.points.runs) < len(LOOKS) // 2,
    )


def _spot(job: Job, photo: Picture, mesh: Callable[[], Mesh]) -> tuple[float, float] | None:
    """Where the painted face is in a photo of a canvas, px as decoded: by the points of a hand, or as it is found.

    ``None`` where no face is seen, or another nearly as large: the reference may hang beside the canvas.
    """
    import numpy as np

    from limner.face.choose import choose
    from limner.face.search import find_faces

    if job.placed is not None and job.placed.points:
        places = np.array([(point.x, point.y) for point in job.placed.points.values()]) * photo.scale
    else:
        try:
            places = choose(find_faces(photo.pixels, mesh()), job.wanted, job.label, scale=photo.scale).mesh
        except FaceError:
            return None
    x, y = places.mean(axis=0)
    return float(x), float(y)


def _told_of(picture: Picture, points: FacePoints, *, by_hand: bool) -> tuple[Pose | None, tuple[Notice, ...]]:
    """The turn of the head, and what there is to say of the points."""
    from limner.face.locate import unclear
    from limner.face.pose import pose_of, too_near

    try:
        pose, near = pose_of(points, picture), too_near(picture, points)
    except FaceError:  # points placed by hand alone need not be enough to tell the turn of a head
        if not by_hand:
            raise
        return None, ()
    return pose, tuple(notice for notice in (unclear(picture, points), near) if notice)


def look_on(seen: Seen, mesh: Callable[[], Mesh]) -> Seen:
    """A painting that was looked at briefly, looked at as often as its reference."""
    from limner.face.repeat import read_on

    if not seen.brief:
        return seen
    points = read_on(seen.picture.pixels, seen.points, mesh())
    pose, of_face = _told_of(seen.picture, points, by_hand=False)
    return replace(seen, points=points, whole=points, pose=pose, of_face=of_face, brief=False)


def _points(job: Job, picture: Picture, mesh: Callable[[], Mesh]) -> Handed:
    """The face's points: what is found, with those placed by hand in it; the hand's alone where nothing is found."""
    from limner.face.locate import locate
    from limner.face.withhand import Handed, with_hand

    def detect() -> FacePoints:
        return locate(picture, mesh(), job.wanted, job.label, briefly=job.briefly)

    if job.placed is None:
        found = detect()
        return Handed(points=found, whole=found)
    return with_hand(picture, job.placed, None if job.by_hand_only else detect, insist=job.wanted is not None)
