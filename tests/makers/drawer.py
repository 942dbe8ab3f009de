"""What is taken from the drawer and laid beside the cloth or on it: a worn ruler or two, a printed sheet."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np

from tests.makers.camera import Camera
from tests.makers.cloth import Cloth
from tests.makers.ruler import divisions
from tests.makers.sticker import Sheet
from tests.makers.variety import BODIES
from tests.makers.worn import Curl, Glare, WornRuler
from vision.reference import target
from vision.reference.ruler import RULER_RELATIVE_U95

#: Faces of rulers besides those of ``variety``: dark ones with light marks.
_DARK = ("#26272a", "#33383a", "#1f2d3a", "#4a3526")
_LETTERING = ("METRIC", "INCHES", "No. 30", "BEECH", "mm", "20 °C", "cm / in", "")
#: A sheet of millimetre paper, mm.
PAPER_MM = (120.0, 80.0)
_TARGET_MM = tuple(side * target.SQUARE_MM for side in target.SQUARES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """The part of the table that the picture shows, in axes turned with the camera, near enough."""

    width: float
    height: float

    @classmethod
    def inside(cls, width_mm: float, height_mm: float, roll_deg: float) -> Field:
        """The largest rectangle, upright on the table, in a frame turned by a roll; of the frame's own shape."""
        c, s = abs(math.cos(math.radians(roll_deg))), abs(math.sin(math.radians(roll_deg)))
        w, h = (width_mm, height_mm) if c > s else (height_mm, width_mm)
        share = min(width_mm / (w * c + h * s), height_mm / (w * s + h * c))
        return cls(width=w * share, height=h * share)

    @property
    def longer(self) -> float:
        """The longer side."""
        return max(self.width, self.height)


def drawn_error(rng: np.random.Generator, relative_u95: float) -> float:
    """The error of scale of one ruler or print out of a class whose 95 % limit is given (normal, GUM 4.3.4)."""
    return float(rng.normal(0, relative_u95 / 1.96))


def laid_ruler(
    rng: np.random.Generator, unit: str, field: Field, cloth: Cloth, fills: bool, camera: Camera, seed: int
) -> tuple[WornRuler, ...]:
    """One ruler, now and then two."""
    material = ("plain", "wood", "steel", "tape")[int(rng.choice(4, p=[0.45, 0.15, 0.15, 0.25]))]
    cut_off = bool(rng.random() < 0.45)
    whole = (
        1.3 * field.longer + 60 if material == "tape" or cut_off else float(rng.choice([155.0, 210.0, 310.0, 510.0]))
    )
    length = whole if material == "tape" or cut_off else max(60.0, min(whole, 0.9 * field.width))
    if fills or rng.random() < 0.4:
        x, y = (float(rng.uniform(-0.15, 0.15)) * field.width, float(rng.uniform(-0.28, 0.28)) * field.height)
        turn = float(rng.normal(0, 14))
        if fills and rng.random() < 0.3:
            turn += 90
    else:
        y = cloth.y_mm + cloth.length_mm / 2 + float(rng.uniform(0.07, 0.15)) * field.height
        x, turn = 0.0, float(rng.normal(0, 2.5))
    if cut_off:
        shift = float(rng.uniform(0.1, 0.75)) * field.width + 0.5 * (length - 1.3 * field.width)
        x += max(shift, 0.0) * math.cos(math.radians(turn))
        y -= max(shift, 0.0) * math.sin(math.radians(turn))
    turn += 180.0 if rng.random() < 0.4 else 0.0
    first = _worn(rng, unit, material, length, camera, seed)
    first = replace(first, x_mm=x, y_mm=y, turn_deg=turn)
    if rng.random() > 0.15:
        return (first,)
    other = ("mm", "inch16", "both")[int(rng.integers(3))] if rng.random() < 0.5 else unit
    second = _worn(rng, other, "plain", 0.7 * field.height, camera, seed + 500_000)
    corner = rng.random() < 0.6  # two in an L; else two beside each other
    place = (
        {"x_mm": -0.40 * field.width, "y_mm": -0.02 * field.height, "turn_deg": 90.0 + float(rng.normal(0, 1.5))}
        if corner
        else {"x_mm": 0.05 * field.width, "y_mm": -0.44 * field.height, "turn_deg": float(rng.normal(0, 3))}
    )
    return (first, replace(second, **place))


