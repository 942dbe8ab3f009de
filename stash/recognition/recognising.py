"""Which fabric of the stash each scrap of a photograph is of: by Bayes' rule over all fabrics and "none of them".

The scraps of one photograph lie in one light: those that are recognised whatever the light show what it is, and with
that the others are looked at once more.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from stash.fabric import Fabric
from stash.recognition.gallery import Gallery, gallery
from stash.recognition.impression import Floats, Impression
from stash.recognition.light import Light, shared_light, unknown_light
from stash.recognition.likeness import REPEAT_SHARE, Fit, fit, looks_of
from stash.recognition.portrait import Portrait, is_photographed

Verdict = Literal["sure", "unsure", "new"]

#: A scrap that is photographed for the stash is of no fabric in it, before it is looked at (our judgement).
NEW_PRIOR: Final = 0.2
#: What a look at an unknown cloth is worth beside a fit, as a logarithm: how small a part of all colours that cloth has
#: lies within one fit's spread (about 1 in 100), and how small a part of all repeats within 1 % of one.
NEW_COLOUR: Final = 4.6
NEW_REPEAT: Final = 4.6
#: Sure is what is likelier than this; where the light of other scraps is wanted, and where nothing else is left.
SURE: Final = 0.99
#: Cloth that is likelier than this of no fabric that is kept is new.
SURELY_NEW: Final = 0.99
#: Colours that are off by more than this, CIEDE2000, are told her whatever the odds say: it is the difference that
#: anybody sees between two cloths side by side (common practice: above 5 to 6 is another colour).
OTHER_COLOUR_DE: Final = 6.5
#: A repeat that was measured on a scrap is not the cloth's own in fewer cases than this (scraps show few repeats, and
#: colours that hardly differ let a part of the sequence pass for the whole of it).
WRONG_REPEAT: Final = 0.02
#: Cloth is not called new while a fabric goes with it, but for the repeat, likelier than this.
DOUBT: Final = 0.05
#: Repeats of one fabric differ by no more than this share between two pieces (each wanders by 1/2 to 1 %, common
#: practice), and its stripes' widths by no more than that share of the repeat, or these mm (a thread or two to each
#: side of a coarse cloth).
SAME_SHARE: Final = 0.02
SAME_WIDTH_MM: Final = 1.0
#: Repeats that differ by no more than this share may be one fabric's, washed and unwashed (5 %, common practice).
WASHED_SHARE: Final = 0.05
#: A part of a sequence is known by so many edges at least: two whole stripes and a piece of a third.
FEWEST_EDGES: Final = 3
#: A shortlist names fabrics likelier than this, and so many.
LISTED: Final = 0.01
MOST_LISTED: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidate:
    """A fabric that a scrap may be of, how likely, and how it fits."""

    fabric: Fabric
    share: float
    fit: Fit


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recognition:
    """What one scrap is: ``candidates`` the likeliest first, ``new`` how likely it is of no fabric that is kept.

    ``verdict``: "sure" is of the first candidate, "new" of none; else she is asked.
    """

    verdict: Verdict
    candidates: tuple[Candidate, ...]
    new: float

    @property
    def fabric(self) -> Fabric | None:
        """The fabric it surely is of."""
        return self.candidates[0].fabric if self.verdict == "sure" else None


def recognise(
    scraps: Sequence[Impression], fabrics: Sequence[Fabric], *, light: Light | None = None
) -> tuple[Recognition, ...]:
    """What each scrap of one photograph is; ``light`` where it is known beforehand."""
    known = gallery(fabrics)
    first = [_recognised(seen, known, light or unknown_light()) for seen in scraps]
    lights = [_factor(one) for one in first]
    shown = [factor for factor in lights if factor is not None]
    if not shown or len(scraps) == 1 or light is not None:
        return tuple(first)
    found = []
    for number, seen in enumerate(scraps):
        if lights[number] is not None:
            found.append(first[number])
            continue
        found.append(_recognised(seen, known, shared_light(shown)))
    return tuple(found)


def _factor(one: Recognition) -> Floats | None:
    """The light that a scrap shows, where it is surely recognised by its pattern and its colours were not just told."""
    if one.fabric is None or one.fabric.print.kind == "plain" or not is_photographed(one.fabric):
        return None
    return one.candidates[0].fit.factor


def _recognised(seen: Impression, known: Gallery, light: Light) -> Recognition:
    """What a scrap is; of a fabric whose looks are not known it may be all the same."""
    close = known.near(seen, light)
    rows = _fits(seen, close, light)
    listed, new = _weighed(rows, seen, known.count, _repeats(seen))
    verdict = _verdict(seen, listed, new)
    if verdict != "new":
        return Recognition(verdict=verdict, candidates=listed, new=new)
    near = tuple(row for row in rows if _goes(row.fit, row.fabric))[:MOST_LISTED]
    if near or any(_may_be(seen, fabric) for fabric in known.hidden):
        return Recognition(verdict="unsure", candidates=listed or near, new=new)
    if not _repeats(seen):
        return Recognition(verdict="new", candidates=listed, new=new)
    bare = _without_repeat(seen)
    doubted, rest = _weighed(_fits(bare, close, light), bare, known.count, 0, math.log(WRONG_REPEAT))
    if 1 - rest < DOUBT:
        return Recognition(verdict="new", candidates=listed, new=new)
    return Recognition(verdict="unsure", candidates=doubted, new=rest)


def _fits(seen: Impression, close: Sequence[Portrait], light: Light) -> list[Candidate]:
    """How each fabric goes with the scrap, the best first, none of them weighed yet."""
    rows = [
        Candidate(fabric=one.fabric, share=0.0, fit=found)
        for one in close
        if (found := fit(seen, one, light)) is not None
    ]
    return sorted(rows, key=lambda row: -row.fit.score)


def _weighed(
    rows: Sequence[Candidate], seen: Impression, count: int, repeats: int, less: float = 0.0
) -> tuple[tuple[Candidate, ...], float]:
    """The likeliest fabrics, and how likely it is of none; ``less`` is taken from every fabric's score."""
    scores = [row.fit.score + less + math.log((1 - NEW_PRIOR) / max(1, count)) for row in rows]
    new = math.log(NEW_PRIOR) - NEW_COLOUR * looks_of(seen) - NEW_REPEAT * repeats
    top = max([*scores, new])
    weights = [math.exp(score - top) for score in scores]
    total = sum(weights) + math.exp(new - top)
    shared = [replace(row, share=weight / total) for row, weight in zip(rows, weights, strict=True)]
    return tuple(row for row in shared[:MOST_LISTED] if row.share >= LISTED), math.exp(new - top) / total


