"""Every command's help ends with examples that are right, and a shell can complete commands."""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
import sys
from typing import Any

import pytest
import typer

from limner.cli.examples import EXAMPLES
from limner.cli.main import COMMANDS, app, ended


@pytest.fixture(scope="module")
def root() -> Any:
    return typer.main.get_command(app)


def commands(root: Any) -> dict[str, Any]:
    """Every command by its words, sub-commands too, as the command line loads them."""
    found = {"": root}
    context = typer.Context(root, info_name="limner")
    for name in COMMANDS:
        found[name] = root.resolve_command(context, [name])[1]
        for inner in getattr(found[name], "commands", {}):
            found[f"{name} {inner}"] = found[name].commands[inner]
    return found


def test_every_command_has_examples(root) -> None:
    assert set(commands(root)) == set(EXAMPLES)


@pytest.mark.parametrize("name", EXAMPLES)
def test_help_ends_with_its_examples(name: str, capsys, monkeypatch) -> None:
    monkeypatch.setenv("COLUMNS", "140")
    monkeypatch.setenv("TERMINAL_WIDTH", "140")
    assert ended(lambda: app([*name.split(), "--help"], prog_name="limner"), debug=False) == 0
    lines = [line.strip() for line in capsys.readouterr().out.splitlines() if line.strip()]
    examples = EXAMPLES[name]
    assert lines[-len(examples) - 1] in ("Example:", "Examples:")
    assert tuple(lines[-len(examples) :]) == examples


@pytest.mark.parametrize(("name", "example"), [(n, e) for n, all_ in EXAMPLES.items() for e in all_])
def test_the_options_of_every_example_are_the_real_ones(name: str, example: str, root, tmp_path, monkeypatch) -> None:
    """Parsed by the real command line, which refuses an unknown option, choice or a word too many."""
    monkeypatch.chdir(tmp_path)
    program, *words = shlex.split(example)
    assert program == "limner"
    assert " ".join(words).startswith(name)
    context, command = typer.Context(root, info_name="limner"), root
    while hasattr(command, "commands"):
        _, command, words = command.resolve_command(context, words)
    made = command.make_context(command.name, list(words), parent=context)
    assert made.args == []
    given = {made.get_parameter_source(key).name for key in made.params}
    assert "COMMANDLINE" in given or not words


def test_a_wrong_example_would_be_seen(root) -> None:
    _, audit, _ = root.resolve_command(typer.Context(root, info_name="limner"), ["audit"])
    for words in (["--no-such"], ["--stage", "varnish"], ["a", "b", "c"]):
        with pytest.raises(Exception, match=r".") as caught:
            audit.make_context("audit", words)
        assert "UsageError" in {kind.__name__ for kind in type(caught.value).__mro__}


def completed(*words: str) -> list[str]:
    """What a bash that asks is answered."""
    asked = {"COMP_WORDS": "\n".join(words), "COMP_CWORD": str(len(words) - 1), "_LIMNER_COMPLETE": "complete_bash"}
    done = subprocess.run(
        [sys.executable, "-m", "limner.cli"],
        env={**os.environ, **asked}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return done.stdout.split()


def test_commands_options_and_choices_are_completed() -> None:
    assert completed("limner", "s") == ["series", "sheet", "study"]
    assert completed("limner", "audit", "--stage", "g") == ["glaze"]
    assert "--value-sheet" in completed("limner", "audit", "--val")
    assert completed("limner", "model", "") == ["status", "fetch"]
    assert completed("limner", "audit", "pho") == []  # left to the shell, which knows the files


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish", "powershell"])
def test_each_shell_is_given_its_script(shell: str, capsys) -> None:
    assert ended(lambda: app(["--show-completion", shell], prog_name="limner"), debug=False) == 0
    script = capsys.readouterr().out
    assert f"_LIMNER_COMPLETE={'complete_' + shell}" in script or '$Env:_LIMNER_COMPLETE = "complete_' in script
    assert ended(lambda: app(["--show-completion", "sh"], prog_name="limner"), debug=False) == 2


@pytest.mark.skipif(os.name == "nt" or shutil.which("bash") is None, reason="needs bash and a script that runs")
def test_bash_completes(tmp_path) -> None:
    program = tmp_path / "limner"
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m limner.cli "$@"\n')
    program.chmod(0o755)
    script = (
        'eval "$(limner --show-completion bash)"; complete -p limner; COMP_WORDS=(limner sh) COMP_CWORD=1; '
        '_limner_completion limner; echo "${COMPREPLY[@]}"'
    )
    path = {**os.environ, "PATH": f"{tmp_path}{os.pathsep}{os.environ['PATH']}"}
    done = subprocess.run(["bash", "-c", script], env=path, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == ["complete -o default -F _limner_completion limner", "sheet"]