def _worn(rng: np.random.Generator, unit: str, material: str, length: float, camera: Camera, seed: int) -> WornRuler:
    width = float(rng.uniform(24, 40)) if unit == "both" else float(rng.uniform(12, 36))
    longest = min(float(rng.uniform(0.2, 0.3) if unit == "both" else rng.uniform(0.25, 0.5)) * width, 12.0)
    least = longest * float(rng.uniform(0.38, 0.62))
    finest = divisions("mm" if unit == "both" else unit)[0]
    small = unit in ("mm", "half_mm", "both") and bool(rng.random() < 0.25)
    digit = float(np.clip(rng.uniform(0.15, 0.24) * width, 2.0, 6.0))
    if unit != "both":
        digit = max(1.8, min(digit, width - longest - 2.0))
    body, ink, contrast = _colours(rng, material)
    gloss = material in ("plain", "steel") and rng.random() < 0.45
    options: dict[str, Any] = {
        "margin_mm": float(rng.choice([0.0, 0.0, 0.7, 1.5])),
        "tick_mm": (least, (least + longest) / 2, longest),
        "tick_width_mm": float(rng.uniform(0.16, 0.42)) * min(1.0, finest**0.5),
        "digit_mm": digit,
        "digit_turn_deg": int(rng.choice([0, 0, 0, 90, 180])) if digit < 4 else 0,
        "digit_gap_mm": 1.9 if small else float(rng.uniform(0.2, 1.2)),
        "in_millimetres": bool(rng.random() < 0.2),
        "face": int(rng.integers(4)),
    }
    return WornRuler(
        unit=unit,
        length_mm=length,
        width_mm=width,
        zero_mm=0.0 if material == "tape" else float(rng.choice([0.0, 3.0, 5.0, 10.0])),
        body=body,
        ink=ink,
        material=material,
        stretch=drawn_error(rng, RULER_RELATIVE_U95),
        wear=float(rng.uniform(0, 0.35)) if contrast > 50 and rng.random() < 0.6 else 0.0,
        small_digit_mm=1.15 if small else 0.0,
        arrows=small and bool(rng.random() < 0.5),
        lettering=_LETTERING[int(rng.integers(len(_LETTERING)))],
        bevel_mm=float(rng.uniform(2, 8)) if material != "tape" and rng.random() < 0.3 else 0.0,
        bevel_shade=float(rng.uniform(-0.2, 0.12)),
        grain=float(rng.uniform(0.03, 0.15)) if material == "steel" else 0.0,
        dirt=float(rng.uniform(0, 0.25)) if rng.random() < 0.5 else 0.0,
        glares=_glares(rng, length, width) if gloss else (),
        curl=_curl(rng, camera) if material == "tape" and rng.random() < 0.35 else None,
        seed=seed,
        **options,
    )


def _colours(rng: np.random.Generator, material: str) -> tuple[str, str, float]:
    """Face, ink, and how many grey levels lie between them."""
    dark = material == "plain" and rng.random() < 0.15
    body = str(rng.choice(_DARK if dark else BODIES[material]))
    faint = rng.random() < 0.2
    contrast = float(rng.uniform(12, 45) if faint else rng.uniform(70, 215))
    if faint and material in ("wood", "steel"):
        contrast += 25  # their own grain is as dark as the faintest marks
    rgb = [int(body[i : i + 2], 16) for i in (1, 3, 5)]
    contrast = min(contrast, max(rgb) - 15) if not dark else min(contrast, 245 - max(rgb))
    ink = [int(np.clip(c + (contrast if dark else -contrast), 12, 250)) for c in rgb]
    return body, "#{:02x}{:02x}{:02x}".format(*ink), contrast


def _glares(rng: np.random.Generator, length: float, width: float) -> tuple[Glare, ...]:
    return tuple(
        Glare(
            at_mm=float(rng.uniform(0, 1)) * length,
            down_mm=float(rng.uniform(0, 0.6)) * width,
            reach_mm=float(rng.uniform(6, 30)),
            strength=float(rng.uniform(0.3, 1.4)),
        )
        for _ in range(max(1, round(length / 160 * rng.uniform(0.5, 1.5))))
    )


def _curl(rng: np.random.Generator, camera: Camera) -> Curl:
    bent, rising = rng.random() < 0.7, rng.random() < 0.5
    return Curl(
        radius_mm=float(rng.uniform(700, 4000) * rng.choice([-1, 1])) if bent or not rising else 0.0,
        rise_mm=float(rng.uniform(3, 15)) if rising else 0.0,
        reach_mm=float(rng.uniform(50, 130)),
        eye_mm=camera.eye_mm,
    )


def nominal_mm(reference: str) -> tuple[float, float]:
    """What a sheet's width and height would be without its printer's error."""
    return _TARGET_MM if reference == "target" else PAPER_MM


def laid_sheet(rng: np.random.Generator, reference: str, field: Field, fills: bool) -> Sheet:
    """The tool's own target, or millimetre paper, as printed: a little too large or too small."""
    u95 = target.PRINT_RELATIVE_U95 if reference == "target" else RULER_RELATIVE_U95
    size = nominal_mm(reference)
    scale = 1 + drawn_error(rng, u95)
    side = float(rng.choice([-1, 1]))
    margin = 20.0 if reference == "target" else 6.0
    quarter = float(rng.choice([0, 90, 180, 270]))
    across = size[0] if quarter % 180 == 0 else size[1]
    x = side * (0.5 * field.width - 0.5 * across - (0 if fills else 0.4 * margin))
    return Sheet(
        face=_target_face() if reference == "target" else _grid_face(),
        width_mm=size[0] * scale,
        height_mm=size[1] * scale,
        margin_mm=margin,
        x_mm=x * (0.5 if fills else 1.0),
        y_mm=float(rng.uniform(-0.05, 0.05)) * field.height,
        turn_deg=quarter + float(rng.normal(0, 6 if fills else 3)),
    )


def _target_face() -> np.ndarray:
    """OpenCV's own drawing of the board, ten pixels a millimetre nearly: two pixels in each cell of a marker a side."""
    dictionary = cv2.aruco.getPredefinedDictionary(target.DICTIONARY)
    board = cv2.aruco.CharucoBoard(target.SQUARES, target.SQUARE_MM, target.MARKER_MM, dictionary)
    return board.generateImage(tuple(round(8 * side) for side in _TARGET_MM), marginSize=0)


def _grid_face() -> np.ndarray:
    width, height = (round(10 * side) for side in PAPER_MM)
    face = np.full((height, width), 255, dtype=np.uint8)
    for every, half, grey in ((10, 1, 170), (50, 1, 130), (100, 2, 80)):
        for axis in (0, 1):
            for at in range(0, face.shape[axis], every):
                part = slice(max(0, at - half), at + half)
                lines = face[part] if axis == 0 else face[:, part]
                np.minimum(lines, grey, out=lines)
    return face
