"""Prints the table of accuracy: ``python -m tests.accuracy.table --seeds 100 [--first 0] [--photos FOLDER]``.

The scenes are those of ``tests.makers.variety`` (tilt to 7 degrees, one clean ruler; stripes, checks, motifs), or with
``--running`` those of ``tests.makers.running``, of lengths that run out of the picture on three sides.
"""

from __future__ import annotations

import argparse
from collections import Counter
from functools import partial

import numpy as np

from tests.accuracy.pool import tried
from tests.accuracy.real import real_lines
from tests.accuracy.trial import Pair, Trial, try_scene
from tests.makers.running import running_length
from tests.makers.variety import draw


def main() -> None:
    """Measure all scenes and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=100)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--kind", choices=("stripe", "check", "motif"))
    parser.add_argument("--running", action="store_true", help="striped lengths that run out of the picture")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--megapixels", type=float, default=3.1)
    parser.add_argument("--photos", help="folder with truth.json and real photographs")
    parser.add_argument("--quiet", action="store_true", help="do not list the scenes that went wrong")
    options = parser.parse_args()
    trials: list[Trial] = []
    seeds = range(options.first, options.first + options.seeds)
    chosen = [s for s in seeds if not options.kind or options.kind == ("stripe", "check", "motif")[s % 3]]
    one = _try_running if options.running else partial(_try, options.megapixels)
    for seed, trial, crash in tried(one, chosen, jobs=options.jobs):
        if trial is None:
            print(f"seed {seed}: a crash\n{crash}")
            continue
        trials.append(trial)
        for line in [] if options.quiet else _complaints(trial):
            print(line, flush=True)
    print("\n".join(table(trials)))
    print("\n".join(real_lines(options.photos)))


def _try(megapixels: float, seed: int) -> Trial:
    return try_scene(draw(seed, megapixels=megapixels))


def _try_running(seed: int) -> Trial:
    return try_scene(running_length(seed))


def table(trials: list[Trial]) -> list[str]:
    """The lines of the table."""
    repeats = [pair for trial in trials for pair in trial.of("repeat")]
    if not repeats:
        return ["no repeats to count"]
    given = [pair for pair in repeats if not pair.refused]
    within = sum(abs(pair.relative or 0.0) <= 0.01 for pair in given)
    counts = [trial.stripe_count for trial in trials if trial.stripe_count is not None]
    lines = [
        f"scenes                               {len(trials)}  ({_kinds(trials)})",
        f"repeats within 1 %, of all           {_share(within, len(repeats))}",
        f"repeats within 1 %, of those given   {_share(within, len(given))}",
        f"repeats refused                      {_share(len(repeats) - len(given), len(repeats))}",
        f"repeats confidently wrong            {sum(pair.confidently_wrong for pair in repeats)}",
        f"scale confidently wrong              {sum(p.confidently_wrong for t in trials for p in t.of('scale'))}",
        f"ruler read, its unit right           {_share(sum(t.unit_right for t in trials), len(trials))}",
        f"kind of print right                  {_share(sum(t.found_kind == t.kind for t in trials), len(trials))}",
        f"number of stripes right              {_share(sum(a == b for a, b in counts), len(counts))}",
    ]
    for name, unit in (("scale", "%"), ("repeat", "%"), ("direction", "deg"), ("skew", "deg"), ("width", "mm")):
        lines.append(_spread(name, unit, [pair for trial in trials for pair in trial.of(name)]))
    seconds = [trial.seconds for trial in trials]
    lines.append(f"seconds a photograph                 median {np.median(seconds):.2f}, most {max(seconds):.2f}")
    return lines


def _spread(name: str, unit: str, pairs: list[Pair]) -> str:
    given = [pair for pair in pairs if not pair.refused]
    if not given:
        return f"{name:<10} none given of {len(pairs)}"
    errors = np.abs([(pair.relative or 0.0) * 100 if unit == "%" else (pair.error or 0.0) for pair in given])
    stated = [pair.measured.u95 * (100 / abs(pair.true) if unit == "%" else 1) for pair in given if pair.measured]
    return (
        f"{name:<10} error median {np.median(errors):.3f}, 90th percentile {np.percentile(errors, 90):.3f}, "
        f"most {errors.max():.3f} {unit}; stated u95 median {np.median(stated):.3f}; "
        f"within it {_share(sum(pair.covered for pair in given), len(given))}; refused {len(pairs) - len(given)}"
    )


def _complaints(trial: Trial) -> list[str]:
    lines = []
    for pair in trial.pairs:
        bad = pair.confidently_wrong or (pair.is_repeat and (pair.refused or abs(pair.relative or 0.0) > 0.01))
        bad = bad or (pair.name in ("scale", "skew") and pair.refused)
        if bad and pair.name != "width":
            found = "refused" if pair.measured is None else f"{pair.measured.value:.4g} ± {pair.measured.u95:.2g}"
            lines.append(f"seed {trial.seed} {trial.kind}: {pair.name} {found}, true {pair.true:.4g}")
    if not trial.unit_right:
        lines.append(f"seed {trial.seed}: the ruler was not read or its unit is wrong")
    if trial.stripe_count and trial.stripe_count[0] != trial.stripe_count[1]:
        lines.append(f"seed {trial.seed} {trial.kind}: {trial.stripe_count[0]} stripes, true {trial.stripe_count[1]}")
    return [*lines, *(f"    {warning[:150]}" for warning in trial.warnings)] if lines else []


def _share(count: int, total: int) -> str:
    return f"{count}/{total} = {100 * count / total:.1f} %" if total else "0/0"


def _kinds(trials: list[Trial]) -> str:
    return ", ".join(f"{kind} {count}" for kind, count in sorted(Counter(t.kind for t in trials).items()))


if __name__ == "__main__":
    main()
