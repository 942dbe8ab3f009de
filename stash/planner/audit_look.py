"""The audit of how strips look beside each other: what shows on each, read off the cloth where it was cut.

Written from the contract and the rules of the trade alone; it shares nothing with the search but the types. What a
strip shows is a row of stripes with their widths, from its left to its right, its start on top; it is read off the cut
line as it lies on the cloth, and two rows are held against each other, or one against the other backwards.

References:
    The project's contract, "The garment file": mirror, outward, corner, hide. Even and uneven stripes: "Sewing with
    Stripes, Checks, and Plaids", Pacific Northwest Extension.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

from stash.garment.part import Strip
from stash.planner.audit_cloth import Cloth
from stash.planner.plan import Placement
from stash.planner.problem import Problem

SEEN_MM = 0.05  # what shows no more than this is not seen, and widths that differ by no more are equal
EQUAL_MM = 0.01  # lengths that differ by at most this are equal (the contract, "Frame")
WRITTEN_MM = 0.001  # finished lengths are written to this

Row = list[tuple[str, float]]
"""Label and width of each stripe that shows."""


def looks_wrong(
    problem: Problem, by_part: Mapping[str, Sequence[Placement]], cloths: Mapping[str, Cloth]
) -> Iterator[str]:
    """What is wrong with faces, mirror sets, corners, what lies outward, and where joins lie."""
    placed = {strip.id: sorted(by_part.get(strip.id, ()), key=lambda one: one.segment) for strip in problem.strips}
    shown = [strip for strip in problem.strips if placed[strip.id] and _readable(strip, placed[strip.id], cloths)]
    for strip in shown:
        yield from _faces_wrong(strip, placed[strip.id], cloths)
        yield from _joins_wrong(strip, placed[strip.id])
    for one, other, mirror, why in _asked(shown):
        if (one.fabric, one.stripe) != (other.fabric, other.stripe):
            yield f"{one.id} and {other.id} ({why}): they do not show the same stripe of the same fabric"
            continue
        half = min(_half(one), _half(other))
        rows = [_row(one, segment, cloths, (-half, half)) for segment in placed[one.id]]
        others = [_row(other, segment, cloths, (-half, half)) for segment in placed[other.id]]
        measured = _measured(cloths[placed[one.id][0].piece])
        if not all(_same(row[::-1] if mirror else row, against, measured) for row in rows for against in others):
            yield f"{one.id} and {other.id} ({why}): what shows beside stripe {one.stripe} does not match"
    yield from _outward_wrong(shown, placed, cloths)


def begun_looks_wrong(
    problem: Problem,
    by_part: Mapping[str, Sequence[Placement]],
    cut: Mapping[str, Sequence[Placement]],
    cloths: Mapping[str, Cloth],
) -> Iterator[str]:
    """Whether what is begun goes on showing what is cut of it shows."""
    for strip in problem.strips:
        rows = by_part.get(strip.id, ())
        if strip.laid is None or not rows or not _readable(strip, rows, cloths):
            continue
        window, measured = (-_half(strip), _half(strip)), _measured(cloths[rows[0].piece])
        (before,) = cut[strip.id]
        shown = _row(strip, before, cloths, window)
        if not all(_same(_row(strip, row, cloths, window), shown, measured) for row in rows):
            yield f"{strip.id}: what shows beside stripe {strip.stripe} is not what shows on what is cut of it"


def _readable(strip: Strip, segments: Sequence[Placement], cloths: Mapping[str, Cloth]) -> bool:
    """Whether there are stripes to be read where the strip was cut; where not, the audit says so by itself."""
    return all(
        len(segment.outline_mm) == 4
        and cloths[segment.piece].fabric.id == strip.fabric
        and cloths[segment.piece].piece.stripe_direction_deg is not None
        and cloths[segment.piece].fabric.print.across is not None
        for segment in segments
    )


def _faces_wrong(strip: Strip, segments: Sequence[Placement], cloths: Mapping[str, Cloth]) -> Iterator[str]:
    for segment in segments:
        fabric = cloths[segment.piece].fabric
        if segment.over and not fabric.both_faces:
            yield f"{strip.id} segment {segment.segment}: is turned over, but the faces of {fabric.id} are not alike"
    if len({segment.over for segment in segments}) > 1:
        yield f"{strip.id}: some segments are turned over and some are not"


def _joins_wrong(strip: Strip, segments: Sequence[Placement]) -> Iterator[str]:
    reached = 0.0
    for number, segment in enumerate(segments[:-1], 1):
        reached += segment.finished_mm or 0.0
        slack = EQUAL_MM + number * WRITTEN_MM
        if strip.hide_mm and not any(low - slack <= reached <= high + slack for low, high in strip.hide_mm):
            yield f"{strip.id}: a join {reached:.3f} mm from its start, where none may lie"


def _asked(strips: Sequence[Strip]) -> Iterator[tuple[Strip, Strip, bool, str]]:
    """Who must look like whom, whether as in a mirror, and what asks for it."""
    sets: dict[str, list[Strip]] = defaultdict(list)
    by_id = {strip.id: strip for strip in strips}
    for strip in strips:
        if strip.mirror is not None:
            sets[strip.mirror].append(strip)
        for one, end, two, far in strip.corner:
            if one in by_id and two in by_id:
                yield by_id[one], by_id[two], end == far, f"corner of {end} and {far}"
    for name, members in sets.items():
        for (place, first), (beside, second) in combinations(enumerate(members), 2):
            yield first, second, (beside - place) % 2 == 1, f"mirror {name}"


def _outward_wrong(
    strips: Sequence[Strip], placed: Mapping[str, Sequence[Placement]], cloths: Mapping[str, Cloth]
) -> Iterator[str]:
    for one, other in combinations([strip for strip in strips if strip.outward is not None], 2):
        if (one.fabric, one.stripe, one.garment) != (other.fabric, other.stripe, other.garment):
            continue
        half = min(_half(one), _half(other))
        rows = [_from_middle(one, segment, cloths, half) for segment in placed[one.id]]
        others = [_from_middle(other, segment, cloths, half) for segment in placed[other.id]]
        measured = _measured(cloths[placed[one.id][0].piece])
        if not all(_same(row, against, measured) for row in rows for against in others):
            yield f"{one.id} and {other.id} do not show the same neighbour of stripe {one.stripe} outward"


def _from_middle(strip: Strip, segment: Placement, cloths: Mapping[str, Cloth], half_mm: float) -> Row:
    """What shows from the middle of the stripe outwards."""
    if strip.outward == "right":
        return _row(strip, segment, cloths, (0.0, half_mm))
    return _row(strip, segment, cloths, (-half_mm, 0.0))[::-1]


def _half(strip: Strip) -> float:
    """How far beside the middle of its stripe a strip shows; binding shows its width on either face."""
    return strip.width_mm if strip.make == "bound" else strip.width_mm / 2


def _row(strip: Strip, segment: Placement, cloths: Mapping[str, Cloth], window_mm: tuple[float, float]) -> Row:
    """The stripes between two places right of the stripe's middle (negative: left), from left to right."""
    cloth = cloths[segment.piece]
    backwards = segment.turned != segment.over
    across = [cloth.in_print(corner)[0] for corner in segment.outline_mm]
    middle = max(across) - strip.stripe_at_mm if backwards else min(across) + strip.stripe_at_mm
    near, far = (-window_mm[1], -window_mm[0]) if backwards else window_mm
    repeat = cloth.fabric.print.across
    assert repeat is not None
    bands = []
    for stripe in cloth.fabric.print.stripes:
        start = cloth.piece.stripe_origin_mm + stripe.centre_mm - stripe.width_mm / 2
        first = math.floor((middle + near - start) / repeat.value) - 1
        last = math.ceil((middle + far - start) / repeat.value) + 1
        for k in range(first, last + 1):
            low = max(start + k * repeat.value, middle + near)
            high = min(start + k * repeat.value + stripe.width_mm, middle + far)
            if high - low > SEEN_MM:
                bands.append((low, high - low, stripe.label))
    row: Row = []
    for _, width, label in sorted(bands):
        if row and row[-1][0] == label:
            width += row.pop()[1]
        row.append((label, width))
    return row[::-1] if backwards else row


def _same(one: Row, other: Row, measured_mm: float) -> bool:
    """Whether two rows show the same stripes, as wide."""
    alike = [label for label, _ in one] == [label for label, _ in other]
    return alike and all(abs(a - b) <= SEEN_MM + measured_mm for (_, a), (_, b) in zip(one, other, strict=True))


def _measured(cloth: Cloth) -> float:
    """How much wider or narrower than it was measured a stripe may be."""
    print_ = cloth.fabric.print
    widest = max((stripe.width_u95_mm for stripe in print_.stripes), default=0.0)
    return 2 * (widest + (print_.across.u95 if print_.across is not None else 0.0))
