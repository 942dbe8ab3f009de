"""The square that a binding needs, against figures of the trade."""

from __future__ import annotations

import pytest

from stash.garment.binding import square_for


@pytest.mark.parametrize(("length", "width", "side"), [(250, 2, 23), (100, 3.5, 19), (55, 2.5, 12), (200, 2, 20)])
def test_the_square_for_a_length(length: float, width: float, side: int) -> None:
    """The square is ⌈√(length·width)⌉ (worked out): side²/width is the bias from a square (common practice; 20 in at 2
    in give 200), so it always gives at least the length, and one inch less does not."""
    assert square_for(length, width) == side
    assert side**2 / width >= length > (side - 1) ** 2 / width
