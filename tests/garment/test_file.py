"""The garment file: what it says is what the planner gets, and every mistake is told with its place."""

from __future__ import annotations

import pytest

from stash.errors import InputWrong
from stash.garment.file import read_garment
from stash.garment.part import Garment, Panel, Strip

INCH = 25.4
COAT = """
name = "Ticking jacket"
seam = "1/4 in"
[coat]
width = "58 in"
length = "38 in"
sleeve_depth = "9 in"
facing = "1 in"
bust = "1 in"
bust_by = "wedge"
neck_half = "3 1/4 in"
neck_front = "3 in"
neck_back = "3/4 in"
main = "indigo"
border = "ticking"
stripe = "A"
border_width = "2 in"
"""
HEM = '[[strip]]\nid = "hem"\nfabric = "ticking"\nstripe = "A"\nlength = "52 in"\nwidth = "2 in"\n'


def _strip(garment: Garment, part_id: str) -> Strip:
    return next(strip for strip in garment.strips if strip.id == part_id)


def _panel(garment: Garment, part_id: str) -> Panel:
    return next(panel for panel in garment.panels if panel.id == part_id)


@pytest.mark.parametrize(
    ("make", "cut", "stripe_at"),
    [("flat", 2 + 0.5, 1.25), ("folded", 4 + 0.5, 0.25 + 1), ("bound", 8, 4)],
)
def test_cut_width_follows_the_make(make: str, cut: float, stripe_at: float) -> None:
    """Flat: width + 2·seam; folded: 2·width + 2·seam, the stripe on the half that shows; bound: 4·width."""
    strip = _strip(read_garment(f'seam = "1/4 in"\n{HEM}make = "{make}"'), "hem")
    assert strip.cut_width_mm == pytest.approx(cut * INCH)
    assert strip.stripe_at_mm == pytest.approx(stripe_at * INCH)


def test_what_is_written_beats_what_is_derived() -> None:
    """cut_width, stripe_at, extra, shortest, joins and a seam of its own are taken as written."""
    text = HEM + (
        'cut_width = "3 in"\nstripe_at = "1 in"\nextra = ["0.35 in", "0 in"]\nshortest = "6 in"\njoins = 1\n'
        'seam = "3/8 in"\npair = "fronts"\nedge = "hem"'
    )
    strip = _strip(read_garment(text), "hem")
    assert strip.cut_width_mm == pytest.approx(3 * INCH)
    assert strip.stripe_at_mm == pytest.approx(INCH)
    assert strip.extra_mm == (pytest.approx(0.35 * INCH), 0)
    assert (strip.shortest_mm, strip.joins, strip.pair, strip.edge) == (pytest.approx(6 * INCH), 1, "fronts", "hem")
    assert strip.seam_mm == pytest.approx(0.375 * INCH)


def test_defaults_of_a_strip_and_a_panel() -> None:
    """Flat, no joins, segments of an inch at least; a panel on the print, not turned."""
    garment = read_garment(f'{HEM}[[panel]]\nid = "body"\nfabric = "indigo"\nwidth = "45 in"\nlength = "54 in"')
    strip, panel = _strip(garment, "hem"), _panel(garment, "body")
    assert (strip.make, strip.joins, strip.shortest_mm, strip.extra_mm, strip.pair) == ("flat", 0, 25.4, (0, 0), None)
    assert (panel.align, panel.turn) == ("print", False)


def test_the_coat_makes_its_parts() -> None:
    """The worked coat: a body of the whole rectangle and eight borders, 218.81 in together, in pairs."""
    garment = read_garment(COAT)
    body = _panel(garment, "body")
    assert (body.width_mm, body.length_mm, body.seam_mm) == (pytest.approx(58 * INCH), pytest.approx(38 * INCH), 0)
    lengths = {strip.id: round(strip.length_mm / INCH, 3) for strip in garment.strips}
    assert lengths == {
        "front-left": 26,
        "front-right": 26,
        "join-left": 29.036,
        "join-right": 29.036,
        "sleeve-left": 18,
        "sleeve-right": 18,
        "hem": 56,
        "neck": 16.735,
    }
    assert sum(strip.length_mm for strip in garment.strips) / INCH == pytest.approx(218.81, abs=0.005)
    pairs = {strip.id: strip.pair for strip in garment.strips if strip.pair}
    assert pairs == dict.fromkeys(("front-left", "front-right"), "fronts") | dict.fromkeys(
        ("sleeve-left", "sleeve-right"), "sleeves"
    )


def test_a_part_below_the_coat_changes_only_what_it_says() -> None:
    """A strip of the same id keeps the coat's keys it does not name; cut width follows the new width."""
    garment = read_garment(COAT + '[[strip]]\nid = "hem"\njoins = 2\nwidth = "1 1/2 in"')
    hem = _strip(garment, "hem")
    assert (hem.joins, hem.fabric, hem.stripe) == (2, "ticking", "A")
    assert hem.length_mm == pytest.approx(56 * INCH)
    assert hem.cut_width_mm == pytest.approx(2 * INCH)
    assert len(garment.strips) == 8


def test_a_part_can_be_added_or_left_out() -> None:
    """A new id adds a part; leave_out takes the coat's away."""
    more = '[[panel]]\nid = "pocket"\nfabric = "indigo"\nwidth = "6 in"\nlength = "7 in"\n'
    garment = read_garment(COAT + more + '[[strip]]\nid = "hem"\nleave_out = true')
    assert {panel.id for panel in garment.panels} == {"body", "pocket"}
    assert "hem" not in {strip.id for strip in garment.strips}


