"""Where limner may keep what it needs again: the face model, results of a series."""

from __future__ import annotations

import os
from pathlib import Path

NO_HOME = "there is no home folder to keep it in"


def cache_folder() -> Path | None:
    """The user's cache folder for limner; ``None`` where this user has no home folder, so that nothing can be kept.

    Without one a path would begin in whatever folder the command happens to run in.
    """
    import platformdirs

    if os.name == "posix" and os.environ.get("HOME") == "" and not os.environ.get("XDG_CACHE_HOME"):
        return None
    try:
        folder = Path(platformdirs.user_cache_dir("limner"))
    except RuntimeError:  # how newer releases say that there is none
        return None
    return folder if folder.is_absolute() else None
