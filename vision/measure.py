"""The pipeline, from an upright photograph to a measurement: what the scale is, where the cloth is, what is on it.

    references → plane → square-on, coarse → cloths → plane, levelled → square-on, fine → print → skew

Every step can say that it cannot tell; the rest then goes on without it, and a warning says why and what to do.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.beyond import beyond
from vision.bite import without_bites
from vision.bow import measure_bow
from vision.cloth import ClothRegion, find_cloths
from vision.covering import grown, tails, with_rests
from vision.crossing import crossing, widened
from vision.graduation import graduated
from vision.grain import ACROSS
from vision.laid import laid_on_stripes
from vision.level import level, needs_levelling
from vision.lie import Lie, lie_of, weave_direction
from vision.light import burnt_out, gains_of, in_white_light
from vision.measurement import REPEAT_LIMIT_RELATIVE_U95, Cloth, Measurement, Outline, Point, Print
from vision.overhang import overhanging
from vision.photo import Photo, focal_length_px
from vision.plane import FLATNESS_RELATIVE_U95, Plane
from vision.print import PrintFinding, measure_print
from vision.reference.body import bodies
from vision.reference.reading import Floats, Reading
from vision.relief import with_relief
from vision.remainder import with_remainders
from vision.request import MeasureRequest
from vision.scale import plane_of, scale_of, sought
from vision.square import SquareOn
from vision.supposition import or_supposed
from vision.transfer import bent_mm, carried
from vision.verge import told_apart, trimmed
from vision.veto import by_the_print

#: Long side of the picture in which cloths are looked for, px: edges to half a millimetre on a metre of cloth.
COARSE_SIDE_PX = 1000
#: Most pixels in the picture in which a print is measured; a repeat needs no more (time). And in which its stripes only
#: level the plane: hundreds of places on them tell more than the reference does.
FINE_PIXELS, LEVEL_PIXELS = 2.5e6, 6e5
#: A cloth's edges that a better plane bends by more than this were not found straight: its outline is found anew.
STRAIGHT_MM = 0.2
#: A cloth that turns out larger by this share shows more of its print.
MORE_CLOTH_SHARE = 0.02
#: More cloths than this in one photograph are not remnants laid out to be measured.
MOST_CLOTHS = 12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClothEvidence:
    """What one cloth's figures rest on, in the plane's frame (mm): where it is, its print's lines, how they lie."""

    region: ClothRegion
    finding: PrintFinding | None
    print: Print | None
    lie: Lie


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """What the figures rest on: the references read, the plane, the cloths. Empty where there was none."""

    readings: tuple[Reading, ...] = ()
    plane: Plane | None = None
    cloths: tuple[ClothEvidence, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measured:
    """A measurement together with its evidence."""

    measurement: Measurement
    evidence: Evidence


def measure_photo(photo: Photo, request: MeasureRequest | None = None) -> Measured:
    """Measure one upright photograph.

    Lengths are in mm with their 95 % uncertainty, which includes the reference's own tolerance, the plane's tilt, the
    focal length, the noise of the marks and what the cloth's relief, as its print shows it, leaves open.

    Raises
    ------
    CallWrong
        Where the options contradict each other or the photo (points outside it, an edge that is not there).
    """
    request = request or MeasureRequest()
    warnings: list[str] = []
    focal35_mm = request.focal35_mm if request.focal35_mm is not None else photo.focal35_mm
    focal_px = focal_length_px(photo.size_px, focal35_mm)
    readings = sought(photo, request, focal35_mm, focal_px, warnings)
    plane = plane_of(readings, photo, request, focal_px, warnings)
    if plane is None:
        return _without_scale(photo, readings, warnings)
    covered = _covered(plane, readings)
    regions, covered = _cloths(photo, plane, covered, warnings)
    gains = gains_of(photo.rgb, readings)
    levelled = _levelled(photo, plane, regions, covered)
    if levelled is not plane:
        covered = tuple(levelled.to_mm(plane.to_px(polygon)) for polygon in covered)
        if max(bent_mm(region, plane, levelled) for region in regions) > STRAIGHT_MM:
            regions, covered = _cloths(photo, levelled, covered, warnings)
        else:
            regions = tuple(carried(region, plane, levelled) for region in regions)
        plane = levelled
    said = len(warnings)
    found = _found(photo, plane, regions, covered, request, gains, warnings)
    hidden = tuple(map(grown, covered))
    bare = by_the_print(plane, found[0].region, found[0].print, photo.rgb, covered, hidden) if found else None
    if bare is not None:
        before, said_before = found, warnings[said:]
        del warnings[said:]
        found = _found(photo, plane, *_cloths(photo, plane, bare, warnings), request, gains, warnings)
        if _repeats(found) < _repeats(before):  # what was laid bare is not cloth
            found, warnings[said:] = before, said_before
    measurement = Measurement(
        photo=photo.name,
        scale=scale_of(plane, photo.size_px, found[0].region.outline_mm if found else None),
        main=_document(found[0]) if found else Cloth(outline=None, print=None, skew=None),
        scraps=tuple(_document(cloth) for cloth in found) if len(found) > 1 else (),
        warnings=tuple(dict.fromkeys(warnings)),
    )
    return Measured(measurement=measurement, evidence=Evidence(readings=readings, plane=plane, cloths=found))


def _cloths(
    photo: Photo, plane: Plane, covered: tuple[Floats, ...], warnings: list[str]
) -> tuple[tuple[ClothRegion, ...], tuple[Floats, ...]]:
    """The cloths, largest first, and what covers them: with the ends of a tape, or the rulers on cloth that fills the
    picture, over its rim or beside it, that were taken for one or a part of one at first."""
    width, height = photo.size_px
    middle = plane.px_per_mm_at(((width - 1) / 2, (height - 1) / 2)).value
    coarse = plane.square_on(photo.rgb, px_per_mm=middle * min(1.0, COARSE_SIDE_PX / max(width, height)))
    regions = find_cloths(coarse, covered_mm=covered)
    seen = regions or find_cloths(coarse, covered_mm=covered, ragged=True)
    outlines = [np.asarray(region.outline_mm, dtype=np.float64) for region in seen]
    whole = with_remainders(coarse, outlines, with_rests(covered, outlines))
    whole = widened(coarse, outlines, whole)
    taken = tails(covered, outlines) or laid_on_stripes(coarse, outlines, covered)
    taken = (*taken, *overhanging(coarse, outlines, (*whole, *taken)))
    taken = taken or crossing(coarse, outlines, whole)
    taken = (*taken, *graduated(plane, photo.rgb, outlines, whole))
    if taken or any(one is not other for one, other in zip(whole, covered, strict=True)):
        covered = (*whole, *taken)
        regions = find_cloths(coarse, covered_mm=covered)
    regions = or_supposed(regions, plane, coarse, photo.rgb, covered)
    if not regions:
        warnings.append(
            "No cloth stands out from what it lies on: lay it on a plain table of another colour, or fill the picture "
            "with it."
        )
    if len(regions) > MOST_CLOTHS:
        warnings.append(f"Only the {MOST_CLOTHS} largest of {len(regions)} cloths are measured: show fewer at once.")
    return regions[:MOST_CLOTHS], covered


def _found(
    photo: Photo,
    plane: Plane,
    regions: tuple[ClothRegion, ...],
    covered: tuple[Floats, ...],
    request: MeasureRequest,
    gains: Floats | None,
    warnings: list[str],
) -> tuple[ClothEvidence, ...]:
    """The cloths with their outlines as fine as the photo shows them, measured."""
    fine = told_apart([trimmed(plane, region, photo.rgb, covered) for region in regions])
    return tuple(
        _measure_cloth(photo, plane, fine, number, covered, request, gains, warnings) for number in range(len(fine))
    )


def _repeats(found: tuple[ClothEvidence, ...]) -> int:
    """How many repeats of the largest cloth's print are known."""
    print_ = found[0].print if found else None
    return 0 if print_ is None else (print_.across is not None) + (print_.along is not None)


def _covered(plane: Plane, readings: tuple[Reading, ...]) -> tuple[Floats, ...]:
    """What the references hide, as polygons in the plane's mm."""
    return tuple(plane.to_mm(outline) for outline in bodies(readings))


def _levelled(photo: Photo, plane: Plane, regions: tuple[ClothRegion, ...], covered: tuple[Floats, ...]) -> Plane:
    """The plane made surer by the largest cloth's own stripes."""
    if not regions:
        return plane
    open_tilt = needs_levelling(plane, np.asarray(regions[0].outline_mm, dtype=np.float64).mean(axis=0))
    square, mask = _fine(photo, plane, regions[0], covered, FINE_PIXELS if open_tilt else LEVEL_PIXELS)
    return level(plane, square, mask, photo.rgb, open_tilt=open_tilt)


def _measure_cloth(
    photo: Photo,
    plane: Plane,
    regions: tuple[ClothRegion, ...],
    number: int,
    covered: tuple[Floats, ...],
    request: MeasureRequest,
    gains: Floats | None,
    warnings: list[str],
) -> ClothEvidence:
    which = "" if number == 0 else f"Cloth {number + 1}: "
    region, finding = _whole(photo, plane, regions, number, covered, which, warnings)
    if region.doubt_mm:
        warnings.append(
            f"{which}The cloth can hardly be told from the table, and may reach up to {region.doubt_mm:.0f} mm beyond "
            "its outline as drawn: lay it on a table of another colour."
        )
    warnings.extend(which + warning for warning in finding.warnings)
    print_ = finding.print
    if print_ is not None:
        print_ = sure(with_relief(print_, finding.evidence, plane), which, warnings)
    if print_ is not None:
        if print_.stripes and print_.across_direction_deg is not None:
            bow = measure_bow(finding.evidence.crossings_mm, print_.across_direction_deg.value)
            print_ = replace(print_, bow_percent=bow)
        print_ = _coloured(print_, gains, which, warnings)
        region = _going_on(plane, region, finding.print or print_, photo, which, warnings)
    weave = None
    if request.weave and print_ is not None:
        weave = weave_direction(plane, photo.rgb, region, print_, tuple(map(grown, covered)))
        if weave is None and number == 0:
            warnings.append(
                "The weave cannot be seen thread by thread, so it gives no grain: photograph the cloth from nearer, "
                "until each thread takes three pixels or more, or name a torn edge."
            )
    hidden = tuple(grown(polygon) for polygon in covered)
    lie = lie_of(plane, region, print_, request, photo.rgb, covered, hidden, weave)
    edge = request.torn or request.selvage
    if edge and lie.skew is None and number == 0 and print_ is not None and print_.across_direction_deg is not None:
        other = f" Or name its {ACROSS[edge]} edge, if that is torn too." if _shows_across(region, request) else ""
        warnings.append(
            f"The cloth's {edge} edge cannot be seen well enough to compare the print with it: photograph it "
            f"whole, facing that side, on a plain table of another colour, the ruler well away from it.{other}"
        )
    return ClothEvidence(region=region, finding=finding, print=print_, lie=lie)


def _shows_across(region: ClothRegion, request: MeasureRequest) -> bool:
    """Whether the side across from a torn edge that was asked for is seen straight."""
    return request.torn is not None and any(edge.side == ACROSS[request.torn] for edge in region.edges)


def _whole(
    photo: Photo,
    plane: Plane,
    regions: tuple[ClothRegion, ...],
    number: int,
    covered: tuple[Floats, ...],
    which: str,
    warnings: list[str],
) -> tuple[ClothRegion, PrintFinding]:
    """One of the cloths, what of its rim was taken for the table with it, and its print."""
    region = regions[number]
    finding = _print(photo, plane, region, covered)
    other = [np.asarray(cloth.outline_mm) for k, cloth in enumerate(regions) if k != number]
    mended = without_bites(plane, region, finding.print, photo.rgb, [*map(grown, covered), *other])
    if not mended.bites_mm:
        return region, finding
    whole = trimmed(plane, mended.region, photo.rgb, [*covered, *mended.bites_mm], sides_anew=True)
    if mended.unsure_mm > whole.u95_mm:
        warnings.append(
            f"{which}Up to {mended.unsure_mm:.0f} mm of the cloth's rim look like the table, and are drawn straight on "
            "between what shows: lay it on a table of another colour."
        )
        whole = replace(whole, u95_mm=mended.unsure_mm)
    more = whole.area_mm2 > (1 + MORE_CLOTH_SHARE) * region.area_mm2
    return whole, _print(photo, plane, whole, covered) if more else finding


def _print(photo: Photo, plane: Plane, region: ClothRegion, covered: tuple[Floats, ...]) -> PrintFinding:
    square, mask = _fine(photo, plane, region, covered)
    return measure_print(_taken_as_flat(square), mask)


def _going_on(
    plane: Plane, region: ClothRegion, print_: Print, photo: Photo, which: str, warnings: list[str]
) -> ClothRegion:
    """The cloth with a wider uncertainty, and a word, where a stripe of the table's colour may follow at its rim."""
    sides = beyond(plane, region, print_, photo.rgb)
    for side in sides:
        warnings.append(
            f"{which}The cloth may go on for up to {side.width_mm:.0f} mm beyond its {side.side} edge as drawn: the "
            "stripe that would follow there looks like the table. Lay it on a table of another colour."
        )
    widest = max((side.width_mm for side in sides), default=0.0)
    return replace(region, u95_mm=max(region.u95_mm, widest))


def _taken_as_flat(square: SquareOn) -> SquareOn:
    """The picture with what is not known of the plane, without how flat the cloth lies: that its print tells."""
    rest = square.length_relative_u95**2 - FLATNESS_RELATIVE_U95**2
    return replace(square, length_relative_u95=max(0.0, rest) ** 0.5)


def _fine(
    photo: Photo, plane: Plane, region: ClothRegion, covered: tuple[Floats, ...], most_px: float = FINE_PIXELS
) -> tuple[SquareOn, NDArray[np.bool_]]:
    """The cloth square-on, as fine as the photo shows it, with the mask of what is cloth and not covered."""
    corners = np.asarray(region.outline_mm, dtype=np.float64)
    low, high = corners.min(axis=0), corners.max(axis=0)
    middle = plane.to_px(((low + high) / 2)[None])[0]
    native = plane.px_per_mm_at((float(middle[0]), float(middle[1]))).value
    area = float(np.prod(high - low))
    box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    square = plane.square_on(photo.rgb, px_per_mm=min(native, (most_px / area) ** 0.5), region_mm=box)
    holes = [np.asarray(hole, dtype=np.float64) for hole in region.holes_mm]
    return square, region_mask(square, corners, holes, tuple(grown(polygon) for polygon in covered))


def region_mask(
    square: SquareOn, outline_mm: Floats, holes_mm: list[Floats], covered_mm: tuple[Floats, ...]
) -> NDArray[np.bool_]:
    """Where (H, W) a square-on picture shows the inside of an outline, and neither a hole nor what covers it."""
    mask = np.zeros(square.valid.shape, dtype=np.uint8)
    cv2.fillPoly(mask, [_pixels(square, outline_mm)], 1)
    for gap in (*holes_mm, *covered_mm):
        cv2.fillPoly(mask, [_pixels(square, gap)], 0)
    return np.asarray((mask > 0) & square.valid, dtype=np.bool_)


def _pixels(square: SquareOn, points_mm: Floats) -> NDArray[np.int32]:
    return np.asarray(np.rint((points_mm - np.asarray(square.origin_mm)) * square.px_per_mm), dtype=np.int32)


def _coloured(print_: Print, gains: Floats | None, which: str, warnings: list[str]) -> Print:
    """The print in white light where that is known; a word where its colours cannot be trusted."""
    if burnt_out(print_):
        warnings.append(
            f"{which}The lightest stripes are burnt out in the photo, so their colours are not to be trusted (the "
            "widths are): photograph it a little darker."
        )
    return print_ if gains is None else in_white_light(print_, gains)


def sure(print_: Print, which: str, warnings: list[str]) -> Print:
    """The print without a repeat that is known no better than the limit."""
    for name, repeat in (("across", print_.across), ("along", print_.along)):
        if repeat is None or repeat.relative_u95 <= REPEAT_LIMIT_RELATIVE_U95:
            continue
        warnings.append(
            f"{which}The repeat {name} is about {repeat.value:.0f} mm, but known only to {repeat.relative_u95:.0%}, "
            "which is no answer: use a longer ruler nearer the cloth, photograph from straight above, closer."
        )
        if name == "across":
            print_ = replace(print_, across=None, origin_mm=None, even=None, stripes=(), lattice=None)
        else:
            print_ = replace(print_, along=None, stripes_along=None, lattice=None)
    return print_


def _document(cloth: ClothEvidence) -> Cloth:
    """The cloth's figures in its own frame, whose origin is the corner of its bounding box."""
    points = np.asarray(cloth.region.outline_mm, dtype=np.float64)
    corner = points.min(axis=0)
    outline = Outline(
        points_mm=_shifted(cloth.region.outline_mm, corner),
        u95_mm=cloth.region.u95_mm,
        area_mm2=_area(points) - sum(_area(np.asarray(hole)) for hole in cloth.region.holes_mm),
        holes_mm=tuple(_shifted(hole, corner) for hole in cloth.region.holes_mm),
    )
    print_ = cloth.print
    if print_ is not None and print_.origin_mm is not None and print_.across_direction_deg is not None:
        across = across_vector(print_.across_direction_deg.value)
        origin = print_.origin_mm - float(corner @ across)
        print_ = replace(print_, origin_mm=origin % print_.across.value if print_.across is not None else origin)
    return Cloth(outline=outline, print=print_, skew=cloth.lie.skew, weft=cloth.lie.weft)


def across_vector(direction_deg: float) -> Floats:
    """The unit vector (x, y), y down, of a direction counted counter-clockwise as seen."""
    return np.array([np.cos(np.radians(direction_deg)), -np.sin(np.radians(direction_deg))])


def _shifted(points: tuple[Point, ...], corner: Floats) -> tuple[Point, ...]:
    return tuple((float(x - corner[0]), float(y - corner[1])) for x, y in points)


def _area(points: Floats) -> float:
    x, y = points[:, 0], points[:, 1]
    return abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2


def _without_scale(photo: Photo, readings: tuple[Reading, ...], warnings: list[str]) -> Measured:
    nothing = Cloth(outline=None, print=None, skew=None)
    measurement = Measurement(photo=photo.name, scale=None, main=nothing, warnings=tuple(dict.fromkeys(warnings)))
    return Measured(measurement=measurement, evidence=Evidence(readings=readings))
