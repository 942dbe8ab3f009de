"""How well one scrap goes with one fabric: its stripes laid on the fabric's at every place and either way round, its
colours compared by CIEDE2000 once the light is allowed for, its repeat and widths by what is known of them.

A fit's ``score`` is the logarithm of how likely the scrap would look as it does, were it of the fabric, up to what all
fabrics share; misfits count as normal ones, in standard deviations from their u95 (JCGM 100:2008).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations, permutations
from typing import Final

import numpy as np

from stash.nearness import differences
from stash.recognition.alignment import LOOK_SPREAD, Alignment, align
from stash.recognition.impression import Floats, Impression, Run, gathered
from stash.recognition.light import Light, lab
from stash.recognition.portrait import Portrait, Ring
from vision.estimate import Estimate

#: Repeats and widths of one fabric wander beyond their u95 by this share, and widths by this, mm (standard deviations;
#: GARMENT: repeats wander by 1/2 to 1 %, common practice).
REPEAT_WANDER: Final = 0.006
WIDTH_WANDER: Final = 0.012
WIDTH_SPREAD_MM: Final = 0.12
#: Repeats that differ by more than this are those of another cloth, washed or not (5 %, common practice).
REPEAT_SHARE: Final = 0.06
#: How far the share of the cloth that a colour takes is off on a scrap, and how much of it may be of no colour known.
SHARE_SPREAD: Final = 0.10
STRANGE_SHARE: Final = 0.10
#: A place of no colour that the fabric has, CIEDE2000.
STRANGE_DE: Final = 14.0
#: No one width or repeat speaks against a fabric by more than so many standard deviations.
_MOST_OFF: Final = 6.0
#: Said against a lattice of another kind, and stripes that cannot be told one from the other (squares of deviations).
_OTHER_LATTICE: Final = 9.0
_OTHER_STRIPES: Final = 6.0
#: At most so many independent colours are counted of one run.
_MOST_LOOKS: Final = 8
#: Rounds in which light and colours are settled in turn.
_ROUNDS: Final = 5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """How a scrap goes with a fabric. ``factor`` is what light it takes; ``laid`` how its stripes lie on the fabric's,
    ``repeats_off_mm`` and ``widths_off_mm`` how far those are off where both are known; ``whole``: a repeat shows."""

    score: float
    factor: Floats
    colour_de: float
    laid: Alignment | None = None
    repeats_off_mm: tuple[float, ...] = ()
    widths_off_mm: float | None = None
    whole: bool = False


def fit(seen: Impression, known: Portrait, light: Light) -> Fit | None:
    """How the scrap goes with the fabric; None where it cannot be of it."""
    if seen.kind is None:
        return _fit_colours(seen, known, light)
    if seen.kind == "plain":
        return _fit_colours(seen, known, light) if known.kind == "plain" else _within_stripe(seen, known, light)
    if seen.kind == "motif":
        return _fit_motif(seen, known, light) if known.kind == "motif" else None
    if seen.kind not in ("stripe", "check") or known.kind not in ("stripe", "check") or not seen.runs:
        return None
    if seen.kind == "check" and known.kind == "stripe":
        return None
    return _fit_stripes(seen, known, light)


def looks_of(seen: Impression) -> int:
    """How many colours a scrap shows that a fabric must have, too: of each run those of its stripes."""
    if not seen.runs:
        return max(1, len(gathered(lab(seen.pixels))))
    return sum(_looks(run) for run in seen.runs)


def _looks(run: Run) -> int:
    if run.repeat is not None and run.stripes:
        return len({stripe.label for stripe in run.stripes})
    return max(1, len(gathered(lab(run.colours[:: max(1, len(run.colours) // 200)]))))


def _fit_stripes(seen: Impression, known: Portrait, light: Light) -> Fit | None:
    """The runs of a scrap on the fabric's rings, each on another; a scrap may lie a quarter turned."""
    best: Fit | None = None
    count = min(len(seen.runs), len(known.rings))
    for runs in combinations(seen.runs, count):
        for rings in permutations(known.rings, count):
            fits = [_fit_run(run, ring, light, known.spread_de) for run, ring in zip(runs, rings, strict=True)]
            sure = [one for one in fits if one is not None]
            if not sure or len(sure) < count:
                continue
            both = replace(
                sure[0],
                score=sum(one.score for one in sure),
                repeats_off_mm=tuple(off for one in sure for off in one.repeats_off_mm),
            )
            if best is None or both.score > best.score:
                best = both
    return best


