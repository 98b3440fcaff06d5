"""A whole series: what is kept from before is taken, the rest is audited side by side, in order, and kept."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any

from limner.errors import LimnerError, ModelError
from limner.series.cache import Cache, common_key, folder, key_of
from limner.series.crew import Crew
from limner.series.kept import face_from_text, from_plain, skipped_from_plain
from limner.series.order import OrderBy, put_in_order
from limner.series.record import Record, Series, Skipped, slim, to_plain
from limner.series.work import Done, Piece, audited, warm, work
from limner.settings import Settings

Progress = Callable[[int, int], None]
"""(photos done, photos in all)."""


@dataclass(frozen=True, kw_only=True)
class Plan:
    """How a series is to be done."""

    settings: Settings = field(default_factory=Settings)
    order: OrderBy = "auto"
    jobs: int = 2
    keep: bool = True
    """Whether results are kept and taken from what is kept."""
    faces: bool = False
    """Whether the faces are wanted, for contact sheet and blink."""


@dataclass(frozen=True, kw_only=True)
class Run:
    """A series, and the faces where they were wanted."""

    series: Series
    faces: tuple[bytes | None, ...] = ()
    """One for each photo of the series, JPEG; ``None`` where it was skipped. Empty where they were not wanted."""


def run_series(reference: Path, photos: Sequence[Path], plan: Plan, progress: Progress | None = None) -> Run:
    """Audit a series of photos against one reference.

    A photo that cannot be audited is listed with its reason and stops nothing.

    Raises:
        UsageError, PictureError, FaceError, ModelError: for the settings, the reference and the model.
    """
    settings = replace(plan.settings, threads=1)
    cache = Cache(folder(), wanted=plan.keep)
    cache.tidy()
    common = _common(reference, settings) if plan.keep else None
    first = Piece(settings=settings, reference=reference)
    with ExitStack() as stack:

        def crew_of(count: int) -> Crew | None:
            if count < 2:
                return None
            crew = stack.enter_context(Crew(count, partial(warm, settings.model), work))
            crew.begin(first)
            return crew

        # Where nothing is kept of the first photo they get ready while the photos are put in order.
        early = None if _is_kept(cache, common, photos[:1]) else crew_of(min(plan.jobs, len(photos)))
        audit = partial(_audit, first, lambda missing: early or crew_of(min(plan.jobs, missing)))
        run = _run(photos, plan, (cache, common), audit, progress or (lambda _done, _of: None))
    return replace(run, series=replace(run.series, reference=reference.name))


def _run(
    photos: Sequence[Path], plan: Plan, keeping: tuple[Cache, str | None], audit: Callable[..., Any], step: Progress
) -> Run:
    cache, common = keeping
    ordered = put_in_order(photos, plan.order)
    keys = [None if common is None else _key(common, path) for path in ordered.photos]
    done = [_kept(cache, key, path, faces=plan.faces) for path, key in zip(ordered.photos, keys, strict=True)]
    reused = sum(found is not None for found in done)
    missing = [k for k, found in enumerate(done) if found is None]
    step(reused, len(done))
    if missing:
        wanted = [(ordered.photos[k], ordered.taken[k]) for k in missing]
        for count, (number, found) in enumerate(audit(wanted), start=1):
            k, key = missing[number], keys[missing[number]]
            if key is not None and found.lasting:
                _keep(cache, key, found)
            small = slim(found.found) if isinstance(found.found, Record) else found.found
            done[k] = replace(found, found=small, face=found.face if plan.faces else None)
            step(reused + count, len(done))
    found_all = [found for found in done if found is not None]
    remarks = () if cache.trouble is None else (f"Results could not be kept for next time: {cache.trouble}.",)
    series = Series(
        reference="",
        order=ordered.said,
        photos=tuple(found.found for found in found_all),
        reused=reused,
        remarks=remarks,
    )
    return Run(series=series, faces=tuple(found.face for found in found_all) if plan.faces else ())


def _common(reference: Path, settings: Settings) -> str | None:
    """What the keys of all photos have in common; ``None`` where nothing is kept, because the reference is not read."""
    whole = digest_of(reference)
    if whole is None:
        return None
    from limner.face.bundle import ensure_model, model_version

    try:
        model = model_version(ensure_model(settings.model))
    except ModelError:
        model = "none"
    sides = {"reference": settings.points_reference, "painting": settings.points_painting}
    points = {side: digest_of(path) or "unreadable" for side, path in sides.items() if path is not None}
    return common_key(whole, settings, model, points)


def _key(common: str, photo: Path) -> str | None:
    """What a photo's result is kept under; ``None`` where it is not kept, because its bytes cannot be read."""
    digest = digest_of(photo)
    return None if digest is None else key_of(common, digest)


