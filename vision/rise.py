"""What does not lie flat: a printed sheet that warps; a tape whose ends rise from the table, noticed by what no flat
tape explains, and how high it stands where.

A tape straight along the table that rises towards the camera shows its millimetres larger there, and nothing beside it
tells. A tilt makes them grow too, but evenly (by a projective map); a lens, evenly from the middle of the picture. What
a rise does is left over: a wave along the tape many times what its marks' noise makes of one.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from vision.mark import mean_px_per_mm
from vision.reference.reading import Reading

Floats = NDArray[np.float64]

#: Parameters of a rise: for the first end and the last, the height there, mm, and the logarithm of its reach, mm.
RISE, TOPS = 4, slice(0, None, 2)
#: Parameters of a sheet's warp, and how flat a printed sheet glued to card lies, mm at its corners (practice; one
#: standard deviation). Left out, half a millimetre would pass for a tilt that puts lengths beside it off by a per cent.
WARP, WARP_SIGMA_MM = 3, 0.3
#: An end stands up where it does so by more than this, mm: cloth and table differ by as much.
LEAST_RISE_MM = 1.0
#: A tape of which less than this share lies on the table tells no tilt: that of its rise passes for the camera's.
#: Ends that rise by less than the second, mm, are taken to lie on it.
LEAST_FLAT_SHARE, LEAST_TOP_MM = 0.25, 0.25
#: Ends rise by some mm, over some centimetres (practice; one standard deviation, of the reach as a logarithm).
HEIGHT_SIGMA_MM, REACH_MM, REACH_SIGMA = 10.0, 90.0, 0.5
#: No tape lies below the table: heights are held above it by this much, mm.
BELOW_SIGMA_MM = 0.1
#: Waves are told up to this order of Legendre's polynomials, and from this one on: a shift and a stretch are none.
WAVE_ORDER, FIRST_WAVE = 5, 2
#: Fewer marks tell no wave.
FEWEST_MARKS = 24
#: A tape rises where its wave is at least so large, px (root mean square), and its square so many times what noise
#: makes of it: flat tapes of our scenes reach 0.03 px and 30 times (what JPEG leaves of their ticks), risen ones 0.1 px
#: and some hundreds mostly.
LEAST_WAVE_PX, LEAST_WAVE_SQUARE = 0.06, 60.0
#: Nor is a wave below this a rise, mm (root mean square): the ticks of rules are printed no better. Of five scales of
#: real rules, photographed at 23 to 48 pixels a millimetre, 0.002 to 0.009 mm are left over once a lens is allowed for.
LEAST_WAVE_MM = 0.01
#: Marks are known no better than this, px (what JPEG leaves of ticks; rendered scenes).
LEAST_NOISE_PX = 0.03
#: A rise is looked for from so little of it, over these reaches, mm: the first step from there finds its height.
START_MM, STARTS_MM = 0.1, (40.0, 100.0)


def lifted(along_mm: Floats, own: Floats) -> tuple[Floats, Floats]:
    """Heights (N,) of places (N,) along a tape, and how far (N,) they are drawn in towards its flat part, mm.

    Each end rises as a parabola, level where it leaves the table; ``own`` (RISE,) says how high and over what length.
    """
    height, shift = np.zeros_like(along_mm), np.zeros_like(along_mm)
    for way, (top, log_reach) in ((1.0, own[:2]), (-1.0, own[2:])):
        reach = float(np.exp(log_reach))
        end = along_mm.min() if way > 0 else along_mm.max()
        share = np.clip(1 - np.abs(along_mm - end) / reach, 0.0, None)
        height += top * share**2
        shift += way * 2 * top**2 / (3 * reach) * share**3  # half the square of the slope, summed up
    return height, shift


def afloat(along_mm: Floats, own: Floats) -> bool:
    """Whether a tape with marks at these places (N,) lies on the table hardly anywhere, by its rises (RISE,)."""
    top, reach = own[TOPS], np.exp(own[1::2])
    return float(reach[top > LEAST_TOP_MM].sum()) > (1 - LEAST_FLAT_SHARE) * float(np.ptp(along_mm))


def warped(places_mm: Floats, own: Floats) -> Floats:
    """Heights (N,) of places (N, 2) on a sheet that bends both ways, mm, about their mean.

    ``own`` (WARP,) holds the heights of x², xy and y² at the sheet's corner, the middle of the places being (0, 0).
    """
    x, y = ((places_mm - places_mm.mean(axis=0)) / np.hypot(*np.ptp(places_mm, axis=0)) * 2).T
    height = np.column_stack([x * x, x * y, y * y]) @ own
    return np.asarray(height - height.mean(), dtype=np.float64)


def held(own: Floats) -> Floats:
    """What is known of rises (RISE,) beforehand, as residuals in standard deviations."""
    top, reach = own[TOPS], own[1::2]
    sigma = np.where(top >= 0, HEIGHT_SIGMA_MM, BELOW_SIGMA_MM)
    return np.concatenate([top / sigma, (reach - np.log(REACH_MM)) / REACH_SIGMA])


def starts() -> list[Floats]:
    """Rises (RISE,) from which to look for one: hardly any, over several reaches."""
    return [np.array([START_MM, np.log(first), START_MM, np.log(last)]) for first in STARTS_MM for last in STARTS_MM]


def waves(rest_px: Floats, reading: Reading) -> bool:
    """Whether what a flat tape's marks (N,) leave over along it, px, is a wave that neither noise nor the print of its
    ticks makes: the marks' noise is told from neighbours."""
    along_mm = reading.marks_mm[:, 0]
    if len(rest_px) < FEWEST_MARKS:
        return False
    place = (along_mm - along_mm.min()) / np.ptp(along_mm) * 2 - 1
    shape = np.polynomial.legendre.legvander(place, WAVE_ORDER)
    weight = np.ones(len(rest_px))
    course = np.zeros(WAVE_ORDER + 1)
    for _ in range(4):
        root = np.sqrt(weight)
        course = np.linalg.lstsq(shape * root[:, None], rest_px * root, rcond=None)[0]
        off = np.abs(rest_px - shape @ course)
        weight = 1 / np.maximum(1.0, off / (3 * np.median(off) + 1e-9))
    wave = float(np.mean((shape[:, FIRST_WAVE:] @ course[FIRST_WAVE:]) ** 2))
    least_px = max(LEAST_WAVE_PX, LEAST_WAVE_MM * mean_px_per_mm(reading))
    return wave >= least_px**2 and wave * len(rest_px) >= LEAST_WAVE_SQUARE * noise_px(rest_px) ** 2


def noise_px(rest_px: Floats) -> float:
    """The marks' noise (one standard deviation, px), from how far neighbours (N,) lie off otherwise."""
    steps = np.diff(rest_px)
    return max(1.4826 * float(np.median(np.abs(steps - np.median(steps)))) / math.sqrt(2), LEAST_NOISE_PX)
