"""Commands that measure and plan nothing start without the libraries that measure and plan."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

HEAVY = ("cv2", "scipy", "skimage", "ortools", "shapely")
ROOT = Path(__file__).resolve().parents[2]
CALL = """
import json, sys
from stash.cli.main import status
arguments, wanted = json.loads(sys.argv[1]), json.loads(sys.argv[2])
code = status(arguments)
print(json.dumps({"code": code, "loaded": [name for name in wanted if name in sys.modules]}), file=sys.stderr)
"""


def called(arguments: list[str], where: Path) -> dict[str, object]:
    """Exit status of a command in a fresh interpreter, and which of the heavy libraries it loaded."""
    environment = {**os.environ, "STRIPEWRIGHT_STASH": str(where), "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-c", CALL, json.dumps(arguments), json.dumps(HEAVY)],
        capture_output=True, text=True, timeout=60, env=environment, cwd=where.parent, check=True,
    )  # fmt: skip
    found = json.loads(done.stderr.splitlines()[-1])
    assert isinstance(found, dict)
    return found


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["--help"], 0),
        (["--version"], 0),
        (["enough", "--help"], 0),
        (["measure", "--help"], 0),
        (["add", "--width", "1 m", "--length", "2 m", "--name", "Linen"], 0),
        (["stash", "list"], 0),
        (["stash", "list", "--json"], 0),
        (["stash", "export", "all.json"], 0),
        (["stash", "backup", "all.zip"], 0),
        (["undo"], 2),
        (["schema", "plan"], 0),
    ],
    ids=str,
)
def test_starts_light(arguments: list[str], code: int, tmp_path: Path) -> None:
    """``--help`` and the commands of the catalogue load none of the heavy libraries."""
    if arguments[:2] == ["stash", "backup"]:
        called(["add", "--width", "1 m", "--length", "2 m", "--name", "Linen"], tmp_path / "s")
    assert called(arguments, tmp_path / "s") == {"code": code, "loaded": []}


def test_import_and_undo_start_light(tmp_path: Path) -> None:
    """A change that is taken in and taken back needs none of the heavy libraries either."""
    document = {
        "schema": "stash/1",
        "fabrics": [{"id": "linen", "name": "Linen", "print": {"kind": "plain"}}],
        "pieces": [{"id": "l1", "fabric": "linen", "outline_mm": [[0, 0], [100, 0], [100, 90], [0, 90]]}],
    }
    (tmp_path / "in.json").write_text(json.dumps(document), encoding="utf-8")
    assert called(["stash", "import", "in.json"], tmp_path / "s") == {"code": 0, "loaded": []}
    assert called(["stash", "show", "l1"], tmp_path / "s") == {"code": 0, "loaded": []}
    assert called(["undo"], tmp_path / "s") == {"code": 0, "loaded": []}
