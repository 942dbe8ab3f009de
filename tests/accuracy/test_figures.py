"""The figures of accuracy that a change may not spoil, on a few scenes; ``tests.accuracy.table`` counts many."""

from __future__ import annotations

import json

import numpy as np
import pytest

from tests.accuracy.real import WITHOUT_SCALE, photos_folder
from tests.accuracy.trial import Pair, aligned, try_scene
from tests.makers.variety import draw
from vision.estimate import Estimate
from vision.measure import measure_photo
from vision.photo import Photo, read_photo

#: Scenes that the short run measures: three of each kind of print.
SEEDS = range(9)


def test_confidently_wrong_needs_both_conditions() -> None:
    """Off by more than 2 % and by more than three times its own u95; over 3 % u95 is a refusal, not a wrong answer."""
    assert Pair(name="r", measured=Estimate(103, 0.9), true=100, is_repeat=True).confidently_wrong
    assert not Pair(name="r", measured=Estimate(101.9, 0.1), true=100, is_repeat=True).confidently_wrong
    assert not Pair(name="r", measured=Estimate(103, 1.1), true=100, is_repeat=True).confidently_wrong
    assert not Pair(name="r", measured=Estimate(150, 5.0), true=100, is_repeat=True).confidently_wrong
    assert Pair(name="r", measured=Estimate(150, 5.0), true=100, is_repeat=True).refused


def test_stripes_may_begin_anywhere() -> None:
    """A repeat told from another start, or from the other side, is the same repeat."""
    true = np.array([10.0, 4.0, 20.0, 7.0])
    assert np.array_equal(aligned(np.array([20.0, 7.0, 10.0, 4.0]), true), [20, 7, 10, 4])
    assert np.array_equal(aligned(np.array([20.0, 4.0, 10.0, 7.0]), true), [20, 4, 10, 7])


@pytest.mark.slow
def test_repeats_on_a_few_scenes() -> None:
    """On nine scenes no repeat is confidently wrong, and all but one are given and within 1 %."""
    repeats = [pair for seed in SEEDS for pair in try_scene(draw(seed)).of("repeat")]
    assert not any(pair.confidently_wrong for pair in repeats)
    good = [not pair.refused and abs(pair.relative or 0.0) <= 0.01 for pair in repeats]
    assert sum(good) >= len(good) - 1


@pytest.mark.parametrize("name", WITHOUT_SCALE)
def test_no_scale_where_nothing_gives_one(name: str) -> None:
    """Bricks, gravel, a cup and a page of text (scikit-image's pictures) hold nothing of known size."""
    data = pytest.importorskip("skimage.data")
    picture = np.asarray(getattr(data, name)())
    rgb = np.ascontiguousarray(picture if picture.ndim == 3 else np.stack([picture] * 3, axis=-1))
    photo = Photo(name=name, rgb=rgb, focal35_mm=None, taken=None)
    assert measure_photo(photo).measurement.scale is None


@pytest.mark.parametrize("name", ["card_rule_a.png", "card_rule_b.png"])
def test_real_card_rules_within_two_percent(name: str) -> None:
    """Two photographed card rules, their scale measured by hand on enlarged crops (truth.json beside them)."""
    folder = photos_folder()
    if folder is None or not (folder / name).exists():
        pytest.skip("the real photographs are not on this machine; set STRIPEWRIGHT_PHOTOS to their folder")
    true = json.loads((folder / "truth.json").read_text())[name]["px_per_mm"]
    scale = measure_photo(read_photo(folder / name)).measurement.scale
    assert scale is not None
    assert scale.reference_px_per_mm == pytest.approx(true, rel=0.02)
