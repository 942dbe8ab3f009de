"""What the tests of the commands share: a call in process, and a stash of its own for every test."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from stash.cli.main import status


@dataclass(frozen=True, slots=True, kw_only=True)
class Called:
    """What a command gave back."""

    code: int
    out: str
    err: str

    @property
    def document(self) -> Any:
        """Standard output as the one JSON document that it must be."""
        return json.loads(self.out)


Call = Callable[..., Called]


@pytest.fixture
def call(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Call:
    """Calls a command in a folder and with a stash of the test's own."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("STRIPEWRIGHT_STASH", str(tmp_path / "stash"))

    def run(*arguments: object) -> Called:
        capsys.readouterr()
        code = status([str(word) for word in arguments])
        told = capsys.readouterr()
        assert "Traceback" not in told.err + told.out
        return Called(code=code, out=told.out, err=told.err)

    return run


@pytest.fixture
def filled(call: Call, tmp_path: Path) -> Call:
    """The same with cloth in the stash: ticking of 60 mm repeat, 1100 by 900 mm, and plain linen of 60 in by 2 yd."""
    document = {
        "schema": "stash/1",
        "fabrics": [
            {
                "id": "ticking",
                "name": "Red ticking",
                "print": {
                    "kind": "stripe",
                    "across_mm": 60,
                    "stripes": [
                        {"label": "A", "width_mm": 20, "centre_mm": 10, "hex": "#a01c24"},
                        {"label": "B", "width_mm": 40, "centre_mm": 40, "hex": "#efe6d2"},
                    ],
                },
            },
            {"id": "linen", "name": "Linen", "print": {"kind": "plain"}},
        ],
        "pieces": [
            {
                "id": "t1",
                "fabric": "ticking",
                "outline_mm": [[0, 0], [1100, 0], [1100, 900], [0, 900]],
                "stripe_direction_deg": 0,
                "stripe_origin_mm": 0,
            },
            {
                "id": "l1",
                "fabric": "linen",
                "outline_mm": [[0, 0], [1524, 0], [1524, 1828.8], [0, 1828.8]],
                "stripe_direction_deg": 0,
            },
        ],
    }
    (tmp_path / "filled.json").write_text(json.dumps(document), encoding="utf-8")
    assert call("stash", "import", "filled.json").code == 0
    return call


def strips(path: Path, *rows: str) -> Path:
    """A garment file of strips of ticking, stripe A, each row the further keys of one."""
    parts = (f'[[strip]]\nfabric = "ticking"\nstripe = "A"\n{row}\n' for row in rows)
    path.write_text('name = "Borders"\nseam = "6 mm"\n\n' + "\n".join(parts), encoding="utf-8")
    return path
