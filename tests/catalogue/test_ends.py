"""The ledger's ends: snippets, pieces given away and back, pieces not as planned; all of it undone in order."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import pytest
import shapely

from stash.catalogue.booking import book_cut
from stash.catalogue.door import open_stash
from stash.catalogue.reservation import reserve
from stash.catalogue.snippet import Snippets, snippets
from stash.catalogue.stash import Stash
from stash.catalogue.worth import KEEP, Worth, worth_in
from stash.errors import Conflict, InputWrong, NotFound
from stash.fabric import Fabric, Print, Stripe
from stash.keeping import give_away, give_back, keep_from, use_up
from stash.measuring import Asked
from stash.photograph import KeptPhoto
from stash.piece import Piece
from stash.remeasure import MOST_OFF_MM, Told, remeasure, typed
from tests.catalogue.sample import plan_document, stash_document
from vision.estimate import Estimate

#: The scrap that the sample's plan leaves, mm².
SCRAP_MM2 = 60 * 40
STRIPED = Fabric(
    id="f", name="F",
    print=Print(kind="stripe", across=Estimate(60, 0), stripes=(Stripe(label="A", width_mm=20, centre_mm=10),)),
)  # fmt: skip
PLAIN = Fabric(id="f", name="F", print=Print(kind="plain"))


@pytest.fixture(params=["file", "server"])
def stash(request: pytest.FixtureRequest, tmp_path: Path) -> Stash:
    """The sample's cloth, in a file and on a server."""
    made = open_stash(tmp_path / "s" if request.param == "file" else request.getfixturevalue("address"))
    made.import_document(stash_document())
    return made


def rectangle(wide: float, long: float, *, askew: float | None = 0.0, u95: float = 0.0) -> Piece:
    """A piece from (100, 200) on."""
    ring = ((100.0, 200.0), (100.0 + wide, 200.0), (100.0 + wide, 200.0 + long), (100.0, 200.0 + long))
    return Piece(id="p", fabric="f", outline_mm=ring, outline_u95_mm=u95, stripe_direction_deg=askew)


def test_small_leftovers_become_one_line(stash: Stash) -> None:
    """A scrap of 60 by 40 mm is no piece: the fabric has one snippet of that area, which leaves with the export and
    goes with the undo; what another cut leaves adds to it."""
    book_cut(stash, plan_document(stash))
    assert snippets(stash.contents()) == {"ticking": Snippets(count=1, area_mm2=SCRAP_MM2)}
    assert stash.export_document()["snippets"] == {"ticking": {"count": 1, "area_mm2": SCRAP_MM2}}
    small = Piece(id="t1-1", fabric="ticking", outline_mm=((0, 0), (50, 0), (0, 50)))
    stash.exchange(["t1-1"], [], title="the rest", snippets=[small])
    assert snippets(stash.contents()) == {"ticking": Snippets(count=2, area_mm2=SCRAP_MM2 + 1250)}
    stash.undo()
    assert snippets(stash.contents())["ticking"].count == 1
    stash.undo()
    assert stash.export_document() == stash_document()


def test_from_which_size_on_is_hers_to_say(stash: Stash) -> None:
    """3 by 6 in to begin with (common practice); set to 40 by 60 mm the same scrap is a piece; undone in order."""
    assert worth_in(stash.contents()) == KEEP == Worth(short_mm=76.2, long_mm=152.4)
    assert keep_from(stash, "60 mm x 40 mm") is not None
    assert keep_from(stash, "4 x 6 cm") is None
    assert worth_in(stash.contents()) == Worth(short_mm=40, long_mm=60)
    assert book_cut(stash, plan_document(stash)).pieces_in == ("t1-1", "t1-2")
    assert snippets(stash.contents()) == {}
    stash.undo()
    stash.undo()
    assert stash.export_document() == stash_document()
    with pytest.raises(InputWrong, match="several"):
        keep_from(stash, "two of 3 x 6 in")


def test_snippets_are_used_up(stash: Stash) -> None:
    """Used up, the line is gone and the rest of the document as it was; what is not there cannot be used up."""
    with pytest.raises(InputWrong, match="no snippets"):
        use_up(stash, "ticking")
    book_cut(stash, plan_document(stash))
    before = stash.export_document()
    assert use_up(stash, "ticking").verb == "used up"
    assert "snippets" not in stash.export_document()
    stash.undo()
    assert stash.export_document() == before
    with pytest.raises(NotFound):
        use_up(stash, "tocking")


