"""The print as it was seen in a photograph, made the print that a fabric keeps."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from stash.fabric import Print
from vision.estimate import Estimate

if TYPE_CHECKING:
    from stash.recognition.impression import Impression
    from vision.measurement import Measurement
    from vision.measurement import Print as PrintSeen


def print_of(seen: PrintSeen) -> Print:
    """The print as a fabric keeps it."""
    from stash.glance import stripe_of

    stripes = tuple(stripe_of(stripe) for stripe in seen.stripes)
    extra = {} if seen.even is None else {"even": seen.even}
    return Print(kind=seen.kind, across=seen.across, along=seen.along, stripes=stripes, extra=extra)


def remembered(seen: PrintSeen, look: Impression) -> Print:
    """The print with what it is recognised by besides: its colours with their shares, its lattice, and the stripes
    along it."""
    from stash.glance import palette

    print_ = print_of(seen)
    extra: dict[str, Any] = {**print_.extra, "colours": palette(look)}
    if seen.lattice is not None:
        extra["lattice"] = seen.lattice.kind
    if seen.stripes_along:
        extra["stripes_along"] = [
            {
                "label": one.label,
                "width_mm": round(one.width.value, 3),
                "width_mm_u95": round(one.width.u95, 3),
                "centre_mm": round(one.centre_mm, 3),
                "hex": one.hex,
            }
            for one in seen.stripes_along
        ]
    return replace(print_, extra=extra)


def with_repeat(measurement: Measurement, across: Estimate) -> Measurement:
    """The measurement with another repeat of its main cloth, its stripes tiling it as before."""
    seen = measurement.main.print
    assert seen is not None
    assert seen.across is not None
    factor = across.value / seen.across.value
    stripes = tuple(replace(one, width=one.width * factor, centre_mm=one.centre_mm * factor) for one in seen.stripes)
    main = replace(measurement.main, print=replace(seen, across=across, stripes=stripes))
    return replace(measurement, main=main)
