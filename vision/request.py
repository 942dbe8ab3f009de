"""What may be asked along with a photograph: where its scale comes from, and which edges of the cloth are known."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from vision.errors import CallWrong
from vision.estimate import Estimate
from vision.reference.clicks import Click

ScaleChoice = Literal["auto", "ruler", "target", "card", "points"]
RulerChoice = Literal["auto", "inch", "mm"]
Side = Literal["top", "right", "bottom", "left"]

#: Focal lengths (35 mm equivalent) that a camera taking a picture of a cloth can have, mm.
FOCAL_RANGE_35MM = (8.0, 400.0)
#: Thickest padding that can lie between a ruler and the cloth's face, mm (a thick quilt; our own judgement).
THICKEST_MM = 60.0
#: Two points of a thread nearer together than this say nothing of its direction, px.
SHORTEST_THREAD_PX = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Thread:
    """Two places in the upright photo (px) on one thread that was drawn out of the cloth, or marked on it."""

    ends_px: tuple[tuple[float, float], tuple[float, float]]

    def __post_init__(self) -> None:
        if math.dist(*self.ends_px) < SHORTEST_THREAD_PX:
            raise CallWrong("the two points of the thread lie almost together", "choose its two ends, far apart")


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureRequest:
    """The options of a measurement. Sides are those of the upright photo.

    ``thickness_mm`` is how much higher the reference lies than the cloth's face (a ruler on the table beside a thick
    cloth: below zero). ``weave`` asks for the grain from the weave itself; ``tape`` is the true length over what the
    tape in the photo says, where it was checked. Raises CallWrong where the options cannot go together.
    """

    scale: ScaleChoice = "auto"
    ruler: RulerChoice = "auto"
    clicks: tuple[Click, ...] = ()
    focal35_mm: float | None = None
    thickness_mm: float = 0.0
    torn: Side | None = None
    selvage: Side | None = None
    thread: Thread | None = None
    weave: bool = False
    tape: Estimate | None = None

    def __post_init__(self) -> None:
        if self.scale == "points" and not self.clicks:
            problem = "the scale is to come from points, but none are given"
            raise CallWrong(problem, 'add --points "x1,y1 x2,y2 = 12 in"')
        if self.clicks and self.scale not in ("auto", "points"):
            problem = f"points are given, but the scale is to come from the {self.scale}"
            raise CallWrong(problem, "leave one of them out")
        low, high = FOCAL_RANGE_35MM
        if self.focal35_mm is not None and not low <= self.focal35_mm <= high:
            raise CallWrong(
                f"a focal length of {self.focal35_mm:g} mm",
                f"give the 35 mm equivalent, {low:g} to {high:g} mm; a phone's main lens has 24 to 28",
            )
        if not -THICKEST_MM <= self.thickness_mm <= THICKEST_MM:
            raise CallWrong(
                f"a thickness of {self.thickness_mm:g} mm", f"give the cloth's thickness, at most {THICKEST_MM:g} mm"
            )
        if self.torn is not None and self.torn == self.selvage:
            raise CallWrong(f"the {self.torn} edge cannot be both torn and a selvage", "name one side for each")
