"""What must be installed besides Python packages, said in a sentence instead of a traceback."""

from __future__ import annotations

import re
import sys

# Shared library -> package on Debian and Ubuntu.
_PACKAGES = {
    "libGL.so.1": "libgl1",
    "libEGL.so.1": "libegl1",
    "libGLESv2.so.2": "libgles2",
    "libgthread-2.0.so.0": "libglib2.0-0",
    "libglib-2.0.so.0": "libglib2.0-0",
    "libxcb.so.1": "libxcb1",
    "libX11.so.6": "libx11-6",
    "libSM.so.6": "libsm6",
    "libICE.so.6": "libice6",
    "libXext.so.6": "libxext6",
    "libXrender.so.1": "libxrender1",
    "libXau.so.6": "libxau6",
    "libz.so.1": "zlib1g",
    "libgomp.so.1": "libgomp1",
    "libstdc++.so.6": "libstdc++6",
}
_USUAL = ("libgl1", "libglib2.0-0")
# The only ones that the wheels of OpenCV 5.0.0.93 and mediapipe 0.10.30 and 0.10.31 ask for by name and a bare Debian
# lacks; the others come with these two.
_SHARED = re.compile(r"lib[\w+.-]*?\.(?:so[.\d]*|dylib|dll)")
_ABSENT = re.compile(r"cannot open shared object|no such file|not loaded|not found|could not find", re.IGNORECASE)


def missing_library(error: BaseException) -> str | None:
    """The sentence for an import that failed for want of a system library, or ``None`` if that is not why it failed."""
    found = _SHARED.search(str(error))
    if found is None or not _ABSENT.search(str(error)):
        return None
    library = found.group().rstrip(".")
    if not sys.platform.startswith("linux"):
        return f"Expected the system library {library}, but it is missing; reinstall limner with its packages."
    package = _PACKAGES.get(library)
    packages = " ".join(dict.fromkeys((*((package,) if package else ()), *_USUAL)))
    return (
        f"Expected the system library {library}, but it is missing; "
        f"on Debian or Ubuntu install it with: apt-get install {packages}"
    )