def _is_kept(cache: Cache, common: str | None, photos: Sequence[Path]) -> bool:
    keys = [None if common is None else _key(common, photo) for photo in photos]
    return all(key is not None and cache.get(key) is not None for key in keys)


def digest_of(path: Path) -> str | None:
    """SHA-256 of a regular file's bytes, as hex; ``None`` where they cannot be read."""
    try:
        if not path.is_file():
            return None
        held = hashlib.sha256()
        with path.open("rb") as file:
            while block := file.read(1 << 20):
                held.update(block)
    except (OSError, ValueError):
        return None
    return held.hexdigest()


def _kept(cache: Cache, key: str | None, path: Path, *, faces: bool) -> Done | None:
    held = None if key is None else cache.get(key)
    if held is None:
        return None
    try:
        if "skipped" in held:
            was = skipped_from_plain(held["skipped"])
            return Done(found=replace(was, name=path.name, reason=was.reason.replace(was.name, path.name)))
        face = face_from_text(held["face"]) if faces else None
        return Done(found=from_plain(held["record"]).named(path.name), face=face)
    except (KeyError, ValueError):
        return None


def _keep(cache: Cache, key: str, done: Done) -> None:
    if isinstance(done.found, Record):
        face = None if done.face is None else base64.b64encode(done.face).decode("ascii")
        cache.put(key, {"record": to_plain(done.found), "face": face})
    else:
        found = done.found
        cache.put(key, {"skipped": {"name": found.name, "reason": found.reason, "exit_code": found.exit_code}})


def _audit(
    first: Piece, crew_for: Callable[[int], Crew | None], wanted: Sequence[tuple[Path, str | None]]
) -> Iterator[tuple[int, Any]]:
    """Number and result of every photo (path, time taken), as they are done; the reference is read once, before all."""
    pieces = [Piece(settings=first.settings, photo=photo, taken=taken) for photo, taken in wanted]
    crew = crew_for(len(pieces))
    if crew is None:
        warm(first.settings.model)
        shared = _sound(work(None, first))
        for number, piece in enumerate(pieces):
            yield number, audited(shared, piece)
        return
    _load_what_comes_after()
    shared = _sound(crew.first(pieces))
    for number, found in crew.each(shared, pieces):
        if isinstance(found, Done):
            yield number, found
            continue
        reason = f"reading it ended the process that did so ({found}); try a smaller copy of the photo."
        yield number, Done(found=Skipped(name=wanted[number][0].name, reason=reason), lasting=False)


def _load_what_comes_after() -> None:
    """Import what tells of the series while the reference is read, which leaves a core idle."""
    for module in ("limner.pictures.write", "limner.series.jsonout"):
        import_module(module)


def _sound(shared: Any) -> Any:
    """What was read of the reference; an error it met is raised here."""
    if isinstance(shared, LimnerError | ImportError):
        raise shared
    if isinstance(shared, BaseException):
        raise RuntimeError(f"{type(shared).__name__}: {shared}") from shared  # noqa: TRY004 - it is no wrong argument
    return shared
