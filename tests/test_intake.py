"""From a measurement or typed sizes to cloth in the stash: every stripe lies where it lay on the cloth."""

from __future__ import annotations

import io
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from stash.catalogue.door import open_stash
from stash.errors import InputWrong
from stash.fabric import Fabric, Print
from stash.intake import Intake, Wish, from_measurement, from_sizes, kept
from stash.piece import Piece, Point, across_axis
from stash.turning import turned
from vision.estimate import Estimate
from vision.measurement import Cloth, Measurement, Outline, Scale, Skew, Stripe
from vision.measurement import Print as Seen
from vision.photo import Photo, read_photo

RED, WHITE, BLUE = "#96282c", "#e8dcc4", "#2a3f86"
SCALE = Scale(source="ruler", unit="mm", px_per_mm=Estimate(5.0, 0.01), reference_px_per_mm=5.0, tilt_deg=2.0)
OUTLINE = Outline(points_mm=((0, 0), (400, 0), (400, 300), (0, 300)), u95_mm=0.5, area_mm2=120000)


def stripes(*rows: tuple[str, str, float]) -> tuple[Stripe, ...]:
    """Stripes (label, colour, width) laid end to end from 0."""
    made, start = [], 0.0
    for label, colour, width in rows:
        made.append(Stripe(label=label, width=Estimate(width, 0.2), centre_mm=start + width / 2, hex=colour, colour=""))
        start += width
    return tuple(made)


UNEVEN = stripes(("A", RED, 30), ("B", WHITE, 20), ("C", BLUE, 10))


def seen(*, direction: float = 0.0, origin: float = 7.0, rows: tuple[Stripe, ...] = UNEVEN, across: float = 60) -> Seen:
    """A measured stripe whose direction is exact."""
    return Seen(
        kind="stripe",
        across=Estimate(across, 0.1),
        across_direction_deg=Estimate(direction, 0.0),
        origin_mm=origin,
        even=False,
        stripes=rows,
    )


def measurement(print_: Seen | None, skew_deg: float | None = None, **changes: object) -> Measurement:
    """One cloth of 400 x 300 mm, with a skew against a known edge where one is given."""
    skew = None if skew_deg is None else Skew(angle=Estimate(skew_deg, 0.1), percent=0.0, reference="torn")
    whole = Measurement(photo="p.jpg", scale=SCALE, main=Cloth(outline=OUTLINE, print=print_, skew=skew))
    return replace(whole, **changes)


def stripe_at(piece: Piece, print_: Print, point: Point) -> str:
    """The label under a point, straight from the document's definition of a stripe's centre lines."""
    assert piece.stripe_direction_deg is not None
    assert print_.across is not None
    n = across_axis(piece.stripe_direction_deg)
    place = point[0] * n[0] + point[1] * n[1] - piece.stripe_origin_mm

    def off(centre: float) -> float:
        assert print_.across is not None
        return abs(math.remainder(place - centre, print_.across.value))

    return min(print_.stripes, key=lambda stripe: off(stripe.centre_mm) - stripe.width_mm / 2).label


def fabric_of(intake: Intake) -> Fabric:
    """The new fabric of an intake."""
    assert intake.fabric is not None
    return replace(intake.fabric, id="deck")


def test_a_quarter_turn_moves_a_corner_as_seen() -> None:
    """Turned counter-clockwise as seen, with y down, the right edge becomes the top edge."""
    piece = Piece(id="p", fabric="f", outline_mm=((0, 0), (400, 0), (400, 300), (0, 300)))
    assert turned(piece, 90.0).outline_mm == ((0, 400), (0, 0), (300, 0), (300, 400))


@pytest.mark.parametrize("angle", [-90.0, -3.7, 0.0, 12.0, 90.0, 180.0])
def test_turning_keeps_every_stripe_on_its_place(angle: float) -> None:
    """The distance of each corner from the stripe it lay on is the same before and after (a turn is an isometry)."""
    piece = Piece(
        id="p",
        fabric="f",
        outline_mm=((5, 3), (400, 20), (380, 310), (0, 300)),
        stripe_direction_deg=2.0,
        stripe_origin_mm=11.0,
    )
    after = turned(piece, angle)
    for before_point, after_point in zip(piece.outline_mm, after.outline_mm, strict=True):
        places = []
        for one, (x, y) in ((piece, before_point), (after, after_point)):
            assert one.stripe_direction_deg is not None
            n = across_axis(one.stripe_direction_deg)
            places.append(x * n[0] + y * n[1] - one.stripe_origin_mm)
        assert places[0] == pytest.approx(places[1], abs=1e-9)
    assert min(x for x, _ in after.outline_mm) == pytest.approx(0.0)
    assert min(y for _, y in after.outline_mm) == pytest.approx(0.0)


