"""The order of cutting: every part's edge is cut once, nothing else is, and shears can follow it."""

from __future__ import annotations

import random

import pytest
from shapely.geometry import LineString, Polygon
from shapely.ops import unary_union

from stash.piece import Piece
from stash.planner.bias import Wanted, lay_binding
from stash.sheet.counting import read, stations
from stash.sheet.cutting import RUN_OUT_MM, Step, bench, cutting
from stash.sheet.job import read_job
from stash.sheet.telling import Teller
from tests.sheet.case import DECK, INDIGO, jacket, placed, plan, strip


def random_piece(seed: int) -> tuple[Piece, list[dict]]:
    """A skewed length with strips in some of its lanes, some of them end to end."""
    rng = random.Random(seed)
    piece = Piece(
        id="p", fabric="deck", outline_mm=((0, 0), (1000, 0), (1000, 1200), (0, 1200)),
        stripe_direction_deg=rng.uniform(-3, 3), stripe_origin_mm=rng.uniform(0, 60),
    )  # fmt: skip
    placements = []
    for k in rng.sample(range(2, 13), 5):
        start = rng.choice([62.0, 62.0, 200.0])
        for index in range(rng.choice([1, 2])):
            part = strip(f"s{k}-{index}", rng.uniform(200, 330), rng.choice([44.0, 50.8]))
            placements.append(placed(part, piece, DECK, k, start))
            start += part["length_mm"] + 12.7 + rng.choice([0.0, 40.0])
    return piece, placements


def steps_of(piece: Piece, placements: list[dict]) -> tuple[Step, ...]:
    """The steps for a piece."""
    job = read_job(plan(placements, [piece], {}), [DECK], [piece])
    return cutting(bench(read(piece, DECK), job.tables[0].placements), job.tables[0].placements)


@pytest.mark.parametrize("seed", range(12))
def test_every_edge_of_every_part_is_cut_and_no_part_is_cut_into(seed: int) -> None:
    """The cuts together cover the parts' outlines inside the cloth, and run through the inside of none."""
    piece, placements = random_piece(seed)
    lines = unary_union([cut.line for step in steps_of(piece, placements) for cut in step.cuts])
    cloth = Polygon(piece.outline_mm)
    for placement in placements:
        part = Polygon(placement["outline_mm"])
        missed = part.exterior.difference(unary_union([lines.buffer(1.0), cloth.exterior.buffer(1.0)]))
        assert missed.length < 0.1
        assert lines.intersection(part.buffer(-1.0)).length < 0.1


@pytest.mark.parametrize("seed", range(12))
def test_a_part_is_said_to_be_free_when_its_last_edge_is_cut(seed: int) -> None:
    """Once each, after the step with which all of its outline is cut or is the cloth's edge, and not after an earlier
    one: she lifts it off the table then."""
    piece, placements = random_piece(seed)
    job = read_job(plan(placements, [piece], {}), [DECK], [piece])
    laid = bench(read(piece, DECK), job.tables[0].placements)
    steps = cutting(laid, job.tables[0].placements)
    lines = [u for step in steps if step.kind == "along" for u in (step.lane.low_u_mm, step.lane.high_u_mm)]
    told = Teller(bench=laid, stations=stations(laid.reading, lines), title=job.title).tell(steps)
    edge = Polygon(piece.outline_mm).exterior.buffer(1.0)
    assert sorted(name for one in told for name in one.frees) == sorted(row["part"] for row in placements)
    for row in placements:
        outline = Polygon(row["outline_mm"]).exterior.difference(edge)
        at = next(k for k, one in enumerate(told) if row["part"] in one.frees)
        before, after = (
            unary_union([cut.line.buffer(1.0) for step in steps[:k] for cut in step.cuts]) for k in (at, at + 1)
        )
        assert outline.difference(after).length < 0.1
        assert outline.difference(before).length > 1.0


