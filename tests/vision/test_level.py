"""The cloth's own stripes as a level, on scenes whose tilt and lens are known."""

from __future__ import annotations

import numpy as np
import pytest

from tests.makers.harsh import draw
from tests.makers.scene import as_stored
from tests.makers.shot import shoot
from vision.estimate import Estimate
from vision.level import EVEN_SHARE, MOST_UNEVEN_SHARE, counts, gathered, settled
from vision.measure import Measured, measure_photo
from vision.parallel import Stripes
from vision.photo import Photo
from vision.plane import Plane, fit_plane
from vision.reference.reading import Reading


def _square_board() -> Reading:
    """Nine corners 60 mm apart, seen straight from above at 5 px a mm in the middle of a picture of 3000 by 2000."""
    places = np.stack(np.meshgrid([-60.0, 0.0, 60.0], [-60.0, 0.0, 60.0]), axis=-1).reshape(-1, 2)
    return Reading(
        source="target",
        unit=None,
        marks_px=places * 5.0 + (1499.5, 999.5),
        marks_mm=places,
        marks_sigma_px=np.full(9, 0.1),
        ticks_px=np.zeros((0, 2, 2)),
        ticks_sigma_px=np.zeros(0),
        tolerance_relative_u95=0.002,
        names=("",) * 9,
        outline_px=np.zeros((0, 2)),
    )


@pytest.fixture(scope="module")
def plane() -> Plane:
    """The plane of the board."""
    return fit_plane([_square_board()], size_px=(3000, 2000), focal_px=Estimate(2400.0, 24.0))


def _waved(plane: Plane, height_mm: float) -> Stripes:
    """Ten stripes 20 mm apart on a cloth that waves once over its length, by so much across the stripes."""
    order, v = (grid.ravel() for grid in np.meshgrid(np.arange(-5.0, 5.0), np.linspace(-100, 100, 20)))
    u = order * 20.0 + height_mm * np.sin(v / 100 * np.pi) + np.random.default_rng(4).normal(0, 0.05, v.size)
    return Stripes(
        points_px=plane.to_px(np.stack([u, v], axis=1)),
        order=order,
        family=np.zeros(order.size, np.int64),
        sigma_px=np.full(order.size, 0.25),
        half_mm=100.0,
        uneven_mm=1.0,
        bow_mm=1.0,
    )


def test_a_flat_cloth_levels_as_well_as_prints_are_even(plane: Plane) -> None:
    """Noise that neighbours do not share is no wave: three of 10,000 is what the print is trusted to."""
    assert settled(plane, _waved(plane, 0.0)).uneven_mm < 2 * EVEN_SHARE * 100


def test_a_cloth_in_waves_levels_less(plane: Plane) -> None:
    """Waves of 0.6 mm (0.42 root mean square), of which a straight fit takes some: the print is taken for uneven by
    more than that, and each place for less well known than its noise says."""
    waved = settled(plane, _waved(plane, 0.6))
    assert 0.4 < waved.uneven_mm < 2.0
    assert np.median(waved.sigma_px) > 2 * 0.25


def test_a_cloth_in_folds_is_no_level(plane: Plane) -> None:
    """Waves of 3 mm on 200 mm of cloth are more than a print that levels a plane to a per mille may have."""
    assert settled(plane, _waved(plane, 3.0)).uneven_mm > MOST_UNEVEN_SHARE * 100


def test_lines_seen_in_one_repeat_only_level_nothing(plane: Plane) -> None:
    """Of lines that do not come again nothing can be even: two kinds of line, each in a repeat of its own, tell no
    repeat; one kind in two repeats does."""
    along = np.linspace(-50.0, 50.0, 20)
    rows = [(u, v, order, 0.05) for u, order in ((0.0, 0.125), (30.0, 1.375)) for v in along]
    again = [*rows, *((40.0, v, 1.125, 0.05) for v in along)]
    assert not counts(gathered(plane, np.array(rows)))
    assert counts(gathered(plane, np.array(again)))


def _measured(seed: int) -> tuple[Measured, float, float]:
    """A harsh scene with the printed target measured, its true k1, and its repeat's error net of the print's own."""
    drawn = draw(seed, reference="target")
    photograph = shoot(drawn.shot)
    focal = round(drawn.shot.camera.focal35_mm) if drawn.shot.focal_known else None
    measured = measure_photo(Photo(name="", rgb=as_stored(photograph), focal35_mm=focal, taken=None))
    print_ = measured.measurement.main.print
    assert print_ is not None
    assert print_.across is not None
    assert photograph.truth.across_mm is not None
    found = print_.across.value * (1 + drawn.facts.reference_error)
    return measured, drawn.shot.k1, found / photograph.truth.across_mm - 1


@pytest.mark.parametrize("seed", [56105, 56112, 56114, 56133, 56158])
def test_the_print_makes_good_what_a_small_target_cannot_tell(seed: int) -> None:
    """A target in a corner leaves the lens (|k1| over 0.01) unknown, and the repeat 0.2 to 0.8 % off; fitted together
    with the stripes, or with the cells of a motif (the last two), k1 comes to 0.003 and the repeat to 0.1 %."""
    measured, k1, error = _measured(seed)
    assert measured.evidence.plane is not None
    assert measured.evidence.plane.params[4] == pytest.approx(k1, abs=0.003)
    assert abs(error) < 0.001
