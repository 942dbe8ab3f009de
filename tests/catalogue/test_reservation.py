"""A plan's cloth is kept from other plans until it is cut or free again."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from stash.catalogue.booking import book_cut
from stash.catalogue.door import open_stash
from stash.catalogue.fingerprint import plan_fingerprint
from stash.catalogue.reservation import KEY, available, reservations, reserve, set_free
from stash.catalogue.stage import Stage
from stash.catalogue.stash import Stash
from stash.errors import Conflict, InputWrong
from tests.catalogue.sample import plan_document, stash_document
from tests.cli.conftest import Call, strips
from tests.cli.conftest import call as call
from tests.cli.conftest import filled as filled


@pytest.fixture(params=["file", "server"])
def stash(request: pytest.FixtureRequest, tmp_path: Path) -> Stash:
    """The sample's cloth, in a file and on a server."""
    made = open_stash(tmp_path / "s" if request.param == "file" else request.getfixturevalue("address"))
    made.import_document(stash_document())
    return made


def other_plan(stash: Stash) -> dict[str, Any]:
    """A plan for something else from the same cloth."""
    return plan_document(stash, garments=[{"name": "Apron"}])


def stage(document: Any) -> Stage:
    """What is told of a plan's only cut."""
    return Stage(plan=plan_fingerprint(document), part="hem", segment=1)


def test_a_reserved_piece_is_not_for_other_plans(stash: Stash) -> None:
    """Reserved, the piece is not among what another plan may use, nor can that one be booked or reserve it; the plan
    itself can, and then its leftovers are free."""
    mine, hers = plan_document(stash), other_plan(stash)
    assert reserve(stash, mine) is not None
    assert reserve(stash, mine) is None
    assert available(stash.contents()).pieces == ()
    assert [piece.id for piece in available(stash.contents(), plan_fingerprint(mine)).pieces] == ["t1"]
    with pytest.raises(Conflict, match="Ticking jacket"):
        reserve(stash, hers)
    with pytest.raises(Conflict, match="reserved"):
        book_cut(stash, hers, stages=[stage(hers)])
    assert book_cut(stash, mine, stages=[stage(mine)]).pieces_in == ("t1-1",)
    assert [piece.id for piece in available(stash.contents()).pieces] == ["t1-1"]
    assert stash.export_document()["kept_by"] == stash_document()["kept_by"]
    assert KEY not in stash.export_document()


def test_freeing_and_taking_back(stash: Stash) -> None:
    """Free again, the stash is what it was before; undo of the freeing reserves anew, undo of that frees."""
    before, plan = stash.export_document(), plan_document(stash)
    with pytest.raises(InputWrong, match="nothing is reserved"):
        set_free(stash, plan)
    reserve(stash, plan)
    reserved = stash.export_document()
    set_free(stash, plan)
    assert stash.export_document() == before
    stash.undo()
    assert stash.export_document() == reserved
    stash.undo()
    assert stash.export_document() == before


def test_reserved_leftovers_of_a_plan_that_goes_on(stash: Stash) -> None:
    """While a plan is still being cut, what is left of its cloth stays reserved for it."""
    plan = plan_document(stash)
    reserve(stash, plan)
    stash.exchange(["t1"], [stash.piece("t1")], title="cut", stages=[stage(plan)], going_on=True)
    assert {piece: row.title for piece, row in reservations(stash.contents()).items()} == {"t1-1": "Ticking jacket"}


def test_a_reservation_travels_with_the_document(stash: Stash, tmp_path: Path) -> None:
    """Export, import elsewhere: reserved there too."""
    reserve(stash, plan_document(stash))
    other = open_stash(tmp_path / "other")
    other.import_document(stash.export_document())
    assert reservations(other.contents()) == reservations(stash.contents())


def test_what_another_program_has_under_the_key_stays(stash: Stash) -> None:
    """A value of another shape is no reservation, and a cut leaves it as it is."""
    stash.import_document({"schema": "stash/1", "fabrics": [], "pieces": [], KEY: ["mine"]})
    assert reservations(stash.contents()) == {}
    book_cut(stash, plan_document(stash))
    assert stash.export_document()[KEY] == ["mine"]


def test_by_commands(filled: Call, tmp_path: Path) -> None:
    """Reserved, a second question finds no ticking and says why; the plan that reserved it can be cut."""
    file = strips(tmp_path / "g.toml", 'id = "hem"\nlength = "70 cm"\nwidth = "2 in"')
    assert filled("enough", file, "--out", "plan.json").code == 0
    assert filled("reserve", "plan.json").code == 0
    assert "reserved for Borders" in filled("stash", "list").out
    refused = filled("enough", file)
    assert refused.code == 1
    assert "Left out as reserved: t1 for Borders" in " ".join(refused.out.split())
    assert filled("reserve", "plan.json", "--free", "--json").document["verb"] == "freed"
    assert filled("enough", file).code == 0
    assert filled("undo").code == 0
    assert filled("cut", "plan.json").code == 0
    assert filled("enough", file).code == 0
