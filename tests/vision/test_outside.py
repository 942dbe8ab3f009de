"""Repeats against estimators of other libraries, on pictures that are not ours."""

from __future__ import annotations

import numpy as np
import pytest

from tests.accuracy.real import photos_folder
from tests.vision.flat import as_it_is
from vision.photo import read_photo
from vision.print import measure_print
from vision.square import SquareOn


@pytest.fixture(scope="module")
def check_cloth() -> SquareOn:
    """The photograph of a woven check; its warp lies along y."""
    folder = photos_folder()
    if folder is None:
        pytest.skip("the folder of real photographs is not on this machine")
    return as_it_is(read_photo(folder / "check_cloth.jpg").rgb)


def _both_ways(square: SquareOn) -> tuple[float, float]:
    print_ = measure_print(square, square.valid).print
    assert print_ is not None
    assert print_.across is not None
    assert print_.along is not None
    return print_.across.value, print_.along.value


def test_a_real_check_has_the_period_of_its_periodogram(check_cloth: SquareOn) -> None:
    """scipy.signal.periodogram of the mean profiles of a photographed check peaks where our repeats are, both ways."""
    signal = pytest.importorskip("scipy.signal")
    grey = check_cloth.rgb.mean(axis=2)
    for ours, profile in zip(_both_ways(check_cloth), (grey.mean(axis=0), grey.mean(axis=1)), strict=True):
        frequency, power = signal.periodogram(profile, window="hann", nfft=1 << 16, detrend="linear")
        cloth = (frequency > 1 / 40) & (frequency < 1 / 10)  # the weave's own threads stand at 2.6 px
        assert ours == pytest.approx(1 / float(frequency[cloth][np.argmax(power[cloth])]), rel=5e-4)


def test_a_real_check_moved_by_its_repeats_lies_upon_itself(check_cloth: SquareOn) -> None:
    """scikit-image's phase_cross_correlation finds next to nothing left between the cloth and itself moved by eight of
    our repeats across: eight repeats are off by less than a tenth of a pixel."""
    registration = pytest.importorskip("skimage.registration")
    across, _ = _both_ways(check_cloth)
    grey = check_cloth.rgb.mean(axis=2)
    moved = round(8 * across)
    shift, *_ = registration.phase_cross_correlation(grey[:, :-moved], grey[:, moved:], upsample_factor=100)
    assert float(shift[1]) == pytest.approx(8 * across - moved, abs=0.1)
