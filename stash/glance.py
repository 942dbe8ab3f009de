"""Looks once more at the cloths of a measured photograph, for what a fabric is recognised by. The third door to vision:
it reads pixels where ``intake`` reads figures.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from stash.fabric import Stripe
from stash.recognition.impression import Floats, Impression, Run, gathered
from stash.recognition.light import hex_of, lab

if TYPE_CHECKING:
    from vision.measure import ClothEvidence, Measured
    from vision.measurement import Print
    from vision.measurement import Stripe as StripeSeen
    from vision.photo import Photo
    from vision.plane import Plane
    from vision.swatch import Swatch

#: Pixels a millimetre, and pixels at most: a stripe of 1.5 mm still has a colour of its own.
PX_PER_MM: Final = 4.0
MOST_PX: Final = 4e5
#: Pixels by which a cloth's colours are told, and how coarse they are, mm: wider than the threads of most cloth.
COLOUR_PX: Final = 360
COLOUR_MM: Final = 1.5
#: What shows less than this of its stripes tells nothing by them, mm.
SHORTEST_RUN_MM: Final = 8.0
#: Places of a run that show less than this share of the cloth's usual width are its corners.
_CORNER_SHARE: Final = 0.25


def impressions(photo: Photo, measured: Measured) -> tuple[Impression, ...]:
    """What each cloth of the photograph looks like, largest first; none where it had no scale."""
    from vision.covering import grown
    from vision.light import gains_of
    from vision.reference.body import bodies

    evidence = measured.evidence
    if evidence.plane is None:
        return ()
    hidden = tuple(grown(evidence.plane.to_mm(outline)) for outline in bodies(evidence.readings))
    gains = gains_of(photo.rgb, evidence.readings)
    return tuple(_impression(photo, evidence.plane, cloth, hidden, gains) for cloth in evidence.cloths)


def palette(seen: Impression) -> list[dict[str, object]]:
    """The colours that a cloth is of, as its fabric keeps them: hex, share and name, the most first."""
    from vision.colour import name

    return [
        {"hex": colour, "share": round(share, 3), "colour": name(colour)}
        for middle, share in gathered(lab(seen.pixels))
        for colour in [hex_of(seen.pixels[middle])]
    ]


def _impression(
    photo: Photo, plane: Plane, cloth: ClothEvidence, hidden: tuple[Floats, ...], gains: Floats | None
) -> Impression:
    swatch = _swatch(photo, plane, cloth, hidden)
    swatch = swatch if gains is None else replace(swatch, rgb=_lit(swatch.rgb, gains))
    corner = np.asarray(cloth.region.outline_mm, dtype=np.float64).min(axis=0)
    print_ = cloth.print
    kind = None if print_ is None else print_.kind
    runs = _runs(swatch, print_, corner) if print_ is not None and kind in ("stripe", "check") else ()
    return Impression(
        kind=kind,
        runs=runs,
        across=None if print_ is None else print_.across,
        along=None if print_ is None else print_.along,
        lattice=None if print_ is None or print_.lattice is None else print_.lattice.kind,
        pixels=_pixels(swatch),
        extent_mm=_extent(cloth),
        place=_place(photo, plane, cloth),
    )


def _swatch(photo: Photo, plane: Plane, cloth: ClothEvidence, hidden: tuple[Floats, ...]) -> Swatch:
    from vision.measure import region_mask
    from vision.swatch import cut_swatch

    outline = np.asarray(cloth.region.outline_mm, dtype=np.float64)
    low, high = outline.min(axis=0), outline.max(axis=0)
    middle = plane.to_px(((low + high) / 2)[None])[0]
    native = plane.px_per_mm_at((float(middle[0]), float(middle[1]))).value
    scale = min(native, PX_PER_MM, float((MOST_PX / np.prod(high - low)) ** 0.5))
    box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    square = plane.square_on(photo.rgb, px_per_mm=scale, region_mm=box)
    holes = [np.asarray(hole, dtype=np.float64) for hole in cloth.region.holes_mm]
    return cut_swatch(square, region_mask(square, outline, holes, hidden), most_px=MOST_PX)


def _runs(swatch: Swatch, print_: Print, corner: Floats) -> tuple[Run, ...]:
    """Across the stripes, and of a check along them."""
    ways: list[Run | None] = []
    if print_.across_direction_deg is not None:
        known = print_.across if print_.stripes else None
        ways.append(_run(swatch, print_.across_direction_deg.value, corner, known, print_.origin_mm, print_.stripes))
        if print_.kind == "check":
            down = print_.along_direction_deg
            ways.append(
                _run(
                    swatch, print_.across_direction_deg.value - 90.0 if down is None else down.value, corner,
                    print_.along if print_.stripes_along else None, print_.along_origin_mm,
                    print_.stripes_along or (),
                )
            )  # fmt: skip
    return tuple(run for run in ways if run is not None)


def _run(
    swatch: Swatch,
    direction_deg: float,
    corner: Floats,
    repeat: object,
    origin_mm: float | None,
    stripes: tuple[StripeSeen, ...],
) -> Run | None:
    """The colours along a direction, in the scrap's own frame; None where too little shows."""
    from vision.change import step_places
    from vision.estimate import Estimate
    from vision.measure import across_vector
    from vision.profile import band_profiles

    if not swatch.mask.any():
        return None
    bands = band_profiles(swatch, direction_deg)
    sheared, weight = bands.sheared(0.0)
    seen = weight > _CORNER_SHARE * float(np.median(weight[weight > 0])) if (weight > 0).any() else weight > 0
    inside = np.flatnonzero(seen)
    if len(inside) < 8 or (inside[-1] - inside[0]) * bands.step_mm < SHORTEST_RUN_MM:
        return None
    span = slice(int(inside[0]), int(inside[-1]) + 1)
    tone: Floats = np.asarray(sheared[span], dtype=np.float64)
    n = across_vector(direction_deg)
    start = float((np.asarray(bands.centre_mm) - corner) @ n) + float(bands.u_mm[span][0])
    known = isinstance(repeat, Estimate)
    return Run(
        colours=_stored(tone),
        step_mm=bands.step_mm,
        start_mm=start,
        direction_deg=direction_deg,
        edges_mm=np.asarray(step_places(tone, bands.step_mm) * bands.step_mm, dtype=np.float64),
        repeat=repeat if isinstance(repeat, Estimate) else None,
        origin_mm=(origin_mm or 0.0) - float(corner @ n),
        stripes=tuple(stripe_of(one) for one in stripes) if known else (),
    )


