"""The form of the source: files of a readable length, documented doors, plain names, one room that prints."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LONGEST = 400
PACKAGES = ("stash", "vision")
STREAMS = {"sys.stdout", "sys.stderr", "sys.stdin", "sys.exit", "sys.argv"}
Door = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef
#: Names that say nothing of what is inside.
EMPTY_NAMES = {"utils", "util", "helpers", "helper", "common", "core", "manager", "base", "models", "misc"}


def sources(*folders: str) -> list[Path]:
    """All source files of the folders."""
    return sorted(path for folder in folders for path in (ROOT / folder).rglob("*.py"))


def relative(path: Path) -> str:
    """Its name from the root of the project."""
    return path.relative_to(ROOT).as_posix()


def parsed(path: Path) -> ast.Module:
    """The module's syntax tree."""
    return ast.parse(path.read_text(encoding="utf-8"))


def doors(tree: ast.AST, prefix: str = "") -> Iterator[tuple[str, Door]]:
    """The public functions and classes of a module, and the public methods of its public classes.

    The methods of a protocol are documented where they are done.
    """
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield prefix + node.name, node
            if isinstance(node, ast.ClassDef) and not any(ast.unparse(one) == "Protocol" for one in node.bases):
                yield from doors(node, f"{node.name}.")


def test_no_file_is_long() -> None:
    """A file can be read in one sitting: at most 400 lines."""
    lengths = {
        relative(path): len(path.read_text(encoding="utf-8").splitlines()) for path in sources(*PACKAGES, "tests")
    }
    assert {name: length for name, length in lengths.items() if length > LONGEST} == {}


def test_every_door_is_documented() -> None:
    """Every module, public class, function and method says what it is."""
    silent = []
    for path in sources(*PACKAGES):
        tree = parsed(path)
        silent += [relative(path)] if not ast.get_docstring(tree) else []
        silent += [f"{relative(path)}: {name}" for name, node in doors(tree) if not ast.get_docstring(node)]
    assert silent == [], "\n".join(silent)


def test_every_test_states_its_truth() -> None:
    """Every test's docstring says what is so."""
    silent = [
        f"{relative(path)}: {name}"
        for path in sources("tests")
        for name, node in doors(parsed(path))
        if name.rpartition(".")[2].startswith("test_") and not ast.get_docstring(node)
    ]
    assert silent == [], "\n".join(silent)


def test_init_only_names_its_package() -> None:
    """An ``__init__`` holds a docstring and nothing to run, so that importing one room loads no other."""
    trees = {relative(path): parsed(path) for path in sources(*PACKAGES) if path.name == "__init__.py"}
    assert len(trees) > 5
    assert [name for name, tree in trees.items() if len(tree.body) != 1 or not ast.get_docstring(tree)] == []


def test_names_say_what_is_inside() -> None:
    """No file or folder carries a name that fits anything."""
    names = {part for path in sources(*PACKAGES) for part in path.relative_to(ROOT).with_suffix("").parts}
    assert names & EMPTY_NAMES == set()


def test_only_the_command_line_prints() -> None:
    """Nothing below the command line prints, asks, exits, or touches the standard streams."""
    loud = []
    for path in sources(*PACKAGES):
        if relative(path).startswith("stash/cli/"):
            continue
        for node in ast.walk(parsed(path)):
            named = isinstance(node, ast.Call) and ast.unparse(node.func) in ("print", "input", "exit", "quit")
            stream = isinstance(node, ast.Attribute) and ast.unparse(node) in STREAMS
            loud += [f"{relative(path)}:{node.lineno}"] if named or stream else []
    assert loud == []


def test_failures_of_our_own_carry_a_remedy() -> None:
    """Whatever is raised for a person to mend is made of two sentences' halves: the problem and the remedy."""
    kinds = {"InputWrong", "NotCertain", "NotFound", "Conflict", "CatalogueBlocked", "OurFault",
             "PhotoUnreadable", "LibraryMissing", "CallWrong", "ScaleNotFound"}  # fmt: skip
    bare = [
        f"{relative(path)}:{node.lineno}"
        for path in sources(*PACKAGES)
        for node in ast.walk(parsed(path))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in kinds
        and len(node.args) + len(node.keywords) != 2 and not any(isinstance(one, ast.Starred) for one in node.args)
    ]  # fmt: skip
    assert bare == []
