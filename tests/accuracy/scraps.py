"""Prints how well scraps are found: ``python -m tests.accuracy.scraps --seeds 50 [--first 0] [--count 6]``.

The scenes are those of ``tests.makers.scraps``: several scraps of different prints on one table, a ruler below them.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from tests.makers.camera import project
from tests.makers.scene import Photograph, as_stored, render
from tests.makers.scraps import draw_scraps
from vision.cloth import ClothRegion
from vision.measure import measure_photo
from vision.photo import Photo

Floats = NDArray[np.float64]

#: A region is a scrap's where the scrap's middle lies in it and their areas agree to this share.
SAME_SHARE = 0.2
AREA_GOAL, FARTHEST_GOAL_MM = 0.015, 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Scrap:
    """How one scrap came out; None where it was not found. ``area`` is relative, ``farthest_mm`` Hausdorff's, and
    ``u95_mm`` what is stated of the outline."""

    area: float | None
    farthest_mm: float | None
    u95_mm: float = 0.0


def try_scraps(seed: int, count: int) -> tuple[tuple[Scrap, ...], int, float]:
    """All scraps of one scene, how many regions were no scrap, and how long it took, s."""
    photograph = render(draw_scraps(seed, count=count))
    focal = round(photograph.scene.camera.focal35_mm)
    photo = Photo(name=f"{seed}.jpg", rgb=as_stored(photograph), focal35_mm=focal, taken=None)
    start = time.perf_counter()
    evidence = measure_photo(photo).evidence
    seconds = time.perf_counter() - start
    if evidence.plane is None:
        return tuple(Scrap(area=None, farthest_mm=None) for _ in range(count)), 0, seconds
    back = np.linalg.inv(photograph.truth.photo_from_mm).astype(np.float64)
    outlines = [
        (project(back, evidence.plane.to_px(np.asarray(cloth.region.outline_mm))), cloth.region)
        for cloth in evidence.cloths
    ]
    scraps = tuple(_scrap(rim, outlines) for rim in _rims(photograph))
    return scraps, len(outlines) - sum(scrap.area is not None for scrap in scraps), seconds


def _rims(photograph: Photograph) -> list[Floats]:
    """The scraps' outlines, mm, as far as the photo shows them."""
    height, width = photograph.rgb.shape[:2]
    border = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], dtype=np.float64)
    back = np.linalg.inv(photograph.truth.photo_from_mm).astype(np.float64)
    whole = (np.asarray(cloth.outline_mm(), dtype=np.float64) for cloth in photograph.scene.cloths)
    return [shown(rim, project(back, border)) for rim in whole]


def shown(rim: Floats, frame: Floats) -> Floats:
    """A polygon (N, 2) as far as it lies within a frame (K, 2): the largest part of it."""
    seen = Polygon(rim).intersection(Polygon(frame))
    largest = max(getattr(seen, "geoms", [seen]), key=lambda part: part.area)
    return np.asarray(largest.exterior.coords[:-1], dtype=np.float64)


def _scrap(rim: Floats, outlines: list[tuple[Floats, ClothRegion]]) -> Scrap:
    area = cv2.contourArea(rim.astype(np.float32))
    x, y = (float(v) for v in rim.mean(axis=0))
    for outline, region in outlines:
        error = region.area_mm2 / area - 1
        if abs(error) < SAME_SHARE and cv2.pointPolygonTest(outline.astype(np.float32), (x, y), False) > 0:
            farthest = max(_reach(rim, outline), _reach(outline, rim))
            return Scrap(area=error, farthest_mm=farthest, u95_mm=region.u95_mm)
    return Scrap(area=None, farthest_mm=None)


def _reach(points: Floats, rim: Floats) -> float:
    ring = rim.astype(np.float32).reshape(-1, 1, 2)
    return max(abs(cv2.pointPolygonTest(ring, (float(x), float(y)), True)) for x, y in points)


def main() -> None:
    """Measure all scenes and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=50)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=6)
    options = parser.parse_args()
    whole, extra, everyone = 0, 0, 0
    found: list[Scrap] = []
    times: list[float] = []
    for seed in range(options.first, options.first + options.seeds):
        scraps, more, seconds = try_scraps(seed, options.count)
        times.append(seconds)
        here = [scrap for scrap in scraps if scrap.area is not None]
        whole += len(here) == options.count and not more
        extra += more
        everyone += options.count
        found.extend(here)
        if len(here) < options.count or more:
            print(f"seed {seed}: {len(here)} of {options.count} found, {more} regions more", flush=True)
    area = np.abs([scrap.area for scrap in found if scrap.area is not None])
    far = np.array([scrap.farthest_mm for scrap in found if scrap.farthest_mm is not None])
    print(f"scenes with all {options.count} scraps        {whole} of {options.seeds}")
    print(f"scraps found                   {len(found)} of {everyone}, {extra} regions more")
    print(f"area, median and p95           {np.median(area):.2%}, {np.quantile(area, 0.95):.2%}")
    print(f"area within {AREA_GOAL:.1%}               {(area <= AREA_GOAL).mean():.1%}")
    print(f"outline, median and p95        {np.median(far):.2f} mm, {np.quantile(far, 0.95):.2f} mm")
    print(f"outline within {FARTHEST_GOAL_MM:.0f} mm            {(far <= FARTHEST_GOAL_MM).mean():.1%}")
    stated = np.array([scrap.u95_mm for scrap in found])
    print(f"stated u95 of outlines, median {np.median(stated):.2f} mm; {(far <= stated).mean():.1%} lie within")
    print(f"time a photograph, median      {np.median(times):.1f} s")


if __name__ == "__main__":
    main()
