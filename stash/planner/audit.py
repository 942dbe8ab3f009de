"""The independent audit: does a plan keep every promise that a yes makes?

The search never shows a plan that this refuses. It is written from the contract alone and shares nothing with the
search but the types: outlines are taken as they would be cut, laid on the cloth as shapely polygons, and every rule is
looked up where it can be seen: on the cloth.

References:
    The project's contract: "The garment file" (segments, phase, pairs, panels) and "enough" (what a yes means).
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import combinations, pairwise
from typing import Any

from stash.garment.part import Panel, Strip
from stash.piece import Point
from stash.planner.audit_before import begun_wrong, beside_the_cut, by_themselves
from stash.planner.audit_cloth import Cloth, Occurrence, in_frame, moved, rectangle, shape_of
from stash.planner.audit_look import begun_looks_wrong, looks_wrong
from stash.planner.plan import Leftover, Placement
from stash.planner.problem import Problem

EQUAL_MM = 0.01  # lengths that differ by at most this are equal (the contract, "Frame")
WRITTEN_MM = 0.001  # coordinates are written to this
SLACK_MM = EQUAL_MM + WRITTEN_MM  # what a written coordinate may be off by before it counts as wrong
SLIVER_MM = 1.0  # left over thinner than this is not worth listing (shears follow chalk no better: common practice)


def audit(problem: Problem, placements: Sequence[Placement], *, strict: bool = True) -> tuple[str, ...]:
    """What is wrong with a plan for the problem, each in plain words; empty where it is sound.

    ``strict``: against the outlines moved in by their u95 and the strips widened by that of the repeat, as a yes must
    hold; else against the cloth as measured.
    """
    cloths = {
        piece.id: Cloth(piece=piece, fabric=problem.fabrics[piece.fabric], allowance="strict" if strict else "nominal")
        for piece in problem.pieces
    }
    by_part: dict[str, list[Placement]] = defaultdict(list)
    for placement in placements:
        by_part[placement.part].append(placement)

    wrong = [f"{name} is placed but is no part of the garment" for name in by_part if name not in _names(problem)]
    wrong += [f"{_where(p)}: there is no piece {p.piece}" for p in placements if p.piece not in cloths]
    if wrong:
        return tuple(wrong)
    for strip in problem.strips:
        wrong += _strip_wrong(strip, by_part[strip.id], cloths)
    for panel in problem.panels:
        wrong += _panel_wrong(panel, by_part[panel.id], cloths)
    alone = by_themselves(problem)
    wrong += _pairs_wrong(alone, by_part, cloths)
    wrong += looks_wrong(alone, by_part, cloths)
    if alone != problem or problem.before:
        beside, rows, cut = beside_the_cut(problem, by_part, "strict" if strict else "nominal")
        wrong += begun_wrong(problem, by_part, cloths)
        wrong += _pairs_wrong(beside, rows, cloths | cut)
        wrong += looks_wrong(beside, rows, cloths | cut)
        wrong += begun_looks_wrong(problem, by_part, rows, cloths | cut)
    wrong += _overlaps(problem, placements, cloths)
    return tuple(wrong)


def audit_leftovers(
    problem: Problem, placements: Sequence[Placement], leftovers: Sequence[Leftover]
) -> tuple[str, ...]:
    """Whether each piece that was cut is its placements and leftovers, nothing twice and nothing lost but slivers."""
    wrong = []
    for piece in problem.pieces:
        left = [_ring(row) for row in leftovers if row.piece == piece.id]
        cut = [shape_of(p.outline_mm) for p in placements if p.piece == piece.id]
        if not left and not cut:
            continue
        whole = Cloth(piece=piece, fabric=problem.fabrics[piece.fabric], allowance="nominal").whole
        remain = whole
        for shape in cut:
            remain = remain.difference(moved(shape, -EQUAL_MM))
        for shape in left:
            if not moved(shape, -2 * SLACK_MM).difference(remain).is_empty:
                wrong.append(f"{piece.id}: a leftover takes in cloth that is cut or is not there")
            remain = remain.difference(moved(shape, -EQUAL_MM))
        lost = moved(remain, -SLIVER_MM / 2).area
        if lost > 0:
            wrong.append(f"{piece.id}: {lost:.0f} mm² of cloth is neither cut nor left over")
    known = {piece.id for piece in problem.pieces}
    wrong += [f"a leftover of {row.piece}, which is no piece" for row in leftovers if row.piece not in known]
    return tuple(wrong)


# --- strips -----------------------------------------------------------------------------------------------------


def _strip_wrong(strip: Strip, segments: list[Placement], cloths: dict[str, Cloth]) -> Iterator[str]:
    if not segments:
        yield f"{strip.id} is not placed"
        return
    segments = sorted(segments, key=lambda placement: placement.segment)
    yield from _lengths_wrong(strip, segments)
    for segment in segments:
        yield from _segment_wrong(strip, segment, len(segments), cloths[segment.piece])
    if len({segment.turned for segment in segments}) > 1:
        yield f"{strip.id}: some segments are turned and some are not"
    shown = [{run.neighbours for run in _runs_shown(strip, segment, cloths[segment.piece])} for segment in segments]
    if all(shown) and not set.intersection(*shown):
        yield f"{strip.id}: its segments show different neighbours beside stripe {strip.stripe}"
    for before, after in pairwise(segments):
        yield from _join_wrong(strip, before, after, cloths)


def _lengths_wrong(strip: Strip, segments: list[Placement]) -> Iterator[str]:
    count = len(segments)
    if [segment.segment for segment in segments] != list(range(1, count + 1)):
        yield f"{strip.id}: its segments are not numbered 1 to {count}"
    if count > strip.joins + 1:
        yield f"{strip.id}: {count} segments, but {strip.joins} joins are allowed"
    finished = [segment.finished_mm for segment in segments if segment.finished_mm is not None]
    if len(finished) < count:
        yield f"{strip.id}: a segment without its finished length"
        return
    if abs(sum(finished) - strip.length_mm) > EQUAL_MM + WRITTEN_MM * count:
        yield f"{strip.id}: its segments make {sum(finished):.3f} mm, needed {strip.length_mm:.3f} mm"
    if count > 1 and min(finished) < strip.shortest_mm - SLACK_MM:
        yield f"{strip.id}: a segment of {min(finished):.3f} mm, at least {strip.shortest_mm:.3f} mm is asked for"


def _segment_wrong(strip: Strip, segment: Placement, count: int, cloth: Cloth) -> Iterator[str]:
    where = _where(segment)
    if cloth.fabric.id != strip.fabric:
        yield f"{where}: lies on {cloth.fabric.id}, needed {strip.fabric}"
        return
    if segment.stripe != strip.stripe:
        yield f"{where}: shows stripe {segment.stripe}, needed {strip.stripe}"
    if segment.turned and cloth.fabric.one_way:
        yield f"{where}: is turned, but {cloth.fabric.id} has one way up"
    if cloth.piece.stripe_direction_deg is None:
        yield f"{where}: it is not known which way the stripes of {cloth.piece.id} run"
        return
    expected = (segment.finished_mm or 0.0) + 2 * strip.seam_mm + _extra(strip, segment, count)
    if not _is_rectangle(segment, cloth, strip.cut_width_mm, expected):
        yield (
            f"{where}: is not cut as a rectangle {strip.cut_width_mm:.3f} x {expected:.3f} mm along the stripes, "
            "from the start end's first corner"
        )
        return
    runs = _runs_shown(strip, segment, cloth)
    if not runs:
        yield f"{where}: no stripe {strip.stripe} runs {strip.stripe_at_mm:.3f} mm from its first cut edge"
        return
    yield from _outside(where, segment, min((cloth.widening_mm(run) for run in runs), key=abs), cloth)


def _join_wrong(strip: Strip, before: Placement, after: Placement, cloths: dict[str, Cloth]) -> Iterator[str]:
    repeat = cloths[before.piece].fabric.print.along
    if repeat is None or before.finished_mm is None:
        return
    step = -before.finished_mm if before.turned else before.finished_mm
    expected = _phase(strip, before, cloths[before.piece], repeat.value) + step
    found = _phase(strip, after, cloths[after.piece], repeat.value)
    if _apart(expected, found, repeat.value) > SLACK_MM + WRITTEN_MM:
        yield f"{strip.id}: the print does not run on from segment {before.segment} to {after.segment}"


def _pairs_wrong(problem: Problem, by_part: dict[str, list[Placement]], cloths: dict[str, Cloth]) -> Iterator[str]:
    """Pairs, and mirror sets where the print repeats along the stripes: turned alike, starting at the same place."""
    pairs: dict[str, list[Strip]] = defaultdict(list)
    for strip in problem.strips:
        if strip.pair is not None and by_part[strip.id]:
            pairs[f"pair {strip.pair}"].append(strip)
        if strip.mirror is not None and by_part[strip.id] and problem.fabrics[strip.fabric].print.along is not None:
            pairs[f"mirror {strip.mirror}"].append(strip)
    for name, strips in pairs.items():
        for one, other in pairwise(strips):
            first = min(by_part[one.id], key=lambda p: p.segment)
            second = min(by_part[other.id], key=lambda p: p.segment)
            if first.turned != second.turned:
                yield f"{name}: {one.id} and {other.id} are not turned alike"
            repeat = cloths[first.piece].fabric.print.along
            if repeat is None or one.fabric != other.fabric:
                continue
            start = _phase(one, first, cloths[first.piece], repeat.value)
            if _apart(start, _phase(other, second, cloths[second.piece], repeat.value), repeat.value) > SLACK_MM:
                yield f"{name}: {one.id} and {other.id} do not start at the same place of the print"


def _runs_shown(strip: Strip, segment: Placement, cloth: Cloth) -> list[Occurrence]:
    """The runs of the strip's stripe that lie where the segment's stripe should be.

    A turned strip is the same strip after a half turn: its first cut edge is the one where p·n is greatest. So it is
    with one that is turned over; done both, its first edge is back.
    """
    if len(segment.outline_mm) != 4 or cloth.fabric.id != strip.fabric:
        return []
    across = [cloth.in_print(corner)[0] for corner in segment.outline_mm]
    swapped = segment.turned != segment.over
    centre = max(across) - strip.stripe_at_mm if swapped else min(across) + strip.stripe_at_mm
    return cloth.occurrences_near(strip.stripe, centre, SLACK_MM)


def _phase(strip: Strip, segment: Placement, cloth: Cloth, repeat_mm: float) -> float:
    """Where in the print the segment's finished start lies, in [0, repeat)."""
    inwards = strip.seam_mm + (strip.extra_mm[0] if segment.segment == 1 else 0.0)
    start = cloth.in_print(segment.outline_mm[0])[1]
    finished_start = start - inwards if segment.turned else start + inwards
    return (finished_start - cloth.piece.along_origin_mm) % repeat_mm


