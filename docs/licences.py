"""Writes docs/licences.md, the licences of what limner is installed with: ``python docs/licences.py``.

Run it where everything is installed (make lint); what a package declares is taken from its own metadata.
"""

from __future__ import annotations

import re
import sys
from importlib import metadata
from pathlib import Path

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

HERE = Path(__file__).parent
HEADS = {"": "Needed", "demo": "For `make demo`", "watch": "For `--watch`", "test": "For the tests", "lint": "For lint"}
HEADS |= {"docs": "For the documents"}
# Licences under more than one name; left as they are, they would read as different ones. SPDX identifiers.
ALIKE = {
    "apache 2.0": "Apache-2.0",
    "apache-2.0": "Apache-2.0",
    "apache software license": "Apache-2.0",
    "bsd license": "BSD",
    "bsd 3-clause": "BSD-3-Clause",
    "bsd-3-clause": "BSD-3-Clause",
    "mit license": "MIT",
    "mit": "MIT",
}
OSI = "License :: OSI Approved :: "
ELSEWHERE = {"tomli": "MIT"}
"""Needed on Python 3.10 only, and not installed where this page is written."""
INSIDE = {
    "opencv-python": "the wheel carries FFmpeg and, on Linux, Qt 5 (both LGPL): its LICENSE-3RD-PARTY.txt",
    "pillow-heif": "the wheel carries libheif and libde265 (LGPL-3.0) and x265 (GPL-2.0): its LICENSES_bundled.txt",
    "shapely": "the wheel carries GEOS (LGPL-2.1): its LICENSE_GEOS",
}
"""What the wheels carry besides the package, where that is under another kind of licence (read in the wheels)."""


def wanted() -> dict[str, list[str]]:
    """Extra (none for what is always needed) -> names of the direct dependencies."""
    project = tomllib.loads((HERE.parent / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    rows = {"": project["dependencies"], **project["optional-dependencies"]}
    return {extra: sorted({named(line) for line in lines}) for extra, lines in rows.items()}


def named(requirement: str) -> str:
    """The name a requirement begins with, as package indexes write it."""
    return re.sub(r"[-_.]+", "-", re.split(r"[^\w.-]", requirement, maxsplit=1)[0]).lower()


def licence_of(name: str) -> str | None:
    """The licence a package declares: its expression, else its classifiers, else its short text."""
    try:
        held = metadata.metadata(name)
    except metadata.PackageNotFoundError:
        return ELSEWHERE.get(name)
    classifiers = [line.rsplit(" :: ", 1)[1] for line in held.get_all("Classifier") or () if line.startswith(OSI)]
    text = (held["License-Expression"] or " and ".join(classifiers) or (held["License"] or "").split("\n")[0]).strip()
    return ALIKE.get(text.lower(), text)


def brought() -> dict[str, str]:
    """What the needed packages need in their turn, here: name -> licence."""
    found: dict[str, str] = {}
    asked, left = set(wanted()[""]), list(wanted()[""])
    while left:
        name = left.pop()
        try:
            needs = metadata.requires(name) or []
        except metadata.PackageNotFoundError:
            continue
        for line in needs:
            other = named(line)
            if "extra ==" in line or other in asked:
                continue
            licence = licence_of(other)
            if licence is not None:
                asked.add(other)
                left.append(other)
                found[other] = licence
    return dict(sorted(found.items()))


def table(rows: dict[str, str | None]) -> str:
    """Rows of a table: package, licence, what is in its wheel besides."""
    cells = [(name, licence or "not installed here", INSIDE.get(name, "")) for name, licence in rows.items()]
    lines = [f"| {' | '.join(row)} |" for row in (("package", "licence it declares", "besides"), ("---",) * 3, *cells)]
    return "\n".join(lines)


def page() -> str:
    """Return docs/licences.md."""
    parts = [
        f"## {HEADS[extra]}\n\n{table({name: licence_of(name) for name in names})}\n"
        + (f"\nThese bring along, on Linux:\n\n{table(dict(brought()))}\n" if not extra else "")
        for extra, names in wanted().items()
    ]
    return HEAD + "\n" + "\n".join(parts) + "\n" + TAIL


HEAD = """# Licences

Limner is under the Apache License 2.0. It carries nothing of others: the packages below are fetched by pip when limner
is installed, and the face model by `limner model fetch` (`models/README.md`). This page is written
by `python docs/licences.py` from what the packages declare; a test holds the direct ones to it.
"""
TAIL = """## What follows

- Using limner asks nothing of you. Passing on an installation with its packages (a program bundle, a container image)
  does: the terms of every wheel in it then hold for the whole you pass on.
- **pillow-heif** reads HEIC. Its own code is BSD-3-Clause, but its wheels hold x265, an encoder under GPL-2.0 that
  limner never calls; the Apache License 2.0 is held to be incompatible with GPL-2.0. Who passes on a bundle should
  leave pillow-heif out (limner then says so at a HEIC, and reads everything else) or build it without x265. `pi-heif`,
  the same decoder without an encoder, was several releases behind when this was written (1.4.0 against 1.8.1), so it
  was not taken.
- **FFmpeg** and **Qt** in OpenCV's wheel and **GEOS** in Shapely's are shared libraries under the LGPL; they can be
  exchanged for others, as it asks. `opencv-python-headless` is the same without Qt.

## Known weaknesses

`pip-audit` (2.10, 26 November 2026, over all packages of `requirements/ci.txt` for Python 3.11) gave no answer: the
machine it ran on reaches no advisory service. What was read by hand instead, and what follows from it, has
[a page of its own](advisories.md); it can miss what is newer, so run `pip-audit` before a release.
"""


if __name__ == "__main__":
    (HERE / "licences.md").write_text(page(), encoding="utf-8")
