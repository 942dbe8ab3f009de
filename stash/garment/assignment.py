"""Which cloth makes the body and which the borders: every sensible assignment of a garment's cloths, as garments.

The body's cloth is that of the largest panel, the borders' that of the most strip; parts of any third cloth keep it.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from stash.fabric import Fabric, Stripe
from stash.garment.part import Align, Garment, Panel, Strip
from stash.lengths import inches
from stash.piece import Piece

Lie = Literal["across", "along"]
"""Whether the body's width lies across the cloth or along its lengthwise grain."""

#: A print turned less than this off the grain is cut alike either way, degrees: 1 mm in 1 m (our judgement).
ALIKE_DEG: Final = 0.06

#: Lengths that differ by at most this are equal, mm (the contract, "Common to every command").
ALIKE_MM: Final = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Assignment:
    """A garment with its cloths exchanged. ``body`` and ``border`` are fabric ids; ``border`` None without borders.

    ``shown`` are the stripes that the borders show, none where their cloth is plain; ``chosen`` says that the garment
    names no such stripe, and the widest was taken. ``align`` is None where print and grain come to the same.
    """

    garment: Garment
    body: str | None
    border: str | None
    shown: tuple[Stripe, ...]
    chosen: bool
    align: Align | None
    lie: Lie | None
    as_written: bool
    remarks: tuple[str, ...] = ()


def assignments(garment: Garment, fabrics: Mapping[str, Fabric], pieces: Sequence[Piece]) -> Iterator[Assignment]:
    """Every sensible assignment of the fabrics to body and borders, the one that is written first.

    A fabric with no cloth in the stash is none; borders come from any cloth whose stripes are known, and from plain
    cloth as plain bands on a body of another.
    """
    there = {piece.fabric for piece in pieces}
    cloths = [fabric for key, fabric in fabrics.items() if key in there]
    body, border = _main(garment.panels), _main(garment.strips)
    bodies = _own_first(cloths, body) if body else [None]
    borders = [fabric for fabric in _own_first(cloths, border) if _can_border(fabric)] if border else [None]
    for for_body in bodies:
        for for_border in borders:
            if for_body is not None and for_body == for_border and for_body.print.kind == "plain":
                continue  # plain borders on the same plain cloth are none
            exchange = _Exchange(body_was=body, body=for_body, border_was=border, border=for_border)
            yield from _ways(garment, exchange, pieces)


def _own_first(cloths: Sequence[Fabric], own: str) -> list[Fabric | None]:
    return [*(cloth for cloth in cloths if cloth.id == own), *(cloth for cloth in cloths if cloth.id != own)]


def _can_border(fabric: Fabric | None) -> bool:
    return fabric is not None and (fabric.print.kind == "plain" or bool(fabric.print.stripes))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Exchange:
    """The cloth that was written for the body and for the borders, and what is put in its place."""

    body_was: str | None
    body: Fabric | None
    border_was: str | None
    border: Fabric | None

    def for_panel(self, fabric: str) -> Fabric | None:
        """What a panel of that cloth is cut from now; None: what it was."""
        if fabric == self.body_was:
            return self.body
        return self.border if fabric == self.border_was else None

    def for_strip(self, fabric: str) -> Fabric | None:
        """What a strip of that cloth is cut from now; None: what it was."""
        if fabric == self.border_was:
            return self.border
        return self.body if fabric == self.body_was and _can_border(self.body) else None

    @property
    def same(self) -> bool:
        """Whether everything stays as it is written."""
        return (self.body_was, self.border_was) == (_id(self.body), _id(self.border))


def _ways(garment: Garment, exchange: _Exchange, pieces: Sequence[Piece]) -> Iterator[Assignment]:
    """One assignment both ways round on the cloth, on the print and on the grain, where that makes a difference."""
    largest = max(garment.panels, key=_area, default=None)
    for align in _aligns(exchange.body, pieces) if largest else (None,):
        for lie in _lies(largest):
            panels = tuple(
                _panel(panel, exchange, align, lie if _like(panel, largest) else None) for panel in garment.panels
            )
            bands = [_band(strip, exchange.for_strip(strip.fabric), pieces) for strip in garment.strips]
            strips = _meeting([part for parts, _ in bands for part in parts if isinstance(part, Strip)])
            plain = tuple(part for parts, _ in bands for part in parts if isinstance(part, Panel))
            yield Assignment(
                garment=replace(garment, panels=(*panels, *plain), strips=strips),
                body=_id(exchange.body),
                border=_id(exchange.border),
                shown=_shown(exchange.border, strips),
                chosen=any(chosen for _, chosen in bands),
                align=align,
                lie=lie,
                as_written=exchange.same and (largest is None or align in (None, largest.align)),
                remarks=_remarks(exchange.body, largest, align, lie, pieces),
            )


def _id(fabric: Fabric | None) -> str | None:
    return None if fabric is None else fabric.id


def _aligns(body: Fabric | None, pieces: Sequence[Piece]) -> tuple[Align | None, ...]:
    if body is None or body.print.kind == "plain":
        return (None,)
    turned = [abs(piece.stripe_direction_deg or 0.0) for piece in pieces if piece.fabric == body.id]
    return ("print", "grain") if max(turned, default=0.0) > ALIKE_DEG else (None,)


