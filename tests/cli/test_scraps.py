"""Several scraps in one photograph through the whole command: recognised, asked about, kept as one entry."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from stash import adding
from stash.adding import Seen
from stash.measuring import Asked
from tests.cli.conftest import Call
from tests.makers.cloth import AnyPrint, PlainPrint, StripePrint, Stripes
from tests.makers.lamp import lit
from tests.makers.scene import Scene, render
from tests.makers.scraps import draw_scraps
from tests.makers.variety import draw

DECK = StripePrint(
    across=Stripes(widths_mm=(12.0, 6.0, 9.0, 6.0), colours=("#23426f", "#f1eee4", "#a63a35", "#f1eee4"))
)
TICK = StripePrint(across=Stripes(widths_mm=(14.0, 8.0), colours=("#e9e1cc", "#2f6b4a")))
LINEN = PlainPrint(colour="#2c3968")
#: What the three scraps are cut from, as the scene lays them, top row left to right.
PRINTS: tuple[AnyPrint, ...] = (DECK, TICK, LINEN)


def scraps() -> Scene:
    """Three scraps of three fabrics on one table."""
    scene = draw_scraps(3, count=3)
    return replace(
        scene, cloths=tuple(replace(cloth, print=print_) for cloth, print_ in zip(scene.cloths, PRINTS, strict=True))
    )


def length() -> Scene:
    """A length of the deck-chair stripe alone."""
    scene = draw(11, kinds=("stripe",))
    return replace(scene, cloths=(replace(scene.cloths[0], print=DECK),))


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with both photographs, the scraps' in a warmer light."""
    folder = tmp_path_factory.mktemp("photos")
    render(length()).save(folder / "deck.jpg")
    lit(render(scraps()), (0.95, 0.9, 0.82)).save(folder / "scraps.jpg")
    return folder


@pytest.fixture(scope="module")
def measured(photos: Path) -> dict[str, Seen]:
    """What was measured in each, once for all tests."""
    return {name: adding.see(photos / name, Asked()) for name in ("deck.jpg", "scraps.jpg")}


@pytest.fixture
def known(call: Call, measured: dict[str, Seen], monkeypatch: pytest.MonkeyPatch) -> Call:
    """A stash that knows the deck-chair stripe."""

    def see(photo_file: Path, asked: Asked) -> Seen:
        return measured[photo_file.name]

    monkeypatch.setattr(adding, "see", see)
    assert call("add", "deck.jpg", "--name", "Deck").code == 0
    return call


def answers(monkeypatch: pytest.MonkeyPatch, rows: Sequence[str]) -> None:
    """A terminal at which these are typed."""
    typed = io.StringIO("".join(f"{row}\n" for row in rows))
    monkeypatch.setattr(typed, "isatty", lambda: True, raising=False)
    monkeypatch.setattr("sys.stdin", typed)


def test_each_scrap_comes_to_its_fabric(known: Call) -> None:
    """Of three scraps one is of the stripe that is kept, the two others are of none: stripes make a new fabric, plain
    cloth too, each scrap a piece of its own with an outline; and it all is one entry, taken back by one undo."""
    done = known("add", "scraps.jpg", "--yes", "--json")
    (row,) = done.document["added"]
    by_place = {scrap["place"]: scrap for scrap in row["scraps"]}
    assert by_place["top left"]["fabric"] == "deck"
    assert by_place["top left"]["outcome"] == "kept"
    assert by_place["top middle"]["outcome"] == "new"
    assert len(row["pieces"]) == len(set(row["pieces"])) == sum(scrap["piece"] is not None for scrap in row["scraps"])
    for scrap in row["scraps"]:
        if scrap["piece"] is not None:
            piece = known("stash", "show", scrap["piece"], "--json").document
            assert (piece["fabric"], len(piece["outline_mm"]) >= 4) == (scrap["fabric"], True)
    assert known("undo").code == 0
    assert [one["id"] for one in known("stash", "list", "--json").document["pieces"]] == ["deck-1"]
    assert [one["id"] for one in known("stash", "list", "--json").document["fabrics"]] == ["deck"]


def test_what_was_added_passes_its_schema(known: Call) -> None:
    """The documents of a look, of recognised scraps and of a named fabric are as published; a strange word is not."""
    jsonschema = pytest.importorskip("jsonschema")
    schema = jsonschema.Draft202012Validator(known("schema", "added").document)
    size = ("--width", "1 m", "--length", "2 m", "--name", "Voile")
    for words in (("scraps.jpg", "--look"), ("scraps.jpg", "--yes"), ("deck.jpg", "--fabric", "deck"), size):
        document = known("add", *words, "--json").document
        schema.validate(document)
    looked = known("add", "scraps.jpg", "--look", "--json").document
    looked["added"][0]["scraps"][0]["verdict"] = "perhaps"
    assert not schema.is_valid(looked)


