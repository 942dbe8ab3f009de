"""Scenes as bad as real ones, each settled by its seed, each with the facts by which trials are sorted."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from tests.makers.camera import Camera
from tests.makers.cloth import Cloth, StripePrint, Stripes
from tests.makers.drawer import Field, laid_ruler, laid_sheet
from tests.makers.fact import Facts, Reference, facts_of
from tests.makers.relief import Bow, Crease, Relief, UnevenCloth
from tests.makers.ruler import divisions
from tests.makers.scene import folded
from tests.makers.shot import Shadow, Shot, lamp, truth_of_shot
from tests.makers.sticker import Sheet
from tests.makers.table import Table
from tests.makers.variety import TABLES, Kind, colours, printed, stripes
from vision.colour import ciede2000, lab_to_srgb, srgb_to_lab

KINDS: tuple[Kind, ...] = ("stripe", "check", "stripe", "motif", "stripe")
#: How far A' is from A where A B A' B is drawn: seen beside each other they differ plainly to a careful eye, and still
#: are one colour at a glance (CIE 142-2001: about 1 is the least difference seen; cloth matching accepts up to 2).
NEAR_CIEDE2000 = (6.5, 14.0)
#: Of two ways of naming the axes of a check, the nearer to the photo's x counts: none is drawn nearer than this to 45°.
_NEAR_DIAGONAL_DEG = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Harsh:
    """A shot with its facts."""

    shot: Shot
    facts: Facts


def draw(seed: int, *, reference: Reference | None = None, megapixels: float = 3.1) -> Harsh:
    """The scene of a seed."""
    rng = np.random.default_rng([seed, 515])
    kind = KINDS[seed % len(KINDS)]
    reference = reference or ("ruler", "target", "paper")[int(rng.choice(3, p=[0.82, 0.15, 0.03]))]
    unit = ("mm", "half_mm", "inch8", "inch16", "inch32", "both")[
        int(rng.choice(6, p=[0.4, 0.1, 0.14, 0.12, 0.06, 0.18]))
    ]
    blur = float(0.5 + 1.5 * rng.beta(1.0, 1.6))
    noise = float(rng.uniform(0.8, 3.5))
    camera, pixel_mm = _camera(rng, unit, reference, blur, megapixels)
    field = Field.inside(camera.width_px * pixel_mm, camera.height_px * pixel_mm, camera.roll_deg)
    fills = bool(rng.random() < 0.35)
    sheets = () if reference == "ruler" else (laid_sheet(rng, reference, field, fills),)
    soft_mm = pixel_mm * (1 + 0.5 * blur)
    if sheets and not fills:
        cloth = _beside(sheets[0], field, lambda room: _cloth(rng, kind, room, fills, soft_mm, seed))
    else:
        cloth = _cloth(rng, kind, field, fills, soft_mm, seed)
    cloth = _off_the_diagonal(cloth, camera)
    if rng.random() < 0.35:
        cloth = _uneven(rng, cloth, camera, field)
    rulers = laid_ruler(rng, unit, field, cloth, fills, camera, seed) if reference == "ruler" else ()
    shot = Shot(
        camera=camera,
        k1=float(rng.uniform(-0.005, 0.005) if rng.random() < 0.45 else rng.uniform(-0.02, 0.02)),
        table=_table(rng, cloth),
        cloths=(cloth,),
        rulers=rulers,
        sheets=sheets,
        focal_known=bool(rng.random() < 2 / 3),
        blur_px=blur,
        noise=noise,
        quality=int(rng.integers(70, 96)),
        seed=seed,
        **_lamplight(rng),
    )
    shot = _within_half(shot)
    return Harsh(shot=shot, facts=facts_of(shot, reference))


def _camera(
    rng: np.random.Generator, unit: str, reference: Reference, blur: float, megapixels: float
) -> tuple[Camera, float]:
    """A camera, and how many mm a pixel spans at the picture's middle."""
    short = math.sqrt(megapixels * 1e6 * 3 / 4)
    width, height = int(short * 4 / 3), int(short)
    if rng.random() < 0.3:
        width, height = height, width
    if reference == "ruler":
        finest = divisions("mm" if unit == "both" else unit)[0]
        ripple = max(3.7, 2.8 * blur)  # px a tick, so that the blur leaves something of them
        scale = float(rng.uniform(ripple, max(8.5, ripple + 1))) / finest**0.8
    elif reference == "target":
        scale = min(width, height) / float(rng.uniform(330, 640))
    else:
        scale = float(rng.uniform(max(4.5, 3.0 * blur), 8.0))
    scale = float(np.clip(scale, max(width, height) / 1100, max(width, height) / 150))
    focal = float(rng.choice([23, 24, 25, 26, 26, 27, 28]))
    anyhow = rng.random() < 0.6
    camera = Camera(
        width_px=width,
        height_px=height,
        focal35_mm=focal,
        tilt_deg=float(rng.uniform(0, 7) if rng.random() < 0.5 else rng.uniform(7, 20)),
        azimuth_deg=float(rng.uniform(0, 360)),
        roll_deg=float(rng.uniform(-180, 180) if anyhow else rng.normal(0, 4)),
        distance_mm=focal * math.hypot(width, height) / math.hypot(36, 24) / scale,
    )
    return camera, 1 / scale


