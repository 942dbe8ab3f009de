"""A plan cut in stages: parts booked one by one, what went wrong told, and the rest planned again."""

from __future__ import annotations

import json
import shlex
from pathlib import Path
from typing import Any

import pytest
from shapely.geometry import Polygon

from tests.cli.conftest import Call, strips

CLOTH_MM2 = 1100 * 900
#: Booked leftovers are written to 0.001 mm along some metres of edge.
WRITTEN_MM2 = 20


def garment(path: Path) -> Path:
    """Three bands of 600 mm and a hem of two segments at most."""
    bands = [f'id = "band-{k}"\nlength = "600 mm"\nwidth = "2 in"' for k in (1, 2, 3)]
    hem = 'id = "hem"\nlength = "1200 mm"\nwidth = "2 in"\njoins = 1\nshortest = "6 in"'
    return strips(path, *bands, hem)


@pytest.fixture
def planned(filled: Call, tmp_path: Path) -> Call:
    """A plan for it, kept."""
    assert filled("enough", garment(tmp_path / "g.toml"), "--out", "plan.json").code == 0
    return filled


def ticking(call: Call) -> float:
    """The area of all ticking in the stash, mm2."""
    pieces = call("stash", "list", "--json").document["pieces"]
    return sum(Polygon(p["outline_mm"], p.get("holes_mm") or []).area for p in pieces if p["fabric"] == "ticking")


def cuts(folder: Path) -> dict[tuple[str, int], Any]:
    """The plan's cuts as polygons."""
    rows = json.loads((folder / "plan.json").read_text(encoding="utf-8"))["placements"]
    return {(row["part"], row["segment"]): Polygon(row["outline_mm"]) for row in rows}


def test_part_by_part_the_areas_add_up(planned: Call, tmp_path: Path) -> None:
    """After each part the cloth in the stash is the piece less the parts cut so far; the plan names what is left to
    cut; at the end nothing is, and telling it again is refused."""
    every = cuts(tmp_path)
    parts = list(dict.fromkeys(part for part, _ in every))
    taken = 0.0
    for number, part in enumerate(parts):
        done = planned("cut", "plan.json", "--part", part, "--json")
        assert done.code == 0
        taken += sum(shape.area for (name, _), shape in every.items() if name == part)
        assert ticking(planned) <= CLOTH_MM2 - taken + WRITTEN_MM2
        if number < len(parts) - 1:  # what is left may be too small to keep only when nothing is to be cut from it
            assert ticking(planned) == pytest.approx(CLOTH_MM2 - taken, abs=WRITTEN_MM2)
        left = {name.split(" (")[0] for name in done.document["still_to_cut"]}
        assert left == set(parts[number + 1 :])
    assert planned("cut", "plan.json").code == 2


def test_the_rest_is_booked_at_once(planned: Call, tmp_path: Path) -> None:
    """Some parts first and then the whole plan come to the same cloth as the whole plan in one step."""
    assert planned("cut", "plan.json").code == 0
    at_once = ticking(planned)
    assert planned("undo").code == 0
    assert planned("cut", "plan.json", "--part", "band-1", "--part", "band-3").code == 0
    assert planned("cut", "plan.json").code == 0
    assert ticking(planned) == pytest.approx(at_once, abs=WRITTEN_MM2)


def test_what_is_told_to_type_next_names_the_stash(planned: Call, tmp_path: Path) -> None:
    """Whoever named her stash is told to take the cut back there and not elsewhere, in words that a shell reads whole;
    typed as it stands it does that."""
    planned("stash", "export", "all.json")
    assert planned("stash", "import", "all.json", "--stash", "summer's cloth").code == 0
    told = planned("cut", "plan.json", "--part", "band-1", "--stash", "summer's cloth")
    assert told.code == 0
    words = shlex.split(told.out.split("Take it back with:")[1])
    assert words[0] == "stripewright"
    undone = planned(*words[1:])
    assert (undone.code, words[-1]) == (0, "summer's cloth")
    assert "band-1" in undone.out
    assert " ".join(told.out.split()).count("--stash") == told.out.count("stripewright") == 2