def test_given_away_and_back(stash: Stash) -> None:
    """A piece that is given away is gone and comes back to the last key with its photograph; each is a line of the
    journal that can be undone in order; what was cut does not come back so."""
    stash.add(None, [Piece(id="q", fabric="ticking", outline_mm=((0, 0), (9, 0), (0, 9)))], photo=KeptPhoto(jpeg=b"j"))
    before, photo = stash.export_document(), stash.photo_of("q")
    given = give_away(stash, ["q", "t1", "q"], "  my   aunt ")
    assert (given.verb, given.summary, set(given.pieces_out)) == ("given away", "q, t1, to my aunt", {"q", "t1"})
    assert stash.pieces() == ()
    with pytest.raises(NotFound):
        give_away(stash, ["q"])
    back = give_back(stash, ["t1", "q"])
    assert (back.verb, set(back.pieces_in)) == ("returned", {"q", "t1"})
    assert stash.export_document() == before
    assert stash.photo_of("q") == photo
    with pytest.raises(Conflict, match="in the stash"):
        give_back(stash, ["q"])
    stash.undo()
    assert stash.pieces() == ()
    stash.undo()
    assert stash.export_document() == before
    book_cut(stash, plan_document(stash))
    with pytest.raises(NotFound, match="given away"):
        give_back(stash, ["t1"])


def test_what_a_plan_keeps_is_not_given_away(stash: Stash) -> None:
    """A reserved piece is neither given away nor told as gone until it is free."""
    reserve(stash, plan_document(stash))
    with pytest.raises(Conflict, match="reserved"):
        give_away(stash, ["t1"])
    with pytest.raises(Conflict, match="reserved"):
        remeasure(stash, "t1", Told(gone=True), Asked())
    assert [piece.id for piece in stash.pieces()] == ["t1"]


def test_what_is_left_in_truth(stash: Stash) -> None:
    """After a cut the leftover is told as smaller, then as gone but for a snippet, then as gone: each replaces what
    was there under its own id, and undo in order brings back what was planned and what was before."""
    book_cut(stash, plan_document(stash))
    planned = stash.export_document()
    told = remeasure(stash, "t1-1", Told(width="40 cm", length="30 cm", edges=("right", "bottom")), Asked())
    assert told.entry is not None
    assert told.entry.verb == "measured again"
    now = stash.piece("t1-1")
    assert now.outline_mm == ((700.0, 550.0), (1100.0, 550.0), (1100.0, 850.0), (700.0, 850.0))
    assert (now.outline_u95_mm, now.stripe_origin_mm, now.extra["cut_from"]) == (0.5, 3.5, "t1")
    assert len(now.flaws_mm) == 1
    small = remeasure(stash, "t1-1", Told(width="4 cm", length="3 cm"), Asked())
    assert small.piece is None
    assert snippets(stash.contents())["ticking"] == Snippets(count=2, area_mm2=SCRAP_MM2 + 1200)
    stash.undo()
    assert remeasure(stash, "t1-1", Told(gone=True), Asked()).piece is None
    assert stash.pieces() == ()
    stash.undo()
    stash.undo()
    assert stash.export_document() == planned
    assert remeasure(stash, "t1-1", Told(gone=True), Asked()).entry is not None
    assert stash.undo_back_to(2)[-1].verb == "cut"
    assert stash.export_document() == stash_document()


@pytest.mark.parametrize("seed", range(10))
def test_a_typed_size_claims_no_more_than_is_known(seed: int) -> None:
    """Wherever in what was planned the piece was really cut, the cloth that is counted on afterwards (its outline less
    what is not known of it) lies in the real piece: none is told that is not there, and no stripe where it is not."""
    dice = random.Random(seed)
    wide, long = dice.uniform(200, 500), dice.uniform(200, 500)
    before = rectangle(wide, long, askew=dice.uniform(-3, 3), u95=0.4)
    less, short = dice.uniform(0, 2 * MOST_OFF_MM / 1.2), dice.uniform(0, 5)
    now, notes = typed(before, STRIPED, (wide - less, long - short))
    assert not notes
    counted = shapely.Polygon(now.outline_mm).buffer(-now.outline_u95_mm, join_style="mitre")
    for at in (0.0, 0.3, 1.0):
        left = 100 + at * less
        real = shapely.box(left, 200, left + wide - less, 200 + long)  # along the stripes it looks the same everywhere
        assert real.buffer(0.001).contains(counted.intersection(shapely.box(0, 210, 9999, 190 + long)))