def _remarks(
    body: Fabric | None, panel: Panel | None, align: Align | None, lie: Lie | None, pieces: Sequence[Piece]
) -> tuple[str, ...]:
    """What comes of cutting the body that way (common practice)."""
    if body is None or panel is None:
        return ()
    told = []
    turned = max((abs(p.stripe_direction_deg or 0.0) for p in pieces if p.fabric == body.id), default=0.0)
    off = f"{turned:.1f}° ({1000 * math.tan(math.radians(turned)):.0f} mm in a metre)"
    if align == "print":
        wide, long = (panel.width_mm, panel.length_mm) if lie == "across" else (panel.length_mm, panel.width_mm)
        told.append(
            f"On the print it takes {_turned_box(wide, long, turned)} of cloth; with hem and cuts on the print and the "
            "sleeve ends along the grain, no width is lost."
        )
        told.append(
            f"On the print, the edges run up to {off} off the grain and stretch: stay-stitch them, tape the fronts and "
            "the neck, and let it hang before hemming."
        )
    if align == "grain":
        told.append(f"On the grain, the print slants by up to {off}; a crooked print is seen, a crooked weave is not.")
    if lie == "along" and (body.one_way or body.print.kind != "plain"):
        told.append("With its width along the cloth, the print runs round the body.")
    return tuple(told)


def _turned_box(wide_mm: float, long_mm: float, turned_deg: float) -> str:
    """The box round a rectangle that lies turned: W cos θ + L sin θ by L cos θ + W sin θ (plane geometry)."""
    cos, sin = math.cos(math.radians(turned_deg)), math.sin(math.radians(turned_deg))
    wide, long = wide_mm * cos + long_mm * sin, long_mm * cos + wide_mm * sin
    return f"{inches(wide, 8, toward='up')} by {inches(long, 8, toward='up')}"


def _lies(largest: Panel | None) -> tuple[Lie | None, ...]:
    if largest is None:
        return (None,)
    square = abs(largest.width_mm - largest.length_mm) <= ALIKE_MM
    return ("across", "along") if largest.turn and not square else ("across",)


def _meeting(strips: Sequence[Strip]) -> tuple[Strip, ...]:
    """The strips without corners at which they meet what has become a plain band."""
    here = {strip.id for strip in strips}
    return tuple(
        replace(strip, corner=tuple(corner for corner in strip.corner if {corner[0], corner[2]} <= here))
        for strip in strips
    )


def _like(panel: Panel, largest: Panel | None) -> bool:
    """Whether the panel is the body, or one of several of the same cloth and size that make it."""
    if largest is None:
        return False
    same = (panel.fabric, panel.turn) == (largest.fabric, largest.turn)
    return same and abs(panel.width_mm - largest.width_mm) + abs(panel.length_mm - largest.length_mm) <= ALIKE_MM


def _panel(panel: Panel, exchange: _Exchange, align: Align | None, lie: Lie | None) -> Panel:
    """The panel from its new cloth; ``lie`` settles which way round it lies."""
    cloth = exchange.for_panel(panel.fabric)
    if cloth is not None:
        of_body = panel.fabric == exchange.body_was
        panel = replace(panel, fabric=cloth.id, align=(align if of_body else None) or panel.align)
    if lie == "along":
        return replace(panel, width_mm=panel.length_mm, length_mm=panel.width_mm, turn=False)
    return replace(panel, turn=False) if lie == "across" else panel


def _band(strip: Strip, cloth: Fabric | None, pieces: Sequence[Piece]) -> tuple[tuple[Strip | Panel, ...], bool]:
    """The strip from its new cloth, and whether its stripe had to be chosen; from plain cloth, plain bands."""
    if cloth is None:
        return (strip,), False
    if cloth.print.kind == "plain":
        return _plain_bands(strip, cloth, pieces), False
    if any(stripe.label == strip.stripe for stripe in cloth.print.stripes):
        return (replace(strip, fabric=cloth.id),), False
    widest = max(cloth.print.stripes, key=lambda stripe: stripe.width_mm)
    return (replace(strip, fabric=cloth.id, stripe=widest.label),), True


def _plain_bands(strip: Strip, cloth: Fabric, pieces: Sequence[Piece]) -> tuple[Panel, ...]:
    """The strip as rectangles of plain cloth, in as few equal lengths as its longest piece asks for and joins allow."""
    seams = 2 * strip.seam_mm
    longest = max((_longest(piece) for piece in pieces if piece.fabric == cloth.id), default=0.0)
    room = max(1.0, longest - seams - max(strip.extra_mm))
    count = min(strip.joins + 1, max(1, math.ceil(strip.length_mm / room)))
    each = strip.length_mm / count
    extra = [0.0] * count
    extra[0] += strip.extra_mm[0]
    extra[-1] += strip.extra_mm[1]
    return tuple(
        Panel(
            id=strip.id if count == 1 else f"{strip.id} {k + 1}",
            fabric=cloth.id,
            width_mm=strip.cut_width_mm,
            length_mm=each + seams + extra[k],
            seam_mm=0.0,
            turn=True,
        )
        for k in range(count)
    )


def _longest(piece: Piece) -> float:
    """The longer side of the box round the piece."""
    xs, ys = zip(*piece.outline_mm, strict=True)
    return float(max(max(xs) - min(xs), max(ys) - min(ys)))


def _shown(border: Fabric | None, strips: Sequence[Strip]) -> tuple[Stripe, ...]:
    if border is None:
        return ()
    labels = {strip.stripe for strip in strips if strip.fabric == border.id}
    found: dict[str, Stripe] = {}
    for stripe in border.print.stripes:
        if stripe.label in labels:
            found.setdefault(stripe.label, stripe)
    return tuple(found.values())


def _main(parts: Sequence[Panel] | Sequence[Strip]) -> str | None:
    """The fabric that covers the most."""
    covered: dict[str, float] = defaultdict(float)
    for part in parts:
        covered[part.fabric] += _area(part)
    return max(covered, key=lambda key: covered[key]) if covered else None


def _area(part: Panel | Strip) -> float:
    return part.width_mm * part.length_mm
