"""What is shipped: whole, without what does not belong in it, the same bytes every time, and usable away from here."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tarfile
import venv
import zipfile
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

import limner

ROOT = Path(__file__).parent.parent
EPOCH = "1700000000"
BUILD = "import sys, hatchling.build as b; print(getattr(b, 'build_' + sys.argv[1])(sys.argv[2]))"
WEIGHTS = re.compile(r"\.(task|tflite|onnx|whl|npz|h5|pt|bin)$")


def project() -> dict[str, object]:
    held: dict[str, object] = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return held


def tracked(under: str) -> list[str]:
    """Files of the checkout that git keeps or would keep."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard", under]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip("not a git checkout")
    return [name for name in done.stdout.splitlines() if (ROOT / name).is_file()]


def test_the_versions_of_python_are_declared_alike() -> None:
    held = project()
    minors = [int(m[1]) for c in held["classifiers"] if (m := re.fullmatch(r"Programming Language .* 3\.(\d+)", c))]
    assert minors == list(range(10, 14))
    assert held["requires-python"] == f">=3.{minors[0]}"
    assert f"Python 3.{minors[0]} or newer" in (ROOT / "README.md").read_text(encoding="utf-8")


def plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def named(requirement: str) -> str:
    return plain(re.split(r"[^\w.-]", requirement, maxsplit=1)[0])


def test_every_requirement_is_pinned_for_ci_and_nothing_says_where_packages_come_from() -> None:
    text = (ROOT / "requirements" / "ci.txt").read_text(encoding="utf-8")
    lines = text.splitlines()
    assert all(re.fullmatch(r"[a-z0-9.-]+==[\w.]+( ; .+)?", line) for line in lines)
    assert "://" not in text
    pinned = {plain(line.split("==")[0]) for line in lines}
    held = project()
    wanted = {named(r) for rows in (held["dependencies"], *held["optional-dependencies"].values()) for r in rows}
    assert wanted <= pinned, "renew it: make lock"


def test_ci_installs_what_is_pinned() -> None:
    assert "export PINS=requirements/ci.txt" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    workflow = (ROOT / ".github" / "workflows" / "ci.yml").read_text(encoding="utf-8")
    for line in workflow.splitlines():
        if "make test" in line or "pip install" in line:
            assert "requirements/ci.txt" in line
    assert "--constraint ,$(PINS)" in (ROOT / "Makefile").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def built(tmp_path_factory) -> list[dict[str, Path]]:
    """The sdist and the wheel, built twice from copies of the checkout that differ in place, time and rights."""
    work = tmp_path_factory.mktemp("built")
    tools = work / "tools"
    pip = [sys.executable, "-m", "pip", "install", "--quiet", "--target", str(tools), "hatchling"]
    subprocess.run(pip, check=True, capture_output=True)
    names = tracked(".")
    found = []
    for turn, (mode, time) in enumerate(((0o644, 1_000_000_000), (0o600, 1_600_000_000))):
        copy = work / f"copy {turn}"
        for name in names:
            path = copy / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes((ROOT / name).read_bytes())
            path.chmod(mode)
            os.utime(path, (time, time))
        found.append({kind: build(copy, kind, tools) for kind in ("sdist", "wheel")})
    return found