def test_the_stripes_of_a_recognised_scrap_are_placed(known: Call, measured: dict[str, Seen]) -> None:
    """Geometry: on a recognised scrap a blue stripe, 12 mm wide, lies where the photograph shows blue."""
    (row,) = known("add", "scraps.jpg", "--yes", "--json").document["added"]
    (scrap,) = [one for one in row["scraps"] if one["fabric"] == "deck"]
    piece = known("stash", "show", scrap["piece"], "--json").document
    blue = next(
        one
        for one in known("stash", "show", "deck", "--json").document["print"]["stripes"]
        if abs(one["width_mm"] - 12) < 1
    )
    seen = measured["scraps.jpg"]
    number = seen.numbers.index(scrap["number"])
    cloth = seen.measurement.scraps[number].print
    assert cloth is not None
    assert cloth.across is not None
    assert cloth.origin_mm is not None
    own = next(one for one in cloth.stripes if abs(one.width.value - 12) < 1)
    turned = abs((piece["stripe_direction_deg"] - (cloth.across_direction_deg or cloth.across).value + 180) % 360 - 180)
    way = -1 if turned > 90 else 1
    apart = piece["stripe_origin_mm"] + blue["centre_mm"] - way * (cloth.origin_mm + own.centre_mm)
    assert abs((apart + 16.5) % 33 - 16.5) < 1.0


def test_nobody_there_to_ask(known: Call) -> None:
    """With neither name, fabric nor --yes, and no terminal, nothing is kept, and the way out is told; status 2."""
    done = known("add", "scraps.jpg", "--json")
    assert done.code == 2
    assert "--yes" in done.document["remedy"]
    assert len(known("stash", "list", "--json").document["pieces"]) == 1


def test_what_is_said_of_one_cloth_needs_its_name(known: Call) -> None:
    """Margins, stripes or a count are of one cloth: beside scraps that are recognised they are refused, not passed
    over."""
    for words in (("--margins", "sides 1 cm"), ("--one-way",), ("--stripes", "red 1 cm, white 2 cm"), ("--folded",)):
        done = known("add", "scraps.jpg", "--yes", *words, "--json")
        assert done.code == 2
        assert words[0] in done.document["error"]
    assert len(known("stash", "list", "--json").document["pieces"]) == 1


def test_looking_keeps_nothing(known: Call) -> None:
    """--look tells what each scrap is, within 80 columns, and changes nothing."""
    done = known("add", "scraps.jpg", "--look")
    assert done.code == 0
    assert "Deck (deck)" in done.out
    assert max(len(line) for line in done.out.splitlines()) <= 80
    assert len(known("stash", "list", "--json").document["pieces"]) == 1


def test_one_question_for_each_that_is_not_sure(known: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    """At a terminal the sure scrap is not asked about, the two others are, and a slip is asked again; then a table."""
    answers(monkeypatch, ["7", "new Green ticking", "leave", "yes"])
    done = known("add", "scraps.jpg")
    assert done.code == 0
    assert done.err.count("Scrap ") == 2
    assert "There is no" in done.err
    listed = known("stash", "list", "--json").document
    assert sorted(one["name"] for one in listed["fabrics"]) == ["Deck", "Green ticking"]
    assert len(listed["pieces"]) == 3


def test_saying_no_keeps_nothing(known: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is not agreed to is not kept, and the journal has no line of it."""
    answers(monkeypatch, ["leave", "leave", "no"])
    before = known("stash", "journal").out
    assert "Nothing of scraps.jpg was kept" in known("add", "scraps.jpg").out
    assert known("stash", "journal").out == before


def test_one_scrap_by_its_number(known: Call) -> None:
    """--only takes the scraps of those numbers, of a fabric that is named; a number that is not there is a mistake."""
    (row,) = known("add", "scraps.jpg", "--look", "--json").document["added"]
    (number,) = [one["number"] for one in row["scraps"] if one["place"] == "top right"]
    done = known("add", "scraps.jpg", "--only", number, "--name", "Linen", "--json")
    assert done.code == 0
    (added,) = done.document["added"]
    assert added["pieces"] == ["linen-1"]
    shown = known("stash", "show", "linen", "--json").document
    assert shown["print"]["kind"] == "plain"
    assert known("add", "scraps.jpg", "--only", "9", "--yes").code == 2
    assert known("add", "scraps.jpg", "--only", "two", "--yes").code == 2


def test_the_second_photograph_knows_what_the_first_brought(known: Call) -> None:
    """Photographs added one after the other: what was new in the first is recognised in the second; where that is the
    same photograph, she is told to look that no cloth is kept twice."""
    known("add", "scraps.jpg", "--yes")
    (row,) = known("add", "scraps.jpg", "--yes", "--json").document["added"]
    assert "kept twice" in row["warnings"][0]
    striped = [one for one in row["scraps"] if one["place"] in ("top left", "top middle")]
    assert [one["outcome"] for one in striped] == ["kept", "kept"]
