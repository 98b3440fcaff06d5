"""The house rules: imports go one way, help stays light, the door shows what it says, no weights in git."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

import limner

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "src" / "limner"
MODULES = sorted(PACKAGE.rglob("*.py"))

ORDER = (
    ("errors",),
    ("smallfile",),
    ("keeping",),
    ("notices",),
    ("settings",),
    ("config",),
    ("valuesresult",),
    ("planresult",),
    ("result",),
    ("pictures",),
    ("face",),
    ("measure",),
    ("register",),
    ("compare",),
    ("values",),
    ("straighten",),
    ("checking",),
    ("looking",),
    ("lamps",),
    ("auditing",),
    ("report",),
    ("sheet",),
    ("series",),
    ("proving",),
    ("cli",),
)
"""The rooms from the ground up: each may import itself and what stands before it; two in one place not each other."""
RANK = {room: place for place, rooms in enumerate(ORDER) for room in rooms}

ALLOWED = {
    ("result", "report"): "to_dict and _repr_html_ import, when called, the reports that are made from a result",
}
HEAVY = ("numpy", "PIL", "cv2", "mediapipe", "shapely", "matplotlib", "skimage", "scipy", "reportlab")


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported(path: Path) -> set[str]:
    """Full names of all modules a file imports anywhere, also inside functions."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path} imports relatively"
            names.add(node.module or "")
            names.update(f"{node.module}.{alias.name}" for alias in node.names)
    return names


def rooms_known(path: Path) -> set[str]:
    parts = (name.split(".") for name in imported(path) if name.startswith("limner."))
    return {part[1] for part in parts if part[1] in RANK}


def test_every_module_has_a_place_in_the_order():
    assert {room_of(path) for path in MODULES} - {"__init__"} == set(RANK)


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_one_way(path):
    room = room_of(path)
    if room == "__init__":
        return
    for other in rooms_known(path):
        if other == room or (room, other) in ALLOWED:
            continue
        assert RANK[other] < RANK[room], f"{room} may not import {other}"


def test_the_allowed_exception_is_still_needed():
    for room, other in ALLOWED:
        assert any(other in rooms_known(path) for path in MODULES if room_of(path) == room)


def test_only_the_face_room_knows_mediapipe():
    def knows(path: Path) -> bool:
        """Also where the import is by name, as the lazy ones are."""
        texts = (
            node.value
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Constant)
        )
        named = {text for text in texts if isinstance(text, str) and re.fullmatch(r"mediapipe(\.\w+)+", text)}
        return bool(named) or any(name.split(".")[0] == "mediapipe" for name in imported(path))

    assert {room_of(path) for path in MODULES if knows(path)} == {"face"}


def test_measures_read_no_files_and_print_nothing():
    for path in MODULES:
        if room_of(path) == "measure":
            calls = {
                node.func.id
                for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
                if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
            }
            assert not calls & {"open", "print"}, path
            assert not {"pathlib", "os", "cv2", "PIL"} & {name.split(".")[0] for name in imported(path)}, path


def modules_after(code: str) -> set[str]:
    """Top-level modules loaded in a fresh process after running the code."""
    script = f"import sys\ntry:\n    {code}\nexcept SystemExit: pass\nprint('\\n' + ' '.join(sys.modules))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    return {name.split(".")[0] for name in done.stdout.splitlines()[-1].split()}


@pytest.mark.parametrize("option", ["--help", "--version"])
def test_help_loads_nothing_heavy(option):
    loaded = modules_after(f"from limner.cli.main import run; run(['{option}'])")
    assert "limner" in loaded
    assert not loaded & set(HEAVY)


def test_the_help_of_audit_loads_neither_opencv_nor_mediapipe():
    loaded = modules_after("from limner.cli.main import run; run(['audit', '--help'])")
    assert not loaded & set(HEAVY)


def test_the_door_is_light_until_something_is_asked_for():
    assert not modules_after("import limner; limner.Settings(); limner.FaceError") & set(HEAVY)


def test_all_is_what_can_be_had():
    for name in limner.__all__:
        assert getattr(limner, name) is not None
    visible = {name for name in dir(limner) if not name.startswith("_")}
    submodules = {room for rooms in ORDER for room in rooms}
    helpers = {"annotations", "import_module", "TYPE_CHECKING"}
    assert visible - submodules - helpers == set(limner.__all__) - {"__version__"}
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        _ = limner.nonsense  # type: ignore[attr-defined]


def test_the_function_audit_is_not_hidden_by_a_module_of_its_name():
    code = "import limner.auditing, limner.cli.audit, limner; print(limner.audit.__name__, callable(limner.audit))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["audit", "True"]


def test_version_is_the_projects():
    stated = re.search(r'^version = "(.+)"$', (ROOT / "pyproject.toml").read_text(encoding="utf-8"), re.MULTILINE)
    assert stated is not None
    assert stated[1] == limner.__version__


def tracked() -> list[str]:
    done = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip("not a git checkout")
    return done.stdout.splitlines()


def test_no_weights_and_no_photographs_in_git():
    weights = re.compile(r"\.(task|tflite|onnx|pt|pth|h5|pb|bin|whl|npz|safetensors)$", re.IGNORECASE)
    photographs = re.compile(r"\.(jpe?g|heic|heif|webp|tiff?|bmp|raw|dng)$", re.IGNORECASE)
    names = tracked()
    assert [name for name in names if weights.search(name) or photographs.search(name)] == []
    assert [name for name in names if name.lower().endswith(".png") and not name.startswith("docs/")] == []


def test_no_file_in_git_is_large():
    sizes = {name: (ROOT / name).stat().st_size for name in tracked() if (ROOT / name).is_file()}
    assert {name: size for name, size in sizes.items() if size > 300_000} == {}


def test_modules_stay_short():
    lengths = {str(path.relative_to(ROOT)): len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES}
    assert {name: lines for name, lines in lengths.items() if lines > 350} == {}


def test_functions_stay_short():
    long: dict[str, int] = {}
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                lines = (node.end_lineno or 0) - node.body[0].lineno + 1
                if lines > 60:
                    long[f"{path.relative_to(PACKAGE)}:{node.name}"] = lines
    assert long == {}


@pytest.mark.skipif(os.name == "nt", reason="the script is bash")
def test_ci_runs_what_the_readme_says():
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8").strip().splitlines()
    assert script[-2:] == ["make lint", "make test"]
    assert "make test" in (ROOT / "README.md").read_text(encoding="utf-8")
    assert (ROOT / ".ci" / "run").stat().st_mode & 0o100


def test_every_test_has_the_same_name_each_time(request):
    """Processes that share the tests out must find the same ones; bytes with a time among them name it anew."""
    names = [item.nodeid for item in request.session.items]
    assert request.node.nodeid in names
    assert [name for name in names if "\\x00" in name or not name.isprintable()] == []
