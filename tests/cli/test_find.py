"""Finding cloth: what is found is what was sought, by geometry and by what was noted."""

from __future__ import annotations

import json
import math
import random
from pathlib import Path

import pytest
import shapely
from shapely import affinity

from stash.catalogue.reach import Reach
from stash.catalogue.trait import piece_row
from stash.fitting import Room, fits
from stash.piece import Piece
from tests.cli.conftest import Call

#: An L of two arms 300 mm long and 100 mm wide.
ELL = ((0.0, 0.0), (100.0, 0.0), (100.0, 200.0), (300.0, 200.0), (300.0, 300.0), (0.0, 300.0))


def piece(*ring: tuple[float, float], askew: float | None = 0.0) -> Piece:
    """A piece with that outline."""
    return Piece(id="p", fabric="f", outline_mm=tuple(ring), stripe_direction_deg=askew)


def found(call: Call, *words: str) -> list[str]:
    """The ids that a find lists."""
    called = call("stash", "find", *words, "--json")
    rows = [row["piece"] for row in called.document["pieces"]]
    assert called.code == (0 if rows else 1)
    return rows


@pytest.mark.parametrize(
    ("along", "across", "count", "way", "answer"),
    [
        (300, 100, 1, "along", True),
        (100, 300, 1, "along", True),
        (300, 100.5, 1, "square", False),
        (200, 100, 2, "square", True),
        (201, 100, 2, "square", False),
        (100, 100, 5, "along", True),
        (100, 100, 6, "along", False),
        (150, 150, 1, "any", False),
    ],
)
def test_room_in_an_ell(along: float, across: float, count: int, way: str, answer: bool) -> None:
    """An L of arms 300 by 100 mm holds an arm either way, two of 200 by 100 with the corner in one of them, and five
    squares of 100; none of it is told by its area of 50,000 mm²."""
    assert fits(piece(*ELL), Room(along_mm=along, across_mm=across, count=count, way=way)) is answer


def test_room_lies_by_the_stripes() -> None:
    """A rectangle's room is sought along the stripes: in a strip at 45° to the grain a long rectangle lies along
    stripes at 45° and not along the grain; any way finds it; where the stripes' direction is not known only that does.
    """
    strip = affinity.rotate(shapely.box(0, 0, 50, 400), -45, origin=(0, 0))
    ring = tuple(strip.exterior.coords)[:-1]
    angle = math.degrees(math.atan2(ring[1][0] - ring[0][0], ring[1][1] - ring[0][1]))
    long = Room(along_mm=400, across_mm=50)
    assert fits(piece(*ring, askew=angle), long)
    assert not fits(piece(*ring, askew=0.0), long)
    assert not fits(piece(*ring, askew=None), long)
    assert fits(piece(*ring, askew=None), Room(along_mm=400, across_mm=50, way="any"))


def test_what_is_not_sure_does_not_fit() -> None:
    """A piece of exactly the size fits; one whose outline may be 0.5 mm less on every side does not, nor one with a
    flaw in the middle."""
    ring = ((0.0, 0.0), (100.0, 0.0), (100.0, 200.0), (0.0, 200.0))
    exact = Room(along_mm=200, across_mm=100)
    assert fits(piece(*ring), exact)
    assert not fits(Piece(id="p", fabric="f", outline_mm=ring, outline_u95_mm=0.5), exact)
    flaw = ((40.0, 90.0), (60.0, 90.0), (50.0, 110.0))
    assert not fits(Piece(id="p", fabric="f", outline_mm=ring, flaws_mm=(flaw,)), exact)
    assert fits(Piece(id="p", fabric="f", outline_mm=ring, flaws_mm=(flaw,)), Room(along_mm=89, across_mm=100, count=2))


@pytest.mark.parametrize("seed", range(12))
def test_one_and_two_are_decided_as_by_trying_places(seed: int) -> None:
    """In a remnant of random corners: where a grid of places finds one or two rectangles inside by shapely's own
    containment, they fit; what fits lies within the cloth grown by the grid's own step, and is no larger than the
    sizes that the query narrows by."""
    dice = random.Random(seed)
    corners = dice.randint(5, 11)
    ring = [
        (round(200 + r * math.cos(t), 3), round(200 + r * math.sin(t), 3))
        for t, r in ((2 * math.pi * k / corners, dice.uniform(60, 200)) for k in range(corners))
    ]
    cloth, wide, long = shapely.Polygon(ring), dice.uniform(40, 130), dice.uniform(40, 130)
    places = [
        box
        for x in range(0, 400, 4)
        for y in range(0, 400, 4)
        if cloth.contains(box := shapely.box(x, y, x + wide, y + long))
    ]
    two = any(a.bounds[0] >= b.bounds[2] or a.bounds[1] >= b.bounds[3] for a in places[::3] for b in places[::3])
    one_fits = fits(piece(*ring), Room(along_mm=long, across_mm=wide))
    two_fit = fits(piece(*ring), Room(along_mm=long, across_mm=wide, count=2))
    assert one_fits or not places
    assert two_fit or not two
    row = piece_row({"id": "p", "fabric": "f", "outline_mm": ring, "stripe_direction_deg": 0})
    if one_fits:
        grown = cloth.buffer(4 / math.sqrt(2) + 0.1)  # the nearest place of the grid is no farther
        assert any(
            grown.contains(shapely.box(x, y, x + wide, y + long)) for x in range(-4, 404, 4) for y in range(-4, 404, 4)
        )
        assert row["along_mm"] >= long - 0.01
        assert row["across_mm"] >= wide - 0.01
        assert row["narrow_mm"] >= row["round_mm"] >= min(wide, long) - 0.01
        assert row["wide_mm"] >= math.hypot(wide, long) - 0.02
        assert Reach(row["reach"]).holds([(wide, long)], two=False)
    assert Reach(row["reach"]).holds([(wide, long)], two=True) or not two_fit


