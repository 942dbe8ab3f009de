"""The same photograph taken in another light: each channel of linear light brought to a multiple of itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.makers.colour import encoded
from tests.makers.scene import Photograph


def lit(photograph: Photograph, gains: tuple[float, float, float]) -> Photograph:
    """The photograph with red, green and blue light so many times as strong."""
    stored = photograph.rgb.astype(np.float32) / 255
    light = np.where(stored <= 0.04045, stored / 12.92, ((stored + 0.055) / 1.055) ** 2.4).astype(np.float32)
    rgb = np.rint(encoded(light * np.asarray(gains, dtype=np.float32)))
    return replace(photograph, rgb=rgb.astype(np.uint8))


def drawn_gains(rng: np.random.Generator) -> tuple[float, float, float]:
    """What a phone's white balance and exposure leave: a tenth of a stop to a third all together, some per cent a
    channel (our judgement, as in ``stash.recognition.light``)."""
    together = float(np.exp(rng.normal(0, 0.15)))
    red, green, blue = (float(v) for v in np.exp(rng.normal(0, [0.05, 0.02, 0.05])))
    return together * red, together * green, together * blue
