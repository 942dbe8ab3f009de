"""Colour as the eye sees it: sRGB to CIELAB and back, CIEDE2000, and names that people can say.

References: IEC 61966-2-1 (sRGB); Sharma, Wu, Dalal 2005 (CIEDE2000); Kelly and Judd, NBS Special Publication 440
(1976), for the names, with sRGB centroids from a CC0 list in ``data/iscc_nbs_centroids.csv``.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float32]

_SHARES = np.arange(256, dtype=np.float32) / 255


def srgb_to_lab(rgb: NDArray[Any]) -> Floats:
    """CIELAB (D65) of sRGB (..., 3), uint8 in 0-255 or float in 0-1, as float32 (8-bit Lab would lose the digits)."""
    scaled = cv2.LUT(rgb, _SHARES) if rgb.dtype == np.uint8 else rgb.astype(np.float32)
    rows = np.ascontiguousarray(scaled if rgb.ndim == 3 else scaled.reshape(1, -1, 3))  # long rows are fast (time)
    return np.asarray(cv2.cvtColor(rows, cv2.COLOR_RGB2LAB), dtype=np.float32).reshape(rgb.shape)


def lab_to_srgb(lab: NDArray[Any]) -> Floats:
    """sRGB (..., 3) in 0-1, clipped to the gamut, of CIELAB (D65)."""
    flat = np.ascontiguousarray(lab.astype(np.float32).reshape(-1, 1, 3))
    rgb = np.asarray(cv2.cvtColor(flat, cv2.COLOR_LAB2RGB), dtype=np.float32).reshape(lab.shape)
    return np.clip(rgb, 0.0, 1.0)


def linear(encoded: NDArray[np.float64]) -> NDArray[np.float64]:
    """Linear light of sRGB values in 0-1, in which a lens blurs and light mixes."""
    return np.asarray(np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4))


def encoded(light: NDArray[np.float64]) -> NDArray[np.float64]:
    """The inverse of ``linear``."""
    return np.asarray(np.where(light <= 0.0031308, light * 12.92, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055))


def ciede2000(lab1: ArrayLike, lab2: ArrayLike) -> NDArray[np.float64]:
    """Colour difference of CIELAB values (..., 3), broadcast against each other."""
    from skimage.color import deltaE_ciede2000

    first, second = np.broadcast_arrays(np.asarray(lab1, dtype=np.float64), np.asarray(lab2, dtype=np.float64))
    return np.asarray(deltaE_ciede2000(first, second), dtype=np.float64)


def hex_of(lab: ArrayLike) -> str:
    """``#rrggbb`` of one CIELAB value."""
    red, green, blue = np.rint(lab_to_srgb(np.asarray(lab, dtype=np.float32)) * 255).astype(int).ravel()
    return f"#{red:02x}{green:02x}{blue:02x}"


def lab_of(hex_colour: str) -> Floats:
    """CIELAB (3,) of ``#rrggbb``. Raises ValueError for anything else."""
    digits = hex_colour.removeprefix("#")
    if len(digits) != 6:
        raise ValueError(f"a colour is written #rrggbb, got {hex_colour!r}")
    return srgb_to_lab(np.array([int(digits[i : i + 2], 16) for i in (0, 2, 4)], dtype=np.uint8))


def name(hex_colour: str) -> str:
    """The ISCC-NBS name whose centroid is nearest by CIEDE2000."""
    names, labs = _centroids()
    return names[int(np.argmin(ciede2000(lab_of(hex_colour), labs)))]


@cache
def _centroids() -> tuple[tuple[str, ...], Floats]:
    table = resources.files("vision").joinpath("data/iscc_nbs_centroids.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(table.splitlines()))
    return tuple(row["name"] for row in rows), np.array([lab_of(row["hex"]) for row in rows], dtype=np.float32)
