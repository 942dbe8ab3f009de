"""Real photographs: rulers whose scale was measured by hand, and pictures in which no scale may be found."""

from __future__ import annotations

import json
import os
from pathlib import Path

import numpy as np

from vision.measure import measure_photo
from vision.photo import Photo, read_photo

#: Pictures of scikit-image's own collection that show repeating things, but nothing that gives a scale.
WITHOUT_SCALE = ("brick", "gravel", "coffee", "page")


def photos_folder(told: str | None = None) -> Path | None:
    """Where the real photographs are: as told, by STRIPEWRIGHT_PHOTOS, or beside the checkout; None where absent."""
    beside = Path(__file__).resolve().parents[3] / "shared" / "photos"
    for place in (told, os.environ.get("STRIPEWRIGHT_PHOTOS"), beside):
        if place and (Path(place) / "truth.json").exists():
            return Path(place)
    return None


def real_lines(told: str | None) -> list[str]:
    """One line a picture."""
    return [*_rulers(photos_folder(told)), *_textures()]


def _rulers(folder: Path | None) -> list[str]:
    if folder is None:
        return ["no folder of real photographs here"]
    truths = json.loads((folder / "truth.json").read_text())
    lines = []
    for name, truth in truths.items():
        scale = measure_photo(read_photo(folder / name)).measurement.scale
        true = truth["px_per_mm"]
        if truth["kind"] == "charuco":
            found = scale is not None and scale.source == "target"
            lines.append(f"{name:<30} {'the printed board, found' if found else 'THE PRINTED BOARD NOT FOUND'}")
        elif true is None:
            lines.append(f"{name:<30} {'no scale, rightly' if scale is None else 'A SCALE WHERE THERE IS NONE'}")
        elif scale is None:
            lines.append(f"{name:<30} refused; true {true:.3f} px/mm")
        else:
            given = scale.reference_px_per_mm
            lines.append(f"{name:<30} {given:.3f} px/mm, true {true:.3f}: {100 * (given / true - 1):+.2f} %")
    return lines


def _textures() -> list[str]:
    from skimage import data

    lines = []
    for name in WITHOUT_SCALE:
        picture = np.asarray(getattr(data, name)())
        rgb = np.ascontiguousarray(picture if picture.ndim == 3 else np.stack([picture] * 3, axis=-1))
        scale = measure_photo(Photo(name=name, rgb=rgb, focal35_mm=None, taken=None)).measurement.scale
        lines.append(
            f"scikit-image {name:<17} {'no scale, rightly' if scale is None else 'A SCALE WHERE THERE IS NONE'}"
        )
    return lines
