"""What a picture shows at places, however many."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

#: Places looked at in one call: OpenCV counts those of a picture's side in 16 bits.
AT_ONCE = 16384


def values_at(picture: NDArray[Any], places_px: NDArray[Any]) -> NDArray[Any]:
    """The values (...) or (..., C) of a picture (H, W) or (H, W, C) at places (..., 2), px (x, y): linear between
    pixels, and the border's beyond them."""
    at = places_px.astype(np.float32)
    flat = at.reshape(at.shape[0], -1, 2)
    if max(flat.shape) > AT_ONCE:
        flat = at.reshape(-1, 1, 2)
    parts = (flat[k : k + AT_ONCE] for k in range(0, max(1, len(flat)), AT_ONCE))
    seen = [
        cv2.remap(picture, part[..., 0], part[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        for part in parts
    ]
    return np.concatenate(seen).reshape(*at.shape[:-1], *picture.shape[2:])