def _goes(found: Fit, fabric: Fabric) -> bool:
    """Whether a fit leaves doubt by itself, however unlikely its details: repeats and colours are the fabric's."""
    across = fabric.print.across
    if across is None or not found.whole or not found.repeats_off_mm or found.colour_de > OTHER_COLOUR_DE:
        return False
    return all(abs(off) <= WASHED_SHARE * across.value for off in found.repeats_off_mm)


def _may_be(seen: Impression, fabric: Fabric) -> bool:
    """Whether nothing that is known of a fabric without looks speaks against it: its kind and its repeat."""
    if fabric.print.kind != seen.kind:
        return False
    known = fabric.print.across
    own = [run.repeat for run in seen.runs] or [seen.across]
    return known is None or any(one is None or abs(one.value / known.value - 1) <= REPEAT_SHARE for one in own)


def _without_repeat(seen: Impression) -> Impression:
    """The scrap as if no whole repeat of it showed."""
    runs = tuple(replace(run, repeat=None, stripes=()) for run in seen.runs)
    return replace(seen, runs=runs, across=None, along=None)


def _verdict(seen: Impression, listed: tuple[Candidate, ...], new: float) -> Verdict:
    if seen.kind is None:
        return "unsure"
    if new >= SURELY_NEW:
        return "new" if _shows_enough(seen) else "unsure"
    if not listed or listed[0].share < SURE:
        return "unsure"
    best = listed[0]
    return "sure" if _rests_on_print(seen, best.fit) and _agrees(best.fit, best.fabric) else "unsure"


def _rests_on_print(seen: Impression, found: Fit) -> bool:
    """Whether more than colours was compared, where there is more: a repeat, or a part of the sequence."""
    if seen.kind == "plain":
        return True
    if seen.kind == "motif":
        return len(found.repeats_off_mm) > 0
    return found.whole or any(len(run.edges_mm) >= FEWEST_EDGES for run in seen.runs)


def _agrees(found: Fit, fabric: Fabric) -> bool:
    """Whether nothing that was compared is further off than one cloth is from itself, however unlikely others are."""
    across = fabric.print.across
    repeat = math.inf if across is None else across.value
    widths = 0.0 if found.widths_off_mm is None else found.widths_off_mm
    return (
        found.colour_de <= OTHER_COLOUR_DE
        and all(abs(off) <= SAME_SHARE * repeat for off in found.repeats_off_mm)
        and widths <= max(SAME_WIDTH_MM, SAME_SHARE * repeat)
    )


def _shows_enough(seen: Impression) -> bool:
    """Whether so much of the print shows that it would have been known: its repeats, or that there are none."""
    wanted = {"plain": 0, "stripe": 1}.get(seen.kind or "", 2)
    return _repeats(seen) >= wanted


def _repeats(seen: Impression) -> int:
    if seen.kind == "motif":
        return sum(one is not None for one in (seen.across, seen.along))
    return sum(run.repeat is not None for run in seen.runs)
