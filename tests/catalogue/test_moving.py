"""A whole stash moves: into one file and out of it elsewhere, file or server, with all that is known."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from stash.catalogue.booking import book_cut
from stash.catalogue.door import open_stash
from stash.catalogue.fingerprint import plan_fingerprint
from stash.catalogue.reservation import reserve
from stash.catalogue.stage import Stage
from stash.catalogue.stash import Stash
from stash.errors import Conflict
from stash.fabric import Fabric, Print
from stash.keeping import give_away, give_back, keep_from, note, wash
from stash.photograph import KeptPhoto
from stash.piece import Piece
from stash.seeking import Sought, find
from tests.catalogue.sample import plan_document, stash_document

#: What names and notes may hold: quotes, emoji, right-to-left text, and a story.
HARD = '"O\'Neil"; -- 🧵👒 \u05e9\u05d1\u05ea \u202eabc \\ %_ ' + "weft " * 1990


def lived_in(stash: Stash) -> str:
    """A stash with facts, notes, photographs, a reservation, snippets, told cuts, cloth washed, given away and back,
    and something taken back; returns the fingerprint of the plan that was cut."""
    stash.import_document(stash_document())
    ring = ((0.0, 0.0), (300.0, 0.0), (300.0, 400.0), (0.0, 400.0))
    photos = [KeptPhoto(jpeg=name.encode(), taken="2025:06:01 10:00:00", focal35_mm=26.0) for name in ("one", "two")]
    stash.add(None, [Piece(id="p", fabric="ticking", outline_mm=ring)], photo=photos[0])
    linen = Fabric(id="linen", name="Linen " + HARD[:40], print=Print(kind="plain"))
    stash.add(linen, [Piece(id=f"l{k}", fabric="linen", outline_mm=ring) for k in range(3)], photo=photos[1])
    facts = {"fibre": "55% linen 45% cotton", "weight_gsm": "210 gsm", "width_mm": "58 in", "care": "warm, iron damp",
             "turns": "end, quarter", "ravels": "yes", "lot": "7b", "cost": "9 a yard", "notes": HARD}  # fmt: skip
    note(stash, "linen", facts)
    note(stash, "p", {"place": "attic", "source": HARD[:60], "washed": "yes"})
    wash(stash, "linen", length="50 cm -> 48.2 cm", width="1 %", pieces=["l1"])
    keep_from(stash, "2 x 5 in")
    plan = plan_document(stash)
    fingerprint = plan_fingerprint(plan)
    book_cut(stash, plan, stages=[Stage(plan=fingerprint, part="hem", segment=1)])
    other = {**plan_document(stash), "garments": [{"name": "Apron " + HARD[:30]}], "leftovers": []}
    square = [[0, 0], [99, 0], [99, 99], [0, 99]]
    other["placements"] = [{"part": "a", "segment": 1, "piece": "l0", "outline_mm": square}]
    reserve(stash, {key: value for key, value in other.items() if key not in ("piece_digests", "fabric_digests")})
    give_away(stash, ["l2", "p"], HARD[:50])
    give_back(stash, ["p"])
    note(stash, "p", {"place": "cellar"})
    stash.undo()
    return fingerprint


def told(stash: Stash, plan: str, photos: Any) -> tuple[Any, ...]:
    """All that can be asked of it."""
    pictures = {name: photo.read_bytes() for name in photos if (photo := stash.photo_of(name)) is not None}
    by_words = (Sought(words=("weft",)), Sought(texts={"place": "attic"}))
    sought = (Sought(fits="15 x 11 in"), Sought(near="#a01c24"), *by_words)
    finds = [[row.document for row in find(stash, one)] for one in sought]
    return stash.export_document(), stash.journal(), stash.stages(plan), pictures, stash.digest(), finds


@pytest.mark.parametrize(("here", "there"), [("file", "file"), ("file", "server"), ("server", "file")])
def test_a_backup_restored_elsewhere_is_the_same(
    here: str, there: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    """The document is the same to the last character; so are the journal with its notes, what was told of cuts, every
    photograph, and what is found; undo goes on there to the very beginning."""
    home, away = (
        open_stash(tmp_path / name if kind == "file" else request.getfixturevalue("address"))
        for name, kind in (("home", here), ("away", there))
    )
    plan = lived_in(home)
    document = home.export_document()
    assert document["snippets"]
    assert document["reserved"]
    assert document["keep_from"]
    home.backup(tmp_path / "all.backup")
    away.restore(tmp_path / "all.backup")
    photos = ("p", "l0", "l1")
    before = told(home, plan, photos)
    assert told(away, plan, photos) == before
    assert len(before[3]) == 3
    assert all(before[5])
    away.backup(tmp_path / "again.backup")
    third = open_stash(tmp_path / "third")
    third.restore(tmp_path / "again.backup")
    assert told(third, plan, photos) == before
    for stash in (home, third):
        stash.undo_back_to(1)
        assert stash.export_document()["fabrics"] == []


@pytest.mark.parametrize("left", ["cloth", "journal", "remark"])
def test_nothing_is_restored_over_what_is_there(left: str, tmp_path: Path) -> None:
    """Cloth, a journal of cloth that has all left, or a size that was set: restoring over it is refused until it is
    told to, and changes nothing; where all was taken back there is nothing to lose."""
    other = open_stash(tmp_path / "other")
    other.add(Fabric(id="voile", name="Voile", print=Print(kind="plain")), [])
    other.backup(tmp_path / "b.zip")
    stash = open_stash(tmp_path / "s")
    if left == "remark":
        keep_from(stash, "2 x 5 in")
    else:
        stash.import_document(stash_document())
        if left == "journal":
            give_away(stash, ["t1"])
    before = stash.export_document(), stash.journal()
    with pytest.raises(Conflict, match="not empty"):
        stash.restore(tmp_path / "b.zip")
    assert (stash.export_document(), stash.journal()) == before
    stash.undo_back_to(1)
    stash.restore(tmp_path / "b.zip")
    assert [fabric.id for fabric in stash.fabrics()] == ["voile"]
