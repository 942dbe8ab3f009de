"""What is printed on a cloth: stripe, check, motif or plain, with its repeats, stripes and lattice.

The recipe: find the directions in which the colours change, see how much of the change one or two families of stripes
explain, and measure what explains it. What shows no full repeat is said to show none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from vision.axis import axis_of, bare_direction
from vision.cell import as_followed, cells_of
from vision.estimate import Estimate
from vision.excerpt import lattice_in_parts
from vision.family import (
    CHECK_SAME_LOOK,
    CLEANED_REPEATS,
    LONE_SHARE,
    PLAIN_VARIANCE,
    SURE_REPEATS,
    Family,
    apart_deg,
    bands_of,
    cleaned,
    find_families,
    measured,
    of_one_colour,
    share_all_over,
    variance,
)
from vision.foreshortening import as_photographed, flattened
from vision.lattice import LatticeFit, find_lattice
from vision.measurement import Lattice, Print
from vision.oblong import LIKE_A_HONEYCOMB, OTHERWISE_SHIFTED, lying_deg
from vision.profile import without_crossing
from vision.selvage import without_selvages
from vision.sequence import FULL_REPEATS
from vision.square import SquareOn
from vision.stripes import is_even
from vision.swatch import Doubles, Mask, Swatch, axes, cut_swatch, folded_deg

#: Pixels of the picture in which repeats are measured, and of the one in which directions are looked for (time).
FINE_PIXELS = 2.5e6
COARSE_PIXELS = 3.0e5
#: Fewer pixels of cloth than this, or a side shorter, show nothing (a repeat needs some tens of samples).
LEAST_PIXELS = 2500
#: Share of all change in colour that stripes one or both ways must explain to be the whole print. Woven checks
#: explain 0.95 and more, windowpanes 0.9, dots and leaves at most 0.5 (our scenes, and the geometry of a window pane).
STRIPE_SHARE = 0.75
#: Where both ways count, more is asked: large squares set close come to 0.8. And in the middle one of many parts of the
#: cloth it must be so much: checks of our scenes, creased and half hidden, 0.85 and more, motifs 0.67 at most, and dots
#: in straight rows 0.82.
CHECK_SHARE, CHECK_SHARE_ALL_OVER = 0.85, 0.83
#: A check whose threads mix in lines of twill that can be seen explains less, until these are smoothed away, over so
#: many mm (twills are up to 2.5 mm: our estimate of practice): then nearly all, and by that share all over, which dots
#: smoothed so do not (0.88, scenes). Its repeats are at least so many times that.
TWILL_SIGMA_MM, MIXED_SHARE, MIXED_ALL_OVER, LEAST_TWILLS = 0.9, 0.95, 0.93, 12.0
#: Stripes that explain less than this of the middle part may be motifs in close rows (diamonds that nearly touch: 0.75;
#: stripes of our scenes, creased and half hidden, 0.95 and more).
ROWS_SHARE = 0.88
#: A sequence of so many stripes that comes three times is no chance, whatever lies beyond its ends.
MANY_STRIPES = 6
#: Stripes that show no repeat must make up this share there: a ruler or a shadow beside dots makes up none.
STRIPE_SHARE_ALL_OVER = 0.5
_BOTH_WAYS_SHARE = 0.10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PrintEvidence:
    """What the figures rest on. ``crossings_mm`` (M, 4): x, y in the plane, order (in repeats), standard deviation mm:
    places that the across repeat puts on parallel, evenly spaced lines (of a motif, its cells' middles);
    ``crossings_along_mm`` likewise."""

    crossings_mm: Doubles
    crossings_along_mm: Doubles
    repeats_across: float = 0.0
    repeats_along: float = 0.0
    explained: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PrintFinding:
    """The print, None where nothing can be said of it; sentences on what could not be measured; the evidence.
    ``in_rows``: stripes that leave so much of it unexplained that they may be motifs in rows. ``supposed``: plain, for
    nothing else shows."""

    print: Print | None
    warnings: tuple[str, ...] = ()
    in_rows: bool = False
    supposed: bool = False
    evidence: PrintEvidence = field(
        default_factory=lambda: PrintEvidence(crossings_mm=np.zeros((0, 4)), crossings_along_mm=np.zeros((0, 4)))
    )


def measure_print(square: SquareOn, mask: Mask) -> PrintFinding:
    """Measure the print of the cloth under ``mask`` (H, W).

    Lengths' uncertainties include the picture's own (``length_relative_u95``, ``angle_u95_deg``). ``origin_mm`` is
    counted from the plane's (0, 0). Never raises for want of a print: what cannot be measured is None, with a warning.
    """
    swatch = cut_swatch(square, mask, most_px=FINE_PIXELS)
    if swatch.mask.sum() < LEAST_PIXELS or min(swatch.mask.shape) < 24:
        words = "Too little of the cloth shows to see its print: photograph it closer, or more of it."
        return PrintFinding(print=None, warnings=(words,))
    finding = _looked_at(square, swatch)
    if _told(finding):
        return finding
    coarse = swatch.reduced(COARSE_PIXELS)
    bare = without_selvages(swatch, coarse)
    if bare is not None:
        again = _looked_at(square, bare[0])
        again = replace(again, warnings=(*again.warnings, *map(str, bare[1])))
        cut = _stripes(again) < MANY_STRIPES and any(one.ends(again.print) for one in bare[1])
        least = SURE_REPEATS if cut else CLEANED_REPEATS
        if _told(again) and (_known(again) == 0 or _fewest(again.evidence) >= least):
            return again
        finding = again if again.supposed else finding
    clean = cleaned(swatch, coarse)
    if clean is None:
        return finding
    again = _looked_at(square, clean[0])
    more = _told(again) or _known(again) > _known(finding)
    least = CLEANED_REPEATS if _stripes(again) >= MANY_STRIPES else clean[1]
    return again if more and _fewest(again.evidence) >= least else finding


def _looked_at(square: SquareOn, swatch: Swatch) -> PrintFinding:
    """The print of a swatch, what is left of the camera's tilt taken out of it."""
    coarse = swatch.reduced(COARSE_PIXELS)
    total = variance(coarse)
    families = find_families(swatch, coarse, total)
    flat, gradient = flattened(swatch, families, total)
    if flat is swatch:
        return _judged(square, swatch, families, total)
    coarse = flat.reduced(COARSE_PIXELS)
    total = variance(coarse)
    finding = _judged(square, flat, find_families(flat, coarse, total), total)
    if finding.print is None or finding.print.kind == "motif":  # what was taken for stripes told of no tilt
        return _judged(square, swatch, families, total)
    return replace(finding, evidence=_tilted(finding.evidence, swatch.centre_mm, gradient))


def _told(finding: PrintFinding) -> bool:
    """Whether the print's repeats are known as far as its kind has any."""
    print_ = finding.print
    if print_ is None or finding.supposed:
        return False
    return print_.kind == "plain" or _known(finding) >= (1 if print_.kind == "stripe" else 2)


def _known(finding: PrintFinding) -> int:
    """How many repeats are known."""
    print_ = finding.print
    return 0 if print_ is None else (print_.across is not None) + (print_.along is not None)


def _stripes(finding: PrintFinding) -> int:
    """How many stripes a repeat has, the way that has fewest."""
    print_ = finding.print
    ways = () if print_ is None else (print_.stripes, print_.stripes_along or ())
    return min((len(way) for way in ways if way), default=0)


def _fewest(evidence: PrintEvidence) -> float:
    """How many repeats show, the way that shows fewest."""
    return min((count for count in (evidence.repeats_across, evidence.repeats_along) if count > 0), default=0.0)


def _tilted(evidence: PrintEvidence, centre_mm: tuple[float, float], gradient: Doubles) -> PrintEvidence:
    """The evidence of a flattened cloth, in the plane as the square-on picture shows it."""
    across, along = (
        np.column_stack([as_photographed(rows[:, :2], centre_mm, gradient), rows[:, 2:]])
        for rows in (evidence.crossings_mm, evidence.crossings_along_mm)
    )
    return replace(evidence, crossings_mm=across, crossings_along_mm=along)


def _judged(square: SquareOn, swatch: Swatch, families: tuple[Family, Family], total: float) -> PrintFinding:
    """What kind of print the families make of it, measured."""
    main = families[0]
    if max(total, main.variance) < PLAIN_VARIANCE:
        return PrintFinding(print=Print(kind="plain"))
    explained = sum(family.variance for family in families) / max(total, main.variance)
    both_ways = families[1].variance >= _BOTH_WAYS_SHARE * main.variance
    sure = explained >= (CHECK_SHARE if both_ways else STRIPE_SHARE)
    finding = _striped(square, swatch, families, explained) if sure else None
    if finding is None and not sure:
        finding = _twilled(square, swatch)
    if finding is not None and not finding.in_rows:
        return finding
    picture_mm2 = float(square.valid.sum()) / square.px_per_mm**2
    lying = lying_deg(swatch, picture_mm2)
    lattice = find_lattice(swatch, lying, square.angle_u95_deg)
    if lattice is not None and (lattice.sure or finding is None):
        return _motif(square, swatch, lattice, explained)
    if finding is not None:
        return finding
    striped = not sure and (explained >= STRIPE_SHARE or main.variance / total >= LONE_SHARE)
    finding = (_striped(square, swatch, families, explained) if striped else None) or _unknown(swatch)
    lattice = None if _told(finding) else lattice_in_parts(swatch, lying, square.angle_u95_deg)
    return finding if lattice is None else _motif(square, swatch, lattice, explained)


def _twilled(square: SquareOn, swatch: Swatch) -> PrintFinding | None:
    """A check of twill, its lines smoothed away; None where it is none."""
    mixed = swatch.smoothed(TWILL_SIGMA_MM)
    coarse = mixed.reduced(COARSE_PIXELS)
    total = variance(coarse)
    families = find_families(mixed, coarse, total)
    explained = sum(family.variance for family in families) / max(total, families[0].variance)
    mostly = explained >= MIXED_SHARE and families[1].variance >= _BOTH_WAYS_SHARE * families[0].variance
    finding = _striped(square, mixed, families, explained, MIXED_ALL_OVER) if mostly else None
    if finding is None or finding.print is None or finding.print.kind != "check":
        return None
    repeats = (finding.print.across, finding.print.along)
    least = LEAST_TWILLS * TWILL_SIGMA_MM
    return finding if all(repeat is not None and repeat.value >= least for repeat in repeats) else None


def _striped(
    square: SquareOn,
    swatch: Swatch,
    families: tuple[Family, Family],
    explained: float,
    all_over: float = CHECK_SHARE_ALL_OVER,
) -> PrintFinding | None:
    """Stripes explain the print: a check where they run both ways, else a stripe, else plain cloth, unevenly lit. None
    where what would be a check does not run right across the cloth."""
    first, other = (bands_of(swatch, family) for family in families)
    if families[1].variance > PLAIN_VARIANCE:
        bare = without_crossing(first, without_crossing(other, first))
        crossing = without_crossing(other, bare)
        one = measured(bare, families[0], CHECK_SAME_LOOK)
        two = measured(crossing, families[1], CHECK_SAME_LOOK)
        both_ways = families[1].variance >= _BOTH_WAYS_SHARE * families[0].variance and explained >= CHECK_SHARE
        bands_both_ways = both_ways and all(f.fit is not None or f.steps >= 2 for f in (one, two))
        if bands_both_ways or (one.repeats and two.repeats):
            across = share_all_over(swatch, bare, crossing) >= all_over
            return _check(square, one, two, explained) if across else None
    main = measured(first, families[0])
    if main.repeats:
        return replace(_stripe(square, main, explained), in_rows=share_all_over(swatch, first) < ROWS_SHARE)
    bare_stripes = main.steps >= 2 and share_all_over(swatch, first) >= STRIPE_SHARE_ALL_OVER
    return _unrepeated(square, main) if bare_stripes else _unknown(swatch, main.steps)


def _stripe(square: SquareOn, family: Family, explained: float) -> PrintFinding:
    fit = family.fit
    assert fit is not None
    axis = axis_of(square, family, -90.0)
    warnings = []
    if fit.repeats < FULL_REPEATS:
        warnings.append(
            f"Only {fit.repeats:.1f} repeats of the stripes show, so the repeat rests on few of them: photograph two "
            "or more."
        )
    print_ = Print(
        kind="stripe",
        across=axis.repeat,
        across_direction_deg=axis.direction,
        origin_mm=axis.origin_mm,
        even=is_even([s.label for s in axis.stripes], [s.width for s in axis.stripes]),
        stripes=axis.stripes,
    )
    evidence = PrintEvidence(
        crossings_mm=_crossings(family),
        crossings_along_mm=np.zeros((0, 4)),
        repeats_across=fit.repeats,
        explained=explained,
    )
    return PrintFinding(print=print_, warnings=tuple(warnings), evidence=evidence)


def _check(square: SquareOn, first: Family, second: Family, explained: float) -> PrintFinding:
    """Both ways; across is the axis nearer the picture's x axis. A way that shows no full repeat is given without."""
    if apart_deg(first.direction_deg, 0.0) > apart_deg(second.direction_deg, 0.0):
        first, second = second, first
    across = axis_of(square, first, -90.0) if first.repeats else None
    along = axis_of(square, second, -180.0) if second.repeats else None
    print_ = Print(kind="check", across_direction_deg=bare_direction(square, first))
    if across is not None:
        print_ = replace(
            print_,
            across=across.repeat,
            across_direction_deg=across.direction,
            origin_mm=across.origin_mm,
            even=is_even([s.label for s in across.stripes], [s.width for s in across.stripes]),
            stripes=across.stripes,
        )
    if along is not None:
        print_ = replace(
            print_,
            along=along.repeat,
            along_direction_deg=along.direction,
            along_origin_mm=along.origin_mm,
            stripes_along=along.stripes,
        )
    if across is not None and along is not None:
        n, m = axes(across.direction.value)[0], axes(along.direction.value)[0]
        vectors = np.linalg.solve(np.stack([n, m]), np.diag([across.repeat.value, along.repeat.value]))
        print_ = replace(
            print_, lattice=Lattice(kind="straight", a_mm=_point(vectors[:, 0]), b_mm=_point(vectors[:, 1]))
        )
    evidence = PrintEvidence(
        crossings_mm=_crossings(first),
        crossings_along_mm=_crossings(second),
        repeats_across=0.0 if first.fit is None else first.fit.repeats,
        repeats_along=0.0 if second.fit is None else second.fit.repeats,
        explained=explained,
    )
    ways = (("across", first), ("along", second))
    warnings = tuple(_unmeasured(way, family) for way, family in ways if not family.repeats)
    return PrintFinding(print=print_, warnings=warnings, evidence=evidence)


def _unmeasured(way: str, family: Family) -> str:
    """What is to be said of one way of a check that is not measured."""
    if family.fit is not None:
        return (
            f"The check's stripes {way} are nearly of one colour, too near to be told apart: photograph in more light."
        )
    return (
        f"The check shows no full repeat {way} in the {family.extent_mm:.0f} mm that can be seen: photograph at least "
        "two repeats of the whole colour sequence each way."
    )


def _motif(square: SquareOn, swatch: Swatch, lattice: LatticeFit, explained: float) -> PrintFinding:
    if not lattice.sure:
        return PrintFinding(print=Print(kind="motif"), warnings=(LIKE_A_HONEYCOMB,))
    cells = cells_of(swatch, lattice.across_mm, lattice.along_mm)
    lattice = as_followed(lattice, cells)
    across, along = lattice.across_mm, lattice.along_mm
    relative = square.length_relative_u95
    length = Estimate(float(np.hypot(*across)), lattice.u95_mm).widened(relative)
    direction = folded_deg(math.degrees(math.atan2(-across[1], across[0])))
    angle = math.hypot(math.degrees(lattice.u95_mm / length.value), square.angle_u95_deg)
    down = math.degrees(math.atan2(-along[1], along[0]))
    print_ = Print(
        kind="motif",
        across=length,
        across_direction_deg=Estimate(direction, angle),
        along=Estimate(float(np.hypot(*along)), lattice.u95_mm).widened(relative),
        lattice=None
        if lattice.kind is None
        else Lattice(kind=lattice.kind, a_mm=_point(lattice.a_mm), b_mm=_point(lattice.b_mm)),
        along_direction_deg=Estimate(down, angle),
    )
    warnings = () if lattice.kind is not None else (OTHERWISE_SHIFTED,)
    evidence = PrintEvidence(
        crossings_mm=cells[0],
        crossings_along_mm=cells[1],
        repeats_across=lattice.repeats[0],
        repeats_along=lattice.repeats[1],
        explained=explained,
    )
    return PrintFinding(print=print_, warnings=warnings, evidence=evidence)


def _unrepeated(square: SquareOn, family: Family) -> PrintFinding:
    """Stripes that show no full repeat."""
    return PrintFinding(
        print=Print(kind="stripe", across_direction_deg=bare_direction(square, family)),
        warnings=(
            f"The stripes show no full repeat in the {family.extent_mm:.0f} mm that can be seen: photograph at least "
            "two repeats of the whole colour sequence at once.",
        ),
    )


def _unknown(swatch: Swatch, steps: int = 0) -> PrintFinding:
    """Nothing repeats: plain cloth, where it is of one colour and its profile shows no step. Else something is printed
    or woven in, or the light is uneven, and no kind is claimed for it."""
    if steps == 0 and of_one_colour(swatch.reduced(COARSE_PIXELS)):
        words = "Light falls unevenly on the cloth, but nothing shows in another colour, so it is taken to be plain."
        return PrintFinding(print=Print(kind="plain"), warnings=(words,), supposed=True)
    words = (
        f"The cloth's colour varies, but nothing repeats in the {max(swatch.mask.shape) / swatch.px_per_mm:.0f} mm "
        "that can be seen: photograph at least two repeats each way, lying flat in even light."
    )
    return PrintFinding(print=None, warnings=(words,))


def _crossings(family: Family) -> Doubles:
    """The fit's places in the plane, mm."""
    fit, bands = family.fit, family.bands
    if fit is None or bands is None:
        return np.zeros((0, 4))
    n, d = axes(family.direction_deg)
    u, v, order, sigma = fit.crossings.T
    points = np.asarray(bands.centre_mm) + u[:, None] * n + v[:, None] * d
    return np.column_stack([points, order, sigma])


def _point(vector: Doubles) -> tuple[float, float]:
    return float(vector[0]), float(vector[1])