def _extent(cloth: ClothEvidence) -> float:
    """The shorter side of the smallest rectangle round the outline, mm."""
    import cv2

    _, size, _ = cv2.minAreaRect(np.asarray(cloth.region.outline_mm, dtype=np.float32))
    return float(min(size))


def _place(photo: Photo, plane: Plane, cloth: ClothEvidence) -> str:
    """Where a cloth lies in the upright picture, by thirds."""
    middle = np.asarray(cloth.region.outline_mm, dtype=np.float64).mean(axis=0)
    x, y = plane.to_px(middle[None])[0] / np.asarray(photo.size_px)
    row = ("top", "middle", "bottom")[int(np.clip(y * 3, 0, 2))]
    column = ("left", "middle", "right")[int(np.clip(x * 3, 0, 2))]
    return row if row == column else f"{row} {column}"


def _lit(rgb: NDArray[np.uint8], gains: Floats) -> NDArray[np.uint8]:
    """The picture in white light, as the print's colours are given."""
    from vision.colour import encoded, linear

    light = np.clip(linear(rgb / 255.0) * gains, 0.0, 1.0)
    return np.asarray(np.rint(encoded(light) * 255), dtype=np.uint8)


def _stored(tone: Floats) -> Floats:
    from vision.colour import lab_to_srgb
    from vision.swatch import TONE_SHIFT

    return np.asarray(lab_to_srgb(tone - TONE_SHIFT), dtype=np.float64)


def stripe_of(seen: StripeSeen) -> Stripe:
    """A stripe as a fabric keeps it."""
    return Stripe(
        label=seen.label,
        width_mm=seen.width.value,
        centre_mm=seen.centre_mm,
        hex=seen.hex,
        colour=seen.colour or None,
        width_u95_mm=seen.width.u95,
    )


def _pixels(swatch: Swatch) -> Floats:
    """Stored values (M, 3) at about COLOUR_PX places evenly over the cloth."""
    coarse = swatch.reduced(swatch.mask.size / max(1.0, COLOUR_MM * swatch.px_per_mm) ** 2)
    rows = coarse.rgb[coarse.mask] if coarse.mask.any() else swatch.rgb[swatch.mask]
    picked = rows[np.linspace(0, len(rows) - 1, min(COLOUR_PX, len(rows))).astype(int)] if len(rows) else rows
    return np.asarray(picked, dtype=np.float64).reshape(-1, 3) / 255
