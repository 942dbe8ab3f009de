"""A ruler or tape that was not read and lies right across the cloth, from table to table, taken for a part of it.

Beyond the cloth on both sides it is as wide, and in line; over the cloth both its sides make a step of colour, and
nothing between them that goes along it makes one so large, or what stands out shows other colours than the cloth: ticks
that crowd make steps too. The arms of a cloth go on in it without a step, or in stripes of which there are more.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import cv2
import numpy as np
import shapely

from vision.covering import SLENDER, long_box, main_colours
from vision.edge import signed_area
from vision.overhang import STEP, Look, looks, stepping
from vision.square import SquareOn
from vision.swatch import Doubles, Floats, Mask

#: Straight pieces of an outline bend by no more than this, mm, and are so long at least, mm; so many are looked at, the
#: longest (time). Two are sides of one ruler where their directions are so near, degrees, and they lie so far apart, mm
#: (practice).
_BENT_MM, _LEAST_PIECE_MM, _MOST_PIECES, _PARALLEL_DEG, _WIDTHS_MM = 1.2, 8.0, 16, 2.0, (8.0, 60.0)
#: It stands out on both sides by so much at least, mm, or as far as the picture goes, and cloth shows above and below
#: it along so much, mm.
_LEAST_OUT_MM, _LEAST_OVER_MM = 8.0, 20.0
#: Its ends, and its sides beyond the cloth, are straight to this, mm, at this share of places.
_STRAIGHT_MM, _MOST = 1.5, 0.8
#: So near to its sides, mm, their steps are looked for; so far within, mm, what lies between them. The steps are so
#: many times what is stepped there all along, and are seen on this share of its way over the cloth.
_NEAR_MM, _INSET_MM, _TIMES, _LEAST_SHARE = 1.5, 3.0, 1.5, 0.6
#: What stands out has the cloth's colours where more than this share of it is so near to one of them, tone; they are
#: told from so many pixels at least.
_OWN_SHARE, _OWN, _LEAST_SHOWN = 0.3, 7.0, 200
#: So far beside its sides, mm, cloth is looked for.
_BESIDE_MM = 4.0
#: A ruler is wider than is known of it by so much at least, mm; what is known of it and of the cloth is so near, mm.
_WIDER_MM, _GAP_MM = 4.0, 4.0


class _Piece(NamedTuple):
    """A straight piece of an outline: its middle (2,), px, its length, px, and its direction, degrees, the cloth lying
    below it."""

    middle: Doubles
    long: float
    turn_deg: float


def crossing(square: SquareOn, found_mm: Sequence[Doubles], covered_mm: Sequence[Doubles]) -> tuple[Doubles, ...]:
    """Rectangles (4, 2), mm, over the rulers right across what was found (polygons), one of each at most.
    ``covered_mm`` are polygons of what was read."""
    origin = np.asarray(square.origin_mm)
    return tuple(
        origin + ruler / look.px_per_mm
        for look in looks(square, found_mm, covered_mm)
        if (ruler := _across(look)) is not None
    )


def widened(square: SquareOn, found_mm: Sequence[Doubles], covered_mm: Sequence[Doubles]) -> tuple[Doubles, ...]:
    """What covers (polygons), each ruler right across what was found (polygons) as wide as it is seen to be there: of a
    clear one, through which the cloth shows, a part only may be known."""
    return tuple(
        next((whole for found in found_mm if (whole := _wider(square, found, outline)) is not None), outline)
        for outline in covered_mm
    )


def _wider(square: SquareOn, found: Doubles, outline: Doubles) -> Doubles | None:
    """The rectangle (4, 2), mm, of a ruler of which an outline (N, 2) is known, seen with what was found (M, 2); None
    where it is no wider."""
    box = long_box(outline)
    areas = [shapely.Polygon(polygon).buffer(_GAP_MM) for polygon in (found, outline)]
    if box.long < SLENDER * box.short or not areas[0].intersects(areas[1]):
        return None
    both = areas[0].union(areas[1]).buffer(-_GAP_MM)
    if both.geom_type != "Polygon":
        return None
    (whole,) = crossing(square, [np.asarray(both.exterior.coords[:-1])], ()) or (None,)
    if whole is None or long_box(whole).short < box.short + _WIDER_MM:
        return None
    return whole if shapely.Polygon(whole).buffer(_GAP_MM).covers(shapely.Polygon(outline)) else None


def _across(look: Look) -> Doubles | None:
    """The rectangle (4, 2), px, of the ruler between two straight pieces of an outline; None where there is none."""
    pieces = _pieces(look)
    low, high = (width * look.px_per_mm for width in _WIDTHS_MM)
    for k, one in enumerate(pieces):
        for other in pieces[k + 1 :]:
            if abs((one.turn_deg - other.turn_deg) % 360 - 180) > _PARALLEL_DEG:
                continue
            turned = _Piece(other.middle, other.long, one.turn_deg + (other.turn_deg - one.turn_deg) % 360 - 180)
            turn = math.radians(np.average([one.turn_deg, turned.turn_deg], weights=[one.long, other.long]))
            along, down = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
            wide = float((other.middle - one.middle) @ down)
            if low <= wide <= high and (ruler := _ruler(look, one.middle, along, down, wide)) is not None:
                return ruler
    return None


def _pieces(look: Look) -> list[_Piece]:
    """The straight pieces of an outline, longest first."""
    corners = cv2.approxPolyDP(look.ring.astype(np.float32), _BENT_MM * look.px_per_mm, True).reshape(-1, 2)
    about = 0.0 if signed_area(look.ring) > 0 else 180.0
    pieces = []
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        way = end - start
        if math.hypot(*way) >= _LEAST_PIECE_MM * look.px_per_mm:
            turn = math.degrees(math.atan2(way[1], way[0])) + about
            pieces.append(_Piece(np.asarray((start + end) / 2, dtype=np.float64), math.hypot(*way), turn))
    return sorted(pieces, key=lambda piece: -piece.long)[:_MOST_PIECES]


def _ruler(look: Look, place: Doubles, along: Doubles, down: Doubles, wide: float) -> Doubles | None:
    """The rectangle (4, 2), px, of a ruler from a place on its upper side down, where it lies right across."""
    per_mm = look.px_per_mm
    u = look.ring @ along
    room, past = round((_BESIDE_MM + _INSET_MM) * per_mm), round(_LEAST_OUT_MM * per_mm)
    corner = along * (u.min() - past) + down * (place @ down - room)
    size = (int(np.ptp(u)) + 2 * past, round(wide) + 2 * room)
    matrix, flags = np.column_stack([along, down, corner]), cv2.WARP_INVERSE_MAP
    cloth, seen = (
        cv2.warpAffine(part.astype(np.uint8), matrix, size, flags=flags | cv2.INTER_NEAREST) > 0
        for part in (look.cloth, look.seen)
    )
    top, bottom, beside = room, room + round(wide), round(_BESIDE_MM * per_mm)
    over = cloth[top - beside] & cloth[bottom + beside]
    either = np.flatnonzero(cloth[top - beside] | cloth[bottom + beside])
    if over.sum() < _LEAST_OVER_MM * per_mm:
        return None
    ends = [_end(np.asarray(cloth), np.asarray(seen), (top, bottom), int(at), way, per_mm)
            for at, way in ((either[0], -1), (either[-1], 1))]  # fmt: skip
    if ends[0] is None or ends[1] is None:
        return None
    tone = np.asarray(
        cv2.warpAffine(look.tone, matrix, size, flags=flags | cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE),
        dtype=np.float32,
    )
    columns = np.asarray(over & seen.all(axis=0))
    stepped, quiet = _steps(tone, columns, (top, bottom), per_mm)
    if not stepped:
        return None
    rectangle = ((ends[0], top), (ends[1], top), (ends[1], bottom), (ends[0], bottom))
    corners = np.array([corner + x * along + y * down for x, y in rectangle])
    out = np.zeros(seen.shape, bool)
    out[top:bottom, : either[0]] = out[top:bottom, either[-1] + 1 :] = True
    return corners if quiet or _foreign(look, corners, tone[out & cloth & seen]) else None


def _end(cloth: Mask, seen: Mask, rows: tuple[int, int], at: int, way: int, per_mm: float) -> float | None:
    """The column in which a ruler between two rows ends that stands out of the cloth (H, W) from a column on, one way;
    None where it does not, or its end or sides are not straight. At the picture's border it is cut off."""
    top, bottom = rows
    inset, most = round(_STRAIGHT_MM * per_mm), _STRAIGHT_MM * per_mm
    middle = cloth[top + inset : bottom - inset, at::way][:, : None if way > 0 else at + 1]
    lengths = np.where(middle.all(axis=1), middle.shape[1], middle.argmin(axis=1))
    long = int(np.median(lengths))
    last = at + way * long
    cut = not 0 <= last < cloth.shape[1] or not seen[top:bottom, last].any()
    if not cut and (long < _LEAST_OUT_MM * per_mm or float(np.quantile(np.abs(lengths - long), _MOST)) > most):
        return None
    near = round(_INSET_MM * per_mm)
    columns = at + way * np.arange(near, max(long - near, near))
    if len(columns) < _NEAR_MM * per_mm:
        return float(last) if cut else None
    beyond = np.concatenate([cloth[top - 2 * inset, columns], cloth[bottom + 2 * inset, columns]])
    return float(last) if float(beyond.mean()) <= 1 - _MOST else None