def test_where_stripes_lie_is_not_guessed() -> None:
    """A length of 400 mm that is 300 now might show other stripes by 50 mm: their place is not known any more, unless
    an edge is named that is as it was; plain cloth has no stripes to lose."""
    before = rectangle(400, 300)
    now, notes = typed(before, STRIPED, (300, 300))
    assert now.stripe_direction_deg is None
    assert "--edge" in notes[0]
    now, notes = typed(before, STRIPED, (300, 300), ("left",))
    assert (now.stripe_direction_deg, now.outline_u95_mm, notes) == (0.0, 0.0, [])
    assert now.outline_mm[0] == (100.0, 200.0)
    now, notes = typed(before, STRIPED, (400, 100))
    assert (now.stripe_direction_deg, now.outline_u95_mm, notes) == (0.0, 0.0, [])
    now, notes = typed(before, PLAIN, (300, 100))
    assert (now.stripe_direction_deg, now.outline_u95_mm, notes) == (0.0, 0.0, [])
    with pytest.raises(InputWrong, match="narrower"):
        typed(before, STRIPED, (300, 300), ("left", "right"))


def test_an_ell_is_not_its_box() -> None:
    """What was an L of 50,000 mm² does not become a rectangle of its box's 90,000 by typing the box's sides."""
    ring = ((0.0, 0.0), (100.0, 0.0), (100.0, 200.0), (300.0, 200.0), (300.0, 300.0), (0.0, 300.0))
    ell = Piece(id="p", fabric="f", outline_mm=ring)
    with pytest.raises(InputWrong, match="no rectangle"):
        typed(ell, PLAIN, (300, 300))
    now, _ = typed(ell, PLAIN, (100, 300))
    assert shapely.Polygon(now.outline_mm).area == pytest.approx(30_000)


def test_a_rectangle_beside_a_hole_has_none() -> None:
    """Of a length of 400 by 700 mm with a hole of 300 by 300 in its lower half, 400 by 350 mm is the other half without
    it, and 400 by 690 is more than the cloth that there was; a hole of 10 by 10 mm stays."""
    hole = ((150.0, 550.0), (450.0, 550.0), (450.0, 850.0), (150.0, 850.0))
    before = replace(rectangle(400, 700), holes_mm=(hole,))
    now, _ = typed(before, PLAIN, (400, 350))
    assert now.holes_mm == ()
    with pytest.raises(InputWrong, match="no rectangle"):
        typed(before, PLAIN, (400, 690))
    small = ((150.0, 550.0), (160.0, 550.0), (160.0, 560.0), (150.0, 560.0))
    now, _ = typed(replace(before, holes_mm=(small,)), PLAIN, (400, 690))
    assert now.holes_mm == (small,)


@pytest.mark.parametrize(
    "told",
    [
        Told(),
        Told(width="3 in"),
        Told(width="3 in", length="9 in", gone=True),
        Told(gone=True, edges=("left",)),
        Told(width="3 in", length="9 in", edges=("leftish",)),
        Told(photo=Path("p.jpg"), gone=True),
    ],
)
def test_what_does_not_go_together(stash: Stash, told: Told) -> None:
    """Neither or two of size, photograph and gone, half a size, and an edge that is none are refused with a remedy."""
    with pytest.raises(InputWrong) as refused:
        remeasure(stash, "t1", told, Asked())
    assert refused.value.remedy
    assert len(stash.journal()) == 1


def test_two_stashes_go_together(stash: Stash, tmp_path: Path) -> None:
    """Snippets and reservations of other cloth come in beside those that are here; of the same cloth they must say the
    same, or be told to replace."""
    book_cut(stash, plan_document(stash))
    other = {
        "schema": "stash/1",
        "fabrics": [{"id": "voile", "name": "Voile", "print": {"kind": "plain"}}],
        "pieces": [],
        "snippets": {"voile": {"count": 3, "area_mm2": 900}},
    }
    stash.import_document(other)
    assert {name: row.count for name, row in snippets(stash.contents()).items()} == {"ticking": 1, "voile": 3}
    other["snippets"] = {"voile": {"count": 4, "area_mm2": 950}}
    with pytest.raises(Conflict, match="snippets"):
        stash.import_document(other)
    stash.import_document(other, replace=True)
    assert {name: row.count for name, row in snippets(stash.contents()).items()} == {"ticking": 1, "voile": 4}
