"""What is cut of a plan is matched by what is planned after it: the same stripe, phase and way round.

Truth: the contract, "The garment file": the phase of a segment is (p·d − along origin) mod along at its finished start,
strips of a pair start at the same phase and are turned alike, mirrors show each other's neighbours, joins run on.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Call

ALONG = 70.0
#: A is shown; it lies between C and B, and again between B and C.
STRIPES = [("A", 20.0), ("B", 10.0), ("A", 20.0), ("C", 30.0)]
SEAM = 6.0
EQUAL = 0.011


def _stash(folder: Path, *sizes: tuple[float, float], along: float | None = ALONG) -> None:
    """Lengths of the cloth, each (wide, long), every one with the print starting elsewhere along it."""
    stripes, reached = [], 0.0
    for label, width in STRIPES:
        stripes.append({"label": label, "width_mm": width, "centre_mm": reached + width / 2})
        reached += width
    print_ = {"kind": "stripe" if along is None else "motif", "across_mm": reached, "along_mm": along,
              "stripes": stripes}  # fmt: skip
    pieces = [
        {
            "id": f"t{number}",
            "fabric": "deck",
            "outline_mm": [[0, 0], [wide, 0], [wide, long], [0, long]],
            "stripe_direction_deg": 0,
            "stripe_origin_mm": 15,
            "along_origin_mm": 0 if along is None else 11.0 * number,
        }
        for number, (wide, long) in enumerate(sizes, 1)
    ]
    document = {"schema": "stash/1", "fabrics": [{"id": "deck", "name": "Deck", "print": print_}], "pieces": pieces}
    (folder / "cloth.json").write_text(json.dumps(document), encoding="utf-8")


def _garment(folder: Path, *strips: str) -> None:
    rows = "\n".join(f'[[strip]]\nfabric = "deck"\nstripe = "A"\nwidth = "28 mm"\n{row}\n' for row in strips)
    (folder / "g.toml").write_text(f'name = "Apron"\nseam = "{SEAM:g} mm"\n\n{rows}', encoding="utf-8")


def _phase(call: Call, row: dict[str, Any], origins: dict[str, float]) -> float:
    """Where the print stands at the finished start of a segment; the stripes run along y here."""
    start = row["outline_mm"][0][1]
    return float((start + (-SEAM if row["turned"] else SEAM) - origins[row["piece"]]) % ALONG)


def _neighbours(row: dict[str, Any]) -> tuple[str, str]:
    """What lies to the left and right of the stripe, the strip's start on top."""
    left, right = row["outline_mm"][0][0], row["outline_mm"][1][0]
    at = ((left + right) / 2 - 15) % 80
    beside = ("C", "B") if abs(at - 10) < 1 else ("B", "C")
    assert abs(at - 10) < 1 or abs(at - 40) < 1
    return (beside[1], beside[0]) if row["turned"] else beside


def _planned(call: Call, *more: str, out: str) -> dict[str, list[dict[str, Any]]]:
    """A yes, by part; the segments in order."""
    done = call("enough", "g.toml", "--out", out, "--json", *more)
    assert done.code == 0, done.out
    parts: dict[str, list[dict[str, Any]]] = {}
    for row in sorted(done.document["placements"], key=lambda row: row["segment"]):
        parts.setdefault(row["part"], []).append(row)
    return parts


def _origins(call: Call) -> dict[str, float]:
    rows = call("stash", "export", "out.json", "--json")
    assert rows.code == 0
    document = json.loads(Path("out.json").read_text(encoding="utf-8"))
    return {piece["id"]: piece["along_origin_mm"] for piece in document["pieces"]}


def _apart(one: float, other: float) -> float:
    gap = (one - other) % ALONG
    return min(gap, ALONG - gap)