@pytest.mark.parametrize("seed", range(8))
def test_no_room_is_passed_over(seed: int) -> None:
    """Rectangles drawn in a remnant that lies askew, clear of a flaw and of the 2 mm that its edges are not known by
    (by shapely's own containment), are never passed over by the lines that a find looks at first, and they fit."""
    dice = random.Random(seed)
    corners = dice.randint(6, 12)
    askew = dice.uniform(-30, 30)
    turns = ((2 * math.pi * k / corners, dice.uniform(80, 250)) for k in range(corners))
    ring = [(round(300 + r * math.cos(t), 3), round(300 + r * math.sin(t), 3)) for t, r in turns]
    at = dice.uniform(220, 380)
    flaw = [(at, 280), (at + 30, 285), (at + 15, 320)]
    cloth = shapely.Polygon(ring).buffer(-2, join_style="mitre").difference(shapely.Polygon(flaw).buffer(2))
    document = {
        "id": "p", "fabric": "f", "outline_mm": ring, "outline_mm_u95": 2, "flaws_mm": [flaw],
        "stripe_direction_deg": askew,
    }  # fmt: skip
    row = piece_row(document)
    lying = Piece(
        id="p", fabric="f", outline_mm=tuple(ring), outline_u95_mm=2, flaws_mm=(tuple(flaw),),
        stripe_direction_deg=askew,
    )  # fmt: skip
    drawn = 0
    for _ in range(300):
        wide, long = dice.uniform(15, 200), dice.uniform(15, 200)
        x, y = dice.uniform(50, 500), dice.uniform(50, 500)
        box = affinity.rotate(shapely.box(x, y, x + wide, y + long), -askew, origin=(x, y))
        if cloth.contains(box):
            drawn += 1
            assert Reach(row["reach"]).holds([(wide, long)], two=False)
            assert row["round_mm"] >= min(wide, long)
            assert fits(lying, Room(along_mm=long, across_mm=wide))
    assert drawn


def test_what_cannot_hold_it_is_passed_over() -> None:
    """The lines pass over an L of arms 100 mm wide where 110 by 250 mm is sought, though its box of 300 by 300 mm and
    its area hold that, and where two of 95 by 160 mm are sought: its arm 300 mm long holds two of less than 150."""
    lines = Reach(piece_row({"id": "p", "fabric": "f", "outline_mm": ELL})["reach"])
    assert lines.holds([(95, 250), (250, 95)], two=False)
    assert not lines.holds([(120, 250), (250, 120)], two=True)
    assert not lines.holds([(120, 250), (250, 120)], two=False)
    assert lines.holds([(95, 145)], two=True)
    assert not lines.holds([(95, 160)], two=True)


def test_plain_cloth_lies_by_its_grain(filled: Call, tmp_path: Path) -> None:
    """Plain cloth has no stripes to lie along: a piece of it noted as lying at 45° still holds what its box by the
    grain holds."""
    document = json.loads((tmp_path / "filled.json").read_text(encoding="utf-8"))
    document["pieces"] = [
        {"id": "turned", "fabric": "linen", "outline_mm": [[0, 0], [90, 0], [90, 400], [0, 400]],
         "stripe_direction_deg": 45},
    ]  # fmt: skip
    (tmp_path / "turned.json").write_text(json.dumps(document), encoding="utf-8")
    filled("stash", "import", "turned.json")
    assert found(filled, "--fits", "400 mm x 90 mm", "--way", "along")[0] == "turned"


