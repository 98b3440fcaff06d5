"""The page of licences names every direct dependency, with what the package declares."""

from __future__ import annotations

import importlib.util
import re
import sys
from pathlib import Path
from types import ModuleType

import pytest
from packaging.markers import default_environment
from packaging.requirements import Requirement

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def licences() -> ModuleType:
    spec = importlib.util.spec_from_file_location("docs_licences", ROOT / "docs" / "licences.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def listed() -> dict[str, str]:
    text = (ROOT / "docs" / "licences.md").read_text(encoding="utf-8")
    return dict(re.findall(r"^\| ([\w-]+) \| (.+?) \|", text, re.MULTILINE))


def test_every_direct_dependency_is_listed_with_a_licence(licences) -> None:
    rows = listed()
    for names in licences.wanted().values():
        for name in names:
            assert name in rows, f"{name}: renew the page with python docs/licences.py"
            assert rows[name] not in ("", "not installed here", "UNKNOWN"), name


@pytest.mark.skipif(sys.version_info < (3, 11), reason="on Python 3.10 older releases are installed")
def test_what_is_listed_is_what_the_packages_declare(licences) -> None:
    rows = listed()
    told = {name: licences.licence_of(name) for name in licences.wanted()[""]}
    assert {name: rows[name] for name in told} == told


def test_nothing_copyleft_is_needed_unsaid(licences) -> None:
    rows = listed()
    for name in (*licences.wanted()[""], *licences.brought()):
        assert name in rows
        assert "GPL" not in rows[name], name


def test_a_declared_licence_is_found_and_an_absent_package_has_none(licences) -> None:
    assert licences.licence_of("pytest") == "MIT"
    assert licences.licence_of("no-such-package-of-limner") is None
    assert licences.named("Pillow_heif>=0.18; python_version < '3.11'") == "pillow-heif"


def locked() -> dict[str, set[str]]:
    """Package -> its locked versions."""
    found: dict[str, set[str]] = {}
    for line in (ROOT / "requirements" / "ci.txt").read_text(encoding="utf-8").splitlines():
        if match := re.match(r"([\w.-]+)==(\S+)", line):
            found.setdefault(match[1], set()).add(match[2])
    return found


def test_every_locked_package_was_looked_up_in_its_locked_version() -> None:
    text = (ROOT / "docs" / "advisories.md").read_text(encoding="utf-8")
    rows = dict(re.findall(r"^\| ([\w-]+) \| (\d[^|]*?) \| \d+ \|", text, re.MULTILINE))
    assert len(rows) >= 10
    versions = locked()
    for name, listed_versions in rows.items():
        assert set(listed_versions.split(", ")) == versions[name], f"{name}: read its advisories again"
    without = text.split("No advisory is in it for", maxsplit=1)[1].split("\n\n", maxsplit=1)[0]
    names = set(re.findall(r"[\w-]+", without))
    assert set(versions) - set(rows) - names == set(), "look these up, and list them on docs/advisories.md"


@pytest.mark.parametrize("python", ["3.10", "3.11"])
@pytest.mark.parametrize(
    ("name", "weak"),
    [
        ("pillow", "12.2.0"),
        ("pillow", "11.3.0"),
        ("pillow-heif", "1.2.1"),
        ("opencv-python", "4.11.0.86"),
        ("jinja2", "3.1.5"),
        ("reportlab", "4.4.7"),
    ],
)
def test_no_version_with_a_known_weakness_is_admitted(python: str, name: str, weak: str) -> None:
    held = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    around = {**default_environment(), "python_version": python, "python_full_version": f"{python}.0"}
    asked = [
        r for r in map(Requirement, held) if r.name.lower() == name and (not r.marker or r.marker.evaluate(around))
    ]
    assert len(asked) == 1
    assert not asked[0].specifier.contains(weak)
    assert any(asked[0].specifier.contains(version) for version in locked()[name])
    if (name, python) == ("pillow", "3.11"):
        assert not asked[0].specifier.contains("12.3.0"), "only for Python 3.10, which has no newer one"