def _beside(sheet: Sheet, field: Field, cloth_in: Callable[[Field], Cloth]) -> Cloth:
    """A cloth drawn for the room that a sheet at one side leaves, and laid there."""
    corners = sheet.corners_mm()
    taken = min(float(np.ptp(corners[:, 0])) + 6.0, 0.8 * field.width)
    cloth = cloth_in(Field(width=field.width - taken, height=field.height))
    return replace(cloth, x_mm=cloth.x_mm - math.copysign(taken / 2, sheet.x_mm))


def _cloth(rng: np.random.Generator, kind: Kind, field: Field, fills: bool, soft_mm: float, seed: int) -> Cloth:
    if fills:
        size, place = (2.2 * field.longer, 2.2 * field.longer), (0.0, 0.0)
        seen = min(field.width, field.height)
    else:
        size = float(rng.uniform(0.55, 0.85)) * field.width, float(rng.uniform(0.5, 0.72)) * field.height
        seen = min(size)
        place = float(rng.uniform(-0.04, 0.04)) * field.width, float(rng.uniform(-0.12, -0.06)) * field.height
    least = max(1.5, 4.5 * soft_mm)
    if kind == "motif" and seen / 5.2 < max(12.0, 6 * least):  # no two columns of the smallest motif would fit
        kind = "stripe"
    pattern = many(rng, seen, least) if kind == "stripe" else printed(rng, kind, seen, least)
    return Cloth(
        print=pattern,
        width_mm=size[0],
        length_mm=size[1],
        x_mm=place[0],
        y_mm=place[1],
        turn_deg=float(rng.normal(0, 4)) + (90.0 if rng.random() < 0.3 and fills else 0.0),
        skew_deg=float(rng.uniform(-3, 3)),
        phase_mm=(float(rng.uniform(0, 100)), float(rng.uniform(0, 100))),
        edges=("torn", "selvage", "torn", "selvage") if rng.random() < 0.75 else ("cut", "selvage", "torn", "cut"),
        fray_mm=float(rng.uniform(0.4, 2.0)),
        thread_mm=float(rng.uniform(0.3, 0.9)),
        weave_depth=float(rng.uniform(0.02, 0.14)),
        slub_depth=float(rng.uniform(0.01, 0.06)),
        slant_mm=float(rng.normal(0, 4)),
        seed=seed,
    )


def many(rng: np.random.Generator, extent_mm: float, least_mm: float) -> StripePrint:
    """Stripes, 2 to 16 a repeat; a quarter of them with a stripe that nearly looks like another."""
    largest = min(140.0, extent_mm / 2.3)
    repeat = float(np.exp(rng.uniform(math.log(min(max(8.0, 2.5 * least_mm), largest)), math.log(largest))))
    most = int(np.clip(repeat / (1.5 * least_mm), 2, 16))
    if most >= 4 and rng.random() < 0.25:
        return StripePrint(across=nearly_twice(rng, repeat))
    count = int(rng.integers(2, most + 1)) if rng.random() < 0.7 else most
    return StripePrint(across=stripes(rng, repeat, least_mm, count=count))


def nearly_twice(rng: np.random.Generator, repeat_mm: float) -> Stripes:
    """A B A' B: the repeat is the whole, though its half nearly repeats as well."""
    ground, ink = colours(rng, 2)
    rgb = np.array([int(ink[i : i + 2], 16) for i in (1, 3, 5)], dtype=float)
    lab = srgb_to_lab(rgb / 255)
    while True:  # a step in a direction of its own, of the size that was drawn, that the screen can show
        apart, step = rng.uniform(*NEAR_CIEDE2000), rng.normal(0, 1, 3)
        step *= apart / float(ciede2000(lab, lab + step))
        near = np.rint(lab_to_srgb(lab + step) * 255)
        low, high = NEAR_CIEDE2000
        if (near >= 0).all() and (near <= 255).all() and low < float(ciede2000(lab, srgb_to_lab(near / 255))) < high:
            break
    first, second = rng.uniform(0.3, 0.7), rng.uniform(0.3, 0.7)
    half = repeat_mm / 2
    widths = (first * half, (1 - first) * half) * 2 if rng.random() < 0.6 else (
        first * half, (1 - first) * half, second * half, (1 - second) * half
    )  # fmt: skip
    return Stripes(widths_mm=widths, colours=(ink, ground, "#{:02x}{:02x}{:02x}".format(*near.astype(int)), ground))


