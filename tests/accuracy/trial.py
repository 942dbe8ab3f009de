"""One scene measured and held against its truth."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np

from tests.makers.camera import Floats
from tests.makers.scene import Photograph, Scene, as_stored, folded, render
from tests.makers.variety import torn_side
from vision.estimate import Estimate
from vision.measure import Measured, measure_photo
from vision.measurement import REPEAT_LIMIT_RELATIVE_U95
from vision.photo import Photo
from vision.request import MeasureRequest


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """A measured value beside the true one; ``measured`` None where it was refused."""

    name: str
    measured: Estimate | None
    true: float
    is_repeat: bool = False

    @property
    def error(self) -> float | None:
        """Measured less true."""
        return None if self.measured is None else self.measured.value - self.true

    @property
    def relative(self) -> float | None:
        """The error as a share of the true value."""
        return None if self.error is None or self.true == 0 else self.error / self.true

    @property
    def covered(self) -> bool:
        """Whether the true value lies within the stated uncertainty."""
        return self.measured is not None and abs(self.error or 0.0) <= self.measured.u95

    @property
    def refused(self) -> bool:
        """No value, or one known too badly to count."""
        return self.measured is None or (self.is_repeat and self.measured.relative_u95 > REPEAT_LIMIT_RELATIVE_U95)

    @property
    def confidently_wrong(self) -> bool:
        """Off by more than 2 % and by more than three times its own uncertainty."""
        if self.refused or self.measured is None or self.relative is None:
            return False
        return abs(self.relative) > 0.02 and abs(self.error or 0.0) > 3 * self.measured.u95


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What came of one scene."""

    seed: int
    kind: str
    found_kind: str | None
    unit_right: bool
    pairs: tuple[Pair, ...]
    stripe_count: tuple[int, int] | None
    warnings: tuple[str, ...]
    seconds: float

    def of(self, name: str) -> list[Pair]:
        """All pairs of one name."""
        return [pair for pair in self.pairs if pair.name == name]


def try_scene(scene: Scene) -> Trial:
    """Render, store as JPEG, measure, compare."""
    photograph = render(scene)
    photo = Photo(
        name=f"seed {scene.seed}", rgb=as_stored(photograph), focal35_mm=round(scene.camera.focal35_mm), taken=None
    )
    torn = torn_side(scene) if scene.cloths else None
    start = time.perf_counter()
    measured = measure_photo(photo, MeasureRequest(torn=torn))
    seconds = time.perf_counter() - start
    return compare(scene.seed, photograph, measured, torn is not None, seconds)


def compare(seed: int, photograph: Photograph, measured: Measured, torn: bool, seconds: float) -> Trial:
    """Hold a measurement against the truth."""
    truth, measurement = photograph.truth, measured.measurement
    scale, print_, skew = measurement.scale, measurement.main.print, measurement.main.skew
    pairs = [Pair(name="scale", measured=scale.px_per_mm if scale else None, true=truth.px_per_mm)]
    if truth.across_mm is not None:
        across = print_.across if print_ else None
        pairs.append(Pair(name="repeat", measured=across, true=truth.across_mm, is_repeat=True))
    if truth.along_mm is not None:
        along = print_.along if print_ else None
        pairs.append(Pair(name="repeat", measured=along, true=truth.along_mm, is_repeat=True))
    if truth.across_direction_deg is not None and print_ is not None and print_.across_direction_deg is not None:
        found = print_.across_direction_deg
        turned = folded(found.value - truth.across_direction_deg)
        pairs.append(
            Pair(
                name="direction",
                measured=Estimate(truth.across_direction_deg + turned, found.u95),
                true=truth.across_direction_deg,
            )
        )
    if torn and truth.skew_deg is not None:
        pairs.append(Pair(name="skew", measured=skew.angle if skew else None, true=truth.skew_deg))
    count = None
    if truth.widths_mm and print_ is not None and print_.across is not None:
        count = (len(print_.stripes), len(truth.widths_mm))
        if count[0] == count[1]:
            widths = aligned(np.array([s.width.value for s in print_.stripes]), np.array(truth.widths_mm))
            pairs += [
                Pair(name="width", measured=stripe.width, true=float(true))
                for stripe, true in zip(print_.stripes, widths, strict=True)
            ]
    unit_right = scale is not None and (truth.unit is None or scale.unit == truth.unit)
    return Trial(
        seed=seed,
        kind=truth.kind or "none",
        found_kind=print_.kind if print_ else None,
        unit_right=unit_right,
        pairs=tuple(pairs),
        stripe_count=count,
        warnings=measurement.warnings,
        seconds=seconds,
    )


def aligned(found: Floats, true: Floats) -> Floats:
    """The true widths begun and read so that they fit the found ones best: a repeat may be told from any start, and a
    cloth lying the other way round is read backwards."""
    ways = [np.roll(order, k) for order in (true, true[::-1]) for k in range(len(true))]
    return min(ways, key=lambda way: float(np.abs(way - found).sum()))
