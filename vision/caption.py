"""The headline above a drawn photograph and the table of stripes below it."""

from __future__ import annotations

from PIL import Image

from vision.estimate import Estimate
from vision.ink import DARK, PALE, WHITE, YELLOW, Pen, font
from vision.measurement import Measurement, Print, Stripe

INCH_MM = 25.4
#: The drawing is laid out to be read when it is seen this wide, px.
READ_AT_PX = 1200
#: A headline is set no smaller than this, in units: it must still be read.
LEAST_TEXT = 10.0
#: More warnings than this are not written on the drawing; the measurement has them all.
MOST_WARNINGS = 3


def headline(measurement: Measurement, width: int) -> Image.Image:
    """What was found, in one large line, and how sure the scale is, in a smaller one; long lines are set smaller."""
    pen = _band(width, 84)
    found, scale = _found(measurement), _scale(measurement)
    pen.text((18 * pen.unit, 28 * pen.unit), found, WHITE, height=_whole(pen, found, 25, bold=True), bold=True)
    pen.text((18 * pen.unit, 61 * pen.unit), scale, PALE, height=_whole(pen, scale, 16.5))
    return pen.picture


def _whole(pen: Pen, text: str, height: float, *, bold: bool = False, width: float | None = None) -> float:
    """The height, in units, at which a line of text stands whole in the band, or in a width (px): as given, or less."""
    width = pen.picture.width - 36 * pen.unit if width is None else width
    while pen.size(text, height, bold=bold)[0] > width and height > LEAST_TEXT:
        height -= 0.5
    return height


def footer(measurement: Measurement, width: int) -> Image.Image:
    """The stripes of one repeat with their colours and widths, then the first warnings."""
    print_ = measurement.main.print
    stripes = print_.stripes if print_ is not None else ()
    columns = 3
    rows = -(-len(stripes) // columns)
    unit = max(1.0, width / READ_AT_PX)
    notes = [
        line for warning in measurement.warnings[:MOST_WARNINGS] for line in _wrapped(warning, width - 60 * unit, unit)
    ]
    pen = _band(width, 16 + 38 * rows + 24 * len(notes) + (8 if notes else 0))
    for place, stripe in enumerate(stripes):
        row, column = divmod(place, columns)
        _stripe(pen, stripe, (18 + column * 392, 27 + 38 * row))
    for row, note in enumerate(notes):
        pen.text((18 * pen.unit, (16 + 38 * rows + 12 + 24 * row) * pen.unit), note, YELLOW, height=15)
    return pen.picture


def _band(width: int, height: float) -> Pen:
    unit = max(1.0, width / READ_AT_PX)
    return Pen(Image.new("RGB", (width, round(height * unit)), DARK), unit)


def _stripe(pen: Pen, stripe: Stripe, place: tuple[float, float]) -> None:
    x, y = place[0] * pen.unit, place[1] * pen.unit
    digits = stripe.hex.removeprefix("#")
    colour = (int(digits[0:2], 16), int(digits[2:4], 16), int(digits[4:6], 16))
    pen.box((x, y - 13 * pen.unit, x + 34 * pen.unit, y + 13 * pen.unit), colour, edge=WHITE)
    text = f"{stripe.label}  {figure(stripe.width)} mm"
    pen.text((x + 44 * pen.unit, y), text, WHITE, height=18, bold=True)
    used = 44 * pen.unit + pen.size(text, 18, bold=True)[0] + 10 * pen.unit
    room = 382 * pen.unit - used
    if pen.size(stripe.colour, 14)[0] <= room:
        pen.text((x + used, y), stripe.colour, PALE, height=14)
        return
    for line, up in zip(_halves(stripe.colour), (-8, 8), strict=False):
        pen.text((x + used, y + up * pen.unit), line, PALE, height=_whole(pen, line, 13, width=room))


def _halves(text: str) -> tuple[str, ...]:
    """A text on two lines, parted between the words where the longer one is shortest."""
    words = text.split()
    ways = [(" ".join(words[:k]), " ".join(words[k:])) for k in range(1, len(words))]
    return min(ways, key=lambda way: max(map(len, way)), default=(text,))


def _found(measurement: Measurement) -> str:
    if measurement.scale is None:
        return "No scale could be read, so nothing is measured"
    print_ = measurement.main.print
    if print_ is None:
        return "No print was measured" if measurement.main.outline is not None else "No cloth was found"
    if print_.kind == "plain":
        return "Plain cloth"
    return f"{_kind(print_)}{_repeat(print_)}"


def _kind(print_: Print) -> str:
    stripes = len(print_.stripes)
    if print_.kind == "stripe":
        count = f", {stripes} stripes" if stripes else ""
        order = {True: ", even", False: ", uneven", None: ""}[print_.even]
        return f"Stripe{count}{order}: "
    return "Check: " if print_.kind == "check" else "Motif: "


def _repeat(print_: Print) -> str:
    if print_.across is None:
        return "the repeat could not be measured"
    text = f"repeats every {_length(print_.across)}"
    return text if print_.along is None else f"{text} across, {_length(print_.along)} along"


def _length(length: Estimate) -> str:
    return f"{figure(length)} mm ({length.value / INCH_MM:.2f} in)"


def figure(estimate: Estimate) -> str:
    """A value and its uncertainty, with a second digit after the point where the uncertainty would vanish in one."""
    digits = 2 if 0 < estimate.u95 < 0.1 else 1
    return f"{estimate.value:.{digits}f} ± {estimate.u95:.{digits}f}"


def _scale(measurement: Measurement) -> str:
    scale = measurement.scale
    if scale is None:
        return "Lay a ruler flat on or beside the cloth and photograph it from straight above"
    source = {
        "ruler": f"a ruler in {'inches' if scale.unit == 'inch' else 'millimetres'}",
        "target": "the printed target",
        "card": "a card",
        "points": "clicked points",
    }[scale.source]
    parts = [
        f"Scale from {source}: {scale.px_per_mm.value:.2f} ± {scale.px_per_mm.u95:.2f} px per mm",
        f"camera tilted {scale.tilt_deg:.1f}°, made square-on",
    ]
    skew = measurement.main.skew
    if skew is not None:
        parts.append(f"print skewed {skew.angle.value:+.2f} ± {skew.angle.u95:.2f}° ({abs(skew.percent):.1f} %)")
    return "   ·   ".join(parts)


def _wrapped(text: str, width: float, unit: float, height: float = 15) -> list[str]:
    """The text in lines no wider than ``width`` pixels, the first marked with a "!"."""
    face = font(max(8, round(height * unit)))
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else f"!  {word}"
        if lines and face.getlength(longer) > width:
            lines.append(f"    {word}")
        elif lines:
            lines[-1] = longer
        else:
            lines.append(longer)
    return lines
