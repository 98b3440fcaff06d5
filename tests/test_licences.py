"""The page of licences names every direct dependency, with what the package declares."""

from __future__ import annotations

import importlib.util
import re
import sys
from pathlib import Path
from types import ModuleType

import pytest

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
