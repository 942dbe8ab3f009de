"""The kind of print, its repeats and its lattice, on flat pictures whose truth is their geometry."""

from __future__ import annotations

import math
import os
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from tests.makers.cloth import CheckPrint, Motif, MotifPrint, PlainPrint, StripePrint, Stripes
from tests.makers.harsh import draw
from tests.makers.shot import shoot
from tests.vision.flat import as_it_is, flat
from tests.vision.test_measure import photo_of
from vision.measure import measure_photo
from vision.print import measure_print
from vision.square import SquareOn

RED, CREAM, BLUE, GOLD = "#8f1f2a", "#e9e1cc", "#23426f", "#d9a441"


def _photos() -> Path:
    """The folder of measured photographs, by $STRIPEWRIGHT_PHOTOS or beside the checkout; they are not shipped."""
    return Path(os.environ.get("STRIPEWRIGHT_PHOTOS", Path(__file__).parents[3] / "shared" / "photos"))


def _photograph(name: str) -> SquareOn:
    path = _photos() / name
    if not path.exists():
        pytest.skip(f"the measured photographs are not here ({path})")
    return as_it_is(np.asarray(Image.open(path).convert("RGB")), px_per_mm=1.0)


def test_check_has_both_repeats() -> None:
    """A gingham of 24 mm by 30 mm has those repeats, across nearer the photo's x axis, and a straight lattice."""
    gingham = CheckPrint(
        across=Stripes(widths_mm=(12.0, 12.0), colours=(RED, CREAM)),
        along=Stripes(widths_mm=(15.0, 15.0), colours=(RED, CREAM)),
    )
    square = flat(gingham, turn_deg=5.0)
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    assert print_.kind == "check"
    assert print_.across is not None
    assert print_.along is not None
    assert print_.across.value == pytest.approx(24.0, rel=0.003)
    assert print_.along.value == pytest.approx(30.0, rel=0.003)
    assert [s.label for s in print_.stripes] == ["A", "B"]
    assert print_.stripes_along is not None
    assert sum(s.width.value for s in print_.stripes_along) == pytest.approx(print_.along.value)
    assert print_.lattice is not None
    assert print_.lattice.kind == "straight"
    assert math.hypot(*print_.lattice.a_mm) == pytest.approx(24.0, rel=0.005)


def test_check_turned_past_half_a_right_angle_swaps_its_axes() -> None:
    """Turned by 80 degrees, the 30 mm repeat is the one nearer the photo's x axis."""
    check = CheckPrint(
        across=Stripes(widths_mm=(10.0, 14.0), colours=(RED, CREAM)),
        along=Stripes(widths_mm=(12.0, 6.0, 12.0), colours=(BLUE, CREAM, GOLD)),
    )
    square = flat(check, turn_deg=80.0)
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    assert print_.across is not None
    assert print_.across_direction_deg is not None
    assert print_.across.value == pytest.approx(30.0, rel=0.003)
    assert print_.across_direction_deg.value == pytest.approx(-10.0, abs=0.1)


@pytest.mark.parametrize(
    ("lattice", "across_mm", "along_mm"),
    [("straight", 28.0, 22.0), ("half_drop", 56.0, 22.0), ("brick", 28.0, 44.0)],
)
def test_motif_lattices_give_their_rectangular_repeat(lattice: str, across_mm: float, along_mm: float) -> None:
    """A half-drop repeats after two columns and a brick after two rows (common practice of printing); the lattice's
    cell has the area of one motif."""
    motif = MotifPrint(
        ground=CREAM,
        motifs=(
            Motif(shape="leaf", colour=RED, radius=0.28, turn_deg=30.0),
            Motif(shape="dot", colour=BLUE, x=0.25, radius=0.1),
        ),
        column_mm=28.0,
        row_mm=22.0,
        lattice=lattice,
    )
    square = flat(motif, width_mm=260.0, height_mm=200.0, turn_deg=-4.0)
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    assert print_.kind == "motif"
    assert print_.across is not None
    assert print_.along is not None
    assert print_.across.value == pytest.approx(across_mm, rel=0.005)
    assert print_.along.value == pytest.approx(along_mm, rel=0.005)
    assert print_.lattice is not None
    assert print_.lattice.kind == lattice
    (ax, ay), (bx, by) = print_.lattice.a_mm, print_.lattice.b_mm
    assert abs(ax * by - ay * bx) == pytest.approx(28.0 * 22.0, rel=0.01)


