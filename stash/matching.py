"""Finds a fabric's repeat again on another piece of it, so that its stripes are counted from the same place."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from stash.fabric import Print, Stripe
from stash.piece import Piece

#: Two stripes may differ by this much and be the same one under other light, CIEDE2000 (our own judgement: the same
#: cloth photographed by lamp and by window differs by 5 to 15, neighbouring stripes mostly by more than 30).
ALIKE_DE = 20.0
#: The best fit must be this much better than the next one to count as found, CIEDE2000 (our own judgement).
LEAD_DE = 6.0
#: A stripe's width may differ by this share of the repeat (our own judgement: blurred edges between close colours).
WIDTH_SHARE = 0.08
#: Repeats that differ by more than this are those of another cloth (GARMENT: repeats wander by 1/2 to 1 %, and washing
#: takes up to 5 %; common practice), as a share.
REPEAT_SHARE = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """Where the fabric's repeat starts on the piece, mm along n; ``reverse``: n must be turned about first."""

    origin_mm: float
    reverse: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """Where a scrap lies in its fabric's repeat: the direction of n, where the repeat starts along it, and how well
    that is known, as it lies in the picture."""

    direction_deg: float
    origin_mm: float
    u95_mm: float


def laid_piece(piece: Piece, laid: Laid, sway_mm: float) -> Piece:
    """The piece with its stripes as they were laid, its edges that much less sure; ``sway_mm`` is how far a stripe may
    lie off at its ends because its direction is not known exactly (95 %)."""
    direction = laid.direction_deg
    return replace(
        piece,
        outline_u95_mm=math.hypot(piece.outline_u95_mm, sway_mm, laid.u95_mm),
        stripe_direction_deg=direction if direction <= 180.0 else direction - 360.0,
        stripe_origin_mm=laid.origin_mm,
    )


def match(seen: Print, origin_mm: float, fabric: Print, difference: Callable[[str, str], float]) -> Match | None:
    """Lays the stripes seen on a piece onto those of the fabric, either way round; None where no one fit is sure.

    ``origin_mm`` is the one that the seen centres are counted from; ``difference`` is CIEDE2000 between two hex
    colours. An even sequence fits both ways round and is taken as it lies.
    """
    if seen.across is None or fabric.across is None or len(seen.stripes) != len(fabric.stripes) or not seen.stripes:
        return None
    if abs(seen.across.value - fabric.across.value) > REPEAT_SHARE * fabric.across.value:
        return None
    ways = {reverse: _fits(seen, fabric, reverse, difference) for reverse in (False, True)}
    reverse = ways[True][0][0] + LEAD_DE < ways[False][0][0]
    (best, shift), *others = ways[reverse]
    if best > ALIKE_DE or any(misfit < best + LEAD_DE for misfit, _ in others):
        return None
    if not reverse and ways[True][0][0] + LEAD_DE / 2 < best:
        return None
    return Match(origin_mm=_origin(seen, origin_mm, fabric, shift, reverse), reverse=reverse)


def _fits(
    seen: Print, fabric: Print, reverse: bool, difference: Callable[[str, str], float]
) -> list[tuple[float, int]]:
    """Every shift with its misfit, best first."""
    count = range(len(seen.stripes))
    return sorted((_misfit(seen, fabric, shift, reverse, difference), shift) for shift in count)


def _pairs(seen: Print, fabric: Print, shift: int, reverse: bool) -> list[tuple[Stripe, Stripe]]:
    count, step = len(fabric.stripes), -1 if reverse else 1
    return [(stripe, fabric.stripes[(shift + step * i) % count]) for i, stripe in enumerate(seen.stripes)]


def _misfit(seen: Print, fabric: Print, shift: int, reverse: bool, difference: Callable[[str, str], float]) -> float:
    """The largest colour difference of a pair; infinite where widths do not agree or a colour is not known."""
    assert seen.across is not None
    assert fabric.across is not None
    scale, room = fabric.across.value / seen.across.value, WIDTH_SHARE * fabric.across.value
    worst = 0.0
    for one, other in _pairs(seen, fabric, shift, reverse):
        if one.hex is None or other.hex is None or abs(one.width_mm * scale - other.width_mm) > room:
            return math.inf
        worst = max(worst, difference(one.hex, other.hex))
    return worst


def _origin(seen: Print, origin_mm: float, fabric: Print, shift: int, reverse: bool) -> float:
    """The mean, over the pairs, of where the fabric's repeat would have to start; as near to 0 as can be."""
    assert fabric.across is not None
    repeat, way = fabric.across.value, -1.0 if reverse else 1.0
    starts = [
        way * (origin_mm + one.centre_mm) - other.centre_mm for one, other in _pairs(seen, fabric, shift, reverse)
    ]
    first = starts[0]
    mean = first + sum(math.remainder(start - first, repeat) for start in starts) / len(starts)
    return math.remainder(mean, repeat)
