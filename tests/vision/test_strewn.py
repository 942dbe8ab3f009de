"""Cloth on a ground of the table's own colour: its motifs tell where it is, and not where its sides are."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import cv2
import numpy as np
import pytest
import shapely

from tests.makers.cloth import Cloth, Motif, MotifPrint
from tests.makers.harsh import draw
from tests.makers.shot import shoot
from tests.makers.table import Table
from tests.vision.laid import PX_PER_MM, SIZE_MM, laid
from tests.vision.test_measure import photo_of
from vision.cloth import find_cloths
from vision.measure import measure_photo
from vision.request import MeasureRequest
from vision.strewn import strewn

_GREY = "#3a3a3c"
_DOTS = MotifPrint(
    ground=_GREY, motifs=(Motif(shape="dot", colour="#9fc0a8", radius=0.2),), column_mm=18.0, row_mm=16.0
)


@pytest.mark.parametrize("lattice", ["straight", "half_drop", "brick"])
@pytest.mark.parametrize("turn_deg", [0.0, 33.0])
def test_cloth_on_the_ground_of_its_table_is_where_its_motifs_are(
    lattice: Literal["straight", "half_drop", "brick"], turn_deg: float
) -> None:
    """Of a cloth of 200 by 150 mm dots alone stand out from the table: what is found holds most of it, goes beyond it
    by no more than a dot's blur, and has no straight sides, for those would be rows of dots."""
    cloth = Cloth(print=replace(_DOTS, lattice=lattice), width_mm=200.0, length_mm=150.0, turn_deg=turn_deg)
    found = find_cloths(laid(cloth, table=Table(colour=_GREY, depth=0.03)))
    assert len(found) == 1
    whole, outline = shapely.Polygon(cloth.outline_mm()), shapely.Polygon(found[0].outline_mm)
    assert whole.buffer(3.0).covers(outline)
    assert outline.area > 0.75 * whole.area
    assert found[0].edges == ()
    assert not found[0].touches_frame


def _spots(places_mm: np.ndarray, radius_mm: float = 3.0) -> np.ndarray:
    """Spots (H, W) at places (N, 2), mm from the picture's middle."""
    spots = np.zeros((round(SIZE_MM[1] * PX_PER_MM), round(SIZE_MM[0] * PX_PER_MM)), np.uint8)
    for x, y in (places_mm + np.array(SIZE_MM) / 2) * PX_PER_MM:
        cv2.circle(spots, (round(x), round(y)), round(radius_mm * PX_PER_MM), 1, -1)
    return spots > 0


def _strewn(spots: np.ndarray) -> np.ndarray | None:
    inner = np.zeros_like(spots)
    inner[4:-4, 4:-4] = True
    return strewn(spots, np.zeros_like(spots), inner, PX_PER_MM)


@pytest.mark.parametrize("seed", range(6))
def test_crumbs_are_no_print(seed: int) -> None:
    """Crumbs strewn at random over a part of a table are not motifs; as many on a lattice are."""
    rng = np.random.default_rng([seed, 61])
    assert _strewn(_spots(rng.uniform(-90, 90, (60, 2)))) is None
    lattice = np.stack(np.meshgrid(np.arange(8), np.arange(7)), axis=-1).reshape(-1, 2) * (20.0, 17.0) - (70.0, 50.0)
    assert _strewn(_spots(lattice + rng.normal(0, 0.5, lattice.shape))) is not None


def test_specks_between_motifs_are_no_motifs() -> None:
    """A loose weave shows through in specks, three times as many as the motifs: the motifs are on a lattice even so.
    They may come near to one long side of the picture, for they keep far from the others."""
    rng = np.random.default_rng(5)
    lattice = np.stack(np.meshgrid(np.arange(8), np.arange(3)), axis=-1).reshape(-1, 2) * (30.0, 34.0) - (105.0, 120.0)
    motifs, specks = _spots(lattice, 6.0), _spots(rng.uniform((-110, -125), (110, -50), (72, 2)), 1.5)
    part = _strewn(motifs | specks)
    assert part is not None
    assert part[motifs].mean() > 0.99
    assert _strewn(specks) is None


def test_motifs_that_may_go_on_beyond_the_picture_are_no_part_of_it() -> None:
    """Motifs that come as near to the picture's border as to each other may fill it: no part of it is named."""
    lattice = np.stack(np.meshgrid(np.arange(-8, 9), np.arange(-6, 7)), axis=-1).reshape(-1, 2) * (24.0, 24.0)
    assert _strewn(_spots(lattice)) is None


def test_cloth_that_the_picture_cuts_off_is_named_as_far_as_it_is_seen() -> None:
    """Motifs that come near to one side of the picture only, and leave most of it to the table, are where they are
    seen: they cannot fill the picture."""
    lattice = np.stack(np.meshgrid(np.arange(5), np.arange(4)), axis=-1).reshape(-1, 2) * (18.0, 16.0)
    beside = lattice - (lattice[:, 0].max() - SIZE_MM[0] / 2 + 12.0, lattice[:, 1].max() / 2)
    part = _strewn(_spots(beside))
    assert part is not None
    assert part.mean() < 0.2


def test_the_repeat_of_such_cloth_is_measured_and_its_skew_is_not() -> None:
    """Dark cloth with pale motifs on a table as dark: its repeats are true to half a per cent, it is said to be hardly
    told from the table, and no torn edge is made up of its motifs' rows."""
    drawn = draw(92018, megapixels=3.1)
    taken = shoot(drawn.shot)
    measured = measure_photo(photo_of(taken), MeasureRequest(torn=drawn.facts.torn)).measurement
    print_ = measured.main.print
    assert print_ is not None
    assert print_.across is not None
    assert print_.along is not None
    assert print_.across.value == pytest.approx(taken.truth.across_mm, rel=0.005)
    assert print_.along.value == pytest.approx(taken.truth.along_mm, rel=0.005)
    assert measured.main.skew is None
    assert any("hardly be told from the table" in warning for warning in measured.warnings)
