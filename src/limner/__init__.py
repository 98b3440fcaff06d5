"""limner: where a painted portrait departs from its reference, which way, how far, and how sure that is.

The one door for library users::

    result = limner.audit("reference.jpg", "painting.jpg", settings=limner.Settings(hold="head"))

``reference`` and ``painting`` are paths, or arrays of shape (H, W, 3) in sRGB. The result is frozen;
:meth:`AuditResult.to_dict` gives it as plain data, and a notebook shows it as a table. What goes wrong on purpose is a
:class:`LimnerError` that says what was expected, what came and what to do.

Nothing heavy is imported until it is used:

>>> import limner
>>> limner.Settings(strict=0.5).hold
'eyes'
>>> issubclass(limner.FaceError, limner.LimnerError), limner.FaceError.exit_code
(True, 4)
"""

from __future__ import annotations

TYPE_CHECKING = False  # as that of typing, which takes longer to load than all else that begins a command
if TYPE_CHECKING:
    from limner.auditing import audit, canon
    from limner.errors import FaceError, LimnerError, ModelError, OutputError, PictureError, UsageError
    from limner.notices import Notice
    from limner.result import AuditResult, CanonResult, MeasureResult
    from limner.settings import Settings

__version__ = "0.1.0"

__all__ = [
    "AuditResult",
    "CanonResult",
    "FaceError",
    "LimnerError",
    "MeasureResult",
    "ModelError",
    "Notice",
    "OutputError",
    "PictureError",
    "Settings",
    "UsageError",
    "__version__",
    "audit",
    "canon",
]

_HOMES = {
    "audit": "limner.auditing",
    "canon": "limner.auditing",
    "AuditResult": "limner.result",
    "CanonResult": "limner.result",
    "MeasureResult": "limner.result",
    "Notice": "limner.notices",
    "Settings": "limner.settings",
    "LimnerError": "limner.errors",
    "UsageError": "limner.errors",
    "PictureError": "limner.errors",
    "FaceError": "limner.errors",
    "ModelError": "limner.errors",
    "OutputError": "limner.errors",
}


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module 'limner' has no attribute {name!r}")
    from importlib import import_module

    found: object = getattr(import_module(_HOMES[name]), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
