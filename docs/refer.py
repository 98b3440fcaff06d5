"""The pages of docs/reference/, made from the code itself: nothing on them is written by hand."""

from __future__ import annotations

import ast
import importlib
import inspect
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer

import limner
import limner.errors
from limner.cli.applied import TAKEN
from limner.cli.examples import EXAMPLES
from limner.cli.main import COMMANDS
from limner.config import KEYS
from limner.values.apart import value_names
from pieces import NOTE, cell, line, paragraphs
from referdata import json_page, python_page

SOURCE = Path(limner.__file__).parent

_KIND = {
    "path": "a file's name in quotes",
    "paths": 'files\' names in quotes: `["a.jpg", "b.jpg"]`',
    "choice": "one of these words, in quotes",
    "number": "a number",
    "whole": "a whole number",
    "switch": "`true` or `false`",
    "text": "words in quotes",
    "pairs": 'pairs of points: `[["ch_left", "gn"]]`',
    "notes": "a table: name = your words, in quotes",
    "states": "a table: photo's name = state",
}
_OTHER_CODES = (
    (0, "nothing is off; for other commands: done"),
    (1, "something is off"),
    (7, "a series finished, with photos skipped"),
    (70, "an error inside limner"),
    (130, "interrupted (143 when the system asked it to end, 129 when its terminal was closed)"),
)


def pages() -> dict[str, str]:
    """Every page: file name -> text."""
    return {
        "commands.md": commands_page(),
        "settings.md": settings_page(),
        "codes.md": codes_page(),
        "json.md": json_page(),
        "python.md": python_page(),
    }


def commands() -> Iterator[tuple[str, Any]]:
    """Every command with its full name, such as ``model fetch``."""
    for name, (module, _) in COMMANDS.items():
        command = typer.main.get_command(importlib.import_module(module).app)
        inner = getattr(command, "commands", None)
        if inner:
            yield from ((f"{name} {sub}", each) for sub, each in inner.items())
        else:
            yield name, command


def commands_page() -> str:
    """docs/reference/commands.md."""
    return "\n".join(["# Commands and options\n", NOTE, *(_command(name, each) for name, each in commands())])


def _command(name: str, command: Any) -> str:
    arguments = [p for p in command.params if p.param_type_name == "argument"]
    options = [p for p in command.params if p.param_type_name == "option"]
    said = " ".join([f"limner {name}", *(f"[{_metavar(p)}]" for p in arguments), "[options]"])
    out = [f"## limner {name}\n", f"    {said}\n", *(line(part) + "\n" for part in paragraphs(command.help or ""))]
    if arguments:
        out += [
            "| what to give | meaning |",
            "|---|---|",
            *(f"| `{_metavar(p)}` | {cell(p.help)} |" for p in arguments),
        ]
        out.append("")
    out += ["| option | meaning | when not given |", "|---|---|---|", *map(_option, options), ""]
    examples = EXAMPLES.get(name, ())
    if examples:
        out += ["```sh", *examples, "```", ""]
    return "\n".join(out)


def _metavar(param: Any) -> str:
    return str(param.metavar or param.name.upper()).replace("|", "\\|")


def _option(param: Any) -> str:
    names = ", ".join(f"`{name}`" for name in (*param.opts, *param.secondary_opts))
    choices = getattr(param.type, "choices", None)
    value = "" if param.is_flag else f" `{_choices(choices) if choices else _metavar(param)}`"
    return f"| {names}{value} | {cell(param.help)} | {_default(param)} |"


def _choices(choices: Any) -> str:
    return "\\|".join(str(getattr(choice, "value", choice)) for choice in choices)


def _default(param: Any) -> str:
    value = param.default
    if value is None or value == () or callable(value) or (param.is_flag and not param.secondary_opts):
        return ""
    if param.is_flag:
        return f"`{(param.opts if value else param.secondary_opts)[0]}`"
    return f"`{getattr(value, 'value', value)}`"


