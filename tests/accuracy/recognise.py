"""Prints how well the fabric of a scrap is recognised: ``python -m tests.accuracy.recognise [--stash 1] [--seeds 20]``.

A stash of 40 fabrics, each known from a photograph of its own in its own light, twelve of them near others
(``tests.makers.drapery``). Then photographs of six scraps in other light; about one scrap in eight is of a fabric that
is in no stash. ``--stash`` settles the fabrics, ``--first`` and ``--seeds`` the photographs.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from stash.adding import seen
from stash.fabric import Fabric
from stash.intake import Wish, fabric_of
from stash.recognition.impression import Impression
from stash.recognition.recognising import Recognition, recognise
from tests.makers.camera import project
from tests.makers.cloth import AnyPrint
from tests.makers.drapery import portrait_scene, prints, stranger
from tests.makers.lamp import drawn_gains, lit
from tests.makers.scene import Photograph, as_stored, render
from tests.makers.scraps import draw_scraps
from vision.measure import Measured, measure_photo
from vision.photo import Photo

#: A fabric whose photograph does not show its repeat is photographed again, so often; she would see it, too.
_MOST_PHOTOGRAPHS = 10
_WRONG_REPEAT = 0.02
#: One scrap in so many is of no fabric in the stash.
STRANGER_EVERY = 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tried:
    """One scrap: the fabric it is of (None: of none), the kind of its print, and what was said of it."""

    truth: str | None
    kind: str
    said: Recognition

    @property
    def outcome(self) -> str:
        """right or wrong, and whether it was said for sure: "taken" or "asked"."""
        best = self.said.candidates[0].fabric.id if self.said.candidates else None
        if self.said.verdict == "new":
            return "new, right" if self.truth is None else "new, WRONG"
        if self.said.verdict == "sure":
            return "taken, right" if best == self.truth else "taken, WRONG"
        if self.truth is None:
            return "asked, new"
        return "asked, first" if best == self.truth else "asked, other"


def stash_of(seed: int, count: int = 40) -> tuple[tuple[Fabric, AnyPrint], ...]:
    """Fabrics as they come out of photographs, with their true prints."""
    return tuple(_known(number, print_, seed) for number, print_ in enumerate(prints(seed)[:count]))


def _known(number: int, print_: AnyPrint, seed: int) -> tuple[Fabric, AnyPrint]:
    for attempt in range(_MOST_PHOTOGRAPHS):
        picture = seed * 100_000 + number * 10 + attempt
        rng = np.random.default_rng([picture, 1])
        photograph = lit(render(portrait_scene(print_, picture)), drawn_gains(rng))
        photo, found = _measured(photograph, picture)
        one = seen(photo, found)
        shown, truth = found.measurement.main.print, photograph.truth
        if shown is None or shown.kind != truth.kind:
            continue
        if truth.across_mm is not None and (
            shown.across is None or abs(shown.across.value / truth.across_mm - 1) > _WRONG_REPEAT
        ):
            continue
        fabric = fabric_of(shown, one.looks[0], Wish(name=f"f{number}"))
        return replace(fabric, id=f"f{number}"), print_
    raise AssertionError(f"fabric {number} of stash {seed} could not be measured in {_MOST_PHOTOGRAPHS} photographs")


def _measured(photograph: Photograph, name: int) -> tuple[Photo, Measured]:
    focal = round(photograph.scene.camera.focal35_mm)
    photo = Photo(name=f"{name}.jpg", rgb=as_stored(photograph), focal35_mm=focal, taken=None)
    return photo, measure_photo(photo)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shown:
    """What the scraps of one photograph look like that are found, and which fabric each is of (None: of none)."""

    looks: tuple[Impression, ...]
    truths: tuple[str | None, ...]


def photographed(fabrics: Sequence[tuple[Fabric, AnyPrint]], seed: int, count: int = 6) -> Shown:
    """The scraps of one photograph."""
    rng = np.random.default_rng([seed, 2])
    scene = draw_scraps(seed, count=count)
    truths: list[str | None] = []
    cloths = []
    for cloth in scene.cloths:
        if rng.integers(STRANGER_EVERY) == 0:
            truths.append(None)
            cloths.append(replace(cloth, print=stranger(rng)))
        else:
            fabric, print_ = fabrics[int(rng.integers(len(fabrics)))]
            truths.append(fabric.id)
            cloths.append(replace(cloth, print=print_))
    photograph = lit(render(replace(scene, cloths=tuple(cloths))), drawn_gains(rng))
    photo, found = _measured(photograph, seed)
    places = [_which(photograph, found, cloth.region.outline_mm) for cloth in found.evidence.cloths]
    rows = [(look, at) for look, at in zip(seen(photo, found).looks, places, strict=True) if at is not None]
    return Shown(looks=tuple(look for look, _ in rows), truths=tuple(truths[at] for _, at in rows))


def judged(shown: Shown, fabrics: Sequence[Fabric]) -> tuple[tuple[Tried, ...], float]:
    """What is said of the scraps of one photograph, and how long recognising them took, s."""
    start = time.perf_counter()
    said = recognise(shown.looks, fabrics)
    seconds = time.perf_counter() - start
    rows = zip(shown.looks, shown.truths, said, strict=True)
    return tuple(Tried(truth=truth, kind=look.kind or "none", said=one) for look, truth, one in rows), seconds


def _which(photograph: Photograph, found: Measured, outline_mm: Sequence[tuple[float, float]]) -> int | None:
    """Which scrap of the scene an outline is."""
    plane = found.evidence.plane
    assert plane is not None
    back = np.linalg.inv(photograph.truth.photo_from_mm).astype(np.float64)
    ring = project(back, plane.to_px(np.asarray(outline_mm))).astype(np.float32)
    for number, cloth in enumerate(photograph.scene.cloths):
        x, y = (float(v) for v in np.asarray(cloth.outline_mm()).mean(axis=0))
        if cv2.pointPolygonTest(ring, (x, y), False) > 0:
            return number
    return None


def main() -> None:
    """Look at all photographs and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stash", type=int, default=1)
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    fabrics = stash_of(options.stash)
    tried: list[Tried] = []
    times: list[float] = []
    for seed in range(options.first, options.first + options.seeds):
        some, seconds = judged(photographed(fabrics, seed), [fabric for fabric, _ in fabrics])
        tried.extend(some)
        times.append(seconds)
        for one in some:
            if "WRONG" in one.outcome:
                listed = [candidate.fabric.id for candidate in one.said.candidates]
                print(f"seed {seed}: {one.outcome}, it is {one.truth}, said {listed}")
    told(tried, times)


def told(tried: Sequence[Tried], times: Sequence[float]) -> None:
    """Print the figures."""
    counts = Counter(one.outcome for one in tried)
    known = [one for one in tried if one.truth is not None]
    right = sum(one.outcome in ("taken, right", "asked, first") for one in known)
    new = [one for one in tried if one.truth is None]
    print(f"scraps of a fabric in the stash   {len(known)}, the right one named first {right / max(1, len(known)):.1%}")
    print(f"  taken without a question        {counts['taken, right'] / max(1, len(known)):.1%}")
    print(f"  asked, not first                {counts['asked, other']}")
    print(f"scraps of no fabric in it         {len(new)}")
    print(f"  told as new, asked              {counts['new, right']}, {counts['asked, new']}")
    wrong = counts["taken, WRONG"] + counts["new, WRONG"]
    print(f"wrong without a doubt stated      {wrong}")
    for kind in sorted({one.kind for one in tried}):
        rows = Counter(one.outcome for one in tried if one.kind == kind)
        print(f"  {kind:<7} {', '.join(f'{name} {count}' for name, count in sorted(rows.items()))}")
    print(f"recognising a photograph, median  {np.median(times):.2f} s")


if __name__ == "__main__":
    main()
