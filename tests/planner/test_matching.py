"""Strips that belong together: mirror images, the same neighbour outward, corners, joins where they hide.

The rules are those of the trade: even and uneven stripes after "Sewing with Stripes, Checks, and Plaids", Pacific
Northwest Extension; what may be turned end for end or over is common practice. Sequences are written as colours with
their widths in units of 20 mm, as in (R2 W1 B1).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from stash.fabric import Fabric, Print, Stripe
from stash.garment.editing import drawn
from stash.garment.file import read_garment
from stash.garment.part import Corner, Strip
from stash.piece import Piece
from stash.planner.advice import ways_out
from stash.planner.audit import audit
from stash.planner.loosening import by_the_coat
from stash.planner.plan import Placement, Plan
from stash.planner.problem import Problem
from stash.planner.solve import decide
from vision.estimate import Estimate

UNIT_MM = 20.0
UNEVEN, EVEN = "R2 W1 B1", "R2 W1 B1 W1"


def cloth(sequence: str, *, along: float | None = None, one_way: bool = False, both_faces: bool = False) -> Fabric:
    """A fabric with the stripes of a sequence."""
    stripes, reached = [], 0.0
    for word in sequence.split():
        width = float(word[1:]) * UNIT_MM
        stripes.append(Stripe(label=word[0], width_mm=width, centre_mm=reached + width / 2))
        reached += width
    print_ = Print(
        kind="stripe", across=Estimate(reached), along=None if along is None else Estimate(along),
        stripes=tuple(stripes),
    )  # fmt: skip
    return Fabric(id="deck", name="Deck chair", print=print_, one_way=one_way, both_faces=both_faces)


def strip(name: str, stripe: str, wide: float = 4, long_mm: float = 300, **more: Any) -> Strip:
    """A flat strip of that many units, no seams."""
    width = wide * UNIT_MM
    return Strip(
        id=name, fabric="deck", stripe=stripe, length_mm=long_mm, width_mm=width, seam_mm=0.0, cut_width_mm=width,
        stripe_at_mm=width / 2, **more,
    )  # fmt: skip


def length(fabric: Fabric, long_mm: float = 400, repeats: float = 6, **more: Any) -> Piece:
    """A length of several repeats."""
    assert fabric.print.across is not None
    wide = repeats * fabric.print.across.value
    return Piece(
        id="t1", fabric="deck", outline_mm=((0, 0), (wide, 0), (wide, long_mm), (0, long_mm)), **more
    )  # fmt: skip


def plan(fabric: Fabric, *strips: Strip, piece: Piece | None = None) -> Plan:
    """The answer, its placements held against the audit once more."""
    problem = Problem(parts=strips, fabrics={"deck": fabric}, pieces=(piece or length(fabric),))
    found = decide(problem, limit_s=20)
    assert found.answer in ("yes", "no")
    assert found.proven
    if found.answer == "yes":
        assert audit(problem, found.placements) == ()
    return found


def seen(fabric: Fabric, placement: Placement, half_mm: float) -> str:
    """The labels that show from left to right, one for each millimetre, counted straight off the cloth at x."""
    xs = [x for x, _ in placement.outline_mm]
    middle = (min(xs) + max(xs)) / 2
    labels = [_label(fabric, middle + step + 0.5) for step in range(-round(half_mm), round(half_mm))]
    row = "".join(labels)
    return row[::-1] if placement.turned != placement.over else row


def _label(fabric: Fabric, x: float) -> str:
    assert fabric.print.across is not None
    x %= fabric.print.across.value
    return next(s.label for s in fabric.print.stripes if abs(x - s.centre_mm) <= s.width_mm / 2)


def by_part(found: Plan) -> dict[str, Placement]:
    return {placement.part: placement for placement in found.placements if placement.segment == 1}


def fronts(stripe: str, wide: float = 4, **more: Any) -> tuple[Strip, Strip]:
    return strip("left", stripe, wide, mirror="fronts", **more), strip("right", stripe, wide, mirror="fronts", **more)


@pytest.mark.parametrize(
    ("sequence", "stripe", "wide", "one_way", "both_faces", "along", "answer"),
    [
        (EVEN, "R", 6, True, False, None, "yes"),  # an axis lies on the shown stripe
        (EVEN, "B", 6, True, False, None, "yes"),
        (EVEN, "W", 3, True, False, None, "yes"),  # another occurrence of the label is the mirror
        (UNEVEN, "R", 4, True, False, None, "no"),  # one way up and one right side: no mirror anywhere
        (UNEVEN, "R", 2, True, False, None, "yes"),  # no other stripe shows
        (UNEVEN, "R", 4, False, False, None, "yes"),  # turned end for end
        (UNEVEN, "R", 4, True, True, None, "yes"),  # turned over
        (UNEVEN, "R", 4, False, False, 90.0, "no"),  # turned, its motif would not match
        (UNEVEN, "R", 4, False, True, 90.0, "yes"),  # turned over, the motif runs on the same way
        ("R2 W1 B1 W2", "R", 6, True, False, None, "no"),  # uneven by width alone
        ("R2 W1 B1 W2", "B", 2, True, False, None, "yes"),  # as far as it shows it is alike on both sides
        ("R2 W1", "R", 4, True, False, None, "yes"),
        ("R2 W1", "W", 4, True, False, None, "yes"),
    ],
)
def test_what_has_a_mirror_image(
    sequence: str, stripe: str, wide: float, one_way: bool, both_faces: bool, along: float | None, answer: str
) -> None:
    """Even cloth mirrors by itself, uneven cloth only turned: end for end, or over where both faces are alike."""
    fabric = cloth(sequence, one_way=one_way, both_faces=both_faces, along=along)
    found = plan(fabric, *fronts(stripe, wide))
    assert found.answer == answer
    if found.answer == "no":
        assert any("can be the mirror of another" in proof for proof in found.proofs)
        return
    left, right = by_part(found)["left"], by_part(found)["right"]
    half = wide * UNIT_MM / 2
    assert seen(fabric, left, half) == seen(fabric, right, half)[::-1]
    assert not (one_way and (left.turned or right.turned))
    assert both_faces or not (left.over or right.over)


def test_a_no_for_want_of_a_mirror_says_why() -> None:
    """Uneven and one-way: the sentence names the cloth, the strips, and what they cannot be."""
    found = plan(cloth(UNEVEN, one_way=True), *fronts("R"))
    assert found.proofs == (
        "Deck chair is uneven and one-way: no strip of it that shows stripe R can be the mirror of another "
        "(left and right)",
    )


def test_of_three_the_middle_one_is_the_mirror() -> None:
    """In a set of more than two every second strip is the mirror image of the first."""
    fabric = cloth(UNEVEN)
    found = by_part(plan(fabric, *(strip(name, "R", mirror="rows") for name in "abc")))
    rows = [seen(fabric, found[name], 40) for name in "abc"]
    assert rows[0] == rows[2] == rows[1][::-1]


def test_a_mirror_set_on_a_motif_starts_at_the_same_place() -> None:
    """Turned over, both fronts start at the same place of the print along the stripes, and run the same way."""
    fabric = cloth(UNEVEN, both_faces=True, along=90.0)
    piece = length(fabric, along_origin_mm=17.0)
    found = by_part(plan(fabric, *fronts("R"), piece=piece))
    starts = [found[name].outline_mm[0][1] % 90 for name in ("left", "right")]
    assert starts[0] == pytest.approx(starts[1], abs=0.02)
    assert found["left"].turned == found["right"].turned
    assert found["left"].over != found["right"].over


@pytest.mark.parametrize("one_way", [False, True])
def test_the_same_neighbour_lies_outward(one_way: bool) -> None:
    """With the left side of one strip outward and the right of the other, uneven one-way cloth has no such strips."""
    fabric = cloth(UNEVEN, one_way=one_way)
    strips = strip("hem", "R", outward="left"), strip("front", "R", outward="right")
    found = plan(fabric, *strips)
    assert found.answer == ("no" if one_way else "yes")
    if one_way:
        assert "outward" in found.proofs[0]
        return
    rows = {name: seen(fabric, placement, 40) for name, placement in by_part(found).items()}
    assert rows["hem"][0] == rows["front"][-1]


def test_all_read_one_way_round_needs_no_turning() -> None:
    """The same side outward on every edge is had from one-way cloth."""
    fabric = cloth(UNEVEN, one_way=True)
    found = plan(fabric, *(strip(name, "R", outward="left") for name in ("hem", "left", "right")))
    assert found.answer == "yes"


@pytest.mark.parametrize(
    ("corner", "answer"),
    [
        (("hem", "end", "front", "start"), "yes"),
        (("hem", "end", "front", "end"), "no"),
        (("hem", "start", "front", "start"), "no"),
    ],
)
def test_a_corner_reads_on_or_back(corner: Corner, answer: str) -> None:
    """End to start the stripes run on round the corner; end to end they come back in a mirror, which one-way uneven
    cloth does not show."""
    fabric = cloth(UNEVEN, one_way=True)
    assert plan(fabric, strip("hem", "R", corner=(corner,)), strip("front", "R")).answer == answer
    turnable = plan(replace(fabric, one_way=False), strip("hem", "R", corner=(corner,)), strip("front", "R"))
    assert turnable.answer == "yes"
    rows = {name: seen(fabric, placement, 40) for name, placement in by_part(turnable).items()}
    assert rows["hem"] == (rows["front"] if answer == "yes" else rows["front"][::-1])


def test_what_cannot_all_be_true_is_a_no() -> None:
    """Mirror images that also meet end to start would each be their own mirror image; uneven cloth shows none."""
    one, other = fronts("R")
    found = plan(cloth(UNEVEN), replace(one, corner=(("left", "end", "right", "start"),)), other)
    assert found.answer == "no"
    assert plan(cloth(EVEN), replace(one, corner=(("left", "end", "right", "start"),)), other).answer == "yes"


def test_narrow_strips_match_as_far_as_they_show() -> None:
    """A narrow strip between two wide ones hides nothing: the wide ones must still agree with each other outward."""
    fabric = cloth(UNEVEN, one_way=True)
    narrow = strip("neck", "R", 2, outward="left")
    wide = strip("hem", "R", 4, outward="left"), strip("front", "R", 4, outward="right")
    assert plan(fabric, narrow, *wide).answer == "no"
    assert plan(fabric, narrow, wide[0]).answer == "yes"


@pytest.mark.parametrize(("spans", "answer"), [((), "yes"), (((100.0, 250.0),), "yes"), (((0.0, 90.0),), "no")])
def test_joins_lie_only_where_they_hide(spans: tuple[tuple[float, float], ...], answer: str) -> None:
    """600 mm from lengths of 400: one join lies between 200 and 400 from the start, or in no place at all."""
    fabric = cloth(EVEN)
    found = plan(fabric, strip("hem", "R", long_mm=600, joins=1, hide_mm=spans))
    assert found.answer == answer
    if spans and answer == "yes":
        first = by_part(found)["hem"].finished_mm
        assert first is not None
        assert 200 <= first <= 250


def test_the_edge_of_a_span_counts() -> None:
    """A span that ends where the only possible join lies is enough."""
    fabric = cloth(EVEN)
    assert plan(fabric, strip("hem", "R", long_mm=800, joins=1, hide_mm=((350.0, 400.0),))).answer == "yes"
    assert plan(fabric, strip("hem", "R", long_mm=800, joins=1, hide_mm=((400.0, 400.0),))).answer == "yes"
    assert plan(fabric, strip("hem", "R", long_mm=800, joins=1, hide_mm=((0.0, 399.0), (401.0, 800.0)))).answer == "no"


def test_a_strip_off_the_middle_may_be_turned_over() -> None:
    """Its stripe nearer to the left edge, on a piece that ends just right of the stripe: turned over it fits."""
    fabric = cloth(UNEVEN, one_way=True, both_faces=True)
    lopsided = replace(strip("hem", "B", 3), stripe_at_mm=15.0)
    piece = Piece(id="t1", fabric="deck", outline_mm=((0, 0), (86, 0), (86, 400), (0, 400)))
    found = plan(fabric, lopsided, piece=piece)
    assert found.answer == "yes"
    assert by_part(found)["hem"].over
    assert plan(replace(fabric, both_faces=False), lopsided, piece=piece).answer == "no"


def test_the_audit_refuses_faces_and_looks_that_are_wrong() -> None:
    """Turned over on cloth with a wrong side, or two fronts cut alike where they should mirror: each is told."""
    fabric = cloth(UNEVEN, both_faces=True)
    strips = fronts("R")
    found = plan(fabric, *strips)
    problem = Problem(parts=strips, fabrics={"deck": fabric}, pieces=(length(fabric),))
    alike = tuple(replace(placement, turned=False, over=False) for placement in found.placements)
    faults = " ".join(audit(problem, alike))
    assert "does not match" in faults
    faced = replace(problem, fabrics={"deck": replace(fabric, both_faces=False)})
    over = tuple(replace(placement, over=True) for placement in found.placements)
    assert any("is turned over" in fault for fault in audit(faced, over))


def test_the_audit_refuses_a_join_that_shows() -> None:
    """The same plan against spans that leave its join out."""
    fabric = cloth(EVEN)
    hem = strip("hem", "R", long_mm=600, joins=1)
    found = plan(fabric, hem)
    spans = replace(hem, hide_mm=((0.0, 10.0),))
    problem = Problem(parts=(spans,), fabrics={"deck": fabric}, pieces=(length(fabric),))
    assert any("where none may lie" in fault for fault in audit(problem, found.placements))


def test_the_nearest_look_is_offered() -> None:
    """Where no strip can be the mirror of another, all reading one way round is a way out, planned and audited."""
    fabric = cloth(UNEVEN, one_way=True)
    strips = fronts("R", edge="front")
    problem = Problem(parts=strips, fabrics={"deck": fabric}, pieces=(length(fabric),))
    first = ways_out(problem, limit_s=10)[0]
    assert first.change.startswith("left and right read one way round")
    assert first.edit["key"] == "mirror"
    assert first.edit["value"] is None
    rows = {placement.part: seen(fabric, placement, 40) for placement in first.placements}
    assert rows["left"] == rows["right"]


def test_a_join_that_shows_is_offered() -> None:
    """600 mm from lengths of 400, joins hidden near the start only: the way out says where the join would lie."""
    fabric = cloth(EVEN)
    hem = strip("hem", "R", long_mm=600, joins=1, hide_mm=((30.0, 90.0),), edge="hem")
    problem = Problem(parts=(hem,), fabrics={"deck": fabric}, pieces=(length(fabric),))
    changes = [way.change for way in ways_out(problem, limit_s=10)]
    assert any(change.startswith("a join anywhere in hem") and "from its start" in change for change in changes)


def test_strips_that_show_different_stripes_are_a_no() -> None:
    """A mirror set across two stripes cannot match, whatever the cloth."""
    one, other = fronts("R")
    found = plan(cloth(EVEN), one, replace(other, stripe="B"))
    assert found.answer == "no"
    assert "they cannot match" in found.proofs[0]


def test_a_coat_gives_up_its_own_rule() -> None:
    """The same neighbour outward cannot be had from uneven one-way cloth; that all borders read one way round can, and
    the edit is one word of the coat, which drawn up again gives what was planned."""
    text = (
        'seam = "0 in"\n[coat]\nwidth = "40 in"\nlength = "26 in"\nsleeve_depth = "7 in"\nmain = "deck"\n'
        'border = "deck"\nstripe = "R"\nborder_width = "80 mm"\nneighbours = "outward"\n'
    )
    garment = read_garment(text)
    redraw = drawn([garment])
    assert redraw is not None
    fabric = cloth(UNEVEN, one_way=True)
    problem = Problem(parts=garment.strips, fabrics={"deck": fabric}, pieces=(length(fabric, 1100, 14),))
    assert decide(problem).answer == "no"
    offered = by_the_coat(problem, redraw)
    going = [change for change in offered if decide(change.after(problem)).answer == "yes"]
    assert [change.edit["value"] for change in going] == ["round", None]
    again = redraw.parts([going[0].edit])
    assert again is not None
    assert {part.id: part for part in again if isinstance(part, Strip)} == {
        part.id: part for part in going[0].after(problem).strips
    }
