"""One audit from two pictures to one result: the rooms in their order, and nothing else.

Pictures are read, faces found and read repeatedly (both pictures side by side), the reference's points carried onto the
painting, both compared.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

from numpy.typing import NDArray

from limner.checking import check
from limner.errors import FaceError, UsageError
from limner.notices import Notice
from limner.result import AuditResult, CanonResult, CanvasReport, PictureFacts, Pose
from limner.settings import Settings, Stage

if TYPE_CHECKING:
    from limner.compare.assemble import Comparison
    from limner.face.byhand import HandPoints
    from limner.face.facepoints import FacePoints
    from limner.face.mesh import Mesh
    from limner.face.withhand import Handed
    from limner.pictures.picture import Picture
    from limner.register.carried import Carried

Source = str | Path | NDArray[Any]
"""A path, or an array of shape (H, W), (H, W, 3) or (H, W, 4): sRGB, red first, 8 or 16 bits or 0 to 1."""
Progress = Callable[[str], None]


@dataclass(frozen=True, kw_only=True, eq=False)
class Examined:
    """A result together with the decoded pictures it was made from, for the outputs that draw on them."""

    result: AuditResult
    reference: Picture
    painting: Picture


@dataclass(frozen=True)
class _Job:
    """One picture to be read."""

    source: Source
    label: str
    wanted: int | None
    placed: HandPoints | None
    by_hand_only: bool
    canvas: Settings | None = None
    """What is to be straightened, of a painting."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Seen:
    """What was read from one picture."""

    picture: Picture
    points: FacePoints
    whole: FacePoints
    """The same without gaps, where a face was detected."""
    pose: Pose | None
    notices: tuple[Notice, ...]
    canvas: CanvasReport | None = None


def audit(
    reference: Source,
    painting: Source,
    *,
    settings: Settings | None = None,
    progress: Progress | None = None,
) -> AuditResult:
    """Compare a painting with its reference.

    Parameters: the photograph worked from and the photo of the canvas, each a path or an sRGB array; ``settings`` as in
    :class:`Settings`; ``progress`` is called with the name of each step, from two threads unless ``settings.threads``
    is 1.

    Raises UsageError for bad settings, PictureError, FaceError and ModelError for what their names say.
    """
    return examine(reference, painting, settings=settings, progress=progress).result


def examine(
    reference: Source | _Seen,
    painting: Source,
    *,
    settings: Settings | None = None,
    progress: Progress | None = None,
) -> Examined:
    """Do the audit and hand back the decoded pictures with it; as :func:`audit` otherwise.

    ``reference`` may be what :func:`read_reference` gave: it is then not read again.
    """
    settings = settings or Settings()
    check(settings)
    step = progress or _silent
    sitter, painted = _both(reference, painting, settings, step)
    stage, guessed = _stage(settings, painted)
    step("reading the paint")
    carried = _carry(sitter, painted, settings)
    step("comparing")
    compared = _compare(sitter, painted, carried, settings, stage)
    result = AuditResult(
        reference=_facts(sitter),
        painting=_facts(painted),
        settings=settings,
        stage=stage,
        stage_guessed=guessed,
        scale=compared.scale,
        pose_reference=sitter.pose,
        pose_painting=painted.pose,
        measures=compared.measures,
        canons=compared.canons,
        drift=compared.drift,
        habits=compared.habits,
        mend_first=compared.mend_first,
        warnings=(*compared.warnings, *sitter.notices, *painted.notices),
        reference_points=sitter.points.mean,
        painting_points=compared.painting_points,
        should_be=compared.should_be,
        more_points=compared.more_points,
        more_should_be=compared.more_should_be,
        point_sigma=compared.point_sigma,
        points=compared.points,
        spread=compared.spread,
        canvas=painted.canvas,
    )
    from limner.compare.corrections import with_plan
    from limner.values.read import with_values

    result = with_plan(with_values(result, sitter.picture, painted.picture))
    return Examined(result=result, reference=sitter.picture, painting=painted.picture)


def read_reference(reference: Source, settings: Settings) -> _Seen:
    """Read a reference that several paintings are to be compared with; raises as :func:`audit` does."""
    from limner.face.bundle import ensure_model
    from limner.face.mesh import open_mesh

    check(settings)
    job = _jobs(reference, "", settings)[0]
    return _look(job, lambda: open_mesh(ensure_model(settings.model)), _silent)


def canon(
    picture: Source,
    *,
    points: str | Path | None = None,
    points_only: bool = False,
    face: int | None = None,
    model: Path | None = None,
    progress: Progress | None = None,
) -> CanonResult:
    """Set one picture against the classical canons.

    Parameters: a path or an sRGB array; ``points`` is a points file of this picture, ``points_only`` detects nothing
    beside it; ``face`` counts from picture left; ``model`` is a face landmarker bundle; ``progress`` is called with
    the name of each step.

    Raises UsageError for options or points that make no sense, PictureError, FaceError and ModelError for what their
    names say.
    """
    from limner.face.bundle import ensure_model
    from limner.face.mesh import open_mesh
    from limner.face.pointsfile import read_points

    if points_only and points is None:
        raise UsageError("--points-only needs --points: nothing else would be left.")
    if face is not None and face < 1:
        raise UsageError(f"--face counts from 1, from picture left; got {face}.")
    job = _Job(picture, "picture", face, None if points is None else read_points(Path(points)), points_only)
    seen = _look(job, lambda: open_mesh(ensure_model(model)), progress or _silent)
    from limner.compare.canons.findings import findings_on, notices_on

    return CanonResult(
        picture=_facts(seen),
        pose=seen.pose,
        findings=findings_on(seen.points, seen.pose),
        warnings=(*notices_on(seen.points), *seen.notices),
    )


