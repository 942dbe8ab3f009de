"""Where the joins of a coat's borders hide: behind, under the arm, and nowhere near a corner."""

from __future__ import annotations

from typing import Final

from stash.garment.coat import Coat, Figures, half_ellipse_mm
from stash.garment.part import Edge, Span

#: No join lies nearer to a corner than this, mm (2 in, common practice).
CORNER_MM: Final = 50.8

#: How far before a side fold the hem may be joined, mm (3 in: the arm hangs over it; our judgement).
SIDE_MM: Final = 76.2

#: Joins of a sleeve's border keep to this part of the way from the underarm to the shoulder fold (our judgement).
UNDERARM_SHARE: Final = 2 / 3


def hidden_spans(coat: Coat, sizes: Figures, edge: Edge, length_mm: float) -> tuple[Span, ...]:
    """The spans of a border, from its start, in which a join is not seen; empty where there is none.

    The hem starts and ends at centre front: it hides joins from side fold to side fold behind. A sleeve's border starts
    and ends at the underarm. A join starts at centre front and ends at the sleeve: underarm from the side fold on. The
    neck starts at centre front and hides joins behind the shoulder. Fronts hide none, and keep clear of their corners.
    """
    spans: tuple[Span, ...] = ((0.0, length_mm),)
    if edge == "hem":
        side = sizes.chest_mm - SIDE_MM
        spans = ((side, length_mm - side),)
    elif edge == "sleeve":
        reach = UNDERARM_SHARE * length_mm / 2
        spans = ((0.0, reach), (length_mm - reach, length_mm))
    elif edge == "join":
        spans = ((length_mm - sizes.underarm_mm, length_mm),)
    elif edge == "neck":
        front = half_ellipse_mm(coat.neck_half_mm, coat.neck_front_mm) / 2
        spans = ((front, length_mm - front),)
    inside = [(max(low, CORNER_MM), min(high, length_mm - CORNER_MM)) for low, high in spans]
    return tuple((low, high) for low, high in inside if low < high)
