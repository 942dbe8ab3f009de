"""Why a scrap is said to be of a fabric, in plain words: what was compared, and how far it is off."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from stash.recognition.impression import Impression
from stash.recognition.likeness import Fit
from stash.recognition.recognising import Candidate

#: CIEDE2000 up to which colours are said to be alike, nearly alike, and another shade (common practice: 2.3 is hardly
#: seen, and beyond 5 to 6 anybody sees two colours).
ALIKE_DE: Final = 2.3
NEARLY_DE: Final = 5.0


def because(seen: Impression, candidate: Candidate) -> Iterator[str]:
    """What speaks for the fabric, or against it, a phrase each."""
    fit, print_ = candidate.fit, candidate.fabric.print
    if seen.kind is None:
        yield "its print could not be told, so its colours alone"
    elif seen.kind == "plain":
        yield "told by its colour alone" if print_.kind == "plain" else "plain, as if cut from within one stripe"
    elif fit.repeats_off_mm and print_.across is not None:
        yield from _repeats(seen, fit)
    elif fit.laid is not None:
        yield "shows less than a repeat, and goes with a part of it"
    if fit.widths_off_mm is not None and fit.repeats_off_mm:
        yield f"every stripe as wide to {max(fit.widths_off_mm, 0.1):.1f} mm"
    yield _colours(fit.colour_de)


def _repeats(seen: Impression, fit: Fit) -> Iterator[str]:
    for own, off in zip(_own(seen), fit.repeats_off_mm, strict=False):
        yield f"repeat {own:.1f} mm, its own {own - off:.1f}"


def _own(seen: Impression) -> tuple[float, ...]:
    if seen.kind == "motif":
        return tuple(one.value for one in (seen.across, seen.along) if one is not None)
    return tuple(run.repeat.value for run in seen.runs if run.repeat is not None)


def _colours(off: float) -> str:
    word = "alike" if off <= ALIKE_DE else "nearly alike" if off <= NEARLY_DE else "another shade"
    return f"colours {word} (ΔE {off:.1f})"
