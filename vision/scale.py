"""The scale: references sought in the photo as asked, the plane that they give, and what is to be said of both."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from shapely import Polygon

from vision.errors import ScaleNotFound
from vision.estimate import Estimate
from vision.measurement import Scale
from vision.photo import Photo
from vision.plane import Plane, fit_plane
from vision.reference.card import read_card
from vision.reference.clicks import read_clicks
from vision.reference.reading import Floats, Reading
from vision.reference.ruler import read_rulers
from vision.reference.target import SQUARE_MM, SQUARES, read_target
from vision.request import MeasureRequest

_WANTED = {
    "auto": "ruler, tape or printed target",
    "ruler": "ruler or tape",
    "target": "printed target",
    "card": "card",
    "points": "pair of points",
}
#: A ruler that was left out is told of where it has this share of the marks of the one that was used: what has fewer is
#: a row of digits or of stitches.
AS_LONG_SHARE = 0.5
#: A cloth whose outline covers this share of the photo fills it.
FILLS_SHARE = 0.95
#: A lens that phones have besides their main one shows things so many times as large (common practice); a word is said
#: where it would change lengths by more than this share.
ZOOM, ZOOM_ADVICE_SHARE = 2.0, 0.01
#: Above this tilt the far side of the cloth is out of focus and the cloth's own relief shows, degrees (practice).
TILT_ADVICE_DEG = 15.0


def sought(
    photo: Photo, request: MeasureRequest, focal35_mm: float | None, focal_px: Estimate, warnings: list[str]
) -> tuple[Reading, ...]:
    """What sets the scale, as asked; with ``auto`` clicked points where given, else the target, else a ruler."""
    choice = "points" if request.clicks else request.scale
    if choice == "points":
        return read_clicks(request.clicks, photo.size_px)
    if choice == "card":
        if focal35_mm is None:
            warnings.append(
                "A card gives no scale without the focal length, which this photo does not tell: give --focal with the "
                "35 mm equivalent, or lay a ruler beside the cloth."
            )
            return ()
        card = read_card(photo.rgb, focal_px.value)
        if card is None:
            return ()
        warnings.append("A card was used for the scale: never photograph a payment card, use a plain one of its size.")
        return (card,)
    if choice in ("auto", "target"):
        target = read_target(photo.rgb)
        if target is not None:
            wide, high = (SQUARE_MM * number for number in SQUARES)
            warnings.append(
                f"The printed target is taken to measure {wide:.0f} × {high:.0f} mm, outer edge to outer edge, to a "
                "quarter of a millimetre: check it with a steel rule, because printers shrink pages, and sheets of "
                "other makers look alike."
            )
            return (target,)
    if choice == "target":
        return ()
    return tuple(_corrected(reading, request.tape) for reading in read_rulers(photo.rgb, unit=request.ruler))


def _corrected(reading: Reading, tape: Estimate | None) -> Reading:
    """The reading of a tape that was held against a steel rule."""
    if tape is None:
        return reading
    return replace(reading, marks_mm=reading.marks_mm * tape.value, tolerance_relative_u95=tape.relative_u95)


def plane_of(
    readings: tuple[Reading, ...], photo: Photo, request: MeasureRequest, focal_px: Estimate, warnings: list[str]
) -> Plane | None:
    """The plane that readings give; None, with a warning of why, where they give none."""
    usable = tuple(reading for reading in readings if reading.unit is not None or reading.source != "ruler")
    if not usable:
        if readings:
            warnings.append(
                "A ruler was found, but not whether it counts inches or millimetres: say which with --ruler inch or mm."
            )
        elif not warnings:
            warnings.append(
                f"No {_WANTED[request.scale]} could be read surely, so nothing is measured: lay a ruler flat on or "
                "beside the cloth, its marks sharp and well lit, and photograph it from straight above."
            )
        return None
    try:
        plane = fit_plane(usable, size_px=photo.size_px, focal_px=focal_px, thickness_mm=request.thickness_mm)
    except ScaleNotFound as error:
        warnings.append(f"{_sentence(error.problem)}: {error.remedy}.")
        return None
    if any(len(one.marks_px) >= AS_LONG_SHARE * len(plane.readings[0].marks_px) for one in _left_out(usable, plane)):
        warnings.append(
            "A second ruler or tape does not fit the first one's flat surface, so only the first was used: lay both "
            "flat, or leave only one in the picture."
        )
    if plane.curled:
        warnings.append(
            "The tape lies in a curve, so it may rise from the table too, and the figures are known less well: lay it "
            "straight and flat, or take a stiff ruler."
        )
    elif plane.rises:
        warnings.append(
            "An end of the tape rises from the table; the figures allow for it, but are known less well: press it "
            "flat, or take a stiff ruler."
        )
    if photo.focal35_mm is None and request.focal35_mm is None:
        _warn_of_zoom(plane, warnings)
    if plane.tilt_deg.value > TILT_ADVICE_DEG:
        warnings.append(
            f"The camera was tilted by {plane.tilt_deg.value:.0f}°; the figures allow for it, but a picture from "
            "straight above is surer."
        )
    return plane


def _warn_of_zoom(plane: Plane, warnings: list[str]) -> None:
    """A word where a lens of another focal length than the assumed one would show the tilted scale as it is seen, and
    lengths along the tilt would be others: lines converge by the tilt's tangent over the focal length. What has marks
    both ways tells its own foreshortening."""
    if any((np.ptp(reading.marks_mm, axis=0) > 0).all() for reading in plane.readings):
        return
    tilt = math.radians(plane.tilt_deg.value)
    off = 1 - math.cos(math.atan(ZOOM * math.tan(tilt))) / math.cos(tilt)
    if off > ZOOM_ADVICE_SHARE:
        warnings.append(
            f"The photo does not tell its focal length, so about a phone's main camera's was taken; if it was zoomed "
            f"{ZOOM:.0f} times, lengths may be off by {off:.0%}: give --focal with the 35 mm equivalent, or photograph "
            "from straight above."
        )


def _left_out(readings: tuple[Reading, ...], plane: Plane) -> list[Reading]:
    return [reading for reading in readings if not any(reading is one for one in plane.readings)]


def scale_of(plane: Plane, size_px: tuple[int, int], outline_mm: Sequence[tuple[float, float]] | None) -> Scale:
    """The scale at the middle of a cloth's outline (N points of the plane), or at the reference where there is none."""
    reading = plane.readings[0]
    x, y = reading.marks_px.mean(axis=0) if outline_mm is None else _middle_px(plane, size_px, np.asarray(outline_mm))
    unit = reading.unit
    return Scale(
        source=reading.source,
        unit="inch" if unit == "inch" else "mm" if unit == "mm" else None,
        px_per_mm=plane.px_per_mm_at((float(x), float(y))),
        reference_px_per_mm=plane.reference_px_per_mm[0],
        tilt_deg=plane.tilt_deg.value,
    )


def _middle_px(plane: Plane, size_px: tuple[int, int], outline_mm: Floats) -> Floats:
    """Where (2,) the photo shows a cloth's centre of gravity; or the photo's own middle, where the cloth fills it: such
    a cloth goes on on every side, and that more of its far side is seen does not tell where its middle is."""
    width, height = size_px
    if Polygon(plane.to_px(outline_mm)).area >= FILLS_SHARE * width * height:
        return np.array([(width - 1) / 2, (height - 1) / 2])
    centre = Polygon(outline_mm).centroid
    return np.asarray(plane.to_px(np.array([[centre.x, centre.y]]))[0], dtype=np.float64)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
