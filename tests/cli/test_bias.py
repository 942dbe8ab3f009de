"""The command bias: binding from pieces of the stash, its plan drawn and booked like any other."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from shapely.geometry import Polygon

from tests.cli.conftest import Call


def test_binding_is_planned_drawn_and_booked(filled: Call, tmp_path: Path) -> None:
    """A yes: the strips' areas are width times length, the sheet is written, and booking leaves cloth less strips."""
    asked = ("bias", "--width", "2 1/2 in", "--length", "120 in", "--piece", "t1")
    done = filled(*asked, "--json", "--out", "plan.json")
    assert done.code == 0
    document = done.document
    assert (document["schema"], document["answer"]) == ("plan/1", "yes")
    strips = [Polygon(row["outline_mm"]) for row in document["placements"]]
    width = 2.5 * 25.4
    joined = sum(strip.area for strip in strips) / width - (len(strips) - 1) * width
    assert joined == pytest.approx(document["binding"]["joined_mm"], abs=0.1)
    assert joined >= 120 * 25.4 - 0.1
    assert filled("sheet", "plan.json", "--out", "sheet.pdf").code == 0
    assert filled("cut", "plan.json").code == 0
    kept = [piece for piece in filled("stash", "list", "--json").document["pieces"] if piece["fabric"] == "ticking"]
    left = sum(Polygon(piece["outline_mm"]).area for piece in kept)
    assert left <= 1100 * 900 - sum(strip.area for strip in strips) + 1
    assert filled("undo").code == 0


def test_the_finished_width_sets_the_cut(filled: Call) -> None:
    """Single binding is cut four times its finished width, double six times and 1/4 in (common practice)."""
    for make, cut_in in (("single", 2.0), ("double", 3.25)):
        told = filled("bias", "--width", "1/2 in", "--make", make, "--length", "60 in", "--fabric", "linen", "--json")
        assert told.document["binding"]["width_mm"] == pytest.approx(cut_in * 25.4)


def test_stripes_show_aslant(filled: Call) -> None:
    """At 45° a repeat of 60 mm shows every 60·√2 = 84.9 mm along the binding (plane geometry); plain cloth has none."""
    told = filled("bias", "--width", "2 in", "--length", "60 in", "--piece", "t1").out
    assert "their repeat shows every 3 3/8 in (85 mm)" in " ".join(told.split())
    assert "repeat" not in filled("bias", "--width", "2 in", "--length", "60 in", "--fabric", "linen").out


def test_a_no_says_what_is_lacking(filled: Call) -> None:
    """More than the area over the width is a no, with the length that is lacking."""
    told = filled("bias", "--width", "2 in", "--length", "20 m", "--piece", "t1", "--json")
    assert (told.code, told.document["answer"], told.document["proven"]) == (1, "no", True)
    assert told.document["short"][0]["missing_mm"] >= 20000 - 1100 * 900 / 50.8
    assert filled("bias", "--width", "2 in", "--length", "20 m", "--piece", "t1").out.startswith("No: ")


@pytest.mark.parametrize(
    "wrong",
    [
        ("--width", "2 in", "--length", "1 m"),
        ("--width", "2 in", "--length", "1 m", "--piece", "nothing"),
        ("--width", "0 in", "--length", "1 m", "--piece", "t1"),
        ("--width", "2 in", "--length", "1 m", "--piece", "t1", "--piece", "l1"),
        ("--width", "2 in", "--length", "1 m", "--fabric", "nothing"),
    ],
)
def test_wrong_calls_are_refused(filled: Call, wrong: tuple[str, ...]) -> None:
    """No cloth named, cloth that is not there, no width, or two fabrics: status 2 with a remedy."""
    refused = filled("bias", *wrong, "--json")
    assert (refused.code, refused.document["schema"]) == (2, "error/1")
    assert json.dumps(refused.document["remedy"]) != '""'