def _fit_run(run: Run, ring: Ring, light: Light, spread_de: float) -> Fit | None:
    off = 0.0
    repeats: tuple[float, ...] = ()
    if run.repeat is not None:
        apart = run.repeat.value - ring.repeat.value
        if abs(apart) > REPEAT_SHARE * ring.repeat.value:
            return None
        off, repeats = _squares(run.repeat, ring.repeat, REPEAT_WANDER), (apart,)
    if run.repeat is not None and run.stripes:
        looks = min(len(run.stripes), _MOST_LOOKS)
    else:
        looks = min(len(run.edges_mm) + 1, _MOST_LOOKS)
    fits = [
        _with_widths(one, run, ring, -one.misfit - 0.5 * off, repeats)
        for one in align(run, ring, light, spread_de, looks)
    ]
    if not fits:
        return None
    best = max(fits, key=lambda one: one.score)
    ways = 1 if run.repeat is not None else 2 * len(ring.stripes)
    return replace(best, score=best.score - math.log(ways))


def _with_widths(laid: Alignment, run: Run, ring: Ring, score: float, repeats: tuple[float, ...]) -> Fit:
    widths = None if run.repeat is None or not run.stripes else _widths(laid, run, ring)
    typical = None
    if widths is not None:
        squares, typical = widths
        score -= 0.5 * squares
    return Fit(
        score=score,
        factor=laid.factor,
        colour_de=laid.colour_de,
        laid=laid,
        repeats_off_mm=repeats,
        widths_off_mm=typical,
        whole=run.repeat is not None,
    )


def _widths(laid: Alignment, run: Run, ring: Ring) -> tuple[float, float]:
    """The squares of how far the widths of the stripes are off, in deviations, and the most in mm."""
    if len(run.stripes) != len(ring.stripes):
        return _OTHER_STRIPES, 0.0
    way = -laid.stretch if laid.reverse else laid.stretch
    centres = np.array([run.origin_mm - run.start_mm + stripe.centre_mm for stripe in run.stripes])
    places = (laid.start_mm + way * centres) % ring.repeat.value
    pairs = np.minimum(np.searchsorted(ring.ends_mm, places, side="right"), len(ring.stripes) - 1)
    if len(set(pairs.tolist())) < len(pairs):
        return _OTHER_STRIPES, 0.0
    total, most = 0.0, 0.0
    for one, at in zip(run.stripes, pairs, strict=True):
        other = ring.stripes[at]
        apart = one.width_mm * laid.stretch - other.width_mm
        spread = math.hypot(
            one.width_u95_mm / 2, other.width_u95_mm / 2, WIDTH_SPREAD_MM, WIDTH_WANDER * other.width_mm
        )
        total += min(abs(apart) / spread, _MOST_OFF) ** 2
        most = max(most, abs(apart))
    return total, most


def _squares(one: Estimate, other: Estimate, wander: float) -> float:
    spread = math.hypot(one.u95 / 2, other.u95 / 2, wander * other.value)
    return min(abs(one.value - other.value) / spread, 2 * _MOST_OFF) ** 2


