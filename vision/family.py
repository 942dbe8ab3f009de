"""A family of parallel stripes: found by its edges, averaged along itself, its repeat and its stripes measured."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter1d

from vision.blemish import without_blemishes
from vision.change import FAINT_LOOK, SAME_LOOK, step_places
from vision.measurement import Stripe
from vision.profile import Bands, band_profiles, sharpest_direction, without_crossing
from vision.repeat import RepeatFit, refine_repeat
from vision.sequence import BORDER_MM, PAIRED_REPEATS, PART_AT_MOST, find_repeat, likely_repeat
from vision.spectrum import orientation_peaks
from vision.stripes import cut, fold, to_stripes, whole
from vision.swatch import Swatch, axes, folded_deg

#: What a Scharr kernel makes of a slope of one a pixel.
_SCHARR = 32.0
#: Window at full size in which the finest stripes are looked for where the whole shows none, px.
_WINDOW_PX = 640
#: Mean square of tone below which a cloth is plain: shading, weave and noise (plain cloths of our scenes reach 1).
PLAIN_VARIANCE = 1.5
#: Light and creases change a cloth's colours slowly, print at edges. Seen through a blur of so many mm, an edge changes
#: tone by so much a mm at least; edges make up this share of a print's cloth at least (0.27 and more where stripes and
#: checks show their repeat; a thread or a turned corner: up to 0.05), or part more than a tenth of it from the rest, or
#: so much has another hue (by a common tolerance, practice).
EDGE_SIGMA_MM, EDGE_SLOPE, EDGE_SHARE, OTHER_HUE, MOSTLY = 1.0, 1.5, 0.06, FAINT_LOOK, 0.9
#: A lone family of stripes without a repeat is called a stripe above this share of the change.
LONE_SHARE = 0.55
#: At a crossing of a check each yarn gives half the colour, so two yarns that just differ differ by half as much there.
CHECK_SAME_LOOK = SAME_LOOK / 2
#: Degrees from square within which a second family of stripes is looked for: cloth is not pulled further askew.
SQUARE_PLAY_DEG = 12.0
#: Whether stripes run right across is asked in so many parts of the cloth each way, of which those count that are cloth
#: by this share; at places so many pixels apart, in a picture of so many (time).
PARTS, PART_SHOWN = 6, 0.5
_PART_PIXELS, _PLACES_APART = 1.5e5, 2
#: Where less than this share of the profile's usual width shows, it shows the cloth's corners (practice).
CORNER_SHARE = 0.7
#: Without its ends a profile must show so many repeats: a colour that comes once in more would be a rare print.
SURE_REPEATS = 4.0
#: Groups of bands that are asked by themselves where few repeats show.
_GROUPS = 4
#: And where something that lies on it was left out: of fewer, nothing tells which is the cloth.
CLEANED_REPEATS = 2.9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Family:
    """Parallel stripes: their across direction, the variance their profile explains, and where known their repeat.

    ``look`` is the picture in which they were found.
    """

    direction_deg: float
    variance: float
    look: Swatch
    bands: Bands | None = None
    fit: RepeatFit | None = None
    stripes: tuple[Stripe, ...] = field(default=())
    first_mm: float = 0.0
    steps: int = 0
    extent_mm: float = 0.0

    @property
    def repeats(self) -> bool:
        """Whether its repeat and its stripes are known."""
        return self.fit is not None and bool(self.stripes)


def find_families(swatch: Swatch, coarse: Swatch, total: float) -> tuple[Family, Family]:
    """The strongest family of parallel stripes, and the strongest about square to it."""
    looks = [coarse]
    if coarse is not swatch:
        looks.append(swatch.middle(_WINDOW_PX))
    found: list[Family] = []
    for look in looks:
        for peak in (*orientation_peaks(look, 0.8), 0.0, 90.0):  # cloth mostly lies straight in the picture
            direction, strength = sharpest_direction(look, peak)
            found.append(Family(direction_deg=folded_deg(direction), variance=strength, look=look))
        best = max(found, key=lambda f: f.variance)
        if best.variance >= max(LONE_SHARE * total, PLAIN_VARIANCE):
            break
    main = max(found, key=lambda f: f.variance)
    across = [f for f in found if abs(apart_deg(f.direction_deg, main.direction_deg) - 90) <= SQUARE_PLAY_DEG]
    direction, strength = sharpest_direction(coarse, main.direction_deg + 90)
    across.append(Family(direction_deg=folded_deg(direction), variance=strength, look=coarse))
    return main, max(across, key=lambda f: f.variance)


def variance(swatch: Swatch) -> float:
    """Mean square of tone within the mask, about a parabola in x and y, weave and noise smoothed away; 0 where nothing
    is within it."""
    if not swatch.mask.any():
        return 0.0
    tone = swatch.tone(max(0.6 * swatch.px_per_mm, 1.2))
    places = np.flatnonzero(swatch.mask)[::5]
    ys, xs = np.divmod(places, swatch.mask.shape[1])
    y, x = ys / swatch.mask.shape[0] * 2 - 1, xs / swatch.mask.shape[1] * 2 - 1
    basis = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y])
    values = tone.reshape(-1, 3)[places].astype(np.float64)
    # of six terms of like size the normal equations lose nothing that counts, and cost a part of a decomposition
    solution, *_ = np.linalg.lstsq(basis @ basis.T, basis @ values, rcond=None)
    return float(((values - basis.T @ solution) ** 2).sum(1).mean())


def of_one_colour(swatch: Swatch) -> bool:
    """Whether a cloth is of one colour all over, however uneven the light on it: hardly an edge, and one hue.
    Edges that part it are a print's, or a crease's that is as sharp."""
    blur_px = max(EDGE_SIGMA_MM * swatch.px_per_mm, 1.2)
    tone = swatch.tone(blur_px)
    size = 2 * round(2 * blur_px) + 1  # what lies beside the cloth is no edge on it
    inside = cv2.erode(swatch.mask.astype(np.uint8), np.ones((2 * size + 1, 2 * size + 1), np.uint8), borderValue=0) > 0
    if not inside.any():
        return False
    slopes = [cv2.Sobel(tone, cv2.CV_32F, x, y, ksize=cv2.FILTER_SCHARR) for x, y in ((1, 0), (0, 1))]
    slope = np.sqrt(sum((one * one).sum(axis=2) for one in slopes))[inside] / _SCHARR * swatch.px_per_mm
    light = np.maximum(tone[inside][:, :1], 1e-3)
    hue = tone[inside][:, 1:] / light * float(np.median(light))
    other = np.hypot(*(hue - np.median(hue, axis=0)).T)
    if (slope > EDGE_SLOPE).mean() >= EDGE_SHARE or np.quantile(other, MOSTLY) >= OTHER_HUE:
        return False
    quiet = np.zeros(inside.shape, np.uint8)
    quiet[inside] = slope <= EDGE_SLOPE
    parts = cv2.connectedComponentsWithStats(quiet)[2][1:, cv2.CC_STAT_AREA]
    return bool(parts.max() >= MOSTLY * parts.sum())


def share_all_over(swatch: Swatch, *families: Bands) -> float:
    """Share of the change of tone in the middle one of many parts of the cloth that the usual profiles of families of
    stripes explain together; 0 where no part shows enough.

    Stripes run right across the cloth, so they explain every part of it. What lies on the cloth, or was taken for it,
    explains much of the whole and nothing of most parts; and lines of motifs explain little of any.
    """
    look = swatch.reduced(_PART_PIXELS)
    blur_px = max(0.6 * look.px_per_mm, 1.2)
    tone, mask = (values[::_PLACES_APART, ::_PLACES_APART] for values in (look.tone(blur_px), look.mask))
    rest, step_mm = tone.copy(), _PLACES_APART / look.px_per_mm
    height, width = mask.shape
    for bands in families:
        profile, weight = bands.usual()
        seen, sigma = weight > 0, blur_px / look.px_per_mm / bands.step_mm
        cover = np.maximum(gaussian_filter1d(seen.astype(np.float64), sigma), 1e-3)
        profile = gaussian_filter1d(profile * seen[:, None], sigma, axis=0) / cover[:, None]
        n, _ = axes(bands.direction_deg)
        first = float((np.asarray(look.origin_mm) - np.asarray(bands.centre_mm)) @ n)
        u_mm = first + (np.arange(width) * n[0] + np.arange(height)[:, None] * n[1]) * step_mm
        for channel in range(3):
            rest[..., channel] -= np.interp(u_mm, bands.u_mm[seen], profile[seen, channel])
    shares = []
    for i, j in itertools.product(range(PARTS), repeat=2):
        part = np.s_[i * height // PARTS : (i + 1) * height // PARTS, j * width // PARTS : (j + 1) * width // PARTS]
        cloth = mask[part]
        if cloth.any() and cloth.mean() >= PART_SHOWN:
            whole, left = (float(values[part][cloth].var(axis=0).sum()) for values in (tone, rest))
            shares.append(1 - max(left - PLAIN_VARIANCE, 0.0) / max(whole, PLAIN_VARIANCE))
    return float(np.median(shares)) if shares else 0.0


def apart_deg(first: float, second: float) -> float:
    """Between two axes, degrees in [0, 90]; beyond a right angle it counts on to 180."""
    return abs(folded_deg(first - second))


def bands_of(swatch: Swatch, family: Family) -> Bands:
    """The family's bands at full size, its direction in (-90, 90].

    Found in a picture of the whole, however coarse, the direction stays: it leaves a part of one coarse pixel from end
    to end. Found in a window, it is refined on the whole.
    """
    direction = family.direction_deg
    if family.look.mask.size < swatch.mask.size and family.look.px_per_mm >= swatch.px_per_mm:
        direction = folded_deg(sharpest_direction(swatch, direction, within_deg=0.5)[0])
    return band_profiles(swatch, direction)


def measured(bands: Bands, family: Family, same_look: float = SAME_LOOK) -> Family:
    """The family with its repeat and stripes, as far as they show."""
    direction, strength = bands.direction_deg, family.variance
    tone, weight = bands.sheared(0.0)
    extent = float((weight > 0).sum()) * bands.step_mm
    places = step_places(np.asarray(tone[weight > 0], np.float64), bands.step_mm) * bands.step_mm
    steps = int(((places > BORDER_MM) & (places < extent - BORDER_MM)).sum())
    bands, repeat = _repeating(bands, same_look)
    if repeat is None:
        return Family(
            direction_deg=direction, variance=strength, look=family.look, bands=bands, steps=steps, extent_mm=extent
        )
    fit = refine_repeat(bands, repeat)
    sequence = cut(fold(bands, fit), same_look)
    if sequence is not None:
        fit, sequence = whole(bands, fit, sequence, extent, same_look)
    stripes, first = to_stripes(sequence, fit.repeat) if sequence is not None else ((), 0.0)
    return Family(
        direction_deg=direction,
        variance=strength,
        look=family.look,
        bands=bands,
        fit=fit,
        stripes=stripes,
        first_mm=first,
        steps=steps,
        extent_mm=extent,
    )


def _repeating(bands: Bands, same_look: float) -> tuple[Bands, float | None]:
    """The bands and their repeat. Where stripes lie slanting, the profile's ends show the cloth's corners alone; so
    where they do not repeat, the wide part is looked at, if it shows many repeats."""
    repeat = _repeat_of(bands, same_look)
    if repeat is not None:
        return bands, repeat
    wide = bands.middle(CORNER_SHARE)
    length = float((wide.weight > 0).any(axis=0).sum()) * bands.step_mm
    repeat = _repeat_of(wide, same_look)
    return (wide, repeat) if repeat is not None and length >= SURE_REPEATS * repeat else (bands, None)


def _repeat_of(bands: Bands, same_look: float) -> float | None:
    """The repeat of all bands together; None where few of it show and some bands repeat by less. What lies on the
    others spoils the comparison by short lags, and not that by long ones, which take it beyond the cloth, and with
    their greater play may be no whole number of the repeat."""
    repeat = _repeat_in(bands, same_look)
    if repeat is None or bands.weight.any(axis=0).sum() * bands.step_mm >= PAIRED_REPEATS * repeat:
        return repeat
    for rows in np.array_split(np.arange(len(bands.v_mm)), _GROUPS):
        part = replace(bands, weight=bands.weight * np.isin(np.arange(len(bands.v_mm)), rows)[:, None])
        other = _repeat_in(part, same_look)
        if other is not None and other < PART_AT_MOST * repeat:
            return None
    return repeat


def _repeat_in(bands: Bands, same_look: float) -> float | None:
    tone, weight = bands.sheared(0.0)
    return find_repeat(np.asarray(tone, np.float64), np.asarray(weight, np.float64), bands.step_mm, same_look)


def cleaned(swatch: Swatch, coarse: Swatch) -> tuple[Swatch, float] | None:
    """The swatch without what does not look as its stripes do elsewhere, and how many repeats must be seen of it then;
    None where nothing is left out.

    What lies on the cloth hides some bands and not others. What lies beside it and was taken for cloth (a ruler along
    its edge, a corner of the table) shows at an end of the profile, where nothing else looks so.
    """
    families = find_families(swatch, coarse, variance(coarse))
    first, other = (bands_of(swatch, family) for family in families)
    bare = without_crossing(first, without_crossing(other, first))
    crossing = without_crossing(other, bare)
    ways = [first]
    if _likely_repeat_of(crossing) is not None:
        ways = [way for way in (bare, crossing) if _repeating(way, CHECK_SAME_LOOK)[1] is None]
    mask, least = swatch.mask, CLEANED_REPEATS
    for bands in ways:
        likely = _likely_repeat_of(bands)
        clean = without_blemishes(bands, likely) if likely is not None else None
        if clean is not None:
            seen, kept = bands.weight > 0, clean.weight > 0
            mask = mask & ~bands.on(swatch, seen & ~kept)
            if (seen.any(axis=0) & ~kept.any(axis=0)).any():
                least = SURE_REPEATS
    return None if mask is swatch.mask else (replace(swatch, mask=mask), least)


def _likely_repeat_of(bands: Bands) -> float | None:
    return likely_repeat(*bands.usual(), bands.step_mm, CLEANED_REPEATS)