def build(source: Path, kind: str, tools: Path) -> Path:
    out = source.parent / f"{source.name} {kind}"
    out.mkdir()
    environment = {**os.environ, "PYTHONPATH": str(tools), "SOURCE_DATE_EPOCH": EPOCH}
    command = [sys.executable, "-c", BUILD, kind, str(out)]
    done = subprocess.run(command, cwd=source, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return next(out.iterdir())


@pytest.mark.network
def test_the_wheel_has_all_of_the_package_and_nothing_else(built) -> None:
    with zipfile.ZipFile(built[0]["wheel"]) as wheel:
        held = {name for name in wheel.namelist() if not name.startswith("limner-")}
    wanted = {name.removeprefix("src/") for name in tracked("src")}
    assert held == wanted
    for ending in ("py.typed", "audit-1.json", "calibration.json", "auditpage/page.html", "pointspage/front.svg"):
        assert any(name.endswith(ending) for name in held), ending
    assert not [name for name in held if "test" in Path(name).name or WEIGHTS.search(name)]


@pytest.mark.network
def test_the_sdist_has_the_tests_and_documents_and_no_weights(built) -> None:
    with tarfile.open(built[0]["sdist"]) as sdist:
        names = {name.split("/", 1)[1] for name in sdist.getnames() if "/" in name}
    for name in ("pyproject.toml", "LICENSE", "README.md", "Makefile", "requirements/ci.txt", "tests/conftest.py"):
        assert name in names
    assert set(tracked("src")) <= names
    assert set(tracked("docs")) <= names
    assert not [name for name in names if WEIGHTS.search(name)]


@pytest.mark.network
@pytest.mark.parametrize("kind", ["sdist", "wheel"])
def test_two_builds_have_the_same_bytes(built, kind: str) -> None:
    first, second = (turn[kind] for turn in built)
    assert first.name == second.name
    assert first.read_bytes() == second.read_bytes()


@pytest.mark.network
def test_the_wheel_of_the_sdist_is_the_wheel_of_the_checkout(built, tmp_path) -> None:
    with tarfile.open(built[0]["sdist"]) as sdist:
        sdist.extractall(tmp_path, filter="data") if hasattr(tarfile, "data_filter") else sdist.extractall(tmp_path)  # noqa: S202
    (source,) = tmp_path.iterdir()
    tools = built[0]["wheel"].parent.parent / "tools"
    assert build(source, "wheel", tools).read_bytes() == built[0]["wheel"].read_bytes()


@pytest.fixture(scope="module")
def away(built, tmp_path_factory) -> Path:
    """The programs' folder of a fresh environment that has the wheel, and borrows its dependencies from this one."""
    place = tmp_path_factory.mktemp("away") / "env"
    venv.create(place, with_pip=False)
    programs = place / ("Scripts" if os.name == "nt" else "bin")
    python = programs / "python"
    pip = [sys.executable, "-m", "pip", "--python", str(python), "install", "--quiet", "--no-deps", "--no-index"]
    subprocess.run([*pip, str(built[0]["wheel"])], check=True, capture_output=True)
    ask = "import sysconfig; print(sysconfig.get_path('purelib'))"
    own, theirs = (
        subprocess.run([str(p), "-c", ask], check=True, capture_output=True, text=True).stdout.strip()
        for p in (python, sys.executable)
    )
    # A folder named here is searched, but the .pth files in it are not read, so this checkout stays out of it.
    (Path(own) / "borrowed.pth").write_text(theirs + "\n", encoding="utf-8")
    return programs


@pytest.mark.network
def test_it_runs_away_from_the_checkout(away, tmp_path, portrait, model_path) -> None:
    def run(*command: object, cwd: Path = tmp_path) -> str:
        environment = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
        environment["LIMNER_MODEL"] = str(model_path)
        done = subprocess.run(
            [str(c) for c in command], cwd=cwd, env=environment, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    assert run(away / "limner", "--version") == f"limner {limner.__version__}\n"
    where = run(away / "python", "-c", "import limner.auditing; print(limner.auditing.__file__)").strip()
    assert Path(where).is_relative_to(away.parent)
    assert (Path(where).parent / "py.typed").is_file()
    head = np.asarray(Image.fromarray(portrait).crop((110, 0, 330, 250)).resize((660, 750)))
    Image.fromarray(head).save(tmp_path / "reference.png")
    run(away / "limner", "audit", "reference.png", "reference.png", "--page", "page.html")
    run(away / "limner", "points", "reference.png", "-o", "points.html")
    assert all((tmp_path / name).stat().st_size > 50_000 for name in ("page.html", "points.html"))