def _fit_motif(seen: Impression, known: Portrait, light: Light) -> Fit | None:
    """A motif's two repeats, a quarter turned or not, and its colours."""
    fitted = _fit_colours(seen, known, light)
    theirs = (known.fabric.print.across, known.fabric.print.along)
    if fitted is None or None in theirs:
        return fitted
    best = min(_repeats_off((seen.across, seen.along), theirs), key=lambda row: row[0], default=None)
    if best is None:
        return None
    lattice = known.fabric.print.extra.get("lattice")
    off = best[0]
    if isinstance(lattice, str) and seen.lattice is not None:
        other = {"half_drop": "brick", "brick": "half_drop"}.get(lattice, lattice) if best[2] else lattice
        off += _OTHER_LATTICE * (other != seen.lattice)
    return replace(fitted, score=fitted.score - 0.5 * off, repeats_off_mm=best[1], whole=seen.across is not None)


def _repeats_off(
    own: tuple[Estimate | None, Estimate | None], theirs: tuple[Estimate | None, Estimate | None]
) -> Iterator[tuple[float, tuple[float, ...], bool]]:
    """For both ways to lay it: squares of deviations, how far each repeat is off, and whether it lies turned."""
    for turned, pair in ((False, theirs), (True, theirs[::-1])):
        rows = [(one, other) for one, other in zip(own, pair, strict=True) if one is not None and other is not None]
        if all(abs(one.value - other.value) <= REPEAT_SHARE * other.value for one, other in rows):
            squares = sum(_squares(one, other, REPEAT_WANDER) for one, other in rows)
            yield squares, tuple(one.value - other.value for one, other in rows), turned


def _fit_colours(seen: Impression, known: Portrait, light: Light) -> Fit | None:
    """The scrap's colours as the fabric's, each place the one that it is nearest to, and the share that each takes."""
    if not len(seen.pixels):
        return None
    colours, count = known.colours, len(known.colours)
    factor = light.fitted(seen.pixels.mean(axis=0)[None], (known.shares @ colours)[None], np.ones(1), LOOK_SPREAD * 2)
    nearest = np.zeros(len(seen.pixels), dtype=int)
    for _ in range(_ROUNDS):
        shown = np.clip(factor * colours, 0, 1)
        apart = np.linalg.norm(seen.pixels[:, None] - shown[None], axis=2)
        nearest = apart.argmin(axis=1)
        weight = (apart.min(axis=1) < 0.15) * count / len(nearest)
        factor = light.fitted(seen.pixels, colours[nearest], weight, LOOK_SPREAD * max(1.0, known.spread_de / 3))
    shown_lab, seen_lab = lab(np.clip(factor * colours, 0, 1)), lab(seen.pixels)
    off = differences(seen_lab, shown_lab[nearest])
    shares = np.bincount(nearest[off < STRANGE_DE], minlength=count) / len(nearest)
    middles = [
        float(differences(np.median(seen_lab[(nearest == k) & (off < STRANGE_DE)], axis=0), shown_lab[k])[0])
        for k in range(count)
        if shares[k] > 0.01
    ]
    if not middles:
        return None
    colour = sum((one / known.spread_de) ** 2 for one in middles)
    strange = ((1 - shares.sum()) / STRANGE_SHARE) ** 2 if seen.kind != "plain" else 0.0
    taken = float((((shares - known.shares) / SHARE_SPREAD) ** 2).sum()) if count > 1 else 0.0
    return Fit(
        score=-0.5 * float(colour + min(strange, 36.0) + min(taken, 36.0) + light.strain(factor)),
        factor=factor,
        colour_de=float(np.mean(middles)),
    )


def _within_stripe(seen: Impression, known: Portrait, light: Light) -> Fit | None:
    """A scrap that looks plain may be cut from within one wide stripe."""
    if known.kind != "stripe" or not known.rings:
        return None
    extent = float(seen.extent_mm)
    best: Fit | None = None
    for stripe, colour in zip(known.rings[0].stripes, known.rings[0].colours, strict=True):
        room = stripe.width_mm - extent
        if room <= 0:
            continue
        alone = replace(known, kind="plain", rings=(), colours=colour[None], shares=np.ones(1))
        one = _fit_colours(seen, alone, light)
        if one is None:
            continue
        one = replace(one, score=one.score + math.log(room / known.rings[0].repeat.value))
        if best is None or one.score > best.score:
            best = one
    return best