def test_the_other_of_a_pair_starts_at_the_same_phase(call: Call, tmp_path: Path) -> None:
    """One of a pair is cut and booked; the other, planned again, starts where the print stands as it did there, and is
    turned alike. Planned as though nothing were known of it, it starts elsewhere."""
    _stash(tmp_path, (70, 900), (70, 500), (70, 470))
    _garment(tmp_path, *(f'id = "{name}"\nlength = "400 mm"\npair = "fronts"' for name in ("left", "right")))
    assert call("stash", "import", "cloth.json").code == 0
    first = _planned(call, out="plan.json")
    at = _phase(call, first["left"][0], _origins(call))
    assert call("cut", "plan.json", "--part", "left").code == 0
    rest = _planned(call, "--after", "plan.json", out="rest.json")
    assert set(rest) == {"right"}
    assert _apart(_phase(call, rest["right"][0], _origins(call)), at) <= EQUAL
    assert rest["right"][0]["turned"] == first["left"][0]["turned"]
    assert call("sheet", "rest.json", "--out", "rest.html").code == 0
    assert "right is laid to match left, cut before." in (tmp_path / "rest.html").read_text(encoding="utf-8")
    free = _planned(call, "--have", "left", out="free.json")
    assert _apart(_phase(call, free["right"][0], _origins(call)), at) > 1


def test_the_mirror_of_what_is_cut_shows_its_neighbours_the_other_way(call: Call, tmp_path: Path) -> None:
    """The left front is cut about one occurrence of the stripe; the right one, planned later, is its mirror image."""
    _stash(tmp_path, (180, 300), (180, 300), along=None)
    _garment(tmp_path, *(f'id = "{name}"\nlength = "250 mm"\nmirror = "fronts"' for name in ("left", "right")))
    assert call("stash", "import", "cloth.json").code == 0
    first = _planned(call, out="plan.json")
    for cut, planned in (("left", "right"), ("right", "left")):
        assert call("cut", "plan.json", "--part", cut).code == 0
        rest = _planned(call, "--after", "plan.json", out="rest.json")
        assert _neighbours(rest[planned][0]) == _neighbours(first[cut][0])[::-1]
        assert call("undo").code == 0


@pytest.mark.parametrize("segment", [1, 2])
def test_the_rest_of_a_strip_runs_on_from_what_is_cut(call: Call, tmp_path: Path, segment: int) -> None:
    """A hem of two segments, one of them cut: the rest is of the right length, shows the same neighbours, and the print
    runs on across the join, whether its start or its end is still to cut."""
    _stash(tmp_path, (70, 500), (70, 500), (150, 420), (150, 420))
    _garment(tmp_path, 'id = "hem"\nlength = "760 mm"\njoins = 1\nshortest = "100 mm"')
    assert call("stash", "import", "cloth.json").code == 0
    first = _planned(call, out="plan.json")["hem"]
    assert len(first) == 2
    cut = first[segment - 1]
    at = _phase(call, cut, _origins(call))
    assert call("cut", "plan.json", "--part", "hem", "--segment", segment).code == 0
    (rest,) = _planned(call, "--after", "plan.json", out="rest.json")["hem"]
    assert rest["finished_mm"] == pytest.approx(760 - cut["finished_mm"], abs=0.01)
    assert _neighbours(rest) == _neighbours(cut)
    assert rest["turned"] == cut["turned"]
    way = -1 if cut["turned"] else 1
    found = _phase(call, rest, _origins(call))
    expected = at + way * cut["finished_mm"] if segment == 1 else at - way * rest["finished_mm"]
    assert _apart(found, expected) <= EQUAL


def test_what_cannot_match_what_is_cut_is_a_no(call: Call, tmp_path: Path) -> None:
    """The only cloth left is just as long as the strip, its print starting elsewhere: beside what is cut it is a no,
    where nothing is known of that a yes."""
    _stash(tmp_path, (70, 900), (70, 413), (70, 413))
    _garment(tmp_path, *(f'id = "{name}"\nlength = "400 mm"\npair = "fronts"' for name in ("left", "right")))
    assert call("stash", "import", "cloth.json").code == 0
    first = _planned(call, out="plan.json")
    assert {first[name][0]["piece"] for name in first} == {"t1"}
    assert call("cut", "plan.json", "--part", "left").code == 0
    for piece in call("stash", "list", "--json").document["pieces"]:
        if piece["id"] not in ("t2", "t3"):
            assert call("stash", "give", piece["id"]).code == 0
    beside = call("enough", "g.toml", "--after", "plan.json", "--json")
    assert (beside.code, beside.document["answer"]) == (1, "no")
    assert _planned(call, "--have", "left", out="free.json")