def _off_the_diagonal(cloth: Cloth, camera: Camera) -> Cloth:
    """The cloth turned a little where its print lies near 45 degrees to the photo's x."""
    direction = truth_of_shot(Shot(camera=camera, cloths=(cloth,))).across_direction_deg
    if direction is None:
        return cloth
    near = folded(2 * (abs(folded(direction)) - 45)) / 2
    if abs(near) >= _NEAR_DIAGONAL_DEG:
        return cloth
    return replace(cloth, turn_deg=cloth.turn_deg + 2 * _NEAR_DIAGONAL_DEG)


def _uneven(rng: np.random.Generator, cloth: Cloth, camera: Camera, field: Field) -> UnevenCloth:
    creased, bowed = bool(rng.random() < 0.75), bool(rng.random() < 0.5)
    creases = tuple(
        Crease(
            x_mm=float(rng.uniform(-0.45, 0.45) * field.width),
            y_mm=float(rng.uniform(-0.45, 0.45) * field.height),
            turn_deg=float(rng.uniform(0, 180)),
            height_mm=float(rng.uniform(0.2, 1.0)),
            spread_mm=float(rng.uniform(2.0, 9.0)),
        )
        for _ in range(int(rng.integers(2, 9)) if creased or not bowed else 0)
    )
    bows = (
        Bow(
            height_mm=float(rng.uniform(0.3, 1.5)),
            length_mm=float(rng.uniform(0.5, 1.6) * field.longer),
            turn_deg=float(rng.uniform(0, 180)),
            phase=float(rng.uniform(0, 6.28)),
        ),
    )
    relief = Relief(eye_mm=camera.eye_mm, creases=creases, bows=bows if bowed else ())
    return UnevenCloth(relief=relief, **{name: getattr(cloth, name) for name in Cloth.__dataclass_fields__})


def _table(rng: np.random.Generator, cloth: Cloth) -> Table:
    """A table, a quarter of them of nearly the colour of the cloth's first stripe or ground."""
    colour = str(rng.choice(TABLES))
    if rng.random() < 0.25:
        own = cloth.print.across.colours if hasattr(cloth.print, "across") else (cloth.print.ground,)
        base = own[int(rng.integers(len(own)))]
        rgb = [int(np.clip(int(base[i : i + 2], 16) + rng.normal(0, 9), 0, 255)) for i in (1, 3, 5)]
        colour = "#{:02x}{:02x}{:02x}".format(*rgb)
    kind = ("smooth", "speckled", "wood")[int(rng.integers(3))]
    return Table(colour=colour, kind=kind, depth=float(rng.uniform(0.02, 0.12)))


def _lamplight(rng: np.random.Generator) -> dict[str, object]:
    warm = float(rng.uniform(0, 1) ** 2)
    shadows = ()
    if rng.random() < 0.3:
        x, y = rng.uniform(-1.2, 1.2, 2)
        shadows = (
            Shadow(x=float(x), y=float(y), radius=float(rng.uniform(0.3, 0.8)), depth=float(rng.uniform(0.1, 0.3))),
        )
    return {
        "shade": float(rng.uniform(0, 0.25)),
        "shade_towards_deg": float(rng.uniform(0, 360)),
        "exposure": float(rng.uniform(0.55, 0.95)),
        "tint": (1.0, 1.0 - 0.22 * warm, 1.0 - 0.5 * warm),
        "pool": float(rng.uniform(0, 0.35)),
        "pool_at": (float(rng.uniform(-0.7, 0.7)), float(rng.uniform(-0.7, 0.7))),
        "shadows": shadows,
    }


def _within_half(shot: Shot) -> Shot:
    """The shot with its shading eased until the darkest place has at least half the light of the lightest."""
    light = lamp((64, 48), shot)
    while light.min() < 0.5 * light.max():
        eased = tuple(replace(s, depth=0.85 * s.depth) for s in shot.shadows)
        shot = replace(shot, shade=0.85 * shot.shade, pool=0.85 * shot.pool, shadows=eased)
        light = lamp((64, 48), shot)
    return shot
