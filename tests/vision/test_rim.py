"""Straight sides by how far cloth reaches along them: frayed edges of prints, parts of them like the table."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.makers.cloth import CheckPrint, Cloth, EdgeKind, PlainPrint, StripePrint, Stripes
from tests.makers.harsh import draw
from tests.makers.shot import shoot
from tests.makers.table import Table
from tests.vision.laid import laid
from tests.vision.test_measure import photo_of
from vision.cloth import find_cloths
from vision.edge import ClothEdge, Side
from vision.estimate import Estimate
from vision.measure import measure_photo
from vision.measurement import Lattice, Print
from vision.request import MeasureRequest
from vision.rim import confirmed, overrun, repeats_inwards, seen_cloth, settled
from vision.square import SquareOn

_TORN: tuple[EdgeKind, EdgeKind, EdgeKind, EdgeKind] = ("torn", "cut", "torn", "cut")
_STRIPED = StripePrint(
    across=Stripes(widths_mm=(9.0, 9.0, 6.0, 9.0), colours=("#1a2350", "#c6c5be", "#2a5a50", "#a9adba"))
)
#: Checks with lines of nearly their table's colour; and the tables.
_GREEN = (
    CheckPrint(
        across=Stripes(widths_mm=(4.0, 3.0), colours=("#c3cba0", "#b89a85")),
        along=Stripes(widths_mm=(6.0, 12.0), colours=("#2d7048", "#c9d2a8")),
    ),
    "#c3b196",
)
_DARK = (
    CheckPrint(
        across=Stripes(widths_mm=(20.0, 13.0), colours=("#1c1b20", "#a5c3c8")),
        along=Stripes(widths_mm=(20.0, 13.0), colours=("#1c1b20", "#a5c3c8")),
    ),
    "#1d1e16",
)


def _printed(cloth: Cloth) -> Print:
    """The print as a photograph would tell it."""
    turn = cloth.turn_deg + cloth.skew_deg
    across = cloth.print.across.repeat_mm
    print_ = Print(kind="stripe", across=Estimate(across), across_direction_deg=Estimate(turn))
    if not isinstance(cloth.print, CheckPrint):
        return print_
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    along = cloth.print.along.repeat_mm
    lattice = Lattice(kind="straight", a_mm=(across * c, -across * s), b_mm=(along * s, along * c))
    return replace(print_, kind="check", along=Estimate(along), lattice=lattice)


def _bottom(cloth: Cloth, picture: SquareOn) -> ClothEdge | None:
    region = find_cloths(picture)[0]
    edge = max((e for e in region.edges if e.side == "bottom"), key=lambda e: e.length_mm)
    return settled(edge, seen_cloth(picture, np.asarray(region.outline_mm), ()), _printed(cloth))


def _frayed(seed: int) -> tuple[ClothEdge, Cloth]:
    cloth = Cloth(
        print=_STRIPED,
        width_mm=190.0,
        length_mm=130.0,
        turn_deg=-1.7,
        skew_deg=1.5,
        edges=("torn", "cut", "torn", "cut"),
        fray_mm=2.0,
        seed=seed,
    )
    edge = _bottom(cloth, laid(cloth, table=Table(colour="#d0cfc8", kind="wood", depth=0.06), seed=seed))
    assert edge is not None
    return edge, cloth


def _as_it_frayed(cloth: Cloth) -> float:
    """The direction of the line through the tufts of the lower edge, degrees."""
    outline = cloth.outline_mm()
    ends = [int(np.abs(outline - corner).sum(axis=1).argmin()) for corner in cloth.corners_mm()[2:4]]
    points = outline[ends[0] + 8 : ends[1] - 8]
    return -math.degrees(math.atan(float(np.polyfit(points[:, 0], points[:, 1], 1)[0])))


def test_notches_count_like_tufts() -> None:
    """A frayed edge has the direction of its tufts and notches together (root mean square to an eighth of a degree),
    be some of its stripes nearly of the table's colour and others dark."""
    pairs = [_frayed(seed) for seed in range(6)]
    off = np.array([edge.direction_deg.value - _as_it_frayed(cloth) for edge, cloth in pairs])
    assert float(np.sqrt(np.mean(off**2))) < 1 / 8


def test_fraying_is_in_the_uncertainty() -> None:
    """The grain's own direction lies within the stated 95 % in nearly all of twelve cloths, and the statement is not
    idle: 0.3 degrees at most for 190 mm of edge frayed by two. Tufts 1.6 mm long that scatter by 1 mm leave
    2 · 1 · sqrt(12 · 1.6 / 190) / 190 of a straight line, which is 0.19 degrees (least squares of even places)."""
    found = [_frayed(seed) for seed in range(20, 32)]
    within = [abs(e.direction_deg.value - c.turn_deg) <= e.direction_deg.u95 for e, c in found]
    assert sum(within) >= 11
    assert max(e.direction_deg.u95 for e, _ in found) < 0.3


