"""Straight sides of an outline, told by the places at which it shows the cloth's own edge; where they end."""

from __future__ import annotations

import numpy as np
import pytest

from vision.edge import ClothEdge, reaching, straight_edges
from vision.estimate import Estimate

_CORNERS = np.array([[-100.0, -60.0], [100.0, -60.0], [100.0, 60.0], [-100.0, 60.0]])


def _rectangle(turn: int) -> np.ndarray:
    """A closed contour (N, 2), a point every half millimetre, begun at any corner and walked either way."""
    ring = np.concatenate(
        [a + (b - a) * np.linspace(0, 1, 400, endpoint=False)[:, None]
         for a, b in zip(_CORNERS, np.roll(_CORNERS, -1, axis=0), strict=True)]
    )  # fmt: skip
    return ring if turn > 0 else ring[::-1]


@pytest.mark.parametrize("turn", [1, -1])
def test_a_side_lies_where_it_is_seen(turn: int) -> None:
    """Where a ruler hides a part of a side, the side reaches from the first place that is seen to the last, corners
    left out: here from 8 mm after the left corner (a 25th of 200 mm) to 8 mm before the right one."""
    ring = _rectangle(turn)
    hidden = (ring[:, 1] == 60.0) & (ring[:, 0] > -60.0) & (ring[:, 0] < 85.0)
    bottom = next(edge for edge in straight_edges(ring, ~hidden) if edge.side == "bottom")
    ends = sorted(x for x, _ in (bottom.start_mm, bottom.end_mm))
    assert ends == pytest.approx([-92.0, 92.0], abs=1.0)


@pytest.mark.parametrize("turn_deg", [0.0, 1.5, -2.0])
def test_a_third_of_a_torn_side_tells_its_direction_as_well_as_it_can(turn_deg: float) -> None:
    """Of a frayed side 200 mm long a ruler hides two thirds: the rest tells how it runs, less surely than the whole
    does, and within what is said of it."""
    rng = np.random.default_rng(4)
    ring = _rectangle(1)
    tufts = np.repeat(rng.normal(0, 0.4, len(ring) // 10), 10)
    frayed = ring + np.stack([np.zeros(len(ring)), np.where(ring[:, 1] == 60.0, tufts, 0.0)], axis=1)
    slope = np.tan(np.radians(turn_deg))
    frayed[:, 1] -= np.where(frayed[:, 1] > 0, slope * frayed[:, 0], 0.0)
    part, whole = (
        next(edge for edge in straight_edges(frayed, seen) if edge.side == "bottom").direction_deg
        for seen in ((ring[:, 1] < 60.0) | (ring[:, 0] > 30.0), np.ones(len(ring), bool))
    )
    assert abs(part.value - turn_deg) <= part.u95
    assert whole.u95 < part.u95 < 1.0


def test_a_side_goes_on_to_its_corners() -> None:
    """A side known in its middle only is drawn out along the outline to just before both corners, past a notch, and
    not beyond; one that already reaches them stays as it is."""
    notch = np.array([[40.0, 60.0], [35.0, 50.0], [30.0, 60.0]])
    ring = np.concatenate([_CORNERS[:3], notch, _CORNERS[3:]])
    middle = ClothEdge(
        side="bottom",
        start_mm=(-50.0, 60.0),
        end_mm=(20.0, 60.0),
        direction_deg=Estimate(0.0, 0.1),
        length_mm=70.0,
        scatter_mm=0.3,
    )
    drawn = reaching(middle, ring)
    ends = sorted(x for x, _ in (drawn.start_mm, drawn.end_mm))
    assert ends == pytest.approx([-97.0, 97.0], abs=1.0)
    assert drawn.length_mm == pytest.approx(ends[1] - ends[0])
    assert reaching(drawn, ring) == drawn