@pytest.mark.parametrize(("turn_deg", "table", "long"), [(2.0, 0.28, 0.6), (2.0, 0.28, 1.0), (-5.7, 0.0, 1.0)])
def test_what_lies_beside_motifs_makes_no_stripes_of_them(turn_deg: float, table: float, long: float) -> None:
    """A ruler and a corner of the table, taken for cloth, change the colour both ways more than all motifs do, whose
    columns, averaged, repeat every 31 mm: that is no check and no stripe, for none runs right across the cloth. The
    motifs' own repeat is 62 by 37.5 mm, and is not told or told right."""
    leaf = Motif(shape="leaf", colour="#7d5a86", x=-0.107, y=-0.075, radius=0.3, turn_deg=102.0)
    ring = Motif(shape="ring", colour="#b9b4aa", x=0.035, y=-0.116, radius=0.112)
    motif = MotifPrint(ground=BLUE, motifs=(leaf, ring), column_mm=31.0, row_mm=37.5, lattice="half_drop")
    square = flat(motif, width_mm=330.0, height_mm=190.0, px_per_mm=3.0, turn_deg=turn_deg)
    across, ruler = square.rgb.shape[1], np.s_[388:460]
    square.rgb[:, : round(table * across)] = (40, 32, 26)
    square.rgb[ruler, : round(long * across)] = (216, 212, 204)
    square.valid[ruler, round(long * across) :] = False
    print_ = measure_print(square, square.valid).print
    assert print_ is None or print_.kind == "motif"
    if print_ is not None:
        assert print_.across is not None
        assert print_.across.value == pytest.approx(62.0, rel=0.005)


@pytest.mark.parametrize(
    ("widths_mm", "size_mm", "wide_mm", "told"),
    [
        ((18.0, 6.2), (153.0, 179.0), 17.0, True),
        ((18.0, 6.2), (153.0, 179.0), 30.0, False),
        ((19.0, 7.0, 20.6, 7.0), (156.0, 155.0), 17.0, False),
    ],
    ids=["six repeats", "six, a wide ruler", "three repeats"],
)
def test_a_ruler_along_the_stripes_multiplies_no_repeat(
    widths_mm: tuple[float, ...], size_mm: tuple[float, float], wide_mm: float, told: bool
) -> None:
    """On three quarters of the bands a ruler over the middle compares with cloth at every short lag, and with nothing
    at twice or four times the repeat, which take it beyond the cloth. Of six repeats the true one is found past a
    narrow ruler; elsewhere none need be told, but none that is a multiple."""
    colours = ("#8f1f2a", "#1f6b4a", "#8f1f2a", "#2f4f8f")[: len(widths_mm)]
    stripes = StripePrint(across=Stripes(widths_mm=widths_mm, colours=colours))
    square = flat(stripes, width_mm=size_mm[0], height_mm=size_mm[1], px_per_mm=2.2, stretch=0.002)
    rgb, (height, width) = square.rgb.copy(), square.valid.shape
    box = cv2.boxPoints(((0.5 * width, 0.37 * height), (wide_mm * 2.2, 0.74 * height), -5.0))
    cv2.fillPoly(rgb, [np.rint(box).astype(int)], (235, 228, 210))
    print_ = measure_print(replace(square, rgb=rgb), square.valid).print
    assert print_ is not None
    assert print_.across is not None or not told
    assert print_.across is None or print_.across.value == pytest.approx(sum(widths_mm), rel=0.005)


@pytest.mark.parametrize(("turn_deg", "told"), [(15.0, False), (2.0, True)])
def test_rows_of_a_honeycomb_are_told_by_how_the_cloth_lies(turn_deg: float, told: bool) -> None:
    """A half-drop of 40 by 23.09 mm is a lattice of hexagons: turned by 60 degrees it is the same. On cloth that fills
    the picture it is taken to lie along that where it does so much more than either other way; half-way between two,
    no repeat is told, nor a direction."""
    leaf = Motif(shape="leaf", colour=RED, radius=0.28, turn_deg=30.0)
    print_ = MotifPrint(ground=CREAM, motifs=(leaf,), column_mm=20.0, row_mm=40.0 / math.sqrt(3), lattice="half_drop")
    finding = measure_print(square := flat(print_, turn_deg=turn_deg), square.valid)
    found = finding.print
    assert found is not None
    assert found.kind == "motif"
    assert (found.across is not None) == told
    assert (found.across_direction_deg is not None) == told
    assert any("honeycomb" in warning for warning in finding.warnings) != told
    assert found.across is None or found.across.value == pytest.approx(40.0, rel=0.005)


def test_plain_cloth_is_plain() -> None:
    """One colour, its noise and uneven light are no print."""
    square = flat(PlainPrint(colour=BLUE), noise=3.0, shade=0.2)
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    assert print_.kind == "plain"
    assert print_.across is None


def test_random_blots_have_no_print() -> None:
    """Blots strewn at random repeat nowhere: no kind is claimed, and the reader is told what to do."""
    rng = np.random.default_rng(4)
    field = rng.normal(0, 1, (90, 120))
    blots = np.kron(np.where(field[..., None] > 1, [[[150, 40, 40]]], [[[220, 210, 190]]]), np.ones((8, 8, 1)))
    picture = as_it_is(blots, px_per_mm=4.0)
    finding = measure_print(picture, picture.valid)
    assert finding.print is None
    assert "photograph" in finding.warnings[0]


