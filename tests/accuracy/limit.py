"""Prints the table of the limit: ``python -m tests.accuracy.limit --seeds 100 --first 0 [--jobs 2] [--show FOLDER]``.

The scenes are those of ``tests.makers.harsh``: as bad as real ones. Beside each figure stand its goal, the answers of
the plain ways, and the floor below which noise and the tape's own tolerance let nobody go.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path

import numpy as np

from tests.accuracy.attempt import Attempt, attempt
from tests.accuracy.pool import tried

#: What counts as nearly straight lines and nearly flat, for the rows that ask for it.
STRAIGHT_K1 = 0.005
GENTLE_TILT_DEG = 7.0
RIGHT_SHARE = 0.02
SKEW_P95_DEG = 0.3
#: Median and 95th percentile of the absolute value of a normal variable of unit standard deviation.
_MEDIAN_OF_NORMAL, _P95_OF_NORMAL = 0.6745, 1.96
_LISTED = 10

Sieve = Callable[[Attempt], bool]


def main() -> None:
    """Measure all scenes and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=100)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--megapixels", type=float, default=3.1)
    parser.add_argument("--reference", choices=("ruler", "target", "paper"), help="only scenes with it (other scenes)")
    parser.add_argument("--show", type=Path, help="folder for the overlays of the worst photographs")
    parser.add_argument("--quiet", action="store_true", help="do not list each scene that went wrong")
    options = parser.parse_args()
    attempts: list[Attempt] = []
    crashes: list[int] = []
    one = partial(attempt, megapixels=options.megapixels, reference=options.reference)
    for seed, result, crash in tried(one, range(options.first, options.first + options.seeds), jobs=options.jobs):
        if result is None:
            crashes.append(seed)
            print(f"seed {seed}: a crash\n{crash}", flush=True)
            continue
        attempts.append(result)
        if not options.quiet and (not result.within(RIGHT_SHARE) or _skew_off(result) > SKEW_P95_DEG):
            print(_complaint(result), flush=True)
    print("\n".join(table(attempts, crashes)))
    if options.show:
        for bad in worst(attempts):
            one(bad.trial.seed, show=options.show)


def table(attempts: list[Attempt], crashes: list[int] | None = None) -> list[str]:
    """The lines of the table: its rows, where it goes wrong, and the worst photographs."""
    if not attempts:
        return ["no scene to count"]
    return [
        *_shares(attempts, crashes or []),
        "",
        *_errors(attempts),
        "",
        *_causes(attempts),
        "",
        *_worst_lines(attempts),
    ]


def worst(attempts: list[Attempt]) -> list[Attempt]:
    """The ten worst photographs: the confidently wrong, then the readable refused, then by error."""

    def badness(one: Attempt) -> tuple[bool, bool, float]:
        return one.wrong, one.refused and one.facts.readable, one.worst or 0.0

    return sorted(attempts, key=badness, reverse=True)[:_LISTED]


def _shares(attempts: list[Attempt], crashes: list[int]) -> list[str]:
    striped = [a for a in attempts if a.repeats]
    gentle = [a for a in striped if a.facts.tilt_deg <= GENTLE_TILT_DEG]
    readable = [a for a in striped if a.facts.readable]
    counts = [a.trial.stripe_count for a in attempts if a.trial.stripe_count is not None]
    pairs = {name: [p for a in attempts for p in a.trial.of(name)] for name in ("repeat", "skew", "width", "scale")}
    kinds = ", ".join(f"{name} {n}" for name, n in sorted(Counter(a.facts.reference for a in attempts).items()))
    lines = [
        f"{'scenes':<52}{len(attempts)} ({kinds}); readable {len(readable)}; crashes {len(crashes)}",
        _row("repeat within 2 %, tilt to 7°", _share(_within(gentle), len(gentle)), "99 %"),
        _row("repeat within 2 %, all", _share(_within(striped), len(striped)), "94 %"),
        _row("... of those that a person could read", _share(_within(readable), len(readable)), ""),
        _row("confidently wrong (photographs)", str(sum(a.wrong for a in striped)), "0"),
        _row("scale confidently wrong", str(sum(p.confidently_wrong for p in pairs["scale"])), "0"),
        _row("refused among readable", _share(sum(a.refused for a in readable), len(readable)), "≤ 5 %"),
        _row("stripe count right", _share(sum(a == b for a, b in counts), len(counts)), "≥ 97 %"),
        _row("unit right where read", _share(*_units(attempts)), ""),
    ]
    for name in ("repeat", "skew", "width"):
        given = [p for p in pairs[name] if not p.refused]
        lines.append(_row(f"{name} inside its 95 %", _share(sum(p.covered for p in given), len(given)), "92–99 %"))
    seconds = [a.trial.seconds for a in attempts]
    lines.append(_row("seconds a photograph", f"median {np.median(seconds):.2f}, most {max(seconds):.2f}", ""))
    return lines


