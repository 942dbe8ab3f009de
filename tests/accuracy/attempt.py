"""One harsh scene taken, measured, held against its truth, against the plain ways and against the physical floor."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from pathlib import Path

import cv2

from tests.accuracy.floor import Floor, floor_of
from tests.accuracy.rival import Rivals, rivals_of
from tests.accuracy.trial import Pair, Trial, compare
from tests.makers.fact import Facts, Reference
from tests.makers.harsh import draw
from tests.makers.scene import Photograph, as_stored
from tests.makers.shot import middle_of_visible, shoot
from vision.measure import Measured, measure_photo
from vision.overlay import draw as overlay
from vision.photo import Photo
from vision.request import MeasureRequest

#: What a ruler's unit is called in a measurement; None where it carries both.
_UNITS = {"mm": "mm", "half_mm": "mm", "inch8": "inch", "inch16": "inch", "inch32": "inch", "both": None}


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """What came of one scene; ``trial`` holds the measured values, ``floor`` is None where nothing repeats."""

    trial: Trial
    facts: Facts
    rivals: Rivals
    floor: Floor

    @property
    def repeats(self) -> list[Pair]:
        """All repeats of the print."""
        return self.trial.of("repeat")

    @property
    def refused(self) -> bool:
        """Whether any repeat was refused."""
        return any(pair.refused for pair in self.repeats)

    @property
    def wrong(self) -> bool:
        """Whether any repeat is confidently wrong."""
        return any(pair.confidently_wrong for pair in self.repeats)

    @property
    def worst(self) -> float | None:
        """The largest error among the repeats that were given, as a share."""
        return max((abs(pair.relative or 0.0) for pair in self.repeats if not pair.refused), default=None)

    def within(self, share: float) -> bool:
        """Whether every repeat was given and is true to a share."""
        return not self.refused and (self.worst or 0.0) <= share


def attempt(
    seed: int, *, megapixels: float = 3.1, reference: Reference | None = None, show: Path | None = None
) -> Attempt:
    """Draw, take, store as JPEG, measure and compare; write photo and overlay into ``show`` where it is given."""
    drawn = draw(seed, megapixels=megapixels, reference=reference)
    shot, facts = drawn.shot, drawn.facts
    photograph = shoot(shot)
    rgb = as_stored(photograph)
    focal = round(shot.camera.focal35_mm) if shot.focal_known else None
    photo = Photo(name=f"seed {seed}", rgb=rgb, focal35_mm=focal, taken=None)
    start = time.perf_counter()
    measured = measure_photo(photo, MeasureRequest(torn=facts.torn))
    seconds = time.perf_counter() - start
    if show is not None:
        show.mkdir(parents=True, exist_ok=True)
        cv2.imwrite(str(show / f"{seed}.jpg"), overlay(photo, measured)[..., ::-1])
    trial = compare(seed, photograph, measured, facts.torn is not None, seconds)
    scale = measured.measurement.scale
    units = {_UNITS[ruler.unit] for ruler in shot.rulers}
    right = scale is not None and (not units or None in units or scale.unit in units)
    return Attempt(
        trial=replace(trial, pairs=(_scale_there(photograph, measured), *trial.pairs[1:]), unit_right=right),
        facts=facts,
        rivals=rivals_of(photograph, rgb, facts),
        floor=floor_of(shot, facts),
    )


def _scale_there(photograph: Photograph, measured: Measured) -> Pair:
    """The scale at one and the same place, the middle of the true cloth: where tilt is strong, another place of a cloth
    found otherwise has another scale, and that is no error of scale."""
    shot, plane = photograph.scene, measured.evidence.plane
    middle_px = shot.lens.seen(middle_of_visible(shot.cloths[0].corners_mm(), shot.lens))[0]
    found = None if plane is None else plane.px_per_mm_at((float(middle_px[0]), float(middle_px[1])))
    return Pair(name="scale", measured=found, true=photograph.truth.px_per_mm)
