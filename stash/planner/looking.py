"""One fabric's strips that must look alike or as mirror images: every choice of looks is planned by itself.

A choice settles what each strip shows; what is left is a question of room. A yes needs one choice that goes, a no that
none does. Where the cloth offers no choice at all, that is the answer, and it says why.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from stash.garment.part import Strip
from stash.planner.deciding import Clock, decide_share
from stash.planner.finding import Finding, Share, join_lines
from stash.planner.halt import how
from stash.planner.look import Ways, ways_laid
from stash.planner.matching import matchings, tied
from stash.planner.mismatch import why_unmatched
from stash.planner.plan import Reason
from stash.planner.price import Weights
from stash.planner.task import turned_alike
from vision.estimate import Estimate

MOST_COMPARED: Final = 8
"""Choices that go from which the cheapest are taken."""

MOST_IMPROVED: Final = 2
"""Of these, the cheapest for which a better plan is looked for."""


def decide_matched(share: Share, clock: Clock, weights: Weights, *, optimise: bool) -> Finding:
    """The finding for one fabric, its strips' looks considered."""
    print_ = share.fabric.print
    strips = [*share.strips, *share.before]
    begun = [strip for strip in strips if strip.laid is not None]
    if not (tied(strips) or begun) or print_.across is None or not print_.stripes:
        return decide_share(share, clock, weights, optimise=optimise)
    groups = turned_alike([replace(strip, laid=None) for strip in strips], motif=print_.along is not None)
    if begun:
        share = replace(share, starts=_starts(strips, groups, print_.along))
    found = matchings(share.fabric, strips, groups)
    if found.impossible:
        return _never(share, found.impossible)
    choices = [_as_laid(share, ways) for ways in found.choices]
    if len(choices) == 1:
        return decide_share(replace(share, ways=choices[0]), clock, weights, optimise=optimise)
    free = decide_share(replace(share, ways=_as_laid(share, {})), clock.part(3), weights, optimise=False)
    if free.answer == "no":
        return free
    return _best_of(share, choices, clock, weights, optimise=optimise, whole=found.whole, floor_um=free.bound_um)


def _as_laid(share: Share, ways: Ways) -> Ways:
    """The ways of the strips that are still to be cut; what is begun goes on as it lies."""
    begun = {s.id: frozenset(ways_laid(share.fabric, s)) for s in share.strips if s.laid is not None}
    planned = {strip.id for strip in share.strips}
    return {**begun, **{name: row for name, row in ways.items() if name in planned}}


def _starts(strips: Sequence[Strip], groups: Sequence[str], along: Estimate | None) -> dict[str, int]:
    """Where the print must stand at the finished start of each strip that goes on from what is cut, or starts like it
    (um past its origin); nothing where it does not repeat along the stripe."""
    if along is None:
        return {}
    known = {
        group: strip.laid.start_mm
        for strip, group in zip(strips, groups, strict=True)
        if strip.laid is not None and strip.laid.start_mm is not None
    }
    starts = {strip.id: known[group] for strip, group in zip(strips, groups, strict=True) if group in known}
    starts |= {s.id: s.laid.rest_mm for s in strips if s.laid is not None and s.laid.rest_mm is not None}
    return {name: round(1000 * (start_mm % along.value)) for name, start_mm in starts.items()}


def _best_of(
    share: Share, choices: Sequence[Ways], clock: Clock, weights: Weights, *, optimise: bool, whole: bool, floor_um: int
) -> Finding:
    """The cheapest yes among the choices; else a no if each is one; else unsure. ``floor_um``: no plan costs less."""
    findings: list[Finding] = []
    try:
        for place, ways in enumerate(choices):
            part = clock.part(len(choices) - place + 1)
            findings.append(decide_share(replace(share, ways=ways), part, weights, optimise=False))
            going = sum(finding.answer == "yes" for finding in findings)
            if going == MOST_COMPARED or (going and not optimise):
                break
        return _compared(share, choices, findings, clock, weights, optimise=optimise, whole=whole, floor_um=floor_um)
    except KeyboardInterrupt as interruption:
        yes = [finding for finding in findings if finding.answer == "yes"]
        if not yes:
            raise
        best = min(yes, key=lambda finding: finding.cost_um)
        return replace(best, bound_um=min(floor_um, best.cost_um), best=False, stopped=how(interruption))


def _compared(
    share: Share, choices: Sequence[Ways], findings: list[Finding], clock: Clock, weights: Weights, *, optimise: bool,
    whole: bool, floor_um: int,
) -> Finding:  # fmt: skip
    """The answer from what was found for the choices; the cheapest ones that go are made cheaper."""
    yes = sorted((at for at, f in enumerate(findings) if f.answer == "yes"), key=lambda at: findings[at].cost_um)
    if yes:
        for at in yes[:MOST_IMPROVED] if optimise else ():
            better = decide_share(replace(share, ways=choices[at]), clock.part(2), weights, optimise=True)
            findings[at] = better if better.answer == "yes" else findings[at]
        best = min((findings[at] for at in yes), key=lambda finding: finding.cost_um)
        certain = whole and len(findings) == len(choices) and all(f.answer != "unsure" for f in findings)
        bound = max(floor_um, min(findings[at].bound_um for at in yes) if certain else 0)
        if optimise and bound < best.cost_um and not (certain and len(yes) <= MOST_IMPROVED):
            free = decide_share(replace(share, ways=_as_laid(share, {})), clock.part(2), weights, optimise=True)
            bound = max(bound, free.bound_um)
        bound = min(bound, best.cost_um)
        return replace(best, bound_um=bound, best=best.cost_um <= bound)
    if whole and all(finding.answer == "no" for finding in findings):
        nearest = min(findings, key=lambda finding: sum(finding.missing_mm.values()))
        each = f"so it is whichever of the {len(findings)} matching looks the strips of {share.fabric.id} take"
        return replace(nearest, proofs=join_lines(*(finding.proofs for finding in findings), (each,)))
    reason: Reason = "time" if any(f.reason == "time" for f in findings) or not whole else "measurement"
    shown = next((finding.placements for finding in findings if finding.placements), ())
    settle = join_lines(*(finding.settle for finding in findings))
    return Finding(answer="unsure", reason=reason, placements=shown, settle=settle)


def _never(share: Share, impossible: Sequence[Sequence[Strip]]) -> Finding:
    """The no of cloth that offers no such look. What is missing is cloth that does: for all of the strips but one."""
    missing: dict[str | None, float] = {}
    for strips in impossible:
        rest = sorted(strip.length_mm + 2 * strip.seam_mm + sum(strip.extra_mm) for strip in strips)[:-1]
        missing[strips[0].stripe] = missing.get(strips[0].stripe, 0.0) + sum(rest)
    proofs = tuple(why_unmatched(share.fabric, strips) for strips in impossible)
    return Finding(answer="no", proven=True, missing_mm=missing, proofs=proofs)