def _apart(one: float, other: float, repeat_mm: float) -> float:
    """How far apart two places of a print are, the shorter way round."""
    gap = (one - other) % repeat_mm
    return min(gap, repeat_mm - gap)


def _extra(strip: Strip, segment: Placement, count: int) -> float:
    at_start = strip.extra_mm[0] if segment.segment == 1 else 0.0
    return at_start + (strip.extra_mm[1] if segment.segment == count else 0.0)


def _is_rectangle(segment: Placement, cloth: Cloth, width_mm: float, length_mm: float) -> bool:
    """Whether the outline is that rectangle, its corners in the contract's order."""
    if len(segment.outline_mm) != 4:
        return False
    corners = [cloth.in_print(corner) for corner in segment.outline_mm]
    left, start = corners[0]
    far = start - length_mm if segment.turned else start + length_mm
    wanted = [(left, start), (left + width_mm, start), (left + width_mm, far), (left, far)]
    return all(_near(corner, want) for corner, want in zip(corners, wanted, strict=True))


# --- panels -----------------------------------------------------------------------------------------------------


def _panel_wrong(panel: Panel, placed: list[Placement], cloths: dict[str, Cloth]) -> Iterator[str]:
    if len(placed) != 1:
        yield f"{panel.id} is placed {len(placed)} times, needed once" if placed else f"{panel.id} is not placed"
        return
    placement, cloth = placed[0], cloths[placed[0].piece]
    if cloth.fabric.id != panel.fabric:
        yield f"{panel.id}: lies on {cloth.fabric.id}, needed {panel.fabric}"
        return
    if placement.stripe is not None or placement.finished_mm is not None:
        yield f"{panel.id}: a panel has no stripe and no finished length of its own"
    if placement.turned and cloth.fabric.one_way:
        yield f"{panel.id}: is turned, but {cloth.fabric.id} has one way up"
    if panel.align == "print" and not cloth.direction_known:
        yield f"{panel.id}: it is not known which way the print of {cloth.piece.id} lies"
        return
    if not _is_panel(panel, placement, 0.0 if panel.align == "grain" else cloth.print_deg):
        yield (
            f"{panel.id}: is not cut as a rectangle {panel.width_mm + 2 * panel.seam_mm:.3f} x "
            f"{panel.length_mm + 2 * panel.seam_mm:.3f} mm along the {panel.align}"
        )
        return
    yield from _outside(_where(placement), placement, 0.0, cloth)


