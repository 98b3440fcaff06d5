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
from typing import TYPE_CHECKING

from limner.checking import check
from limner.errors import UsageError
from limner.lamps import lamp_photos
from limner.looking import Job, Progress, Seen, Source, look, look_on
from limner.notices import Notice
from limner.result import AuditResult, CanonResult
from limner.settings import Settings, Stage

if TYPE_CHECKING:
    from limner.compare.assemble import Comparison
    from limner.face.mesh import Mesh
    from limner.pictures.picture import Picture
    from limner.register.carried import Carried
    from limner.values.lamps import LampPhoto


@dataclass(frozen=True, kw_only=True, eq=False)
class Examined:
    """A result together with the decoded pictures it was made from, for the outputs that draw on them."""

    result: AuditResult
    reference: Picture
    painting: Picture
    lamps: tuple[LampPhoto, ...] = ()
    """Further photos of the painting with the lamp moved."""


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
    reference: Source | Seen | Callable[[], Seen],
    painting: Source,
    *,
    settings: Settings | None = None,
    progress: Progress | None = None,
) -> Examined:
    """Do the audit and hand back the decoded pictures with it; as :func:`audit` otherwise.

    ``reference`` may be what :func:`read_reference` gave: it is then not read again. It may also be a function that
    gives this, which is asked for it once the painting is read.
    """
    settings = settings or Settings()
    check(settings)
    step = progress or _silent
    sitter, (painted, stage, guessed) = _both(reference, painting, settings, step)
    step("reading the paint")
    carried = _carry(sitter, painted, settings)
    if carried is None or carried.refused or carried.doubts or carried.unpainted:
        painted = look_on(painted, lambda: _mesh(settings.model))
    step("comparing")
    compared = _compare(sitter, painted, carried, settings, stage)
    result = AuditResult(
        reference=sitter.facts,
        painting=painted.facts,
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
        warnings=(*_same(sitter, painted), *compared.warnings, *sitter.notices, *painted.notices),
        reference_points=sitter.points.mean,
        painting_points=compared.painting_points,
        should_be=compared.should_be,
        more_points=compared.more_points,
        more_should_be=compared.more_should_be,
        point_sigma=compared.point_sigma,
        points=compared.points,
        spread=compared.spread,
        canvas=painted.canvas,
        whole=compared.whole,
        evened_points=compared.evened_points,
    )
    from limner.compare.apart import set_apart
    from limner.compare.millimetres import with_millimetres
    from limner.compare.wholeplan import with_whole_plan
    from limner.values.apart import set_values_apart
    from limner.values.read import with_values

    lamps = lamp_photos(painted, settings, lambda: _mesh(settings.model), step)
    valued = with_values(with_millimetres(result), sitter.picture, painted.picture, lamps)
    result = with_whole_plan(set_values_apart(set_apart(valued)))
    return Examined(result=result, reference=sitter.picture, painting=painted.picture, lamps=lamps)


def read_reference(reference: Source, settings: Settings) -> Seen:
    """Read a reference that several paintings are to be compared with; raises as :func:`audit` does."""
    check(settings)
    return look(_jobs(reference, "", settings)[0], lambda: _mesh(settings.model), _silent)


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
    from limner.face.pointsfile import read_points

    if points_only and points is None:
        raise UsageError("--points-only needs --points: nothing else would be left.")
    if face is not None and face < 1:
        raise UsageError(f"--face counts from 1, from picture left; got {face}.")
    job = Job(picture, "picture", face, None if points is None else read_points(Path(points)), points_only)
    seen = look(job, lambda: _mesh(model), progress or _silent)
    from limner.compare.canons.findings import findings_on, notices_on

    return CanonResult(
        picture=seen.facts,
        pose=seen.pose,
        findings=findings_on(seen.points, seen.pose),
        warnings=(*notices_on(seen.points), *seen.notices),
    )


def _silent(_step: str) -> None:
    return


def _jobs(reference: Source, painting: Source, settings: Settings) -> tuple[Job, ...]:
    from limner.face.pointsfile import read_points

    return tuple(
        Job(source, label, wanted, None if path is None else read_points(path), settings.points_only, canvas)
        for source, label, wanted, path, canvas in (
            (reference, "reference", settings.face_reference, settings.points_reference, None),
            (painting, "painting", settings.face_painting, settings.points_painting, settings),
        )
    )


