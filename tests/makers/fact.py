"""The facts about a harsh scene by which trials are sorted, and whether a person could read it at all."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tests.makers.cloth import CheckPrint, MotifPrint, StripePrint
from tests.makers.colour import encoded, linear
from tests.makers.drawer import nominal_mm
from tests.makers.relief import UnevenCloth
from tests.makers.ruler import divisions
from tests.makers.scene import folded
from tests.makers.shot import Shot, middle_of_visible, visible
from tests.makers.variety import torn_side_of
from tests.makers.worn import WornRuler

Reference = Literal["ruler", "target", "paper"]

#: Ticks whose ripple is under this many grey levels after the blur, or under this many times the noise, are not to be
#: seen by eye either (looked at: contact sheets of this maker).
LEAST_RIPPLE_GREY = 4.0
LEAST_RIPPLE_NOISES = 1.5
#: Less of a ruler than this in the picture, without glare, reads by luck only, mm (two whole centimetres or inches).
LEAST_SEEN_MM = {"mm": 30.0, "half_mm": 25.0, "both": 40.0, "inch8": 55.0, "inch16": 55.0, "inch32": 55.0}
#: Glare stronger than this (added light, 1 being white) hides what is printed.
HIDING_GLARE = 0.5
#: Two colours whose channels differ by less than this pass for one at a glance.
_NEAR_GREY = 60.0
#: Full repeats in the picture for a repeat to be told.
FEWEST_REPEATS = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What a trial is sorted by. ``reference_error`` is the drawn error of the tape or print as a share, ``torn`` the
    side of the photo that the torn edge faces where the whole cloth is in view. ``readable``: whether a person could
    read the reference and see two repeats; ``why`` says what stands against it. ``hardships`` name what is drawn."""

    reference: Reference
    reference_error: float
    tilt_deg: float
    k1: float
    focal_known: bool
    creased: bool
    bowed: bool
    curled: bool
    torn: str | None
    readable: bool
    why: str
    hardships: tuple[str, ...]

    @property
    def flat(self) -> bool:
        """Whether the cloth lies flat."""
        return not (self.creased or self.bowed)


def facts_of(shot: Shot, reference: Reference) -> Facts:
    """The facts of a shot with one cloth and rulers or one sheet."""
    cloth = shot.cloths[0]
    relief = cloth.relief if isinstance(cloth, UnevenCloth) else None
    ruler = shot.rulers[0] if shot.rulers else None
    error = ruler.stretch if isinstance(ruler, WornRuler) else shot.sheets[0].width_mm / nominal_mm(reference)[0] - 1
    against = _against(shot)
    return Facts(
        reference=reference,
        reference_error=float(error),
        tilt_deg=shot.camera.tilt_deg,
        k1=shot.k1,
        focal_known=shot.focal_known,
        creased=relief is not None and bool(relief.creases),
        bowed=relief is not None and bool(relief.bows),
        curled=any(r.curl is not None for r in shot.rulers),
        torn=torn_side(shot),
        readable=not against,
        why=against,
        hardships=_hardships(shot),
    )


def torn_side(shot: Shot) -> str | None:
    """The side of the photo that the first cloth's lower torn edge faces, where the photo shows the whole cloth."""
    cloth = shot.cloths[0]
    return torn_side_of(cloth, shot.lens.seen(cloth.corners_mm()), shot.camera, rim_px=6)


def contrast_grey(shot: Shot, ruler: WornRuler) -> float:
    """Grey levels (0 to 255) between the ruler's face and its ink under the photo's light."""
    light = np.stack([linear(ruler.body), linear(ruler.ink)]) * np.float32(shot.exposure) * np.float32(shot.tint)
    grey = encoded(light) @ np.array([0.299, 0.587, 0.114])
    return float(abs(grey[0] - grey[1]))


def ripple_grey(shot: Shot, ruler: WornRuler) -> float:
    """What the blur leaves of the finest ticks: the amplitude of their train's first harmonic, grey levels."""
    step = divisions("mm" if ruler.unit == "both" else ruler.unit)[0]
    pitch = step * shot.lens.px_per_mm(middle_of_visible(ruler.corners_mm(), shot.lens))
    share = min(ruler.tick_width_mm / step, 1.0)
    soft = math.exp(-2 * (math.pi * shot.blur_px / pitch) ** 2) * np.sinc(1 / pitch)
    return float(2 / math.pi * math.sin(math.pi * share) * contrast_grey(shot, ruler) * (1 - ruler.wear) * soft)


