"""What a catalogue finds is what looking at every piece finds, in a file and on a server."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from typing import Any

import pytest
import shapely

from stash.catalogue.door import open_stash
from stash.catalogue.stash import Stash
from stash.fitting import Room, fits
from stash.piece import Piece
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


@pytest.mark.parametrize("seed", range(20))
def test_no_more_fit_than_there_is_room_for(seed: int) -> None:
    """So many fit in a remnant only where they have room: all the places that one may lie in, on a grid of 8 mm and
    each grown by what a place between is off, cover at least what so many cover."""
    dice = random.Random(seed)
    corners = dice.randint(6, 12)
    turns = ((2 * math.pi * k / corners, dice.uniform(90, 170)) for k in range(corners))
    ring = tuple((200 + r * math.cos(t), 200 + r * math.sin(t)) for t, r in turns)
    wide, long = dice.uniform(30, 90), dice.uniform(30, 90)
    grown = shapely.Polygon(ring).buffer(6, join_style="mitre")
    at = [
        box
        for x in range(0, 400, 8)
        for y in range(0, 400, 8)
        for box in (shapely.box(x, y, x + wide, y + long), shapely.box(x, y, x + long, y + wide))
        if grown.covers(box)
    ]
    room = shapely.union_all(at).buffer(6, join_style="mitre").area if at else 0.0
    lying = Piece(id="p", fabric="f", outline_mm=ring)
    fitting = [
        count for count in range(1, 13) if fits(lying, Room(along_mm=long, across_mm=wide, count=count, way="square"))
    ]
    assert all(count * wide * long <= room for count in fitting)
    assert fitting == list(range(1, len(fitting) + 1))


def test_cloth_is_not_used_to_the_last_thread() -> None:
    """Twelve rectangles of 99.99 % of the area of a remnant without a right angle cannot lie in it, though edges of
    places touch where they would; seven of them can, laid one after another from the left."""
    ring = (
        (304.9001876519404, 310.076612954543), (239.5763930643542, 202.10989031978764),
        (212.33935644498823, 61.43567957909983), (138.7220424924134, 73.77005551536277),
        (73.35660121596118, 120.23496549288497), (40.03397236238868, 242.1992158126705),
        (43.131851373710774, 376.03455627760843), (70.50693776819153, 506.3796110303915),
        (136.75725507466555, 572.8334329410283), (215.5617982460597, 573.1169082274653),
        (244.70552906498074, 424.61200051451647),
    )  # fmt: skip
    lying = Piece(id="p", fabric="f", outline_mm=ring)
    assert not fits(lying, Room(along_mm=101.6, across_mm=76.2, count=12, way="square"))
    assert fits(lying, Room(along_mm=101.6, across_mm=76.2, count=7, way="square"))


def test_a_server_finds_the_same(document: dict[str, Any], stash: Stash, address: str) -> None:
    """Every question of the bench has the same answer from a server as from a file, to the last figure and in the same
    order."""
    other = open_stash(address)
    other.import_document(document)
    for words in QUESTIONS.values():
        found = rows(find(stash, sought(words)))
        assert rows(find(other, sought(words))) == found