def _silent(_step: str) -> None:
    return


def _jobs(reference: Source, painting: Source, settings: Settings) -> tuple[_Job, ...]:
    from limner.face.pointsfile import read_points

    return tuple(
        _Job(source, label, wanted, None if path is None else read_points(path), settings.points_only, canvas)
        for source, label, wanted, path, canvas in (
            (reference, "reference", settings.face_reference, settings.points_reference, None),
            (painting, "painting", settings.face_painting, settings.points_painting, settings),
        )
    )


def _both(reference: Source | _Seen, painting: Source, settings: Settings, step: Progress) -> tuple[_Seen, _Seen]:
    """Read both pictures, side by side unless one thread is asked for; of two errors the reference's is raised."""
    from limner.face.bundle import ensure_model
    from limner.face.mesh import open_mesh

    jobs = _jobs("" if isinstance(reference, _Seen) else reference, painting, settings)

    def mesh() -> Mesh:
        return open_mesh(ensure_model(settings.model))

    if any(job.placed is None for job in jobs):
        mesh()  # without one that is known at once
    if isinstance(reference, _Seen):
        return reference, _look(jobs[1], mesh, step)
    if settings.threads == 1:
        first, second = (_look(job, mesh, step) for job in jobs)
        return first, second
    import_module("cv2")  # its own start-up fails now and then when two threads ask for it at once
    with ThreadPoolExecutor(max_workers=2) as pool:
        looks = [pool.submit(_look, job, mesh, step) for job in jobs]
        _load_what_comes_after()
        first, second = (look.result() for look in looks)
    return first, second


def _load_what_comes_after() -> None:
    """Import the later rooms while the detector works, which does not need the interpreter."""
    for module in ("limner.register", "limner.compare.assemble", "limner.compare.stage", "shapely"):
        import_module(module)


def _look(job: _Job, mesh: Callable[[], Mesh], step: Progress) -> _Seen:
    """Read one picture and the face in it."""
    from limner.face.locate import unclear
    from limner.face.pose import pose_of, too_near
    from limner.pictures.load import load_picture
    from limner.straighten import as_it_came, straighten

    step(f"reading the {job.label}")
    photo = load_picture(job.source, label=job.label)
    flat = as_it_came(photo) if job.canvas is None else straighten(photo, job.canvas)
    picture, canvas = flat.picture, flat.report
    if job.placed is not None:
        job = replace(job, placed=flat.moved(job.placed, photo))
    step(f"finding the face in the {job.label}")
    face = _points(job, picture, mesh)
    points = face.points
    remarks = tuple(replace(notice, text=f"{picture.name}: {notice.text}") for notice in picture.notices)
    remarks = (*face.notices, *flat.notices, *remarks)
    try:
        pose, near = pose_of(points, picture), too_near(picture, points)
    except FaceError:  # points placed by hand alone need not be enough to tell the turn of a head
        if job.placed is None:
            raise
        return _Seen(picture=picture, points=points, whole=face.whole, pose=None, notices=remarks, canvas=canvas)
    notices = (*(notice for notice in (unclear(picture, points), near) if notice), *remarks)
    return _Seen(picture=picture, points=points, whole=face.whole, pose=pose, notices=notices, canvas=canvas)


def _points(job: _Job, picture: Picture, mesh: Callable[[], Mesh]) -> Handed:
    """The face's points: what is found, with those placed by hand in it; the hand's alone where nothing is found."""
    from limner.face.locate import locate
    from limner.face.withhand import Handed, with_hand

    def detect() -> FacePoints:
        return locate(picture, mesh(), job.wanted, job.label)

    if job.placed is None:
        found = detect()
        return Handed(points=found, whole=found)
    return with_hand(picture, job.placed, None if job.by_hand_only else detect, insist=job.wanted is not None)


def _stage(settings: Settings, painted: _Seen) -> tuple[Stage, bool]:
    """The stage the painter names, else a guess, and whether it is one."""
    if settings.stage is not None:
        return settings.stage, False
    from limner.compare.stage import guess_stage

    return guess_stage(painted.picture.pixels, painted.points.mean)[0], True


def _carry(sitter: _Seen, painted: _Seen, settings: Settings) -> Carried | None:
    """The painting's points as its pixels show them; ``None`` where there is no found face to start from."""
    if "hand" in {sitter.points.found_by, painted.points.found_by}:
        return None
    from limner.register import carry, carry_head

    pair = (sitter.picture, sitter.whole, painted.picture, painted.whole)
    if settings.threads == 1:
        return replace(carry(*pair), head=carry_head(*pair, marks=sitter.points.hand))
    with ThreadPoolExecutor(max_workers=1) as pool:
        head = pool.submit(carry_head, *pair, marks=sitter.points.hand)
        return replace(carry(*pair, threads=settings.threads), head=head.result())


def _compare(sitter: _Seen, painted: _Seen, carried: Carried | None, settings: Settings, stage: Stage) -> Comparison:
    from limner.compare.assemble import View, compare

    return compare(
        sitter.points,
        painted.points,
        carried=carried,
        of_reference=View(scale=sitter.picture.scale, pose=sitter.pose),
        of_painting=View(scale=painted.picture.scale, pose=painted.pose),
        settings=settings,
        stage=stage,
    )


def _facts(seen: _Seen) -> PictureFacts:
    picture = seen.picture
    width, height = picture.full_size
    return PictureFacts(
        name=picture.name,
        digest=picture.digest,
        width=width,
        height=height,
        scale=picture.scale,
        pupil_distance=seen.points.pupil_distance / picture.scale,
        found_by=seen.points.found_by,
    )