def test_undo_takes_one_stage_back(planned: Call) -> None:
    """Undo brings back the stash as it was, and the part can be told again; twice told is refused."""
    assert planned("cut", "plan.json", "--part", "band-1").code == 0
    before = planned("stash", "list", "--json").document
    assert planned("cut", "plan.json", "--part", "band-2").code == 0
    assert planned("cut", "plan.json", "--part", "band-2").code == 2
    assert planned("undo").code == 0
    assert planned("stash", "list", "--json").document == before
    assert planned("cut", "plan.json", "--part", "band-2").code == 0


def test_what_is_cut_short_comes_back_as_a_remnant(planned: Call, tmp_path: Path) -> None:
    """Cut 100 mm short, nothing of the cloth is lost: the strip enters as a piece 100 mm shorter, the rest as before;
    spoiled, the strip's cloth is gone. Either way it is still to be made, and the rest of the plan can still be cut."""
    shape = cuts(tmp_path)["band-1", 1]
    assert planned("cut", "plan.json", "--part", "band-1", "--short", "100 mm").code == 0
    assert ticking(planned) == pytest.approx(CLOTH_MM2, abs=WRITTEN_MM2)
    pieces = planned("stash", "list", "--json").document["pieces"]
    areas = [Polygon(piece["outline_mm"]).area for piece in pieces]
    assert any(area == pytest.approx(shape.area - 100 * 62.8, abs=2) for area in areas)
    assert planned("undo").code == 0
    assert planned("cut", "plan.json", "--part", "band-1", "--spoiled").code == 0
    assert ticking(planned) == pytest.approx(CLOTH_MM2 - shape.area, abs=WRITTEN_MM2)
    assert planned("cut", "plan.json", "--part", "hem").code == 0
    again = planned("enough", "g.toml", "--after", "plan.json", "--json")
    assert again.code == 0
    assert {row["part"] for row in again.document["placements"]} == {"band-1", "band-2", "band-3"}
    assert [(row["part"], row["length_mm"]) for row in again.document["have"]] == [("hem", None)]


def test_a_hem_half_cut_is_made_up(planned: Call, tmp_path: Path) -> None:
    """With one of two segments cut, the other's finished length is planned, in one piece: one join was allowed."""
    rows = json.loads((tmp_path / "plan.json").read_text(encoding="utf-8"))["placements"]
    first = next(row["finished_mm"] for row in rows if (row["part"], row["segment"]) == ("hem", 1))
    assert planned("cut", "plan.json", "--part", "hem", "--segment", "1").code == 0
    again = planned("enough", "g.toml", "--after", "plan.json", "--json").document
    hem = [row["finished_mm"] for row in again["placements"] if row["part"] == "hem"]
    assert hem == [pytest.approx(1200 - first, abs=0.01)]


def test_the_sheet_draws_what_is_still_to_cut(planned: Call, tmp_path: Path) -> None:
    """With a band booked as cut the sheet names the others and not that one; with all of it cut there is no sheet."""
    assert planned("sheet", "plan.json", "--out", "all.html").code == 0
    assert planned("cut", "plan.json", "--part", "band-2").code == 0
    assert planned("sheet", "plan.json", "--out", "rest.html").code == 0
    every, rest = ((tmp_path / name).read_text(encoding="utf-8") for name in ("all.html", "rest.html"))
    assert all(f"band-{k}" in every for k in (1, 2, 3))
    assert [f"band-{k}" in rest for k in (1, 2, 3)] == [True, False, True]
    assert planned("cut", "plan.json").code == 0
    assert planned("sheet", "plan.json", "--out", "none.html", "--json").document["schema"] == "error/1"


