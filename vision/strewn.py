"""A cloth on a ground of the table's own colour: only its motifs stand out, strewn evenly over a part of the table."""

from __future__ import annotations

import cv2
import numpy as np

from vision.swatch import Doubles, Mask

#: Motifs are at least so large, mm², and no larger than so many times the middle one; so many are seen at least, and at
#: most (time).
_LEAST_MM2, _LARGEST, _FEWEST, _MOST = 3.0, 4.0, 12, 1500
#: What is smaller than this share of those that make up half of all that stands out is a speck of weave or noise.
_SPECK = 0.25
#: Each has another one near, no farther than so many times what the middle one has; but for one of ten, hardly farther
#: than that: crumbs strewn at random are at 1.8 times (the square root of ln 10 over ln 2).
_LONE, _EVEN, _NEARLY_ALL = 2.0, 1.3, 0.9
#: So many times as far the table goes on round them without any, but along this share of the picture's border, which
#: may cut the cloth off: else they may fill the picture.
_MARGIN, _CUT_OFF = 2.0, 0.3


def strewn(other: Mask, aside: Mask, inner: Mask, per_mm: float) -> Mask | None:
    """The part (H, W) of the picture that motifs are strewn over, their convex hull: the cloth reaches at least so far.

    ``other`` is what is not the table (H, W), ``aside`` what lies near what covers it (H, W), ``inner`` the picture
    without its border (H, W). None where what stands out is not strewn evenly, or may fill the picture.
    """
    count, labels, stats, middles = cv2.connectedComponentsWithStats(other.astype(np.uint8), connectivity=8)
    touched = np.bincount(labels[aside | ~inner], minlength=count) > 0
    kept = [k for k in range(1, count) if not touched[k] and stats[k, cv2.CC_STAT_AREA] >= _LEAST_MM2 * per_mm**2]
    if not _FEWEST <= len(kept) <= _MOST:
        return None
    least = _SPECK * _half(np.asarray(stats[kept, cv2.CC_STAT_AREA], np.float64))
    kept = [k for k in kept if stats[k, cv2.CC_STAT_AREA] >= least]
    areas = stats[kept, cv2.CC_STAT_AREA]
    spots = np.asarray(kept)[areas <= _LARGEST * np.median(areas)]
    near = _nearest(middles[spots])
    spots = spots[near <= _LONE * np.median(near)]
    if len(spots) < max(_FEWEST, _NEARLY_ALL * len(kept)):
        return None
    near = _nearest(middles[spots])
    apart = float(np.median(near))
    if float(np.quantile(near, _NEARLY_ALL)) > _EVEN * apart:
        return None
    inside = np.zeros(other.shape, np.uint8)
    places = np.argwhere(np.isin(labels, spots))[:, ::-1].astype(np.int32)
    cv2.fillPoly(inside, [cv2.convexHull(places)], 1)
    size = 2 * round(_MARGIN * apart) + 1
    room = cv2.dilate(inside, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)))
    border = inner & (cv2.erode(inner.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0) == 0)
    return None if (room[border] > 0).mean() > _CUT_OFF else np.asarray(inside > 0)


def _half(areas: Doubles) -> float:
    """The area (of N,) that with all smaller ones makes up half of the whole."""
    rising = np.sort(areas)
    return float(rising[np.searchsorted(np.cumsum(rising), rising.sum() / 2)])


def _nearest(places: Doubles) -> Doubles:
    """How far the nearest other of some places (N, 2) is from each."""
    away = np.linalg.norm(places[:, None] - places, axis=2)
    np.fill_diagonal(away, np.inf)
    return np.asarray(away.min(axis=1))