@pytest.mark.parametrize("phase_mm", [6.0, 9.0, 15.0])
def test_a_sliver_of_another_stripe_does_not_turn_an_edge(phase_mm: float) -> None:
    """A check's dark line runs out slanting over the torn edge, and where a lens mixes it with the table it looks like
    the light lines beside it; the torn edge is level, and found so to a tenth of a degree."""
    assert abs(_checked(_GREEN, phase_mm).direction_deg.value) < 0.1


@pytest.mark.parametrize("phase_mm", [12.0, 18.0, 24.0])
def test_lines_of_the_tables_colour_do_not_turn_an_edge(phase_mm: float) -> None:
    """A check's dark line runs out slanting over the torn edge, on a table as dark, so that the light part ends in a
    line of its own, two degrees off; the torn edge is level, and found so to a tenth of a degree."""
    assert abs(_checked(_DARK, phase_mm).direction_deg.value) < 0.1


def _checked(laid_on: tuple[CheckPrint, str], phase_mm: float) -> ClothEdge:
    """The torn edge, level, of a check whose lines lean by two degrees."""
    cloth = Cloth(
        print=laid_on[0],
        width_mm=240.0,
        length_mm=150.0,
        skew_deg=-2.0,
        phase_mm=(0.0, phase_mm),
        edges=("torn", "cut", "torn", "cut"),
        fray_mm=1.4,
        seed=5,
    )
    edge = _bottom(cloth, laid(cloth, table=Table(colour=laid_on[1], kind="smooth"), seed=5))
    assert edge is not None
    return edge


@pytest.mark.parametrize(("inside_mm", "beyond"), [(3.0, True), (0.0, False), (-2.0, False)])
def test_cloth_goes_on_beyond_a_side_that_is_but_a_stripe_s(inside_mm: float, beyond: bool) -> None:
    """On a table of its lines' colour a check seems to end where such a line begins: 3 mm inside its own torn edge,
    which the stripes across it show to go on. Beyond the edge itself, or beyond it on the table, none does."""
    cloth = Cloth(print=_DARK[0], width_mm=240.0, length_mm=130.0, edges=_TORN, fray_mm=1.0, seed=5)
    picture = laid(cloth, table=Table(colour=_DARK[1], kind="smooth"), seed=5)
    seen = seen_cloth(picture, cloth.outline_mm(), ())
    assert overrun(_plain_side(-100.0, 100.0, 65.0 - inside_mm), seen, _printed(cloth)) == beyond


def _plain_side(start_mm: float, end_mm: float, y_mm: float = 65.0) -> ClothEdge:
    return replace(_side("bottom", y_mm), start_mm=(start_mm, y_mm), end_mm=(end_mm, y_mm))


@pytest.mark.parametrize("seed", range(4))
def test_what_lies_past_a_corner_does_not_turn_a_side(seed: int) -> None:
    """Along lines past a cloth's corner there is no cloth, and so no end of it: a side believed to go on for 20 mm
    past its corner has the direction that its tufts have, to a quarter of a degree (they scatter by 0.8 mm)."""
    cloth = Cloth(print=_GREEN[0], width_mm=130.0, length_mm=130.0, fray_mm=1.6, edges=_TORN, seed=seed)
    picture = laid(cloth, table=Table(colour=_GREEN[1], kind="smooth"), seed=seed)
    edge = settled(_plain_side(-62.0, 85.0), seen_cloth(picture, cloth.corners_mm(), ()), _printed(cloth))
    assert edge is not None
    assert abs(edge.direction_deg.value - _as_it_frayed(cloth)) < 0.25


def test_the_grain_of_wood_is_not_taken_for_cloth() -> None:
    """On wood whose grain is light and dark, cloth as light as the wood but greyer ends where its colour does: its
    side has the direction that its tufts have (root mean square to a twelfth of a degree)."""
    off = []
    for seed in range(6):
        plain = StripePrint(across=Stripes(widths_mm=(20.0, 3.0), colours=("#a5c3c9", "#47794f")))
        cloth = Cloth(print=plain, width_mm=190.0, length_mm=130.0, fray_mm=0.8, edges=_TORN, turn_deg=-1.0, seed=seed)
        picture = laid(cloth, table=Table(colour="#a2dbdf", kind="wood", depth=0.12), seed=seed)
        edge = settled(_plain_side(-90.0, 90.0), seen_cloth(picture, cloth.corners_mm(), ()), _printed(cloth))
        assert edge is not None
        off.append(edge.direction_deg.value - _as_it_frayed(cloth))
    assert float(np.sqrt(np.mean(np.square(off)))) < 1 / 12