_Painted = tuple[Seen, Stage, bool]
"""A painting, its stage, and whether that is a guess."""


def _both(
    reference: Source | Seen | Callable[[], Seen], painting: Source, settings: Settings, step: Progress
) -> tuple[Seen, _Painted]:
    """Read both pictures, side by side unless one thread is asked for; of two errors the reference's is raised."""
    jobs = _jobs("" if isinstance(reference, Seen) or callable(reference) else reference, painting, settings)

    def mesh() -> Mesh:
        return _mesh(settings.model)

    if any(job.placed is None for job in jobs):
        mesh()  # without one that is known at once
    if isinstance(reference, Seen):
        return reference, _painting(jobs[1], settings, mesh, step)
    if callable(reference):
        painted = _painting(jobs[1], settings, mesh, step)
        return reference(), painted
    if settings.threads == 1:
        return look(jobs[0], mesh, step), _painting(jobs[1], settings, mesh, step)
    import_module("cv2")  # its own start-up fails now and then when two threads ask for it at once
    with ThreadPoolExecutor(max_workers=2) as pool:
        first, second = pool.submit(look, jobs[0], mesh, step), pool.submit(_painting, jobs[1], settings, mesh, step)
        _load_what_comes_after()
        return first.result(), second.result()


def _painting(job: Job, settings: Settings, mesh: Callable[[], Mesh], step: Progress) -> _Painted:
    """Look at the painting, tell its stage, and look longer at a block-in, where the paint itself tells less."""
    seen = look(job, mesh, step)
    stage, guessed = _stage(settings, seen)
    return (look_on(seen, mesh) if stage == "block-in" else seen), stage, guessed


def _mesh(model: Path | None) -> Mesh:
    """The face finder with the painter's own bundle, or the usual one."""
    from limner.face.bundle import ensure_model
    from limner.face.mesh import open_mesh

    return open_mesh(ensure_model(model))


def _load_what_comes_after() -> None:
    """Import the later rooms while the detector works, which does not need the interpreter."""
    for module in (
        *("limner.register", "shapely", "limner.compare.stage", "limner.compare.assemble", "limner.compare.apart"),
        *("limner.compare.millimetres", "limner.compare.wholeplan", "limner.values.read", "limner.values.apart"),
    ):
        import_module(module)


def _stage(settings: Settings, painted: Seen) -> tuple[Stage, bool]:
    """The stage the painter names, else a guess, and whether it is one."""
    if settings.stage is not None:
        return settings.stage, False
    from limner.compare.stage import guess_stage

    return guess_stage(painted.picture.pixels, painted.points.mean)[0], True


def _carry(sitter: Seen, painted: Seen, settings: Settings) -> Carried | None:
    """The painting's points as its pixels show them; ``None`` where there is no found face to start from."""
    if "hand" in {sitter.points.found_by, painted.points.found_by}:
        return None
    from limner.register import carry, carry_head

    pair = (sitter.picture, sitter.whole, painted.picture, painted.whole)
    if settings.threads == 1:
        return replace(carry(*pair), head=carry_head(*pair, marks=sitter.points.hand))
    with ThreadPoolExecutor(max_workers=1) as pool:
        head = pool.submit(carry_head, *pair, marks=sitter.points.hand)
        if settings.values:
            from limner.values.faces import prepare

            pool.submit(prepare, sitter.picture.pixels, sitter.points.mean)
        return replace(carry(*pair, threads=settings.threads), head=head.result())


def _same(sitter: Seen, painted: Seen) -> tuple[Notice, ...]:
    """That one file was given twice: then nothing can be off, and the other was most likely meant."""
    if sitter.facts.digest is None or sitter.facts.digest != painted.facts.digest:
        return ()
    text = "Reference and photo of the canvas are the same file, so nothing can be off. Was the right photo given?"
    return (Notice(code="same_picture", text=text),)


def _compare(sitter: Seen, painted: Seen, carried: Carried | None, settings: Settings, stage: Stage) -> Comparison:
    from limner.compare.assemble import View, compare
    from limner.straighten import proportions_of

    return compare(
        sitter.points,
        painted.points,
        carried=carried,
        of_reference=View(scale=sitter.picture.scale, pose=sitter.pose),
        of_painting=View(scale=painted.picture.scale, pose=painted.pose, proportions=proportions_of(painted.canvas)),
        settings=settings,
        stage=stage,
    )
