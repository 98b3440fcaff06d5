"""The fields of the JSON outputs, and the Python interface, as pages made from the code."""

from __future__ import annotations

import ast
import importlib
import inspect
import json
import re
from collections.abc import Iterator
from dataclasses import MISSING, fields, is_dataclass
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import Any

import limner
import limner.planresult
import limner.result
import limner.valuesresult
from pieces import NOTE, cell, line, paragraphs, plain

SCHEMAS = Path(limner.__file__).parent / "report" / "schema"


def json_page() -> str:
    """docs/reference/json.md."""
    out = ["# JSON fields\n", NOTE]
    out += [
        "What `--format json` prints and `limner points` saves. Each has a JSON Schema in `limner/report/schema/`.\n"
    ]
    for path in sorted(SCHEMAS.glob("*.json")):
        schema = json.loads(path.read_text(encoding="utf-8"))
        out += [f"## {schema['title']}\n", f"Schema `{path.name}`. {schema.get('description', '')}\n"]
        out += [_table(schema)]
        for name, inner in schema.get("$defs", {}).items():
            if inner.get("properties"):
                out += [f"### {schema['title']}: {name}\n", f"{inner.get('description', '')}\n", _table(inner)]
    return re.sub(r"\n{3,}", "\n\n", "\n".join(out))


def _table(schema: dict[str, Any]) -> str:
    rows = [f"| `{path}` | {cell(kind)} | {cell(text)} |" for path, kind, text in _fields(schema, "")]
    return "\n".join(["| field | is | meaning |", "|---|---|---|", *rows, ""])


def _fields(schema: dict[str, Any], before: str) -> Iterator[tuple[str, str, str]]:
    for name, inner in schema.get("properties", {}).items():
        path = f"{before}{name}"
        yield path, _type(inner), inner.get("description", "")
        yield from _fields(inner, f"{path}.")
        items = inner.get("items")
        if isinstance(items, dict):
            yield from _fields(items, f"{path}[].")


def _type(schema: dict[str, Any]) -> str:
    if "$ref" in schema:
        return str(schema["$ref"]).rsplit("/", 1)[-1]
    if "const" in schema:
        return json.dumps(schema["const"])
    if "enum" in schema:
        return " or ".join("null" if each is None else str(each) for each in schema["enum"])
    for joint in ("anyOf", "oneOf"):
        if joint in schema:
            return " or ".join(_type(each) for each in schema[joint])
    kinds = schema.get("type", "anything")
    kinds = kinds if isinstance(kinds, list) else [kinds]
    items = schema.get("items")
    of = f" of {_type(items)}" if isinstance(items, dict) else ""
    return " or ".join("list" + of if kind == "array" else str(kind) for kind in kinds)


def python_page() -> str:
    """docs/reference/python.md."""
    out = ["# Python\n", NOTE, "```pycon", _example(), "```\n", "## What `import limner` gives\n"]
    public = [name for name in limner.__all__ if not name.startswith("__")]
    functions = [name for name in public if inspect.isfunction(getattr(limner, name))]
    errors = [
        name
        for name in public
        if inspect.isclass(getattr(limner, name)) and issubclass(getattr(limner, name), Exception)
    ]
    plain = [name for name in public if name not in functions and name not in errors]
    for name in functions:
        out += [f"### limner.{name}\n", _doc(getattr(limner, name)), ""]
    for name in plain:
        out += [_class(getattr(limner, name), f"limner.{name}")]
    out += ["### Errors\n", "| error | exit code | when |", "|---|---|---|"]
    out += [f"| `limner.{n}` | {getattr(limner, n).exit_code} | {line(getattr(limner, n).__doc__)} |" for n in errors]
    out += ["", "## What a result is made of\n"]
    for module in (limner.result, limner.planresult, limner.valuesresult):
        for name, each in vars(module).items():
            if is_dataclass(each) and each.__module__ == module.__name__ and name not in public:
                out.append(_class(each, f"{module.__name__}.{name}"))
    return re.sub(r"\n{3,}", "\n\n", "\n".join(out))


def _example() -> str:
    """The example in the package's own docstring."""
    return next(part for part in paragraphs(limner.__doc__ or "") if part.startswith(">>>"))


def _class(each: Any, name: str) -> str:
    said = _said_of_fields(importlib.import_module(each.__module__), each.__name__)
    rows = [
        f"| `{field.name}` | `{cell(str(field.type))}` | {cell(plain(said.get(field.name, '')))} | {_given(field)} |"
        for field in fields(each)
    ]
    own = [
        f"- `{key}`: {plain(paragraphs(value.__doc__ or '')[0])}"
        for key, value in vars(each).items()
        if not key.startswith("_") and (inspect.isfunction(value) or isinstance(value, property)) and value.__doc__
    ]
    table = ["| field | type | meaning | when not given |", "|---|---|---|---|", *rows, ""]
    return "\n".join([f"### {name}\n", _doc(each), "", *table, *own, ""])


def _given(field: Any) -> str:
    if field.default is not MISSING:
        return f"`{field.default!r}`"
    return "empty" if field.default_factory is not MISSING else ""


def _said_of_fields(module: ModuleType, name: str) -> dict[str, str]:
    """What stands below each field of a class in its source."""
    tree = ast.parse(inspect.getsource(module))
    body = next(node for node in ast.walk(tree) if isinstance(node, ast.ClassDef) and node.name == name).body
    return {
        one.target.id: str(below.value.value)
        for one, below in pairwise(body)
        if isinstance(one, ast.AnnAssign)
        and isinstance(one.target, ast.Name)
        and isinstance(below, ast.Expr)
        and isinstance(below.value, ast.Constant)
    }


def _doc(each: Any) -> str:
    """Signature and docstring, the docstring as it stands in the code."""
    head = ""
    if inspect.isfunction(each):
        said = f"    {each.__name__}{inspect.signature(each)}".replace("'", "")
        head = (said if len(said) < 100 else said.replace("(", "(\n        ", 1).replace(", ", ",\n        ")) + "\n\n"
    return head + "\n\n".join(plain(part) for part in paragraphs(each.__doc__ or ""))
