"""The answer by commands: yes, no and unsure with their statuses, the cut, and what is left over."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from shapely.geometry import Polygon

from tests.cli.conftest import Call, strips

#: t1 is 1100 mm wide and the repeat 60: the stripes A about 10, 70 … 1090 make 19 lanes. A strip of 2 in finished and
#: 6 mm seams is cut 62.8 mm wide, 31.4 each side of its stripe: the lanes at 10 and 1090 are cut off by the cloth's
#: edge, and neighbours 60 apart exclude one another. Of the 17 from 70 to 1030, every second may be used: nine at most.
WIDE = 'width = "2 in"'


def hems(path: Path, count: int, length: str) -> Path:
    """A garment of so many strips of one length."""
    return strips(path, *(f'id = "hem-{number}"\nlength = "{length}"\n{WIDE}' for number in range(1, count + 1)))


def test_yes_is_status_0_and_can_be_checked(filled: Call, tmp_path: Path) -> None:
    """Nine strips of 888 mm fit in the nine lanes of 900 mm (888 + 2 · 6 mm seams): yes, all apart."""
    done = filled("enough", hems(tmp_path / "g.toml", 9, "888 mm"), "--json")
    assert done.code == 0
    assert (done.document["schema"], done.document["answer"], done.document["proven"]) == ("plan/1", "yes", True)
    cut = [Polygon(row["outline_mm"]) for row in done.document["placements"]]
    assert len(cut) == 9
    piece = Polygon([(0, 0), (1100, 0), (1100, 900), (0, 900)]).buffer(0.011, join_style="mitre")
    assert all(piece.contains(one) for one in cut)
    assert all(one.intersection(other).area < 0.011 * 900 for i, one in enumerate(cut) for other in cut[:i])
    assert {round(one.centroid.x % 60, 2) for one in cut} == {10.0}


def test_no_is_status_1_and_says_what_is_short(filled: Call, tmp_path: Path) -> None:
    """Ten strips of 888 mm do not fit in nine lanes: no, proven, with the fabric and stripe that are short."""
    done = filled("enough", hems(tmp_path / "g.toml", 10, "888 mm"), "--json", "--limit", "20")
    assert done.code == 1
    assert (done.document["answer"], done.document["proven"]) == ("no", True)
    assert done.document["placements"] == []
    short = done.document["short"][0]
    assert (short["fabric"], short["stripe"]) == ("ticking", "A")
    assert short["missing_mm"] > 0
    assert done.document["seconds"] < 25


def test_what_leaves_no_room_for_hands_says_so_first(filled: Call, tmp_path: Path) -> None:
    """888 mm and two seams fill a lane of 900 mm: nothing to spare, said first unless none is wanted."""
    garment = hems(tmp_path / "g.toml", 9, "888 mm")
    first, exact = filled("enough", garment).out, filled("enough", garment, "--room", "0 in").out
    assert "But nothing is spare where it is tightest" in " ".join(first.split())
    assert "is spare" not in exact
    roomy = filled("enough", hems(tmp_path / "h.toml", 9, "880 mm"), "--json").document
    assert (roomy["room_mm"], roomy["tightest"]["spare_mm"] >= roomy["room_mm"]) == (3.175, True)


@pytest.mark.parametrize("length", ["888.3 mm", "887.7 mm"])
def test_unsure_is_status_3(filled: Call, tmp_path: Path, length: str) -> None:
    """Known to ± 1 mm only, 900 mm of cloth may or may not hold 888.3 or 887.7 mm and seams: unsure."""
    document = json.loads((tmp_path / "filled.json").read_text(encoding="utf-8"))
    document["pieces"][0]["outline_mm_u95"] = 1.0
    (tmp_path / "unsure.json").write_text(json.dumps(document), encoding="utf-8")
    garment = hems(tmp_path / "g.toml", 1, length)
    done = filled("enough", garment, "--json", "--stash", tmp_path / "unsure.json")
    assert done.code == 3
    assert (done.document["answer"], done.document["reason"]) == ("unsure", "measurement")
    assert done.document["settle"]


def test_words_begin_with_the_answer(filled: Call, tmp_path: Path) -> None:
    """On a terminal the first word is the answer, and a sum that can be checked by hand follows."""
    yes = filled("enough", hems(tmp_path / "g.toml", 2, "500 mm"))
    assert yes.code == 0
    assert yes.out.startswith("Yes: ")
    assert " in = " in yes.out
    no = filled("enough", hems(tmp_path / "g.toml", 1, "2 m"))
    assert no.code == 1
    assert no.out.startswith("No: ")
    assert "lacks" in no.out


def test_cut_leaves_what_is_left_and_undo_brings_it_back(filled: Call, tmp_path: Path) -> None:
    """Cut: the piece goes, leftovers come; the same plan cannot be cut twice; undo restores the stash."""
    garment = hems(tmp_path / "g.toml", 3, "600 mm")
    assert filled("enough", garment, "--out", "plan.json").code == 0
    before = filled("stash", "list", "--json").document
    plan = json.loads((tmp_path / "plan.json").read_text(encoding="utf-8"))
    booked = filled("cut", "plan.json")
    assert booked.code == 0
    after = filled("stash", "list", "--json").document
    assert "t1" not in {piece["id"] for piece in after["pieces"]}
    kept = sum(Polygon(p["outline_mm"]).area for p in after["pieces"] if p["fabric"] == "ticking")
    cut = sum(Polygon(row["outline_mm"]).area for row in plan["placements"])
    assert 0 < kept <= 1100 * 900 - cut + 1
    assert filled("enough", garment, "--json").code == 0
    again = filled("cut", "plan.json", "--json")
    assert again.code == 2
    assert filled("undo").code == 0
    assert filled("stash", "list", "--json").document == before


def test_cut_of_changed_cloth_is_refused(filled: Call, tmp_path: Path) -> None:
    """Where a used piece has changed since the plan was made, the cut is refused and nothing is changed."""
    assert filled("enough", hems(tmp_path / "g.toml", 1, "600 mm"), "--out", "plan.json").code == 0
    document = json.loads((tmp_path / "filled.json").read_text(encoding="utf-8"))
    document["pieces"][0]["outline_mm"] = [[0, 0], [1000, 0], [1000, 900], [0, 900]]
    (tmp_path / "other.json").write_text(json.dumps(document), encoding="utf-8")
    assert filled("stash", "import", "other.json", "--replace").code == 0
    before = filled("stash", "list", "--json").document
    refused = filled("cut", "plan.json", "--json")
    assert (refused.code, refused.document["schema"]) == (2, "error/1")
    assert filled("stash", "list", "--json").document == before


@pytest.mark.parametrize(("ending", "start"), [(".pdf", b"%PDF"), (".svg", b"<"), (".html", b"<")])
def test_sheet_is_written(filled: Call, tmp_path: Path, ending: str, start: bytes) -> None:
    """The cutting sheet of a plan is written in the three formats that are promised."""
    filled("enough", hems(tmp_path / "g.toml", 3, "600 mm"), "--out", "plan.json")
    assert filled("sheet", "plan.json", "--out", f"sheet{ending}").code == 0
    assert (tmp_path / f"sheet{ending}").read_bytes().lstrip().startswith(start)


def test_sheet_of_another_ending_is_refused(filled: Call, tmp_path: Path) -> None:
    """Another format is status 2, and no file is made."""
    filled("enough", hems(tmp_path / "g.toml", 1, "600 mm"), "--out", "plan.json")
    assert filled("sheet", "plan.json", "--out", "sheet.docx", "--json").document["schema"] == "error/1"
    assert not (tmp_path / "sheet.docx").exists()


def test_two_garments_share_the_cloth(filled: Call, tmp_path: Path) -> None:
    """Two garments of five strips need ten lanes where nine are: each alone is a yes, both together a no."""
    one, two = hems(tmp_path / "one.toml", 5, "888 mm"), hems(tmp_path / "two.toml", 5, "888 mm")
    assert filled("enough", one, "--json").code == 0
    assert filled("enough", one, two, "--json", "--limit", "20").code == 1


def test_what_to_do_next_can_be_done(filled: Call, tmp_path: Path) -> None:
    """A plan from a document that is only read cannot be booked, so nobody is told to book it."""
    strips(tmp_path / "g.toml", 'id = "band"\nlength = "300 mm"\nwidth = "2 in"')
    binding = ("bias", "--width", "2 in", "--length", "12 in", "--piece", "l1")
    for words in (("enough", "g.toml"), binding):
        told = " ".join(filled(*words, "--out", "p.json").out.split())
        assert told.endswith("stripewright sheet p.json --out sheet.pdf, and once it is cut: stripewright cut p.json")
        told = " ".join(filled(*words, "--out", "p.json", "--stash", "filled.json").out.split())
        assert told.endswith("stripewright sheet p.json --out sheet.pdf --stash filled.json")


def test_a_garment_without_a_name_is_called_after_its_file(filled: Call, tmp_path: Path) -> None:
    """Two files that name no garment are told apart."""
    for name in ("apron", "bag"):
        strips(tmp_path / f"{name}.toml", 'id = "band"\nlength = "300 mm"\nwidth = "2 in"')
        text = (tmp_path / f"{name}.toml").read_text().replace('name = "Borders"', "")
        (tmp_path / f"{name}.toml").write_text(text)
    assert filled("enough", "apron.toml", "bag.toml").out.startswith("Yes: apron and bag can be cut from t1.")
