"""Which cloth for body and borders: the assignments that are planned, their answers, and what they leave."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Call

INCH = 25.4


def garment(path: Path, width: str = "40 in", length: str = "30 in", *, turn: bool = True) -> Path:
    """A body of linen with two borders of ticking."""
    bands = (
        f'[[strip]]\nid = "band-{k}"\nfabric = "ticking"\nstripe = "A"\nlength = "30 in"\nwidth = "1 1/2 in"\n'
        for k in (1, 2)
    )
    body = f'id = "body"\nfabric = "linen"\nwidth = "{width}"\nlength = "{length}"\nturn = {str(turn).lower()}\n'
    path.write_text(f'name = "Cover"\nseam = "0 in"\n[[panel]]\n{body}' + "".join(bands), encoding="utf-8")
    return path


def two_cloths(path: Path, *, deg: float, size_in: tuple[float, float]) -> Path:
    """A stash of plain linen, 60 in by 2 yd, and of ticking of one size whose print is turned."""
    wide, long = (side * INCH for side in size_in)
    stripes = [{"label": "A", "width_mm": 20, "centre_mm": 10}, {"label": "B", "width_mm": 40, "centre_mm": 40}]
    document = {
        "schema": "stash/1",
        "fabrics": [
            {"id": "ticking", "name": "Ticking", "print": {"kind": "stripe", "across_mm": 60, "stripes": stripes}},
            {"id": "linen", "name": "Linen", "print": {"kind": "plain"}},
        ],
        "pieces": [
            {"id": "t1", "fabric": "ticking", "outline_mm": [[0, 0], [wide, 0], [wide, long], [0, long]],
             "stripe_direction_deg": deg, "stripe_origin_mm": 0},
            {"id": "l1", "fabric": "linen", "outline_mm": [[0, 0], [1524, 0], [1524, 1828.8], [0, 1828.8]],
             "stripe_direction_deg": 0},
        ],
    }  # fmt: skip
    path.write_text(json.dumps(document), encoding="utf-8")
    return path


def by_way(document: Any) -> dict[tuple[str, str, str, str | None], str]:
    """The answers by body, borders, how the width lies, and print or grain."""
    return {(row["body"], row["border"], row["lies"], row["align"]): row["answer"] for row in document["choices"]}


def test_every_sensible_assignment_once(filled: Call, tmp_path: Path) -> None:
    """Two cloths, one plain: linen with ticking borders, ticking with plain ones, ticking with its own, each both ways
    round; plain borders on the same plain cloth are none. A body of 40 x 30 in goes on each, by its size alone: 1016 x
    762 mm on 1100 x 900 across, but not on its 900 mm along."""
    done = filled("which-cloth", garment(tmp_path / "g.toml"), "--json")
    answers = by_way(done.document)
    assert set(answers) == {
        (body, border, lies, None)
        for body, border in [("linen", "ticking"), ("ticking", "linen"), ("ticking", "ticking")]
        for lies in ("across", "along")
    }
    assert len(done.document["choices"]) == len(answers)
    assert answers["linen", "ticking", "across", None] == answers["ticking", "linen", "across", None] == "yes"
    assert answers["ticking", "linen", "along", None] == "no"
    assert done.code == 0
    ranks = [("yes", "unsure", "no").index(row["answer"]) for row in done.document["choices"]]
    assert ranks == sorted(ranks)


def test_along_the_print_or_the_grain(call: Call, tmp_path: Path) -> None:
    """58 x 38 in turned by 2° needs 59.3 x 40.0 in (W cos θ + L sin θ by L cos θ + W sin θ): on cloth of 59 x 39 in
    the body goes along the grain and not along the print; on 59.5 x 40.5 in along both."""
    file = garment(tmp_path / "g.toml", "58 in", "38 in", turn=False)
    for size, on_print in (((59.0, 39.0), "no"), ((59.5, 40.5), "yes")):
        stash = two_cloths(tmp_path / "s.json", deg=2.0, size_in=size)
        answers = by_way(call("which-cloth", file, "--json", "--stash", stash).document)
        assert answers["ticking", "linen", "across", "grain"] == "yes"
        assert answers["ticking", "linen", "across", "print"] == on_print
    rows = call("which-cloth", file, "--json", "--stash", stash).document["choices"]
    (told,) = {row["remarks"][0] for row in rows if row["align"] == "print" and row["border"] == "linen"}
    assert "59 3/8 in by 40 1/8 in" in told  # 59.29 and 40.00 in, up to the next eighth


def test_what_is_left_adds_up(filled: Call, tmp_path: Path) -> None:
    """What is left of a cloth is the cloth less the parts cut from it, and its largest rectangle is no larger."""
    done = filled("which-cloth", garment(tmp_path / "g.toml"), "--json")
    row = next(row for row in done.document["choices"] if (row["body"], row["border"]) == ("linen", "ticking"))
    left = {entry["fabric"]: entry for entry in row["leaves"]}
    assert left["linen"]["area_mm2"] == pytest.approx(1524 * 1828.8 - 1016 * 762, rel=1e-3)
    assert left["ticking"]["area_mm2"] == pytest.approx(1100 * 900 - 2 * 762 * 38.1, rel=1e-3)
    assert all(entry["rectangle_mm"][0] * entry["rectangle_mm"][1] <= entry["area_mm2"] for entry in left.values())
    whole = 18 * 900 + 900  # stripes A of 20 mm about 10, 70 … 1090: nineteen, the outermost whole as well
    assert 0 < next(one["length_mm"] for one in left["ticking"]["stripes"] if one["label"] == "A") <= whole - 2 * 762


def test_the_best_can_be_kept_and_cut(filled: Call, tmp_path: Path) -> None:
    """In words the best and the reason come first; the plan of any of them can be kept and booked."""
    told = filled("which-cloth", garment(tmp_path / "g.toml"), "--out", "plan.json", "--take", "2")
    assert told.code == 0
    assert told.out.startswith("Best: body of ")
    assert max(len(line) for line in told.out.splitlines()) <= 80
    assert filled("cut", "plan.json").code == 0
    assert filled("which-cloth", tmp_path / "g.toml", "--out", "plan.json", "--take", "99").code == 2


def test_cloth_that_is_too_small_is_left_aside(call: Call, tmp_path: Path) -> None:
    """A body of 40 x 30 in has more area than a piece of 30 x 30 in: that cloth is not planned as the body, and a
    sentence says so; named, it is planned all the same, and the answer is no."""
    stash = two_cloths(tmp_path / "s.json", deg=0.0, size_in=(30.0, 30.5))
    file = garment(tmp_path / "g.toml")
    done = call("which-cloth", file, "--json", "--stash", stash).document
    assert {row["body"] for row in done["choices"]} == {"linen"}
    assert done["left_aside"] == ["No piece of Ticking is large enough for the body."]
    named = call("which-cloth", file, "--json", "--stash", stash, "--cloth", "ticking", "--cloth", "linen").document
    assert {row["answer"] for row in named["choices"] if row["body"] == "ticking"} == {"no"}


def test_cloths_may_be_named(filled: Call, tmp_path: Path) -> None:
    """Named cloths alone are thought of; one that is not there is status 2, and a near name is offered."""
    file = garment(tmp_path / "g.toml")
    done = filled("which-cloth", file, "--cloth", "ticking", "--json")
    assert {(row["body"], row["border"]) for row in done.document["choices"]} == {("ticking", "ticking")}
    wrong = filled("which-cloth", file, "--cloth", "tickin", "--json")
    assert wrong.code == 2
    assert "ticking" in wrong.document["remedy"]


def test_columns_stand_clear_of_each_other(filled: Call, tmp_path: Path) -> None:
    """Columns of 17 begin after a ninth: two blanks before each, so that no cell reads on into the next, and no line
    of the table begins without the name of its row where it is the first."""
    rows = filled("which-cloth", garment(tmp_path / "g.toml")).out.splitlines()
    start = next(k for k, row in enumerate(rows) if row.startswith("goes"))
    block = rows[start : rows.index("", start)]
    assert any(row.startswith("leaves") for row in block)
    assert all(row.ljust(80)[at - 2 : at] == "  " for row in block for at in (26, 43, 60))