def test_the_nearest_colours_come_first(call: Call, tmp_path: Path) -> None:
    """Of forty fabrics of one grey after another those nearest to the grey sought come first, all in the order of the
    distance that is told."""
    shades = [f"#{40 + 5 * k:02x}{40 + 5 * k:02x}{40 + 5 * k:02x}" for k in range(40)]
    document = {
        "schema": "stash/1",
        "fabrics": [
            {"id": f"f{k}", "name": f"Grey {k}", "print": {"kind": "plain"}, "hex": shade}
            for k, shade in enumerate(shades)
        ],
        "pieces": [
            {"id": f"p{k}-{n}", "fabric": f"f{k}", "outline_mm": [[0, 0], [100 + n, 0], [100, 100], [0, 100]]}
            for k in range(40)
            for n in (1, 0)
        ],
    }
    (tmp_path / "greys.json").write_text(json.dumps(document), encoding="utf-8")
    call("stash", "import", "greys.json")
    rows = call("stash", "find", "--near", shades[20], "--within", "50", "--most", "100", "--json").document["pieces"]
    offs = [row["colour_difference"] for row in rows]
    assert [row["piece"] for row in rows[:2]] == ["p20-0", "p20-1"]
    assert offs == sorted(offs)
    assert len({row["piece"] for row in rows}) == len(rows) > 60


def test_by_size_with_the_least_left_over_first(filled: Call) -> None:
    """Of two pieces that hold two of 9 by 6 in the smaller comes first, with 2·9·6 in² less than its area over; one
    that holds only one is not named, though it is large enough in area."""
    for width, length in (("12 in", "9 in"), ("40 in", "5 in"), ("7 in", "30 in")):
        filled("add", "--fabric", "linen", "--width", width, "--length", length)
    rows = filled("stash", "find", "--fits", "two of 9 x 6 in", "--json").document["pieces"]
    assert [row["piece"] for row in rows] == ["linen-1", "linen-3", "t1", "l1"]
    assert rows[0]["left_mm2"] == pytest.approx(0, abs=1)
    assert rows[1]["left_mm2"] == pytest.approx((7 * 30 - 108) * 25.4**2, rel=1e-6)
    assert found(filled, "--fits", "9 x 12 in", "--way", "along") == ["linen-1", "t1", "l1"]
    assert found(filled, "--fits", "9 yd x 9 yd") == []


def test_by_colour_stripe_and_notes(filled: Call) -> None:
    """Colour is looked for in every stripe; a fabric is as near to itself as can be; notes, weights, places and words
    narrow it, all together; what is noted later is found at once, and what is undone no longer."""
    assert found(filled, "--near", "#a01c24") == ["t1"]
    assert found(filled, "--near", "#00ff00") == []
    assert filled("stash", "find", "--near", "ticking", "--json").document["pieces"][0]["colour_difference"] == 0
    assert filled("stash", "find", "--near", "linen", "--json").code == 2
    assert found(filled, "--stripe", "A") == ["t1"]
    assert found(filled, "--stripe", "19 mm") == ["t1"]
    assert found(filled, "--stripe", "50 mm to 60 mm") == []
    assert found(filled, "--fibre", "linen") == []
    filled("stash", "note", "linen", "--fibre", "Linen 100%", "--weight", "200 gsm", "--notes", "Aunt's blue_box")
    filled("stash", "note", "l1", "--place", "Attic")
    assert found(filled, "--fibre", "linen", "--weight", "150 to 220 gsm") == ["l1"]
    assert found(filled, "--weight", "300 gsm") == []
    assert found(filled, "blue_box", "--place", "attic", "--fits", "1 m x 1 m") == ["l1"]
    assert found(filled, "blueXbox") == []
    filled("undo")
    filled("undo")
    assert found(filled, "--place", "attic") == []


def test_a_document_is_searched_alike(filled: Call, tmp_path: Path) -> None:
    """An interchange file gives the same finds as a catalogue."""
    words = ("--fits", "two of 9 x 6 in", "--near", "#a01c24")
    file = str(tmp_path / "filled.json")
    assert found(filled, *words, "--stash", file) == found(filled, *words) == ["t1"]


def test_an_older_catalogue_is_searched_too(filled: Call, tmp_path: Path) -> None:
    """Cloth kept before there was finding is found once the catalogue has been brought up to this version."""
    import sqlite3

    file = tmp_path / "stash" / "stripewright.sqlite"
    with sqlite3.connect(file) as database:
        for table in ("fabric_trait", "stripe_trait", "piece_trait"):
            database.execute(f"DROP TABLE {table}")
        database.execute("UPDATE alembic_version SET version_num = '0003'")
    assert found(filled, "--near", "#a01c24", "--fits", "9 x 6 in") == ["t1"]


@pytest.mark.parametrize("words", [("--fits", "big"), ("--fits", "9 x 0 in"), ("--near", "#12"), ("--weight", "heavy")])
def test_what_cannot_be_read(filled: Call, words: tuple[str, str]) -> None:
    """Words that are no size, colour or weight are refused with how to write them."""
    refused = filled("stash", "find", *words, "--json")
    assert refused.code == 2
    assert json.loads(refused.out)["remedy"]