def test_a_ruler_beside_an_edge_leaves_it_to_be_seen() -> None:
    """A ruler five millimetres from the torn edge hides nothing of it: the edge has the direction that its tufts have,
    to a tenth of a degree."""
    cloth = Cloth(print=_STRIPED, width_mm=190.0, length_mm=130.0, fray_mm=1.2, edges=_TORN, seed=2)
    ruler = np.array([[-120.0, 70.0], [120.0, 70.0], [120.0, 100.0], [-120.0, 100.0]])
    body = Cloth(print=PlainPrint(colour="#e3d27a"), width_mm=240.0, length_mm=30.0, y_mm=85.0, edges=("cut",) * 4)
    picture = laid(cloth, body, table=Table(colour="#d0cfc8", kind="wood", depth=0.06), seed=2)
    edge = settled(_plain_side(-90.0, 90.0), seen_cloth(picture, cloth.corners_mm(), (ruler,)), _printed(cloth))
    assert edge is not None
    assert abs(edge.direction_deg.value - _as_it_frayed(cloth)) < 0.1


def _with_ruler_for_cloth(ruler: str) -> tuple[SquareOn, Print, np.ndarray, np.ndarray]:
    """Stripes down to y = 60, below them a ruler 28 mm wide taken for the same cloth, of which only the middle 12 mm
    are known to be a ruler: the picture, the print, the outline, and what is known to cover."""
    cloth = Cloth(print=_STRIPED, width_mm=200.0, length_mm=130.0, y_mm=-5.0, fray_mm=1.0, seed=3)
    body = Cloth(
        print=StripePrint(across=Stripes(widths_mm=(50.0,), colours=(ruler,))),
        width_mm=240.0,
        length_mm=28.0,
        y_mm=80.0,
        edges=("cut", "cut", "cut", "cut"),
    )
    outline = np.array([[-100.0, -70.0], [100.0, -70.0], [100.0, 94.0], [-100.0, 94.0]])
    known = np.array([[-100.0, 68.0], [100.0, 68.0], [100.0, 80.0], [-100.0, 80.0]])
    return laid(cloth, body, table=Table(colour="#6f5f4c"), seed=3), _printed(cloth), outline, known


def _side(side: Side, y_mm: float) -> ClothEdge:
    return ClothEdge(
        side=side,
        start_mm=(-85.0, y_mm),
        end_mm=(85.0, y_mm),
        direction_deg=Estimate(0.0, 0.1),
        length_mm=170.0,
        scatter_mm=0.1,
    )


@pytest.mark.parametrize("ruler", ["#f0efe9", "#d8b67e", "#2a2a2c"])
def test_the_far_side_of_a_ruler_is_no_cloth_s(ruler: str) -> None:
    """A ruler that was taken for cloth ends in a straight side within which nothing is striped; the cloth's own side is
    confirmed by its stripes. Nor is the ruler's followed as if it were frayed."""
    picture, print_, outline, known = _with_ruler_for_cloth(ruler)
    seen = seen_cloth(picture, outline, (known,))
    assert confirmed(_side("bottom", 94.0), seen, print_) is False
    assert confirmed(_side("top", -70.0), seen, print_) is True


def test_what_cannot_be_told_from_the_table_is_not_confirmed() -> None:
    """A cloth of the table's own colour shows no side, so nothing is claimed either way."""
    plain = StripePrint(across=Stripes(widths_mm=(20.0,), colours=("#8a7b66",)))
    cloth = Cloth(print=plain, width_mm=200.0, length_mm=130.0, weave_depth=0.0, slub_depth=0.0)
    picture = laid(cloth, table=Table(colour="#8a7b66", kind="smooth", depth=0.0))
    outline = cloth.corners_mm()
    assert confirmed(_side("top", -65.0), seen_cloth(picture, outline, ()), Print(kind="plain")) is None


def test_a_print_comes_again_inwards() -> None:
    """Moves into the cloth bring a check onto itself: they are whole numbers of both repeats (here 20 and 15 mm); a
    check known one way only tells none."""
    print_ = Print(
        kind="check",
        across=Estimate(20.0),
        across_direction_deg=Estimate(0.0),
        along=Estimate(15.0),
        lattice=Lattice(kind="straight", a_mm=(20.0, 0.0), b_mm=(0.0, 15.0)),
    )
    moves = repeats_inwards(print_, np.array([0.0, -1.0]))
    assert len(moves)
    assert moves / [20.0, 15.0] == pytest.approx(np.rint(moves / [20.0, 15.0]))
    assert (moves[:, 1] < 0).all()
    assert not len(repeats_inwards(replace(print_, along=None, lattice=None), np.array([0.0, -1.0])))


def test_where_a_ruler_hides_the_torn_edge_the_one_across_may_be_named() -> None:
    """A ruler lies all along the upper edge of a cloth torn at both ends: no skew is read from the ruler's edge, the
    warning tells of the lower one, and named so it gives the maker's angle within its uncertainty."""
    photograph = shoot(draw(76024).shot)
    photo = photo_of(photograph, None)
    hidden = measure_photo(photo, MeasureRequest(torn="top")).measurement
    assert hidden.main.skew is None
    assert any("name its bottom edge, if that is torn too" in warning for warning in hidden.warnings)
    skew = measure_photo(photo, MeasureRequest(torn="bottom")).measurement.main.skew
    assert skew is not None
    assert photograph.truth.skew_deg is not None
    assert abs(skew.angle.value - photograph.truth.skew_deg) <= skew.angle.u95