def test_strips_on_the_bias_are_cut_along_their_own_edges() -> None:
    """On plain cloth too, where the ends of bias strips follow the grain: they are cut
    along their outlines, and none is cut into."""
    piece = Piece(id="p", fabric="indigo", outline_mm=((0, 0), (900, 0), (900, 700), (0, 700)))
    found = lay_binding([piece], Wanted(width_mm=60, length_mm=4000))
    assert len(found.placements) > 3
    steps = cutting(bench(read(piece, INDIGO), found.placements), found.placements)
    lines = unary_union([cut.line for step in steps for cut in step.cuts])
    cloth = Polygon(piece.outline_mm)
    for placement in found.placements:
        part = Polygon(placement.outline_mm)
        missed = part.exterior.difference(unary_union([lines.buffer(1.0), cloth.exterior.buffer(1.0)]))
        assert missed.length < 0.1
        assert lines.intersection(part.buffer(-1.0)).length < 0.1


@pytest.mark.parametrize("seed", range(12))
def test_cuts_go_beyond_the_parts_only_for_the_last_way_to_an_edge(seed: int) -> None:
    """What is cut off the outlines is no longer than the run-out, so that a remnant keeps its shape."""
    piece, placements = random_piece(seed)
    outlines = unary_union([Polygon(one["outline_mm"]).exterior for one in placements]).buffer(0.5)
    for step in steps_of(piece, placements):
        for cut in step.cuts:
            beyond = cut.line.difference(outlines)
            assert all(part.length <= RUN_OUT_MM for part in getattr(beyond, "geoms", [beyond]))


@pytest.mark.parametrize("seed", range(12))
def test_numbers_run_from_one_and_a_cut_begins_where_shears_can(seed: int) -> None:
    """Numbers have no gaps; a cut said to begin at an edge or a cut does so within 1 mm."""
    piece, placements = random_piece(seed)
    cuts = [cut for step in steps_of(piece, placements) for cut in step.cuts]
    assert [cut.number for cut in cuts] == list(range(1, len(cuts) + 1))
    edge = Polygon(piece.outline_mm).exterior
    for index, cut in enumerate(cuts):
        start = LineString([cut.start, (cut.start[0] + 1e-6, cut.start[1])])
        if cut.entry == "edge":
            assert edge.distance(start) <= 1.0
        if cut.entry == "cut":
            assert min(other.line.distance(start) for other in cuts[:index]) <= 1.0


def test_long_cuts_come_from_one_side_inwards_before_the_cuts_across() -> None:
    """On a plain rectangle, lanes 2, 5 and 9 from the top edge: six long cuts left to right, then the ends."""
    piece = Piece(id="p", fabric="deck", outline_mm=((0, 0), (1000, 0), (1000, 1200), (0, 1200)))
    parts = [strip(f"s{k}", 400) for k in (9, 2, 5)]
    steps = steps_of(piece, [placed(part, piece, DECK, k, 0) for part, k in zip(parts, (9, 2, 5), strict=True)])
    assert [step.kind for step in steps] == ["along"] * 3 + ["across"] * 3
    assert [cut.number for step in steps[:3] for cut in step.cuts] == [1, 2, 3, 4, 5, 6]
    xs = [cut.start[0] for step in steps[:3] for cut in step.cuts]
    assert xs == sorted(xs)


def test_strips_side_by_side_share_one_cut_and_the_cloths_edge_needs_none() -> None:
    """Two strips of exactly one repeat beside each other, the first along the left edge: two long cuts, not four."""
    piece = Piece(
        id="p", fabric="deck", outline_mm=((0, 0), (1000, 0), (1000, 1200), (0, 1200)), stripe_origin_mm=22.225
    )
    parts = [strip("a", 400), strip("b", 400)]
    steps = steps_of(piece, [placed(part, piece, DECK, k, 0) for k, part in enumerate(parts)])
    long = [cut for step in steps if step.kind == "along" for cut in step.cuts]
    assert [round(cut.start[0], 2) for cut in long] == [63.5, 127.0]


def test_a_panel_on_plain_cloth_is_cut_out_with_three_cuts() -> None:
    """A body along the top edge of plain linen: two sides and one end."""
    document, fabrics, pieces = jacket()
    job = read_job(document, fabrics, pieces)
    table = job.tables[-1]
    steps = cutting(bench(read(table.piece, table.fabric), table.placements), table.placements)
    assert [len(step.cuts) for step in steps] == [2, 1]
