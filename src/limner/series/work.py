"""What one process of a series does: read the reference once, and audit photo after photo against it."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

from limner.errors import LimnerError
from limner.series.record import Record, Skipped
from limner.settings import Settings


@dataclass(frozen=True, kw_only=True)
class Piece:
    """One photo to be audited; without ``photo`` the reference is to be read."""

    settings: Settings
    reference: Path | None = None
    photo: Path | None = None
    taken: str | None = None


@dataclass(frozen=True, kw_only=True)
class Done:
    """One photo, done."""

    found: Record | Skipped
    face: bytes | None = None
    """The face brought to the place all photos' faces have, JPEG."""
    lasting: bool = True
    """Whether it may be kept: what this photo is, not what this machine had no room for."""


def warm(model: Path | None = None) -> None:
    """Load the rooms an audit needs, and the face finder; what is missing is told when it is first used."""
    for module in (
        *("cv2", "limner.auditing", "limner.face.mesh", "limner.face.bundle", "limner.register"),
        *("limner.compare.assemble", "limner.compare.stage", "limner.values.read", "limner.series.take"),
    ):
        with contextlib.suppress(ImportError):
            import_module(module)
    with contextlib.suppress(ImportError):
        import_module("cv2").setNumThreads(1)
    with contextlib.suppress(ImportError, LimnerError):
        from limner.face.bundle import ensure_model
        from limner.face.mesh import open_mesh

        open_mesh(ensure_model(model)).warm()


def work(shared: Any, piece: Piece) -> Any:
    """Read the reference (the result is shared then, or the error it met), or audit one photo."""
    if piece.photo is None:
        return _reference(piece)
    return audited(shared, piece)


def _reference(piece: Piece) -> Any:
    from limner.auditing import read_reference

    try:
        return read_reference(piece.reference or "", piece.settings)
    except Exception as error:  # noqa: BLE001 - it is raised by the one who asked
        return error


def audited(shared: Any, piece: Piece) -> Done:
    """Audit one photo against the reference that was read; whatever goes wrong is a reason, never an exception."""
    from limner.auditing import examine
    from limner.errors import FaceError

    assert piece.photo is not None  # noqa: S101 - the caller asked
    name = piece.photo.name
    try:
        found = examine(shared, piece.photo, settings=piece.settings)
        from limner.series.face import face_of
        from limner.series.take import record_of

        return Done(found=record_of(found.result, found.painting.taken or piece.taken), face=face_of(found))
    except LimnerError as error:
        skipped = Skipped(name=name, reason=_reason(error), exit_code=error.exit_code)
        return Done(found=skipped, lasting=isinstance(error, FaceError))
    except Exception as error:  # noqa: BLE001 - one photo never stops the rest
        what = f"{type(error).__name__}: {error}".splitlines()[0][:200]
        return Done(found=Skipped(name=name, reason=f"something went wrong inside limner ({what})."), lasting=False)


def _reason(error: LimnerError) -> str:
    """Why a photo cannot be audited, without what only an audit of it alone can be told."""
    from limner.face.choose import CHOOSE

    return str(error).replace(CHOOSE.format("painting"), "Crop the photo to the canvas, so that one is left.")