def test_a_bound_neck_is_bias_from_a_square() -> None:
    """A neck is a curve: bound, it takes no straight strip but a square of the main cloth with bias enough in it."""
    garment = read_garment(COAT + 'neck = "binding"')
    assert "neck" not in {strip.id for strip in garment.strips}
    square = _panel(garment, "neck-binding")
    assert square.fabric == "indigo"
    assert square.width_mm == square.length_mm
    # bias of 2 in (four times 1/2 in) in the square: side²/width; seams cost small squares up to 17 % (printed table)
    assert (square.width_mm / INCH) ** 2 / 2 * (1 - 0.17) >= 16.735 + 0.5
    with pytest.raises(InputWrong, match="will not lie flat round the neck"):
        read_garment(COAT + 'neck = "binding"\nneck_width = "1 in"')


def test_a_gap_is_backed_and_must_be_bridged() -> None:
    """The band at centre front is at least the gap and an overlap on each side wide; backing strips can be planned."""
    narrow = COAT.replace('"wedge"', '"gap"').replace('border_width = "2 in"', 'border_width = "1 in"')
    garment = read_garment(narrow + 'backing = "indigo"')
    assert any("cannot bridge the opening" in caution for caution in garment.cautions)
    backing = _panel(garment, "join-backing-left")
    assert backing.length_mm == pytest.approx(14 * INCH)
    assert backing.width_mm == pytest.approx(1.5 * INCH)
    wide = read_garment(COAT.replace('"wedge"', '"gap"'))
    assert not any("cannot bridge" in caution for caution in wide.cautions)


def test_a_childs_coat_has_cautions_of_its_own() -> None:
    """16 CFR 1120.3 (US) and EN 14682: no drawstring or cord at a child's neck. The tool plans none and says why."""
    cautions = " ".join(read_garment(COAT + "child = true").cautions)
    assert "no ties, cords or drawstrings at the neck" in cautions
    assert "no ties" not in " ".join(read_garment(COAT).cautions)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (HEM.replace("length", "lenght"), 'strip 1 (hem): "lenght" is not a key known here; the nearest is "length"'),
        ('nmae = "x"\n' + HEM, '"nmae" is not a key known here; the nearest is "name"'),
        (COAT + 'sleeve_deph = "9 in"', 'coat: "sleeve_deph" is not a key known here; the nearest is "sleeve_depth"'),
        (HEM.replace('"52 in"', '"-52 in"'), 'strip 1 (hem): length is "-52 in", which is less than nothing'),
        (HEM.replace('"52 in"', '"0 in"'), "must be more than nothing"),
        (HEM.replace('"52 in"', '"52"'), "without a unit"),
        (HEM.replace('"52 in"', "52"), "without a unit"),
        (HEM.replace('"52 in"', "nan"), "not a length"),
        (HEM.replace('length = "52 in"\n', ""), 'strip "hem" lacks length'),
        (HEM + HEM, 'more than one part has the id "hem"'),
        (HEM + 'mirror = ""', "one to eighty letters"),
        (HEM + 'outward = "up"', "write 'left' or 'right'"),
        (HEM + "hide = []", "spans from the start of the strip"),
        (HEM + 'hide = [["10 in"]]', "spans from the start of the strip"),
        (HEM + 'hide = [["14 in", "10 in"]]', "write the nearer end first"),
        (HEM + 'hide = [["90 in", "95 in"]]', "is only"),
        (HEM + 'corner = [["hem", "end", "him", "start"]]', 'the nearest is "hem"'),
        (HEM + 'corner = [["hem", "top", "hem", "start"]]', "write 'start' or 'end'"),
        (HEM + 'corner = [["hem", "end", "hem", "end"]]', "meets itself"),
        (HEM + 'corner = ["hem", "end"]', "both strips and the end of each"),
        (HEM + 'make = "floded"', "write 'flat', 'folded' or 'bound'"),
        (HEM + "joins = -1", "whole number from 0"),
        (HEM + "joins = 1.5", "whole number from 0"),
        (HEM + "joins = true", "whole number from 0"),
        (HEM + 'extra = ["1 in"]', "write two lengths"),
        (HEM + 'extra = ["1 in", "1 in", "1 in"]', "write two lengths"),
        (HEM + 'extra = "1 in"', "write two lengths"),
        (HEM + 'cut_width = "1 in"\nstripe_at = "2 in"', "cut only 1 in wide"),
        (HEM.replace("[[strip]]", "[strip]"), "write [[strip]] with double brackets"),
        ("coat = 3", "not a table"),
        ('name = "x"', "describes no parts"),
        ("name = ", "cannot be read as TOML"),
        ('[[strip]]\nwidth = "2 in"', "strip 1: id is missing"),
        ('[[strip]]\nid = ""', "one to eighty letters"),
        (COAT.replace('"wedge"', '"edge"'), "write 'gap' or 'wedge'"),
        (COAT.replace('sleeve_depth = "9 in"', 'sleeve_depth = "19 in"'), "too large for a length of 38 in"),
        ("x = " + "[" * 5000, "coat.toml"),
    ],
)
def test_a_mistake_is_told_with_its_place_and_remedy(text: str, words: str) -> None:
    """One sentence that names the file, the part and the key, and says what to do; never a traceback."""
    with pytest.raises(InputWrong) as caught:
        read_garment(text, where="coat.toml")
    assert words in str(caught.value)
    assert "coat.toml" in caught.value.problem
    assert caught.value.remedy
    assert "\n" not in str(caught.value)


def test_all_mistakes_are_told_at_once() -> None:
    """Three mistakes in two parts are three, each with its remedy."""
    with pytest.raises(InputWrong, match=r"^3 mistakes in") as caught:
        read_garment(HEM.replace("width", "widht").replace('"52 in"', '"x"') + '[[panel]]\nid = "p"\nturn = "no"')
    for words in ('the nearest is "width"', "panel 1 (p): turn", "strip 1 (hem): length"):
        assert words in str(caught.value)