def _is_panel(panel: Panel, placement: Placement, direction_deg: float) -> bool:
    if len(placement.outline_mm) != 4:
        return False
    width, length = panel.width_mm + 2 * panel.seam_mm, panel.length_mm + 2 * panel.seam_mm
    corners = [in_frame(corner, direction_deg) for corner in placement.outline_mm]
    left, top = min(u for u, _ in corners), min(v for _, v in corners)
    ways = [(width, length), (length, width)] if panel.turn else [(width, length)]
    for across, along in ways:
        wanted = [(left, top), (left + across, top), (left + across, top + along), (left, top + along)]
        starts = [index for index, corner in enumerate(corners) if _near(corner, wanted[0])]
        for start in starts:
            turned = corners[start:] + corners[:start]
            for order in (turned, [turned[0], *reversed(turned[1:])]):
                if all(_near(corner, want) for corner, want in zip(order, wanted, strict=True)):
                    return True
    return False


# --- on the cloth -----------------------------------------------------------------------------------------------


def _outside(where: str, placement: Placement, widening_mm: float, cloth: Cloth) -> Iterator[str]:
    """Whether what is cut, shrunk by the slack, lies on cloth that may be cut."""
    needed = _needed(placement, widening_mm, cloth, SLACK_MM)
    beyond = needed.difference(cloth.usable)
    if beyond.is_empty:
        return
    if needed.intersects(cloth.spoilt) and needed.intersection(cloth.spoilt).area > 0:
        yield f"{where}: lies over a hole or flaw of {cloth.piece.id}"
    else:
        yield f"{where}: reaches beyond {cloth.piece.id}"