def seen_mm(shot: Shot, ruler: WornRuler) -> float:
    """How much of the ruler's length the picture shows free of glare."""
    seen = visible(ruler.corners_mm(), shot.lens)
    if len(seen) < 3:
        return 0.0
    along = (seen - [ruler.x_mm, ruler.y_mm]) @ ruler.axis + ruler.length_mm / 2
    places = np.arange(along.min(), along.max(), 1.0)
    ticks_mm = ruler.margin_mm + ruler.tick_mm[0] / 2
    light = np.zeros_like(places)
    for glare in ruler.glares:
        far = ((places - glare.at_mm) / glare.reach_mm) ** 2 + (
            (ticks_mm - glare.down_mm) / (0.35 * glare.reach_mm)
        ) ** 2
        light += glare.strength * np.exp(-far)
    return float((light < HIDING_GLARE).sum())


def repeats_seen(shot: Shot) -> float:
    """How many repeats the visible part of the cloth spans, along the axis that shows fewest."""
    cloth, lens = shot.cloths[0], shot.lens
    seen = visible(cloth.corners_mm(), lens)
    if len(seen) < 3:
        return 0.0
    a = math.radians(cloth.turn_deg + cloth.skew_deg)
    spans = [float(np.ptp(seen @ np.array(axis))) for axis in ((math.cos(a), -math.sin(a)), (math.sin(a), math.cos(a)))]
    if isinstance(cloth.print, StripePrint):
        return spans[0] / cloth.print.across.repeat_mm
    if isinstance(cloth.print, CheckPrint):
        return min(spans[0] / cloth.print.across.repeat_mm, spans[1] / cloth.print.along.repeat_mm)
    if isinstance(cloth.print, MotifPrint):
        return min(spans[k] / cloth.print.repeat_mm[k] for k in (0, 1))
    return math.inf


def _against(shot: Shot) -> str:
    """What keeps a person from reading the scene, or nothing."""
    reasons = [_unreadable(shot, ruler) for ruler in shot.rulers]
    if reasons and all(reasons):
        return reasons[0]
    if shot.sheets:
        corners = shot.lens.seen(shot.sheets[0].corners_mm())
        size = np.array([shot.camera.width_px, shot.camera.height_px])
        if ((corners < -0.2 * size) | (corners > 1.2 * size)).any():
            return "the sheet is mostly outside the picture"
    return "fewer than two repeats in the picture" if repeats_seen(shot) < FEWEST_REPEATS else ""


def _unreadable(shot: Shot, ruler: WornRuler) -> str:
    if ruler.curl is not None:
        return "the tape curls: it may be refused"
    if seen_mm(shot, ruler) < LEAST_SEEN_MM[ruler.unit]:
        return "too little of the ruler in view"
    ripple = ripple_grey(shot, ruler)
    if ripple < LEAST_RIPPLE_GREY or ripple < LEAST_RIPPLE_NOISES * shot.noise:
        return "the ticks drown in blur or noise"
    return ""


def _hardships(shot: Shot) -> tuple[str, ...]:
    """What is bad about the scene, in words to sort by."""
    cloth = shot.cloths[0]
    inside = len(visible(cloth.corners_mm(), shot.lens)) == 4 and bool(
        np.allclose(visible(cloth.corners_mm(), shot.lens).mean(axis=0), cloth.corners_mm().mean(axis=0), atol=1.0)
    )
    found = {
        "cloth beyond the frame": not inside,
        "turned over 20°": abs(folded(shot.camera.roll_deg)) > 20,
        "blur over 1.2 px": shot.blur_px > 1.2,
        "quality under 80": shot.quality < 80,
        "two rulers": len(shot.rulers) > 1,
        "table like the cloth": _alike(shot),
    }
    if isinstance(cloth.print, StripePrint):
        widths, colours = cloth.print.across.widths_mm, cloth.print.across.colours
        found["over 8 stripes"] = len(widths) > 8
        found["stripes under 3 mm"] = min(widths) < 3
        found["A B A' B"] = len(widths) == 4 and colours[1] == colours[3] and _near(colours[0], colours[2])
    for ruler in shot.rulers[:1]:
        found[f"unit {ruler.unit}"] = True
        found[f"material {ruler.material}"] = True
        found["faint ticks"] = contrast_grey(shot, ruler) < 45
        found["worn ink"] = ruler.wear > 0.1
        found["glare"] = bool(ruler.glares)
        found["light ink"] = bool(linear(ruler.ink).sum() > linear(ruler.body).sum())
        found["digit at every mm"] = ruler.small_digit_mm > 0
        found["curled"] = ruler.curl is not None
        found["under 80 mm in view"] = seen_mm(shot, ruler) < 80
    return tuple(name for name, so in found.items() if so)


def _near(one: str, other: str) -> bool:
    return float(np.abs(encoded(linear(one)) - encoded(linear(other))).max()) < _NEAR_GREY


def _alike(shot: Shot) -> bool:
    """Whether the table's colour is nearly one of the cloth's."""
    own = shot.cloths[0].print
    inks = own.across.colours if isinstance(own, StripePrint | CheckPrint) else (own.ground,)
    table = encoded(linear(shot.table.colour))
    return any(float(np.abs(encoded(linear(ink)) - table).max()) < 30 for ink in inks)
