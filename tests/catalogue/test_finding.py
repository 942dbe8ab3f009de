"""What a catalogue finds is what looking at every piece finds, in a file and on a server."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Any

import pytest

from stash.catalogue.door import open_stash
from stash.catalogue.stash import Stash
from stash.fitting import fits
from stash.seeking import Found, find, read_room
from tests.bench.find import QUESTIONS, fabric, piece, sought

PIECES, FABRICS = 400, 40


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    """Cloth drawn from a seed, four pieces of ten no rectangles; some plain cloth, some of unknown lie."""
    dice = random.Random(11)
    fabrics = [fabric(dice, number) for number in range(FABRICS)]
    for one in fabrics[::7]:
        one |= {"print": {"kind": "plain"}, "hex": "#3f6f9a"}
    pieces = [piece(dice, number, FABRICS) for number in range(PIECES)]
    for one in pieces[::9]:
        one["stripe_direction_deg"] = None
    for one in pieces[::10]:
        one["stripe_direction_deg"] = dice.uniform(-40, 40)
    return {"schema": "stash/1", "fabrics": fabrics, "pieces": pieces}


@pytest.fixture(scope="module")
def stash(document: dict[str, Any], tmp_path_factory: pytest.TempPathFactory) -> Stash:
    """It in a file."""
    made = open_stash(tmp_path_factory.mktemp("found") / "s")
    made.import_document(document)
    return made


def rows(found: tuple[Found, ...]) -> list[dict[str, Any]]:
    """As they are told."""
    return [row.document for row in found]


@pytest.mark.parametrize("way", ["along", "square", "any"])
@pytest.mark.parametrize("size", ["9 x 6 in", "two of 9 x 6 in", "three of 20 x 15 cm", "60 x 30 cm", "4 x 40 cm"])
def test_nothing_is_passed_over(stash: Stash, size: str, way: Any) -> None:
    """By size, just those pieces are found in which the room is by geometry, looked at one by one, the least left over
    first."""
    room = read_room(size, way)
    contents = stash.contents()
    plain = {one.id for one in contents.fabrics if one.print.kind == "plain"}
    there = [
        one.id
        for one in contents.pieces
        if fits(replace(one, stripe_direction_deg=0.0) if one.fabric in plain else one, room)
    ]
    found = find(stash, sought(["--fits", size, "--way", way, "--most", "1000"]))
    assert sorted(row.piece.id for row in found) == sorted(there)
    assert there
    left = [row.left_mm2 or 0.0 for row in found]
    assert left == sorted(left)


def test_a_server_finds_the_same(document: dict[str, Any], stash: Stash, address: str) -> None:
    """Every question of the bench has the same answer from a server as from a file, to the last figure and in the same
    order."""
    other = open_stash(address)
    other.import_document(document)
    for words in QUESTIONS.values():
        found = rows(find(stash, sought(words)))
        assert rows(find(other, sought(words))) == found
