"""The one-rectangle coat. Truth: plane geometry (the cloth folded, point by point), and one coat worked by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from random import Random

import pytest
from scipy import integrate, special

from stash.errors import InputWrong
from stash.garment.coat import Coat, Figures, figures, half_ellipse_mm

INCH = 25.4
WORKED = Coat(
    width_mm=58 * INCH,
    length_mm=38 * INCH,
    sleeve_depth_mm=9 * INCH,
    facing_mm=1 * INCH,
    bust_mm=1 * INCH,
    bust_by="wedge",
    neck_half_mm=3.25 * INCH,
    neck_front_mm=3 * INCH,
    neck_back_mm=0.75 * INCH,
    main="indigo",
    border="ticking",
    stripe="A",
    border_width_mm=2 * INCH,
)


def _inches(sizes: Figures) -> dict[str, float]:
    names = ("girth", "sleeve_beyond_body", "neckline", "front_edge", "join", "hem", "sleeve_opening", "back", "front")
    return {name: round(getattr(sizes, f"{name}_mm") / INCH, 3) for name in names}


def test_the_worked_coat_by_wedge() -> None:
    """A coat worked by hand: W 58, L 38, D 9, f 1, n 3.25, Nf 3, Nb 0.75, wedge 1; borders 218.81 in, 555.8 cm."""
    sizes = figures(WORKED)
    assert _inches(sizes) == {
        "girth": 56,
        "sleeve_beyond_body": 15,
        "neckline": 16.735,
        "front_edge": 26,
        "join": 29.036,
        "hem": 56,
        "sleeve_opening": 18,
        "back": 28,
        "front": 29,
    }
    assert sizes.borders_mm / INCH == pytest.approx(218.81, abs=0.005)
    assert sizes.borders_mm / 10 == pytest.approx(555.8, abs=0.05)


def test_the_worked_coat_by_gap() -> None:
    """The same coat by gap: back 29, front 30; the join is 29 above and 29.036 below; the front border bridges it."""
    sizes = figures(replace(WORKED, bust_by="gap"))
    assert sizes.back_mm / INCH == pytest.approx(29)
    assert sizes.front_mm / INCH == pytest.approx(30)
    assert sizes.join_upper_mm / INCH == pytest.approx(29)
    assert sizes.join_lower_mm / INCH == pytest.approx(29.036, abs=5e-4)
    assert sizes.front_edge_mm / INCH == pytest.approx(27)
    assert sizes.join_mm == sizes.join_lower_mm


Point = tuple[float, float]


def _over_the_shoulder(point: Point, fold: float) -> Point:
    """Where a point of the upper front comes to lie: mirrored at the fold."""
    return point[0], 2 * fold - point[1]


def _round_the_side(point: Point, side: float) -> Point:
    """Where a point of the right lower front comes to lie: mirrored at the side fold."""
    return 2 * side - point[0], point[1]


def _random_coat(random: Random) -> Coat:
    width, depth = random.uniform(800, 1800), random.uniform(120, 300)
    return replace(
        WORKED,
        width_mm=width,
        length_mm=2 * depth + random.uniform(150, 900),
        sleeve_depth_mm=depth,
        facing_mm=random.uniform(0, width / 8),
        bust_mm=random.choice([0.0, random.uniform(5, 60)]),
        bust_by=random.choice(["gap", "wedge"]),
        neck_half_mm=random.uniform(40, 100),
        neck_front_mm=random.uniform(30, 100),
    )


def test_random_coats_fold_to_the_sizes_told() -> None:
    """Folding the flat cloth point by point gives girth, lengths, sleeves and joins of 300 random coats.

    The cloth is mirrored at the shoulder and at the side folds; lengths are distances between where points come to lie.
    Lower fronts that hang lower by a gap are turned about the end of the side cut.
    """
    random = Random(20)
    for _ in range(300):
        coat = _random_coat(random)
        sizes = figures(coat)
        half, far = coat.width_mm / 2, coat.length_mm
        side = half - sizes.side_cut_mm
        wedge = coat.bust_mm if coat.bust_by == "wedge" else 0.0

        # the lower front, folded in at the side, passes the centre by the facing
        assert _round_the_side((half, 0.0), side)[0] == pytest.approx(-coat.facing_mm)
        assert sizes.girth_mm == pytest.approx(2 * (2 * side))
        # the back hangs from the fold; its sleeve's lower edge is the side cut
        assert sizes.back_mm == pytest.approx(math.dist((0, sizes.fold_mm), (0, 0)))
        assert sizes.sleeve_beyond_body_mm == pytest.approx(half - side)

        # the upper front's far edge, folded over the shoulder, at centre front and turned under at the side fold
        centre = _over_the_shoulder((0, far), sizes.fold_mm)
        edge_at_side = _over_the_shoulder((side, far - wedge), sizes.fold_mm)
        edge_at_sleeve = _over_the_shoulder((half, far - wedge), sizes.fold_mm)
        assert edge_at_side[1] == pytest.approx(sizes.cut_height_mm)  # meets the lower front there
        assert sizes.sleeve_opening_mm == pytest.approx(2 * math.dist((half, sizes.fold_mm), edge_at_sleeve))
        upper = math.dist(centre, edge_at_side) + math.dist(edge_at_side, edge_at_sleeve)
        assert sizes.join_upper_mm == pytest.approx(upper)
        neck = _over_the_shoulder((0, sizes.fold_mm + coat.neck_front_mm), sizes.fold_mm)
        assert sizes.slit_mm == pytest.approx(math.dist(neck, centre))

        # the lower front: its top edge from the side fold to where it meets the upper front's centre, or hangs below it
        drop = coat.bust_mm if coat.bust_by == "gap" else 0.0
        lower_centre = (0.0, centre[1] - drop)
        assert sizes.chest_mm == pytest.approx(side)
        lower = math.dist((side, sizes.cut_height_mm), lower_centre) + sizes.side_cut_mm
        assert sizes.join_lower_mm == pytest.approx(lower)
        hem_centre = lower_centre[1] - sizes.cut_height_mm  # the lower front is cut straight; it hangs as its top does
        assert sizes.front_mm == pytest.approx(sizes.fold_mm - hem_centre)
        assert sizes.front_edge_mm == pytest.approx(math.dist(neck, (0, hem_centre)))


@pytest.mark.parametrize(("a", "b"), [(3.25, 3.0), (3.25, 0.75), (1.0, 1.0), (1.0, 50.0), (5.0, 0.0), (2.0, 1e-9)])
def test_half_an_ellipse(a: float, b: float) -> None:
    """Half the perimeter is 2·a·E(1 - b²/a²), a the longer (SciPy's elliptic integral), and the arc's length."""
    longer, shorter = max(a, b), min(a, b)
    assert half_ellipse_mm(a, b) == pytest.approx(2 * longer * special.ellipe(1 - (shorter / longer) ** 2), rel=1e-9)
    arc, _ = integrate.quad(lambda t: math.hypot(a * math.sin(t), b * math.cos(t)), 0, math.pi, limit=500)
    assert half_ellipse_mm(a, b) == pytest.approx(arc, rel=1e-5)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"facing_mm": 29 * INCH}, "side cuts of the coat overlap"),
        ({"sleeve_depth_mm": 19 * INCH}, "too large for a length of 38 in"),
        ({"sleeve_depth_mm": 18.6 * INCH}, "too large for a length of 38 in"),
        ({"neck_front_mm": 10 * INCH}, "cuts through the upper front"),
        ({"neck_back_mm": 28 * INCH}, "cuts through the back"),
        ({"neck_half_mm": 14 * INCH}, "wider than the body"),
    ],
)
def test_measures_that_cannot_be_a_coat(change: dict[str, float], words: str) -> None:
    """Cuts that cross, or a neck outside the body, are refused in one plain sentence with the remedy."""
    with pytest.raises(InputWrong, match=words) as caught:
        figures(replace(WORKED, **change))
    assert caught.value.remedy
