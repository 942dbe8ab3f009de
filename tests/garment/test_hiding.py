"""Where a coat hides its joins. Truth: the worked coat's geometry, in inches; what shows least is common practice."""

from __future__ import annotations

import pytest
from scipy import special

from stash.errors import InputWrong
from stash.fabric import Fabric, Print, Stripe
from stash.garment.file import read_garment
from stash.garment.finished import Done, without_done
from stash.garment.part import Garment, Strip
from stash.garment.resolved import to_document, together
from stash.lengths import parse_length
from tests.garment.test_file import COAT, HEM
from vision.estimate import Estimate

INCH = 25.4


def strip(garment: Garment, part_id: str) -> Strip:
    return next(one for one in garment.strips if one.id == part_id)


def spans(garment: Garment, part_id: str) -> list[tuple[float, float]]:
    return [(round(low / INCH, 3), round(high / INCH, 3)) for low, high in strip(garment, part_id).hide_mm]


def test_the_coat_hides_its_joins() -> None:
    """W 58, D 9, f 1: side folds lie 14 in from centre front, the underarm is 15 in of the join, the shoulder fold 9 in
    up the sleeve, and the neck's front is half an ellipse (3.25, 3), whose length SciPy knows; 2 in from corners."""
    coat = read_garment(COAT + "joins = 1\n")
    assert spans(coat, "hem") == [(14 - 3, 56 - 14 + 3)]
    assert spans(coat, "sleeve-left") == [(2, 6), (12, 16)]
    assert spans(coat, "join-right") == [(round(29.036 - 15, 3), round(29.036 - 2, 3))]
    assert spans(coat, "front-left") == [(2, 24)]
    front = 3.25 * 2 * special.ellipe(1 - (3 / 3.25) ** 2)
    ((low, high),) = strip(coat, "neck").hide_mm
    assert low / INCH == pytest.approx(front / 2, abs=1e-3)
    assert (high - low) / INCH == pytest.approx(3.25 * 2 * special.ellipe(1 - (0.75 / 3.25) ** 2), abs=1e-3)


def test_a_strip_too_short_to_hide_a_join_is_cut_whole() -> None:
    """A sleeve 5 in round has no place 2 in from both its ends and near the underarm: no join there, asked or not."""
    coat = read_garment(COAT.replace('sleeve_depth = "9 in"', 'sleeve_depth = "2 3/4 in"') + "joins = 2\n")
    assert (strip(coat, "sleeve-left").joins, strip(coat, "sleeve-left").hide_mm) == (0, ())
    assert strip(coat, "hem").joins == 2


def test_spans_go_with_their_length() -> None:
    """A hem of another length is not joined where the coat's own would be; spans written with it hold."""
    shorter = '[[strip]]\nid = "hem"\nlength = "40 in"\n'
    assert strip(read_garment(COAT + shorter), "hem").hide_mm == ()
    assert spans(read_garment(COAT + shorter + 'hide = [["10 in", "14 in"]]'), "hem") == [(10, 14)]


def test_mirror_takes_the_place_of_a_pair() -> None:
    """Strips of a pair are turned alike; those asked to mirror may be turned, unless the file says pair as well."""
    mirrored = COAT + '[[strip]]\nid = "front-left"\nmirror = "fronts"\n'
    assert strip(read_garment(mirrored), "front-left").pair is None
    assert strip(read_garment(mirrored + 'pair = "fronts"'), "front-left").pair == "fronts"


def test_a_plan_says_what_is_asked_of_looks() -> None:
    """mirror, outward, hide and corner are in a plan's document; together, they stay within their garment."""
    text = HEM + (
        'mirror = "m"\noutward = "right"\nhide = [["10 in", "14 in"]]\n'
        'corner = [["hem", "end", "front", "start"]]\n'
    ) + HEM.replace('"hem"', '"front"')  # fmt: skip
    garment = read_garment(text)
    told = next(row for row in to_document(garment)["strips"] if row["id"] == "hem")
    assert (told["mirror"], told["outward"], told["corner"]) == ("m", "right", [["hem", "end", "front", "start"]])
    assert told["hide_mm"] == [[pytest.approx(10 * INCH), pytest.approx(14 * INCH)]]
    one, other = together([garment, garment])
    assert {one.strips[0].corner[0][0], one.strips[0].corner[0][2]} == {strip_.id for strip_ in one.strips}
    assert one.strips[0].mirror != other.strips[0].mirror
    assert one.strips[0].garment != other.strips[0].garment


def test_strips_that_meet_show_one_stripe() -> None:
    """A corner of two stripes is told with both; so is such a mirror set, and a corner that both run through."""
    front = HEM.replace('"hem"', '"front"')
    with pytest.raises(InputWrong, match='"hem" shows stripe A of ticking and "front" stripe B of ticking'):
        read_garment(HEM + 'corner = [["hem", "end", "front", "start"]]\n' + front.replace('"A"', '"B"'))
    with pytest.raises(InputWrong, match="mirror images"):
        read_garment(HEM + 'mirror = "m"\n' + front.replace('"A"', '"B"') + 'mirror = "m"')
    with pytest.raises(InputWrong, match="both are said to run through"):
        read_garment(
            HEM + 'corner = [["hem", "end", "front", "start"]]\n'
            + front + 'corner = [["front", "start", "hem", "end"]]'
        )  # fmt: skip


def test_a_corner_says_which_strip_runs_through() -> None:
    """The strip named first runs through; the sheet's notes say so once, though both strips name the corner."""
    corner = 'corner = [["hem", "end", "front", "start"]]\n'
    garment = read_garment(HEM + corner + HEM.replace('"hem"', '"front"') + corner)
    assert garment.notes == ("Where the end of hem meets the start of front, hem runs through and front stops.",)


@pytest.mark.parametrize(("cut", "left", "joins"), [("8 in", [(2, 6)], 1), ("20 in", [], 0)])
def test_what_is_left_of_a_strip_keeps_its_hidden_places(cut: str, left: list[tuple[float, float]], joins: int) -> None:
    """A span 10 to 14 in from the start lies 2 to 6 in from a cut at 8 in; past it no join is left to hide."""
    garment = read_garment(HEM + 'joins = 2\nhide = [["10 in", "14 in"]]\n')
    stripe = Stripe(label="A", width_mm=60, centre_mm=30)
    cloth = Fabric(id="ticking", name="T", print=Print(kind="stripe", across=Estimate(60), stripes=(stripe,)))
    done = Done(part="hem", length_mm=parse_length(cut))
    (rest,), _ = without_done([garment], [done], {"ticking": cloth})
    assert (spans(rest, "hem"), strip(rest, "hem").joins) == (left, joins)
