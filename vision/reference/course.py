"""How a ruler runs through the photo: along its ticks, bent where it bends, and narrower where it lies farther away.

Seen in perspective a ruler's spacing falls with the square of its distance and its width with the distance itself, so
that the root of the spacing tells how wide it is where; both its sides are straight lines then (Hartley & Zisserman,
Multiple View Geometry, 2nd ed. 2004, ch. 2). A tape bent in its plane keeps its width; its ticks' feet tell its way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.reference.comb import Comb

Floats = NDArray[np.float64]

#: Fewer ticks tell neither how a ruler narrows nor how it bends.
FEWEST_TICKS = 24
#: A bend is one where it bows by so much over the ticks, px, and by so many of its standard deviations: less is how
#: well ticks' feet are seen. They lie off the course by at most so many standard deviations, or are worn.
LEAST_BOW_PX, BOW_SIGMAS, SOUND_SIGMAS = 3.0, 6.0, 3.0
#: Beyond its ticks a ruler grows no narrower and no wider than these shares of what it is among them.
LEAST_SIZE, MOST_SIZE = 0.5, 2.0
#: A bent course is drawn with so many places for each stretch of the length of its ticks.
PLACES = 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """A ruler's own axes: u (px) along the line through its first tick and its last, which are ``length`` px apart, and
    v (px, as at its middle tick) the way of ``normal``.

    ``growth`` is by what share of itself its width grows with each px of u; ``bend`` holds the polynomial of u, px the
    way of ``normal``, by which its ticks stand off that line, highest power first.
    """

    origin: Floats
    axis: Floats
    normal: Floats
    length: float
    growth: float = 0.0
    bend: tuple[float, ...] = (0.0,)

    def at(self, along: Floats, across: Floats) -> Floats:
        """The places (..., 2), photo px, at u ``along`` and v ``across``, which are broadcast against each other."""
        side = across * self._size(along) + np.polyval(self.bend, along)
        return np.asarray(self.origin + along[..., None] * self.axis + side[..., None] * self.normal, dtype=np.float64)

    def band(self, along: tuple[float, float], across: tuple[float, float]) -> Floats:
        """The outline, photo px, of what lies between two u and two v: a quadrilateral (4, 2), or, where the ruler
        bends, a polygon (K, 2)."""
        stretches = 1 if len(self.bend) == 1 else max(round(PLACES * (along[1] - along[0]) / self.length), PLACES)
        us = np.linspace(*along, stretches + 1)
        low, high = self.at(us, np.full(us.shape, across[0])), self.at(us, np.full(us.shape, across[1]))
        return np.concatenate([low, high[::-1]])

    def _size(self, along: Floats) -> Floats:
        return np.clip(1.0 + self.growth * (along - 0.5 * self.length), LEAST_SIZE, MOST_SIZE)


def course_of(comb: Comb, feet_px: Floats) -> Course:
    """The course of a ruler by a comb of its ticks and by where these stand (N, 2), photo px."""
    first, last = comb.places_px[0], comb.places_px[-1]
    length = float(np.hypot(*(last - first)))
    axis = (last - first) / length
    normal = np.array([-axis[1], axis[0]])
    along = (comb.places_px - first) @ axis
    growth = 0.0
    bend: tuple[float, ...] = (0.0,)
    if len(along) >= FEWEST_TICKS:
        slope, size = np.polyfit(along - 0.5 * length, np.sqrt(comb.spacing_px), 1)
        growth = float(slope / size)
        bend = _bend(along, (feet_px - first) @ normal, length)
    return Course(origin=first, axis=axis, normal=normal, length=length, growth=growth, bend=bend)


def _bend(along: Floats, height: Floats, length: float) -> tuple[float, ...]:
    """The parabola about which feet stand, less its middle height; that of a straight line where they show no bend."""
    sound = np.ones(len(along), np.bool_)
    for _ in range(4):
        course = np.polyfit(along[sound], height[sound], 2)
        off = np.abs(height - np.polyval(course, along))
        sigma = 1.4826 * float(np.median(off[sound]))
        sound = off <= SOUND_SIGMAS * max(sigma, 0.1)
    bow = abs(float(course[0])) * length**2 / 4
    # one standard deviation of the bow of a parabola through N even places (its coefficient's, times length² / 4)
    noise = 3.4 * sigma / np.sqrt(max(int(sound.sum()), 1))
    if bow < max(LEAST_BOW_PX, BOW_SIGMAS * noise):
        return (0.0,)
    course[2] -= float(np.median(np.polyval(course, along)))
    return tuple(float(part) for part in course)