def _steps(tone: Floats, over: Mask, rows: tuple[int, int], per_mm: float) -> tuple[bool, bool]:
    """Whether both sides of a ruler make a step of colour over the cloth, in the columns ``over`` (W,) of a picture
    (H, W, 3), and whether nothing between them does so all along."""
    if over.sum() < _LEAST_OVER_MM * per_mm / 2:
        return False, False
    steps = stepping(tone, per_mm)[:, over]
    near, inset = round(_NEAR_MM * per_mm), round(_INSET_MM * per_mm)
    sides = [steps[row - near : row + near + 1].max(axis=0) for row in rows]
    between = float(np.median(steps[rows[0] + inset : rows[1] - inset], axis=1).max())
    stepped, quiet = (
        all(float((side >= least).mean()) >= _LEAST_SHARE for side in sides)
        for least in (STEP, max(STEP, _TIMES * between))
    )
    return stepped, quiet


def _foreign(look: Look, corners: Doubles, tone: Floats) -> bool:
    """Whether what stands out, of a tone (K, 3), shows other colours than what is cloth beside a rectangle (4, 2)."""
    beside = look.cloth.astype(np.uint8)
    cv2.fillPoly(beside, [np.rint(corners).astype(np.int32)], 0)
    well_within = cv2.erode(beside, np.ones((2 * round(_INSET_MM * look.px_per_mm) + 1,) * 2, np.uint8)) > 0
    shown = look.tone[well_within & look.seen]
    if not len(tone) or len(shown) < _LEAST_SHOWN:
        return False
    away = np.linalg.norm(tone[:, None] - main_colours(shown), axis=2).min(axis=1)
    return float((away < _OWN).mean()) <= _OWN_SHARE
