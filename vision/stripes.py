"""The stripes of one repeat: folded, cut where the look changes, fitted to a part of a pixel, named and lettered."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from vision.blur import fit_edges, rough_edges
from vision.change import FAINT_LOOK, SAME_LOOK, step_places
from vision.colour import ciede2000, encoded, hex_of, lab_to_srgb, linear, name, srgb_to_lab
from vision.estimate import Estimate
from vision.measurement import Stripe
from vision.profile import Bands
from vision.repeat import RepeatFit, refine_repeat, turns_differ
from vision.sequence import FULL_REPEATS
from vision.swatch import TONE_SHIFT, Doubles, Mask
from vision.turn import OTHER_LOOK, other_looks

#: Narrower than this is a line of the weave or the soft side of an edge, mm (the finest stripe asked for is 1.5 mm).
LEAST_STRIPE_MM = 0.6
#: Nor is a stripe narrower than this many times the edges' blur told from the edge itself.
LEAST_STRIPE_BLURS = 1.3
#: A boundary's place is not known better than this share of the edges' blur: light and dark spread unlike (674 stripes
#: of 160 hard scenes: 96 % of their widths lie within what comes of it).
BLUR_SHARE_U95 = 0.10
#: Widths within this of each other, beside their own uncertainty, are one width to the eye and the needle (practice).
WIDTH_PLAY_MM = 0.4
WIDTH_PLAY_RELATIVE = 0.03
#: Stripes this much of the widest one's width count as equally wide, and are then told apart by their shade: steps of
#: L* that the light of another photograph does not blur (our judgement).
EQUAL_SHARE = 0.93
SHADE_STEP = 12.0
#: Neighbours that look more alike than SAME_LOOK are stripes all the same from FAINT_LOOK on where their step is seen
#: in every repeat, of so many whole ones at least, by this share of what it mostly is.
FAINT_REPEATS, FAINT_SHARE = 2, 0.5
#: They must be as wide as the finest stripe asked for, mm, and are compared beyond so many blurs of their boundary and
#: within so many mm of it, for light changes slowly.
FAINT_LEAST_MM, FAINT_BLURS, FAINT_REACH_MM = 1.5, 2.0, 4.0
_SAMPLES_PER_STEP = 3
_MOST_SAMPLES = 3000
_MOST_STRIPES = 40
#: A repeat has up to so many stripes (the most that are asked for), so a sequence is held against itself at so many
#: turns at most, and at more than a few only where so many of the longer repeats show: the means of many turns, each of
#: which shows seldom, are some time as far apart by chance (simulated: in up to three cloths of a thousand, before
#: their widths are looked at).
MOST_IN_REPEAT = 16
MANY_REPEATS = 4.0
_FEW_TURNS = 3
#: Stripes of one look, a turn apart, are different stripes where their widths differ by this much, mm, and by this
#: share (less is how evenly cloth is woven, and how it is drawn as it lies: practice), and by so many times their u95.
OTHER_WIDTH_MM, OTHER_WIDTH_SHARE = 0.2, 0.01
OTHER_WIDTH_SPREADS = 2.5
#: Stripes whose colours were found to differ from turn to turn are told apart from this share of what they differ by.
_APART_SHARE = 0.8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fold:
    """One repeat, the mean of all that show: tone (N, 3) at N even steps of ``step_mm`` from the fit's origin.

    ``each`` (2, K, N, 3) is the tone of every repeat alone in either half along the stripes, brought to the mean's
    light, and not finite where it is not seen.
    """

    tone: Doubles
    step_mm: float
    repeat_mm: float
    each: Doubles = field(default_factory=lambda: np.zeros((2, 0, 0, 3)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StripeCut:
    """Boundaries (M,) in mm from the fit's origin, ascending; Lab (M, 3) of the stripe after each; the edges' blur, and
    up to what CIEDE2000 two stripes were taken to look the same.

    ``scatter_u95_mm`` is the part of the boundaries' uncertainty that boundaries between the same colours do not share.
    """

    boundaries_mm: Doubles
    boundaries_u95_mm: Doubles
    scatter_u95_mm: Doubles
    lab: Doubles
    blur_mm: float
    same_look: float = SAME_LOOK


def fold(bands: Bands, fit: RepeatFit) -> Fold:
    """Lay all repeats on top of each other, each brought to the mean's light."""
    repeat = fit.repeat.value
    size = int(np.clip(round(repeat / bands.step_mm * _SAMPLES_PER_STEP), 48, _MOST_SAMPLES))
    u, v = np.broadcast_arrays(bands.u_mm[None, :], bands.v_mm[:, None])
    phase = fit.phase(np.asarray(u), np.asarray(v))
    low, high = int(np.floor(phase.min())), int(np.ceil(phase.max()))
    places = low + (np.arange((high - low) * size) + 0.5) / size
    halves = np.zeros((2, len(places), 3)), np.zeros((2, len(places)))
    for j in range(len(bands.v_mm)):
        total, cover = (sums[2 * j // len(bands.v_mm)] for sums in halves)
        weight = (bands.weight[j] > 0).astype(np.float64)
        seen = np.interp(places, phase[j], weight, left=0, right=0) > 0.99
        for channel in range(3):
            total[:, channel] += np.interp(places, phase[j], bands.tone[j, :, channel]) * seen
        cover += seen
    total, cover = (sums.sum(axis=0) for sums in halves)
    mean = total / np.maximum(cover, 1)[:, None]
    tone, gain = _evened(mean.reshape(high - low, size, 3), cover.reshape(high - low, size))
    with np.errstate(invalid="ignore"):
        each = (halves[0] / halves[1][..., None]).reshape(2, high - low, size, 3) / gain[:, None, None]
    return Fold(tone=tone, step_mm=repeat / size, repeat_mm=repeat, each=each)


def _evened(cells: Doubles, covers: Doubles) -> tuple[Doubles, Doubles]:
    """The mean repeat (N, 3) of repeats (K, N, 3) whose light differs: each is scaled to the mean, twice over; and
    what it was divided by (K,).

    The light's slope within a repeat is taken from how it changes from one repeat to the next.
    """
    count, size = covers.shape
    gain = np.ones(count)
    tone = np.zeros((size, 3))
    for _ in range(3):
        tone = ((cells / gain[:, None, None]) * covers[..., None]).sum(0) / np.maximum(covers.sum(0), 1e-9)[:, None]
        energy = ((tone * tone).sum(-1) * covers).sum(1)
        common = ((cells * tone).sum(-1) * covers).sum(1)
        gain = np.where(energy > 0, common / np.maximum(energy, 1e-9), 1.0)
        gain = np.clip(gain / np.average(gain, weights=covers.sum(1) + 1e-9), 0.5, 2.0)
    full = covers.mean(1) > 0.3 * covers.mean()
    if full.sum() < 2:
        return tone, gain
    slope = float(np.polyfit(np.arange(count)[full], np.log(gain[full]), 1)[0])
    return np.asarray(tone / np.exp(slope * ((np.arange(size) + 0.5) / size - 0.5))[:, None]), gain


def cut(folded: Fold, same_look: float = SAME_LOOK) -> StripeCut | None:
    """Where the look changes round the repeat, or None where it changes fewer than twice.

    Where no change reaches ``same_look`` the print is tone on tone, and half of SAME_LOOK is asked for.
    """
    return _cut(folded, same_look) or _cut(folded, min(same_look, SAME_LOOK / 2))


def _cut(folded: Fold, same_look: float) -> StripeCut | None:
    places = step_places(folded.tone, folded.step_mm, wrap=True, least=min(same_look, FAINT_LOOK))
    if len(places) < 2:
        return None
    bounds, light = (places.astype(np.float64) + 0.5) * folded.step_mm, _light(folded)
    for _ in range(_MOST_STRIPES):
        bounds, colours, blur_mm = rough_edges(light, folded.step_mm, bounds)
        left = _stripes_left(folded, bounds, _lab(colours), blur_mm, same_look)
        if left is None:
            return _settled(folded, bounds, same_look)
        if len(left) < 2:
            return None
        bounds = left
    return None


def _light(folded: Fold) -> Doubles:
    return linear(lab_to_srgb((folded.tone - TONE_SHIFT).astype(np.float32)).astype(np.float64))


def _lab(light: Doubles) -> Doubles:
    return np.asarray(srgb_to_lab(encoded(light)), dtype=np.float64)


def _settled(folded: Fold, bounds: Doubles, same_look: float) -> StripeCut:
    """The sequence with its boundaries (M,) where they fit best."""
    edges = fit_edges(_light(folded), folded.step_mm, bounds, 2 * _SAMPLES_PER_STEP)
    shared = np.hypot(edges.power_u95_mm, BLUR_SHARE_U95 * edges.blur_mm)
    return StripeCut(
        boundaries_mm=edges.boundaries_mm,
        boundaries_u95_mm=np.hypot(edges.noise_u95_mm, shared),
        scatter_u95_mm=edges.noise_u95_mm,
        lab=_lab(edges.light),
        blur_mm=edges.blur_mm,
        same_look=same_look,
    )


def _stripes_left(folded: Fold, bounds: Doubles, lab: Doubles, blur_mm: float, same_look: float) -> Doubles | None:
    """The boundaries left when the worst would-be stripe is given to its neighbours; None where all are stripes."""
    widths = np.diff(np.append(bounds, bounds[0] + folded.repeat_mm))
    change = ciede2000(lab, np.roll(lab, 1, axis=0))
    faint = [
        k
        for k in np.flatnonzero(change < same_look)
        if change[k] < FAINT_LOOK or not _in_every_repeat(folded, bounds[k], min(widths[k], widths[k - 1]), blur_mm)
    ]
    if faint:
        return np.delete(bounds, min(faint, key=lambda k: float(change[k])))
    thin = int(np.argmin(widths))
    if widths[thin] >= max(LEAST_STRIPE_MM, LEAST_STRIPE_BLURS * blur_mm):
        return None
    after = (thin + 1) % len(bounds)
    middle = (bounds[thin] + widths[thin] / 2) % folded.repeat_mm
    return np.asarray(np.sort(np.append(np.delete(bounds, [thin, after]), middle)))


def _in_every_repeat(folded: Fold, boundary_mm: float, width_mm: float, blur_mm: float) -> bool:
    """Whether a faint step between two stripes, the narrower of which is so wide, is seen in each of several repeats,
    in either half of its length.

    A crease, a shadow or uneven dye lies in one of them, or not all along; what is printed comes back in all.
    """
    near, far = FAINT_BLURS * blur_mm, min(width_mm - FAINT_BLURS * blur_mm, FAINT_REACH_MM)
    if width_mm < FAINT_LEAST_MM or far - near < FAINT_LEAST_MM / 2:
        return False
    size = len(folded.tone)
    offsets = np.arange(math.ceil(near / folded.step_mm), math.floor(far / folded.step_mm) + 1)
    at = round(boundary_mm / folded.step_mm - 0.5)
    before, after = (folded.each[:, :, (at + sign * offsets) % size].mean(axis=2) for sign in (-1, 1))
    steps = after - before
    seen = np.isfinite(steps).all(axis=2)
    if seen.all(axis=0).sum() < FAINT_REPEATS:
        return False
    steps = steps[seen]
    usual = steps.mean(axis=0)
    return bool((steps @ usual >= FAINT_SHARE * (usual @ usual)).all())


def whole(
    bands: Bands, fit: RepeatFit, sequence: StripeCut, extent_mm: float, same_look: float = SAME_LOOK
) -> tuple[RepeatFit, StripeCut]:
    """The fit of the whole sequence, said once.

    Of some times the repeat where stripes of one look differ in colour or in width from turn to turn, and so again in
    every turn; of a part of it where all its parts are the same in look and width.
    """
    count = len(sequence.boundaries_mm)
    for turns in range(count // 2, 1, -1):
        if count % turns or not _says_itself(sequence, fit.repeat.value, turns):
            continue
        part = replace(fit, repeat=fit.repeat * (1 / turns))
        other = other_looks(bands, part, sequence.boundaries_mm[: count // turns], sequence.blur_mm, turns)
        if other.any():
            sequence = _told_apart(sequence, turns, other)
            continue
        shorter = refine_repeat(bands, part.repeat.value)
        once = cut(fold(bands, shorter), same_look)
        if once is not None and len(once.boundaries_mm) * turns == count:
            return whole(bands, shorter, once, extent_mm, same_look)
    for times in range(2, max(_FEW_TURNS, MOST_IN_REPEAT // count) + 1):
        if times * fit.repeat.value * (FULL_REPEATS if times <= _FEW_TURNS else MANY_REPEATS) > extent_mm:
            break
        other = other_looks(bands, fit, sequence.boundaries_mm, sequence.blur_mm, times)
        if other.any():
            return fit.said(times), _told_apart(_said(bands, fit, sequence, times), times, other)
        if not turns_differ(fit, times):
            continue
        longer = cut(fold(bands, replace(fit, repeat=fit.repeat * times)), same_look)
        if longer is not None and _widths_differ(longer, times * fit.repeat.value, times, count):
            refined = refine_repeat(bands, times * fit.repeat.value)
            return whole(bands, refined, cut(fold(bands, refined), same_look) or longer, extent_mm, same_look)
    return fit, sequence


def _said(bands: Bands, fit: RepeatFit, sequence: StripeCut, times: int) -> StripeCut:
    """A sequence said ``times`` times, each turn with colours and boundaries of its own."""
    folded = fold(bands, fit.said(times))
    starts = np.concatenate([sequence.boundaries_mm + k * fit.repeat.value for k in range(times)])
    return _settled(folded, starts, sequence.same_look)


def _told_apart(sequence: StripeCut, turns: int, other: Mask) -> StripeCut:
    """A sequence said ``turns`` times, of which the ``other`` stripes (M,) of a turn have colours of their own in each,
    and the rest one and the same."""
    looks = sequence.lab.reshape(turns, len(other), 3)
    lab = np.where(other[None, :, None], looks, looks.mean(axis=0)).reshape(-1, 3)
    steps = [ciede2000(looks[:, k], np.roll(looks[:, k], 1, axis=0)).max() for k in np.flatnonzero(other)]
    return replace(sequence, lab=lab, same_look=min(sequence.same_look, OTHER_LOOK, _APART_SHARE * float(min(steps))))


def _says_itself(sequence: StripeCut, repeat_mm: float, turns: int) -> bool:
    """Whether a sequence is a shorter one said ``turns`` times, as far as looks and widths tell."""
    count = len(sequence.boundaries_mm) // turns
    if _widths_differ(sequence, repeat_mm, turns, count):
        return False
    looks = sequence.lab.reshape(turns, count, 3)
    return bool((ciede2000(looks, looks[:1]) <= sequence.same_look).all())


def _widths_differ(longer: StripeCut, repeat_mm: float, times: int, count: int) -> bool:
    """Whether the stripes of ``times`` turns of ``count`` stripes differ surely in width between the turns.

    Only the boundaries' scatter counts: what blur and light do to an edge they do to the same edge in every turn.
    """
    bounds, u95 = longer.boundaries_mm, longer.scatter_u95_mm
    if len(bounds) != times * count:
        return False
    widths = np.diff(np.append(bounds, bounds[0] + repeat_mm)).reshape(times, count)
    spread = np.hypot(u95, np.roll(u95, -1)).reshape(times, count)
    least = np.maximum(OTHER_WIDTH_MM, OTHER_WIDTH_SHARE * widths.mean(axis=0))
    sure = np.maximum(least, OTHER_WIDTH_SPREADS * np.sqrt((spread**2).sum(axis=0)))
    return bool((np.ptp(widths, axis=0) > sure).any())


def letter(lab: Sequence[Doubles] | Doubles, same_look: float = SAME_LOOK) -> tuple[str, ...]:
    """A letter for each colour by first appearance; colours that look like a letter's mean carry it, but for the one
    that stands right before them, from which they were told apart."""
    groups: list[list[int]] = []
    lab = np.asarray(lab, dtype=np.float64)
    for k, colour in enumerate(lab):
        near = [math.inf if k - 1 in one else float(ciede2000(colour, lab[one].mean(axis=0))) for one in groups]
        index = int(np.argmin(near)) if near else -1
        if index < 0 or near[index] > same_look:
            groups.append([])
            index = len(groups) - 1
        groups[index].append(k)
    return tuple(_letter(next(n for n, group in enumerate(groups) if k in group)) for k in range(len(lab)))


def _letter(index: int) -> str:
    return chr(ord("A") + index) if index < 26 else _letter(index // 26 - 1) + chr(ord("A") + index % 26)


def is_even(labels: Sequence[str], widths: Sequence[Estimate]) -> bool:
    """Whether the sequence read backwards is a rotation of itself, labels alike and widths within their uncertainty.

    An even stripe reads the same from its dominant stripe both ways (Pacific Northwest Extension, "Sewing with
    Stripes, Checks, and Plaids"), so its axis lies on the middle of a stripe.
    """
    count = len(labels)

    def matches(first: int, second: int) -> bool:
        a, b = widths[first], widths[second]
        play = math.hypot(a.u95, b.u95) + max(WIDTH_PLAY_MM, WIDTH_PLAY_RELATIVE * max(a.value, b.value))
        return labels[first] == labels[second] and abs(a.value - b.value) <= play

    return any(all(matches(k, (turn - k) % count) for k in range(count)) for turn in range(count))


def _widths_u95(sequence: StripeCut) -> Doubles:
    """Of each stripe's width (M,), mm: what blur and light do to its two boundaries adds up where it is lighter, or
    darker, than both its neighbours, for it makes such a stripe wider, or narrower, on both sides."""
    scatter, lightness = sequence.scatter_u95_mm, sequence.lab[:, 0]
    shared = np.sqrt(np.maximum(sequence.boundaries_u95_mm**2 - scatter**2, 0.0))
    shared_after = np.roll(shared, -1)
    alone = (lightness - np.roll(lightness, 1)) * (lightness - np.roll(lightness, -1)) > 0
    both = np.where(alone, shared + shared_after, np.hypot(shared, shared_after))
    return np.asarray(np.sqrt(scatter**2 + np.roll(scatter, -1) ** 2 + both**2))


def to_stripes(sequence: StripeCut, repeat: Estimate) -> tuple[tuple[Stripe, ...], float]:
    """The stripes of the document, the widest first, and where that one begins, mm from the fit's origin.

    So A is the widest stripe, and the darkest of equally wide ones, whichever part of the cloth the picture shows.
    """
    bounds = sequence.boundaries_mm
    widths = np.diff(np.append(bounds, bounds[0] + repeat.value))
    spread = _widths_u95(sequence)
    shades = np.rint(sequence.lab[:, 0] / SHADE_STEP)
    wide = np.flatnonzero(widths >= EQUAL_SHARE * widths.max())
    first = int(min(wide, key=lambda at: tuple(np.roll(shades, -at))))
    lab, widths, spread = (np.roll(values, -first, axis=0) for values in (sequence.lab, widths, spread))
    labels = letter(lab, sequence.same_look)
    shared = {label: lab[[k for k, other in enumerate(labels) if other == label]].mean(0) for label in labels}
    stripes, start = [], 0.0
    for k, label in enumerate(labels):
        hex_colour = hex_of(shared[label])
        width = float(widths[k])
        stripes.append(
            Stripe(
                label=label,
                width=Estimate(width, math.hypot(float(spread[k]), width * repeat.relative_u95)),
                centre_mm=start + width / 2,
                hex=hex_colour,
                colour=name(hex_colour),
            )
        )
        start += width
    return tuple(stripes), float(bounds[first])
