"""Whether a sequence of stripes reads the same both ways."""

from __future__ import annotations

from collections.abc import Sequence

from stash.fabric import Print, Stripe


def is_even(stripes: Sequence[Stripe], tolerance_mm: float = 0.01) -> bool:
    """Even: the sequence of one repeat equals some rotation of its own reverse, in label and in width.

    References: "Sewing with Stripes, Checks, and Plaids", Pacific Northwest Extension: even stripes read the same both
    ways when folded on the dominant stripe, uneven ones repeat one way only.
    """
    back = list(reversed(stripes))
    turns = range(max(len(back), 1))
    return any(_alike(stripes, back[turn:] + back[:turn], tolerance_mm) for turn in turns)


def _alike(first: Sequence[Stripe], second: Sequence[Stripe], tolerance_mm: float) -> bool:
    return all(
        one.label == other.label and abs(one.width_mm - other.width_mm) <= tolerance_mm
        for one, other in zip(first, second, strict=True)
    )


def mirrors_on(print_: Print, label: str) -> bool:
    """Whether every occurrence of a stripe has the same neighbours to its left as to its right, all the way round."""
    count = len(print_.stripes)
    for at, stripe in enumerate(print_.stripes):
        if stripe.label != label:
            continue
        right = [print_.stripes[(at + step) % count] for step in range(count)]
        left = [print_.stripes[(at - step) % count] for step in range(count)]
        if not _alike(right, left, 0.01):
            return False
    return True