@pytest.mark.parametrize(
    ("direction", "skew", "wish", "expected"),
    [
        (0.0, 0.0, {"torn": "top"}, 0.0),
        (5.0, 2.0, {"torn": "bottom"}, 2.0),  # the cloth lies 3 degrees round in the picture
        (5.0, 2.0, {"selvage": "left"}, 2.0),
        (88.0, 2.0, {"torn": "top"}, 92.0),  # crosswise stripes: near 90
        (88.0, 2.0, {"torn": "left"}, 2.0),  # the grain lies across the picture: a quarter turn
        (88.0, 2.0, {"selvage": "top"}, 2.0),
        (-3.0, -1.0, {"selvage": "bottom"}, 89.0),
        (4.0, None, {}, 4.0),
    ],
)
def test_the_grain_ends_along_y(direction: float, skew: float | None, wish: dict[str, str], expected: float) -> None:
    """For lengthwise stripes the piece's direction is the skew, for crosswise ones the skew and a quarter turn."""
    intake = from_measurement(
        measurement(seen(direction=direction), skew),
        Wish(name="Deck chair", **wish),
    )
    (piece,) = intake.pieces
    assert piece.stripe_direction_deg == pytest.approx(expected)
    assert any("grain" in warning for warning in intake.warnings) == (skew is None)


@pytest.mark.parametrize("reverse", [False, True])
@pytest.mark.parametrize("start", [0, 1, 2])
def test_a_second_piece_is_counted_from_the_same_stripe(start: int, reverse: bool) -> None:
    """However its list of stripes begins and whichever way it lies, the label under each point is the true one."""
    first = from_measurement(measurement(seen()), Wish(name="Deck chair"))
    fabric = fabric_of(first)
    rows = [("A", RED, 30.0), ("B", WHITE, 20.0), ("C", BLUE, 10.0)]
    rows = rows[::-1] if reverse else rows
    rows = rows[start:] + rows[:start]
    other = seen(origin=3.0, rows=stripes(*rows))
    (piece,) = from_measurement(measurement(other), Wish(fabric=fabric)).pieces
    edge = 3.0
    for label, _, width in rows:
        assert stripe_at(piece, fabric.print, (edge + width / 2, 100.0)) == label
        edge += width
    assert (abs(piece.stripe_direction_deg or 0.0) == pytest.approx(180.0)) == reverse


@pytest.mark.parametrize(
    "other",
    [
        seen(rows=stripes(("A", RED, 30), ("B", WHITE, 20), ("C", "#2a8640", 10))),
        seen(rows=stripes(("A", RED, 30), ("B", WHITE, 30))),
        seen(across=70),
        seen(rows=stripes(("A", RED, 20), ("B", RED, 20), ("C", RED, 20))),
        None,
    ],
)
def test_what_cannot_be_laid_onto_the_repeat_is_not_placed(other: Seen | None) -> None:
    """Another colour, count or repeat, or nothing to tell by: the direction is null and a warning says so."""
    fabric = fabric_of(from_measurement(measurement(seen()), Wish(name="Deck chair")))
    intake = from_measurement(measurement(other), Wish(fabric=fabric))
    assert intake.pieces[0].stripe_direction_deg is None
    assert any("not known" in warning for warning in intake.warnings)


def test_another_repeat_is_remarked_on() -> None:
    """A repeat 3 % off the fabric's is placed, and she is asked whether it is the same cloth."""
    fabric = fabric_of(from_measurement(measurement(seen()), Wish(name="Deck chair")))
    intake = from_measurement(measurement(seen(across=61.8)), Wish(fabric=fabric))
    assert any("61.8" in warning and "60.0" in warning for warning in intake.warnings)


def test_remnants_in_one_picture_become_pieces_of_one_fabric(tmp_path: Path) -> None:
    """Two remnants make one fabric and two pieces, and the stash takes them as they are."""
    cloth = measurement(seen()).main
    second = replace(cloth, print=seen(origin=20.0))
    intake = from_measurement(measurement(seen(), scraps=(cloth, second)), Wish(name="Deck chair"))
    entry = open_stash(tmp_path / "s").add(intake.fabric, intake.pieces)
    assert entry.pieces_in == ("deck-chair-1", "deck-chair-2")
    assert [piece.stripe_origin_mm for piece in intake.pieces] == pytest.approx([7.0, 20.0])