def settings_page() -> str:
    """docs/reference/settings.md."""
    rows = []
    for key in KEYS:
        kind = " or ".join(f'`"{choice}"`' for choice in key.choices) if key.choices else _KIND[key.kind]
        takers = [command for command, taken in TAKEN.items() if key.name in taken]
        rows.append(f"| `{key.name}` | {kind} | {key.default} | {', '.join(takers)} |")
    return "\n".join(
        [
            "# Keys of limner.toml\n",
            NOTE,
            "A key with a point in it stands in a table: `points.reference` is `reference` under `[points]`. The last",
            "column names the commands that take the key as an option; `reference`, `painting`, points, faces and",
            "notes are taken wherever a picture or photo is asked for. The command line wins over the file.\n",
            "| key | value | when not given | option of |",
            "|---|---|---|---|",
            *rows,
            "",
            "## Value and colour under intended\n",
            "Beside measures and parts, `[intended]` takes these names of regions, edges and kinds of findings of the",
            "values. A kind stands for every finding of that kind, wherever it is.\n",
            f"{', '.join(f'`{name}`' for name in value_names())}.",
            "",
        ]
    )


def codes_page() -> str:
    """docs/reference/codes.md."""
    kinds = [
        each for each in vars(limner.errors).values() if inspect.isclass(each) and each.__base__ is limner.LimnerError
    ]
    known = [(kind.exit_code, f"{line(kind.__doc__ or '')} (`limner.{kind.__name__}`)") for kind in kinds]
    known += [(code, text) for code, text in _OTHER_CODES]
    found = [f"| `{code}` | {cell(text)} | {where} |" for code, text, where in sorted(set(_notices()))]
    return "\n".join(
        [
            "# Exit codes and warnings\n",
            NOTE,
            "## Exit codes\n",
            "| code | meaning |",
            "|---|---|",
            *(f"| {code} | {text} |" for code, text in sorted(known)),
            "",
            "`canon`, `config`, `model`, `points`, `prove`, `sheet` and `study` end with 0 whatever they find.\n",
            "## Warnings\n",
            "What an audit has to warn of, or remarks, carries a code in the JSON (`warnings[].code`). Codes keep",
            "their meaning; the words may change. Below the words as the code has them, with … for what it fills in.\n",
            "| code | words | from |",
            "|---|---|---|",
            *found,
            "",
        ]
    )


def _notices() -> Iterator[tuple[str, str, str]]:
    """Code, words and room of every notice the code can make."""
    for path in sorted(SOURCE.rglob("*.py")):
        room = path.relative_to(SOURCE).parts[0].removesuffix(".py")
        tree = ast.parse(path.read_text(encoding="utf-8"))
        texts = {
            target.id: _words(node.value)
            for node in ast.walk(tree)
            if isinstance(node, ast.Assign)
            for target in node.targets
            if isinstance(target, ast.Name) and isinstance(node.value, (ast.Constant, ast.JoinedStr))
        }
        for function in [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)]:
            for node in ast.walk(function):
                if isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("Notice", "_notice"):
                    yield from _notice(node, function, texts, room)


def _notice(
    node: ast.Call, function: ast.FunctionDef, texts: dict[str, str], room: str
) -> Iterator[tuple[str, str, str]]:
    given = {keyword.arg: keyword.value for keyword in node.keywords}
    code = given.get("code") or next((a for a in node.args if isinstance(a, ast.Constant)), None)
    if not (isinstance(code, ast.Constant) and isinstance(code.value, str)):
        return  # made from a code that its caller gives, who is found too
    text = given.get("text") or node.args[-1]
    words = _words(text)
    if isinstance(text, ast.Name):
        own = [
            (each.lineno, _words(each.value))
            for each in ast.walk(function)
            if isinstance(each, ast.Assign)
            and any(isinstance(t, ast.Name) and t.id == text.id for t in each.targets)
            and each.lineno < node.lineno
        ]
        words = max(own)[1] if own else texts.get(text.id, "…")
    yield code.value, words, room


def _words(node: ast.expr) -> str:
    """The text of a string in the code, with … for what is filled in."""
    if isinstance(node, ast.Constant):
        return str(node.value)
    if isinstance(node, ast.JoinedStr):
        return "".join(_words(part) for part in node.values)
    return "…"