def _errors(attempts: list[Attempt]) -> list[str]:
    head = f"{'error':<52}{'n':>4}  {'median':>8} {'p95':>8}  {'goal':<16}"
    head += f"{'one scale':>18} {'FFT peak':>18} {'Hough lines':>18}   {'floor':>14}"
    lines = [head]
    for name, goal, sieve in _ROWS:
        lines.append(error_row(name, goal, [a for a in attempts if sieve(a)]))
    skews = [abs(p.error or 0.0) for a in attempts for p in a.trial.of("skew") if not p.refused]
    torn = [a.floor.torn_deg for a in attempts if a.facts.torn] or [np.nan]
    bound = f"{_MEDIAN_OF_NORMAL * np.median(torn):.3f} / {_P95_OF_NORMAL * np.median(torn):.3f}"
    lines.append(f"{_plain_row('skew, torn edge in view, °', '0.08 / 0.3', skews)}{'':>56}   {bound:>14}")
    turned = [a for a in attempts if any(not p.refused for p in a.trial.of("direction"))]
    ours = [abs(p.error or 0.0) for a in turned for p in a.trial.of("direction")[:1]]
    fft = _known(abs(a.rivals.fft_direction_deg) if a.rivals.fft_direction_deg is not None else None for a in turned)
    hough = _known(
        abs(a.rivals.hough_direction_deg) if a.rivals.hough_direction_deg is not None else None for a in turned
    )
    lines.append(f"{_plain_row('direction, °', '', ours)}{'':>18} {_beside(fft, ours)} {_beside(hough, ours)}")
    widths = [abs(p.error or 0.0) for a in attempts for p in a.trial.of("width")]
    lines.append(_plain_row("width of a stripe, mm", "0.15 / –", widths))
    return lines


def _straight(one: Attempt) -> bool:
    return one.facts.flat and abs(one.facts.k1) <= STRAIGHT_K1


def _by_ruler(one: Attempt) -> bool:
    return one.facts.reference == "ruler"


def _by_target(one: Attempt) -> bool:
    return one.facts.reference == "target"


_ROWS: tuple[tuple[str, str, Sieve], ...] = (
    (
        "repeat, ruler, focal known, flat and straight, %",
        "0.12 / 0.6",
        lambda a: _by_ruler(a) and a.facts.focal_known and _straight(a),
    ),
    ("repeat, ruler, focal not known, %", "0.4 / 1.5", lambda a: _by_ruler(a) and not a.facts.focal_known),
    ("repeat, printed target, flat and straight, %", "0.06 / 0.3", lambda a: _by_target(a) and _straight(a)),
    ("repeat, creased or bowed, %", "0.3 / 1", lambda a: not a.facts.flat),
    ("repeat, flat, |k1| over 0.005, %", "", lambda a: a.facts.flat and abs(a.facts.k1) > STRAIGHT_K1),
    ("repeat, tilt over 7°, %", "", lambda a: a.facts.tilt_deg > GENTLE_TILT_DEG),
    ("repeat, all, %", "", lambda a: True),
)  # fmt: skip


def error_row(name: str, goal: str, attempts: list[Attempt]) -> str:
    """Errors in %, those of the plain ways on the same photographs with their ratio of medians, and the floor.

    Two more pairs of figures take them apart: how far the references themselves are off in these very scenes, which a
    flawless measurement would be off by, and ours with that taken away: what the measuring itself adds.
    """
    given = [a for a in attempts if a.repeats and not a.refused]
    ours = [100 * abs(p.relative or 0.0) for a in given for p in a.repeats]
    if not ours:
        return f"{name:<52}{0:>4}  {f'none of {len(attempts)}':>17}  {goal}"
    alone = [(a.facts.reference_error, p) for a in given if "two rulers" not in a.facts.hardships for p in a.repeats]
    drawn = [100 * abs(error) for error, _ in alone] or [np.nan]
    net = [100 * abs((p.relative or 0.0) + error) for error, p in alone] or [np.nan]
    floor = 100 * np.array([a.floor.total for a in given if np.isfinite(a.floor.total)])
    noise = 100 * np.array([np.hypot(a.floor.period, a.floor.scale) for a in given if np.isfinite(a.floor.total)])
    beside = [
        _beside(_known(100 * abs(v) if v is not None else None for v in values), ours)
        for values in (
            [a.rivals.one_scale for a in given],
            [a.rivals.fft_repeat for a in given],
            [a.rivals.hough_repeat for a in given],
        )
    ]
    bound = (
        f"{_MEDIAN_OF_NORMAL * np.median(floor):.3f} / {_P95_OF_NORMAL * np.median(floor):.3f}" if len(floor) else "–"
    )
    return (
        f"{_plain_row(name, goal, ours)}{' '.join(beside)}   {bound:>14}"
        f"   references off by {np.median(drawn):.3f} / {np.percentile(drawn, 95):.3f}, net of them "
        f"{np.median(net):.3f} / {np.percentile(net, 95):.3f}, floor of that {_MEDIAN_OF_NORMAL * np.median(noise):.1g}"
    )