def test_plan_after_plan(planned: Call) -> None:
    """What was cut by the first plan is not planned again after a second one: half the hem by one plan, the rest and a
    band by the next, and two bands are left."""
    assert planned("cut", "plan.json", "--part", "hem", "--segment", "1").code == 0
    assert planned("enough", "g.toml", "--after", "plan.json", "--out", "plan-2.json").code == 0
    assert planned("cut", "plan-2.json", "--part", "hem", "--part", "band-2").code == 0
    again = planned("enough", "g.toml", "--after", "plan-2.json", "--json").document
    assert {row["part"] for row in again["placements"]} == {"band-1", "band-3"}


def test_what_she_has_is_not_planned(filled: Call, tmp_path: Path) -> None:
    """Ten bands where nine go: with one at hand it is a yes. So much of a strip at hand, the rest is planned."""
    rows = [f'id = "band-{k}"\nlength = "888 mm"\nwidth = "2 in"' for k in range(10)]
    file = strips(tmp_path / "g.toml", *rows)
    assert filled("enough", file, "--json", "--limit", "20").code == 1
    done = filled("enough", file, "--have", "band-3", "--json", "--limit", "20")
    assert done.code == 0
    assert {row["part"] for row in done.document["placements"]} == {f"band-{k}" for k in range(10)} - {"band-3"}
    part = filled("enough", file, "--have", "band-3", "--have", "band-0 = 388 mm", "--json", "--limit", "20").document
    assert next(row["finished_mm"] for row in part["placements"] if row["part"] == "band-0") == pytest.approx(500)


@pytest.mark.parametrize(
    "wrong",
    [
        ("cut", "plan.json", "--part", "bnd-1"),
        ("cut", "plan.json", "--part", "band-1", "--segment", "2"),
        ("cut", "plan.json", "--spoiled"),
        ("cut", "plan.json", "--part", "band-1", "--short", "700 mm"),
        ("cut", "plan.json", "--part", "band-1", "--short", "1 in", "--spoiled"),
        ("cut", "plan.json", "--part", "band-1", "--stash", "filled.json"),
        ("enough", "g.toml", "--have", "bnd-1"),
        ("enough", "g.toml", "--have", "hem = 2 m"),
        ("enough", "g.toml", "--have", "="),
        ("enough", "g.toml", "--after", "plan.json"),
        ("enough", "g.toml", *(word for k in (1, 2, 3) for word in ("--have", f"band-{k}")), "--have", "hem"),
    ],
)
def test_what_does_not_go_together_is_refused(planned: Call, wrong: tuple[str, ...]) -> None:
    """Unknown parts and segments, lengths that cannot be, a stash that is only read, nothing left to plan: status 2,
    and nothing is changed."""
    before = planned("stash", "list", "--json").document
    refused = planned(*wrong, "--json")
    assert (refused.code, refused.document["schema"]) == (2, "error/1")
    assert planned("stash", "list", "--json").document == before


def test_a_piece_changed_between_stages_is_refused(planned: Call, tmp_path: Path) -> None:
    """Where the leftover that holds a part has been cut down since, the part is not booked."""
    assert planned("cut", "plan.json", "--part", "band-1").code == 0
    document = planned("stash", "list", "--json").document
    for piece in document["pieces"]:
        if piece["fabric"] == "ticking":
            piece["outline_mm"] = [[0, 0], [100, 0], [100, 100], [0, 100]]
    (tmp_path / "small.json").write_text(json.dumps(document), encoding="utf-8")
    assert planned("stash", "import", "small.json", "--replace").code == 0
    refused = planned("cut", "plan.json", "--part", "hem", "--json")
    assert refused.code == 2
    assert "plan again" in refused.document["remedy"]


def test_what_is_left_never_takes_an_id_that_was(planned: Call, tmp_path: Path) -> None:
    """Cut after cut of one length, what is left is called anew: a ticket pinned to it before names nothing else now."""
    seen = {"t1"}
    for part, _ in list(cuts(tmp_path))[:4]:
        came = planned("cut", "plan.json", "--part", part, "--json").document["pieces_in"]
        assert came
        assert not seen & set(came)
        seen |= set(came)
