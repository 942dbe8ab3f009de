"""What README and DEVELOPERS promise is what there is."""

from __future__ import annotations

import re
import shlex
import subprocess
from pathlib import Path
from typing import Any

import pytest

from stash.cli import app
from vision import opencv

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(text: str) -> list[str]:
    """The fenced blocks of a text, without their fences."""
    return [body.strip() for body in re.findall(r"^```[a-z]*\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)]


def calls(text: str) -> list[list[str]]:
    """Every call of the program in the fenced blocks, as words; what stands before it on the line is left out."""
    found = []
    for line in "\n".join(blocks(text)).replace("\\\n", " ").splitlines():
        match = re.search(r"(?:^|\s|/)stripewright\s(?P<rest>(?:\"[^\"]*\"|[^#|>;\"])*)", line)
        if match and (line.lstrip().startswith(("$", "stripewright")) or "&&" in line):
            found.append(shlex.split(match["rest"]))
    return found


def command_of(words: list[str]) -> tuple[Any, list[str]]:
    """The command that words name, and what follows its name."""
    command, rest = app.build(), list(words)
    while rest and rest[0] in getattr(command, "commands", {}):
        command = command.commands[rest.pop(0)]
    return command, rest


def test_two_commands_set_up_and_test() -> None:
    """Two commands of one line each make an environment; the first runs the demo, the second the tests."""
    first, second = blocks(README)[:2]
    for command in (first, second):
        assert "\n" not in command
        assert "python3 -m venv" in command
    assert first.endswith("stripewright demo")
    assert "pytest" in second


def test_ci_runs_the_readme_s_own_test_command() -> None:
    """``.ci/run`` takes its test command out of the README and then runs ruff, mypy and import-linter."""
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    (taking,) = re.findall(r"^tests=\$\((.*)\)$", script, re.MULTILINE)
    taken = subprocess.run(["bash", "-c", taking], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    assert taken.strip() == blocks(README)[1]
    for tool in ("ruff check", "mypy", "lint-imports"):
        assert f"/{tool}" in script
    assert (ROOT / ".ci" / "run").stat().st_mode & 0o111


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_every_command_that_is_shown_exists(name: str) -> None:
    """Each command and option in the README's and DEVELOPERS' examples is one that the program has."""
    found = calls((ROOT / name).read_text(encoding="utf-8"))
    if name == "README.md":
        assert len(found) >= 2
    for words in found:
        command, rest = command_of(words)
        assert not getattr(command, "commands", {}) or rest[:1] in (["--help"], ["--version"]), words
        known = {option for parameter in command.params for option in parameter.opts} | {"--help"}
        assert {word for word in rest if word.startswith("--")} <= known, words


def test_files_that_are_linked_exist() -> None:
    """Every picture and file that README and DEVELOPERS link to in this project is there."""
    for name in ("README.md", "DEVELOPERS.md"):
        text = (ROOT / name).read_text(encoding="utf-8")
        linked = [one for one in re.findall(r"\]\(([^)#\s]+)\)", text) if "://" not in one]
        assert [one for one in linked if not (ROOT / one).exists()] == [], name


def test_the_system_libraries_are_those_that_the_error_names() -> None:
    """What the README installs for OpenCV holds all that the program asks for where OpenCV cannot be loaded."""
    for command in blocks(README)[:2]:
        assert set(opencv.SYSTEM_PACKAGES.split()) <= set(command.replace(";", " ").split())
