"""The numbers of the cuts on a figure: each can be read, and stands where its cut begins."""

from __future__ import annotations

import math
from itertools import combinations

from shapely.geometry import LineString, Point, Polygon

from stash.fabric import Fabric, Print, Stripe
from stash.piece import Piece
from stash.sheet.drawing import ACCENT, WHITE, Area, Disc, Drawing, Line
from stash.sheet.numbering import DISC_MM
from stash.sheet.sheet import compose
from tests.sheet.case import placed, plan, strip
from tests.sheet.test_sheet import figures
from vision.estimate import Estimate

NARROW = Fabric(
    id="narrow",
    name="Narrow",
    print=Print(
        kind="stripe",
        across=Estimate(52.0),
        stripes=(
            Stripe(label="A", width_mm=22, centre_mm=11, hex="#c0502c"),
            Stripe(label="B", width_mm=30, centre_mm=37, hex="#efe6d2"),
        ),
    ),
)


def crowded() -> Drawing:
    """Strips 50.8 mm wide every 52 mm, one of which begins within the cloth, beside another's name."""
    piece = Piece(
        id="n-1", fabric="narrow", outline_mm=((0, 0), (1000, 0), (1000, 900), (0, 900)), stripe_origin_mm=30.0
    )
    ids = [f"border-{n}" for n in range(6)]
    parts = [strip(name, 600) for name in ids]
    for part in parts:
        part["fabric"] = "narrow"
    rows = [placed(part, piece, NARROW, n + 1, 300 if n == 3 else 0) for n, part in enumerate(parts)]
    garment = {"name": "Case", "strips": parts, "panels": []}
    (drawing,) = figures(compose(plan(rows, [piece], garment), {"narrow": NARROW}, [piece]))
    return drawing


def test_no_line_crosses_a_number_out() -> None:
    """Every line that leads to a disc is drawn before all discs, so that it passes beneath those it meets."""
    marks = crowded().marks
    leaders = [n for n, mark in enumerate(marks) if isinstance(mark, Line) and mark.width_mm == 0.22]
    discs = [n for n, mark in enumerate(marks) if isinstance(mark, Disc)]
    passed = [
        1
        for n in leaders
        for m in discs
        if LineString(marks[n].points).distance(Point(marks[m].x_mm, marks[m].y_mm)) < DISC_MM
    ]
    assert len(passed) > len(leaders)
    assert max(leaders) < min(discs)


def test_numbers_lie_on_no_name_and_on_each_other_nowhere() -> None:
    """The discs are apart from each other and clear of the white grounds of the parts' names."""
    marks = crowded().marks
    discs = [(mark.x_mm, mark.y_mm) for mark in marks if isinstance(mark, Disc) and mark.fill == ACCENT]
    assert all(math.dist(one, other) > 2 * DISC_MM for one, other in combinations(discs, 2))
    names = [
        Polygon(mark.rings[0]) for mark in marks if isinstance(mark, Area) and mark.fill == WHITE and not mark.stroke
    ]
    assert names
    assert [disc for disc in discs if any(name.distance(Point(disc)) < DISC_MM - 0.01 for name in names)] == []