def _plain_row(name: str, goal: str, errors: list[float]) -> str:
    if not errors:
        return f"{name:<52}{0:>4}  {'none given':>17}  {goal}"
    return f"{name:<52}{len(errors):>4}  {np.median(errors):8.3f} {np.percentile(errors, 95):8.3f}  {goal:<16}"


def _beside(theirs: list[float], ours: list[float]) -> str:
    """The median of a plain way and how many times ours it is."""
    if not theirs or not ours:
        return f"{'–':>18}"
    median = float(np.median(theirs))
    return f"{f'{median:.3f} = {median / max(float(np.median(ours)), 1e-9):.0f} x':>18}"


def _causes(attempts: list[Attempt]) -> list[str]:
    """Every hardship with what came of the photographs that have it, the worst first: repeats refused, confidently
    wrong, given but outside their own 95 %; skews off by more than their goal's 95th percentile."""
    striped = [a for a in attempts if a.repeats]
    heads = f"{'within 2 %':>14}{'refused':>10}{'wrong':>8}{'outside 95 %':>15}{'skew off':>11}"
    lines = [f"{'hardship':<36}{'n':>4}{heads}"]
    groups: dict[str, list[Attempt]] = {}
    for one in striped:
        for name in _names(one):
            groups.setdefault(name, []).append(one)
    for name, group in sorted(groups.items(), key=lambda item: _within(item[1]) / len(item[1])):
        refused, wrong = sum(a.refused for a in group), sum(a.wrong for a in group)
        outside = sum(any(not p.refused and not p.covered for p in a.repeats) for a in group)
        askew = sum(_skew_off(a) > SKEW_P95_DEG for a in group)
        share = 100 * _within(group) / len(group)
        lines.append(f"{name:<36}{len(group):>4}{share:>12.0f} %{refused:>10}{wrong:>8}{outside:>15}{askew:>11}")
    return lines


def _skew_off(one: Attempt) -> float:
    return max((abs(p.error or 0.0) for p in one.trial.of("skew") if not p.refused), default=0.0)


def _names(one: Attempt) -> list[str]:
    facts = one.facts
    names = [*facts.hardships, f"reference {facts.reference}", one.trial.kind]
    names.append(facts.why or "readable")
    names += ["creased"] * facts.creased + ["bowed"] * facts.bowed + ["focal not known"] * (not facts.focal_known)
    names += ["|k1| over 0.005"] * (abs(facts.k1) > STRAIGHT_K1) + ["tilt over 7°"] * (facts.tilt_deg > GENTLE_TILT_DEG)
    return names


def _worst_lines(attempts: list[Attempt]) -> list[str]:
    return ["the worst photographs", *(_complaint(one) for one in worst(attempts))]


def _complaint(one: Attempt) -> str:
    facts, said = one.facts, []
    for pair in one.repeats:
        if pair.measured is None:
            said.append(f"refused, true {pair.true:.4g}")
        else:
            far = 100 * (pair.relative or 0.0)
            mark = " WRONG" if pair.confidently_wrong else " (counts as refused)" if pair.refused else ""
            said.append(
                f"{pair.measured.value:.4g} ± {pair.measured.u95:.2g}, true {pair.true:.4g} ({far:+.2f} %){mark}"
            )
    for pair in one.trial.of("skew"):
        if pair.measured is not None and _skew_off(one) > SKEW_P95_DEG:
            said.append(f"skew {pair.measured.value:.2f} ± {pair.measured.u95:.2f}°, true {pair.true:.2f}°")
    scale = one.trial.of("scale")[0]
    scaled = "no scale" if scale.measured is None else f"scale {100 * (scale.relative or 0.0):+.2f} %"
    readable = "" if facts.readable else f" [{facts.why}]"
    lines = [
        f"seed {one.trial.seed} {one.trial.kind}: {'; '.join(said)}; {scaled}{readable}",
        f"    {facts.reference}, tilt {facts.tilt_deg:.0f}°, k1 {facts.k1:+.3f}, {', '.join(facts.hardships)}"
        f"{', creased' * facts.creased}{', bowed' * facts.bowed}{', no focal' * (not facts.focal_known)}",
        *(f"    {warning[:160]}" for warning in one.trial.warnings),
    ]
    return "\n".join(lines)


def _within(attempts: list[Attempt]) -> int:
    return sum(a.within(RIGHT_SHARE) for a in attempts)


def _units(attempts: list[Attempt]) -> tuple[int, int]:
    read = [a for a in attempts if a.facts.reference == "ruler" and a.trial.of("scale")[0].measured is not None]
    return sum(a.trial.unit_right for a in read), len(read)


def _known(values: Iterable[float | None]) -> list[float]:
    return [value for value in values if value is not None]


def _row(name: str, figure: str, goal: str) -> str:
    return f"{name:<52}{figure:<28}{goal}"


def _share(count: int, total: int) -> str:
    return f"{count}/{total} = {100 * count / total:.1f} %" if total else "0/0"


if __name__ == "__main__":
    main()
