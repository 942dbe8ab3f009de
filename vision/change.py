"""Where a profile steps from one look to another, and what changes in it from one lag to the next."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, minimum_filter1d

from vision.colour import ciede2000
from vision.spectrum import light_change
from vision.swatch import TONE_SHIFT, Doubles

#: Two places look the same up to this CIEDE2000. About 1 can just be seen side by side and 2.3 is a common tolerance
#: (practice); twice that leaves room for the photograph's noise and its uneven light.
SAME_LOOK = 4.5
#: Neighbours that look more alike than that can be stripes all the same from this CIEDE2000 on (2.3 is a common
#: tolerance, practice).
FAINT_LOOK = 2.3
#: A difference counts where it lasts this long, mm, or this many samples: less is an edge that does not quite match.
LASTING_MM = 0.7
LASTING_PX = 2.0
#: Light that changes fast is read this far beyond a boundary, mm (what blurs it), and holds for so many mm on this side
#: of it; it changes tone by this factor at most (a shadow that takes 0.7 of the light).
_BEYOND_MM, _BESIDE_MM, _MOST_LIGHT = 0.8, 4.0, 1.5


def step_places(profile: Doubles, step_mm: float, *, wrap: bool = False, least: float = SAME_LOOK) -> np.ndarray:
    """Samples at which a profile steps from one look to another: local maxima of its slope that matter."""
    reach = max(round(0.5 / step_mm), 1)
    mode = "wrap" if wrap else "nearest"
    slope = gaussian_filter1d(profile, max(0.3 / step_mm, 0.7), axis=0, order=1, mode=mode)
    steep = np.sqrt((slope * slope).sum(1))
    peak = (steep == maximum_filter1d(steep, 2 * reach + 1, mode=mode)) & (steep > 0)
    places = np.nonzero(peak)[0]
    before, after = places - 2 * reach, places + 2 * reach
    if wrap:
        sides = profile[before % len(profile)], profile[after % len(profile)]
    else:
        sides = profile[np.maximum(before, 0)], profile[np.minimum(after, len(profile) - 1)]
    change = ciede2000(sides[0] - TONE_SHIFT, sides[1] - TONE_SHIFT) if len(places) else np.zeros(0)
    return np.asarray(places[change > 0.6 * least])


def change_at(
    profile: Doubles, weight: Doubles, lag: float, step_mm: float, play_of: float, *, steady: bool = True
) -> Doubles:
    """At each place the CIEDE2000 between the profile and itself one lag on, as far as it lasts, edges allowed a little
    play, the more the longer the lag ``play_of``; nan where nothing is compared. Light is taken to be ``steady``, or to
    change fast, as at a shadow's rim."""
    count = len(profile) - int(np.ceil(lag))
    places = np.arange(count, dtype=np.float64)
    first, second = profile[:count], _at(profile, places + lag)
    both = np.minimum(weight[:count], weight[np.minimum((places + np.ceil(lag)).astype(int), len(weight) - 1)])
    play = max(1.0, 0.008 * play_of)
    if steady:
        gain = light_change(first, second, both)[:, None]
    else:
        steps = step_places(profile, step_mm, least=FAINT_LOOK)
        steps = np.concatenate([steps, np.rint(steps - lag).astype(np.intp)])
        gain = _light_beside(first, second, both, steps[(steps > 0) & (steps < count)], step_mm, play)[:, None]
    change = np.full(count, np.inf)
    for shift in np.linspace(-play, play, 2 * int(np.ceil(2 * play)) + 1):
        change = np.minimum(change, ciede2000(_at(first * gain, places + shift) - TONE_SHIFT, second - TONE_SHIFT))
    change[both <= 0] = 0
    length = max(round(LASTING_MM / step_mm), round(LASTING_PX), 1)
    lasting = maximum_filter1d(minimum_filter1d(change, length), length)
    return np.asarray(np.where(both > 0, lasting, np.nan), dtype=np.float64)


def _light_beside(
    first: Doubles, second: Doubles, weight: Doubles, steps: NDArray[np.intp], step_mm: float, play: float
) -> Doubles:
    """The factor (N,) that brings ``first`` to the light of ``second`` where that changes fast.

    Light goes on over a boundary of stripes, and print does not. So beside a boundary the light of a stripe is that of
    its neighbour (of a narrow one, of its middle), and farther off its own: there only colours are compared. ``steps``
    are the boundaries of both; edges may lie ``play`` samples apart.
    """
    beyond, beside = _BEYOND_MM / step_mm + play, _BESIDE_MM / step_mm
    bounds = [0]
    for step in np.sort(steps).tolist():  # two that may be one edge count once
        if step - bounds[-1] > beyond:
            bounds.append(step)
    bounds.append(len(first))
    sizes = np.sqrt((first * first).sum(1)), np.sqrt((second * second).sum(1))
    seen = np.flatnonzero((weight > 0) & (sizes[0] > 0))
    if not len(seen):
        return np.ones(len(first))
    own = np.interp(np.arange(len(first)), seen, np.clip(sizes[1][seen] / sizes[0][seen], 1 / _MOST_LIGHT, _MOST_LIGHT))
    light: Doubles = own.copy()
    for (low, bound), (_, high) in pairwise(pairwise(bounds)):
        before, after = (int(max(bound - beyond, (low + bound) / 2)), int(min(bound + beyond, (bound + high) / 2)))
        light[int(max(bound - beside, (low + bound) / 2)) : bound] = own[after]
        light[bound : int(min(bound + beside, (bound + high) / 2))] = own[before]
    return light


def _at(profile: Doubles, places: Doubles) -> Doubles:
    """The profile (N, C) at fractional samples."""
    samples = np.arange(len(profile))
    return np.stack([np.interp(places, samples, column) for column in profile.T], axis=1)