def test_an_unsure_direction_widens_the_outline() -> None:
    """At the ends of a piece of 400 x 300 mm, 250 mm from its middle, 0.5 degrees are 250·tan 0.5° = 2.18 mm."""
    unsure = replace(seen(), across_direction_deg=Estimate(0.0, 0.5))
    (piece,) = from_measurement(measurement(unsure), Wish(name="x")).pieces
    assert piece.outline_u95_mm == pytest.approx(math.hypot(0.5, 250 * math.tan(math.radians(0.5))))


def test_typed_sizes_make_a_rectangle() -> None:
    """Plain cloth is ready; on striped cloth the stripe's place must be said, and without it is null with a warning."""
    plain = from_sizes(Wish(name="Linen", size_mm=(1000, 500)))
    assert plain.pieces[0].outline_mm == ((0, 0), (1000, 0), (1000, 500), (0, 500))
    assert plain.pieces[0].stripe_direction_deg == 0.0
    assert plain.warnings == ()
    fabric = fabric_of(from_measurement(measurement(seen()), Wish(name="Deck chair")))
    unplaced = from_sizes(Wish(fabric=fabric, size_mm=(1000, 500)))
    assert unplaced.pieces[0].stripe_direction_deg is None
    assert "left edge" in unplaced.warnings[0]
    placed = from_sizes(Wish(fabric=fabric, size_mm=(1000, 500), origin_mm=12.5))
    assert (placed.pieces[0].stripe_direction_deg, placed.pieces[0].stripe_origin_mm) == (0.0, 12.5)


def test_a_picture_of_a_part_takes_the_typed_size() -> None:
    """The print comes from the picture, the outline from what is typed, and the stripe's place from neither."""
    intake = from_measurement(measurement(seen(), 0.0), Wish(name="Deck chair", size_mm=(1400, 2000), torn="top"))
    assert intake.pieces[0].outline_mm[2] == (1400, 2000)
    assert intake.pieces[0].stripe_direction_deg is None
    assert fabric_of(intake).print.across == Estimate(60, 0.1)


def test_a_cloth_cut_off_by_the_picture_is_told() -> None:
    """Only what is seen is added, and she is told."""
    intake = from_measurement(measurement(seen()), Wish(name="x"), cut_off=(True,))
    assert any("cuts off" in warning for warning in intake.warnings)


def test_what_was_not_measured_is_refused() -> None:
    """No scale, no print, no outline, no name, a size of nothing: one sentence each with the remedy."""
    nothing = Cloth(outline=None, print=None, skew=None)
    for found in (
        measurement(seen(), scale=None),
        measurement(None),
        measurement(None, main=replace(nothing, print=seen())),
    ):
        with pytest.raises(InputWrong) as caught:
            from_measurement(found, Wish(name="x"))
        assert caught.value.remedy
    with pytest.raises(InputWrong):
        Wish()
    with pytest.raises(InputWrong):
        Wish(name="x", size_mm=(0, 5))
    with pytest.raises(InputWrong):
        from_sizes(Wish(name="x"))


def test_a_kept_photograph_tells_no_place(tmp_path: Path) -> None:
    """At most 2000 px on its long side; of EXIF only the date and the focal length, no GPS (tags of EXIF 2.32)."""
    pixels = np.full((300, 4000, 3), 120, dtype=np.uint8)
    exif = Image.Exif()
    exif[0x8769] = {0x9003: "2026:03:01 10:00:00", 0xA405: 26, 0xA434: "a lens"}
    exif[0x8825] = {1: "N", 2: (52.0, 30.0, 0.0)}
    exif[0x010F] = "a maker"
    Image.fromarray(pixels).save(tmp_path / "p.jpg", exif=exif)
    photo = kept(read_photo(tmp_path / "p.jpg"))
    again = Image.open(io.BytesIO(photo.jpeg))
    assert again.size == (2000, 150)
    left = again.getexif()
    assert dict(left.get_ifd(0x8769)) == {0x9003: "2026:03:01 10:00:00", 0xA405: 26}
    assert dict(left.get_ifd(0x8825)) == {}
    assert set(left) <= {0x8769}
    assert (photo.taken, photo.focal35_mm) == ("2026:03:01 10:00:00", 26.0)


def test_a_photograph_that_tells_nothing_is_kept_with_nothing() -> None:
    """No date and no focal length in, none out."""
    photo = Photo(name="p", rgb=np.zeros((60, 60, 3), dtype=np.uint8), focal35_mm=None, taken=None)
    assert dict(Image.open(io.BytesIO(kept(photo).jpeg)).getexif().get_ifd(0x8769)) == {}