def _overlaps(problem: Problem, placements: Sequence[Placement], cloths: dict[str, Cloth]) -> Iterator[str]:
    """Which placements on one piece take the same cloth, each with its own widening."""
    strips = {strip.id: strip for strip in problem.strips}
    taken: dict[str, list[tuple[Placement, Any]]] = defaultdict(list)
    for placement in placements:
        cloth = cloths[placement.piece]
        strip = strips.get(placement.part)
        runs = _runs_shown(strip, placement, cloth) if strip else []
        widening = min((cloth.widening_mm(run) for run in runs), key=abs, default=0.0)
        if len(placement.outline_mm) >= 3:
            taken[placement.piece].append((placement, _needed(placement, widening, cloth, SLACK_MM / 2)))
    for piece, rows in taken.items():
        for (one, here), (other, there) in combinations(rows, 2):
            if here.intersects(there) and here.intersection(there).area > 0:
                yield f"{_where(one)} and {_where(other)} lie over each other on {piece}"


def _needed(placement: Placement, widening_mm: float, cloth: Cloth, slack_mm: float) -> Any:
    """The cloth a placement needs: widened at both long edges, then let in by the slack all round."""
    shape = shape_of(placement.outline_mm)
    if widening_mm:
        corners = [cloth.in_print(corner) for corner in placement.outline_mm]
        across, along = [u for u, _ in corners], [v for _, v in corners]
        shape = rectangle(
            (min(across) - widening_mm, max(across) + widening_mm), (min(along), max(along)), cloth.print_deg
        )
    return moved(shape, -slack_mm)


def _ring(row: Leftover) -> Any:
    shape = shape_of(row.outline_mm)
    for hole in row.holes_mm:
        shape = shape.difference(shape_of(hole))
    return shape


def _near(one: Point, other: Point) -> bool:
    return math.hypot(one[0] - other[0], one[1] - other[1]) <= SLACK_MM + WRITTEN_MM


def _names(problem: Problem) -> set[str]:
    return {part.id for part in problem.parts}


def _where(placement: Placement) -> str:
    if placement.finished_mm is None:
        return placement.part
    return f"{placement.part} segment {placement.segment}"