def test_the_picture_s_own_uncertainty_is_in_the_lengths() -> None:
    """A picture known to 1 % gives no repeat better than 1 %."""
    stripes = StripePrint(across=Stripes(widths_mm=(12.0, 9.0), colours=(RED, CREAM)))
    square = flat(stripes, length_relative_u95=0.01)
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    assert print_.across is not None
    assert print_.across.relative_u95 >= 0.01
    assert all(s.width.relative_u95 >= 0.01 for s in print_.stripes)


@pytest.mark.parametrize("turn_deg", [0.0, 33.0, 90.0, -47.0])
def test_stripes_lie_where_origin_and_direction_say(turn_deg: float) -> None:
    """The colour at p with p·n = origin + centre + k·across is the stripe's own, whichever way the stripes lie."""
    stripes = StripePrint(across=Stripes(widths_mm=(14.0, 5.0, 9.0), colours=(RED, CREAM, BLUE)))
    square = flat(stripes, turn_deg=turn_deg, shade=0.0, phase_mm=(3.3, 0.0))
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    assert print_.across is not None
    assert print_.across_direction_deg is not None
    assert print_.origin_mm is not None
    s = math.radians(print_.across_direction_deg.value)
    n, d = np.array([math.cos(s), -math.sin(s)]), np.array([math.sin(s), math.cos(s)])
    middle = np.array([120.0, 90.0])
    for stripe in print_.stripes:
        place = print_.origin_mm + stripe.centre_mm
        place += round((middle @ n - place) / print_.across.value) * print_.across.value
        point = n * place + d * float(middle @ d)
        x, y = (round(float(v) * square.px_per_mm) for v in point)
        seen = square.rgb[y - 2 : y + 3, x - 2 : x + 3].mean(axis=(0, 1))
        named = np.array([int(stripe.hex[k : k + 2], 16) for k in (1, 3, 5)])
        assert np.abs(seen - named).max() < 8


def test_real_check_cloth() -> None:
    """A photographed check repeats after 21.376 px and 22.875 px (lines counted by hand on enlarged crops)."""
    square = _photograph("check_cloth.jpg")
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    assert print_.kind == "check"
    assert print_.across is not None
    assert print_.along is not None
    assert print_.across.value == pytest.approx(21.376, abs=0.03)
    assert print_.along.value == pytest.approx(22.875, abs=0.03)


def test_real_sheet_without_a_full_repeat_is_refused() -> None:
    """The bands of a photographed sheet are all of other widths: stripes, but no repeat."""
    square = _photograph("no_full_repeat.jpg")
    finding = measure_print(square, square.valid)
    assert finding.print is not None
    assert finding.print.kind == "stripe"
    assert finding.print.across is None
    assert "no full repeat" in finding.warnings[0]


@pytest.mark.parametrize("name", ["rush_mat.jpg", "rib_weave.jpg"])
def test_real_uneven_weaves_are_not_confidently_wrong(name: str) -> None:
    """Ribs that differ by a tenth and more from each other are no print: refused, or right (7.78 px and 21.18 px)."""
    square = _photograph(name)
    print_ = measure_print(square, square.valid).print
    truth = {"rush_mat.jpg": 7.78, "rib_weave.jpg": 21.18}[name]
    across = None if print_ is None else print_.across
    assert across is None or across.value == pytest.approx(truth, rel=0.01)


@pytest.mark.parametrize("name", ["brick", "gravel", "coffee", "page", "grass"])
def test_pictures_that_are_no_cloth_show_no_print(name: str) -> None:
    """Bricks laid by hand, gravel, a cup, a page and grass (scikit-image's pictures) repeat nowhere exactly."""
    data = pytest.importorskip("skimage.data")
    try:
        picture = getattr(data, name)()
    except Exception as error:  # pooch raises what its version likes
        pytest.skip(f"scikit-image's picture {name} is not on this machine ({error})")
    square = as_it_is(np.dstack([picture] * 3) if picture.ndim == 2 else picture, px_per_mm=2.0)
    print_ = measure_print(square, square.valid).print
    assert print_ is None or print_.across is None


def test_diamonds_in_close_rows_are_no_stripes() -> None:
    """Diamonds that nearly touch in their columns: stripes explain 0.86 of them, and 0.75 of the middle part. They are
    motifs that repeat every two columns and every diamond, as the maker drew them."""
    shot = draw(98753).shot
    photo = photo_of(shoot(shot), round(shot.camera.focal35_mm) if shot.focal_known else None)
    found = measure_photo(photo).measurement.main.print
    assert found is not None
    assert found.kind == "motif"
    print_ = shot.cloths[0].print
    assert isinstance(print_, MotifPrint)
    assert found.across is not None
    assert found.across.value == pytest.approx(2 * print_.column_mm, rel=0.01)
    assert found.along is not None
    assert found.along.value == pytest.approx(print_.row_mm, rel=0.01)
