"""Many different scenes, each settled by its seed: the spread of cloths, rulers and camera positions people use."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from tests.makers.camera import Camera, Floats, project
from tests.makers.cloth import AnyPrint, CheckPrint, Cloth, Motif, MotifPrint, PlainPrint, StripePrint, Stripes
from tests.makers.ruler import INCH_MM, Ruler
from tests.makers.scene import Scene
from tests.makers.table import Table

Kind = Literal["stripe", "check", "motif", "plain"]

_SHADES = (
    ("#8f1f2a", "#a63a35", "#7a2233"),
    ("#e9e1cc", "#f1eee4", "#ddd3bb"),
    ("#23426f", "#1c2f55", "#3a5f94"),
    ("#2f6b4a", "#47794f", "#1f4d3b"),
    ("#d9a441", "#e0b85c", "#c98f2c"),
    ("#2b2b2e", "#3a3734", "#1e1d22"),
    ("#b9b4aa", "#9aa0a3", "#c7c2b6"),
    ("#c46a3a", "#b3552f", "#d0825a"),
    ("#7d5a86", "#5c4470", "#94719c"),
    ("#8fb3c4", "#a5c3c9", "#7aa0b8"),
)
#: Two stripes of a cloth pass for equally wide up to this difference: half of what a ruler's millimetres show, or about
#: twice the least difference in length that is seen side by side, 2 to 3 per cent (Weber's fraction; from memory).
SEEN_MM, SEEN_SHARE = 0.5, 0.05
#: So many sequences that say themselves are drawn before a simpler one is taken.
_MOST_DRAWS = 20
TABLES = ("#6b5440", "#3c342d", "#c9b79a", "#e6e1d8", "#8a8781", "#50555c", "#2a2a2c", "#a58d6e", "#d7d3c8")
BODIES = {
    "plain": ("#f2efe6", "#f6f4ee", "#e8c94a", "#f0efe9", "#dfe6e8"),
    "wood": ("#c9a36a", "#d8b67e", "#b98f57"),
    "steel": ("#b4b7ba", "#c6c8ca", "#a2a6aa"),
    "tape": ("#f3e9a5", "#f5f2ea", "#e9d25a", "#d8e6d2"),
}


def draw(seed: int, *, kinds: tuple[Kind, ...] = ("stripe", "check", "motif"), megapixels: float = 3.1) -> Scene:
    """The scene of a seed: tilt to 7 degrees, one clean ruler, one cloth."""
    rng = np.random.default_rng([seed, 2026])
    kind: Kind = kinds[seed % len(kinds)]
    fills = bool(rng.random() < 0.3)
    unit = ("mm", "inch8", "inch16", "both")[int(rng.choice(4, p=[0.45, 0.2, 0.15, 0.2]))]
    portrait = bool(rng.random() < 0.3)
    short = math.sqrt(megapixels * 1e6 * 3 / 4)
    long = short * 4 / 3
    width, height = (int(short), int(long)) if portrait else (int(long), int(short))
    focal = float(rng.choice([23, 24, 25, 26, 26, 27, 28]))
    # the finest tick spacing is drawn at 3.7 to 8 pixels where it is a millimetre, wider where it is coarser
    finest = {"mm": 1.0, "inch8": INCH_MM / 8, "inch16": INCH_MM / 16, "both": 1.0}[unit]
    scale = float(rng.uniform(3.7, 8.0)) / finest**0.6
    scale = float(np.clip(scale, width / 1100, width / 240))
    focal_px = focal * math.hypot(width, height) / math.hypot(36, 24)
    camera = Camera(
        width_px=width,
        height_px=height,
        focal35_mm=focal,
        tilt_deg=float(rng.uniform(0, 7)),
        azimuth_deg=float(rng.uniform(0, 360)),
        roll_deg=float(rng.normal(0, 3)),
        distance_mm=focal_px / scale,
    )
    field = (width / scale, height / scale)
    cloth = _cloth(rng, kind, field, fills, seed)
    ruler = _ruler(rng, unit, field, cloth, fills, seed)
    return Scene(
        camera=camera,
        table=Table(
            colour=str(rng.choice(TABLES)),
            kind=("smooth", "speckled", "wood")[int(rng.integers(3))],
            depth=float(rng.uniform(0.02, 0.10)),
        ),
        cloths=(cloth,),
        rulers=(ruler,),
        shade=float(rng.uniform(0, 0.2)),
        shade_towards_deg=float(rng.uniform(0, 360)),
        exposure=float(rng.uniform(0.7, 0.95)),
        blur_px=float(rng.uniform(0.5, 0.9)),
        noise=float(rng.uniform(0.5, 3.0)),
        quality=int(rng.integers(82, 96)),
        seed=seed,
    )


def colours(rng: np.random.Generator, count: int) -> tuple[str, ...]:
    """Colours of different families, so that neighbours differ plainly."""
    families = rng.choice(len(_SHADES), size=count, replace=False)
    return tuple(_SHADES[f][int(rng.integers(3))] for f in families)


def stripes(rng: np.random.Generator, repeat_mm: float, least_mm: float, *, count: int | None = None) -> Stripes:
    """A sequence of 2 to 8 stripes, even or not, no two neighbours alike, none narrower than ``least_mm``."""
    most = int(np.clip(repeat_mm / (2.2 * least_mm), 2, 8))
    count = count or int(rng.integers(2, most + 1))
    fewest = 2 if count % 2 == 0 else 3  # an odd ring cannot alternate between two colours
    palette = colours(rng, int(np.clip(rng.integers(2, 6), fewest, max(fewest, count))))
    told = 0
    while told < _MOST_DRAWS:
        order = [int(k) for k in rng.integers(len(palette), size=count)]
        even = count >= 4 and count % 2 == 0 and rng.random() < 0.4
        shares = rng.uniform(0.6, 2.2, count)
        if even:  # folded about the middles of the first and of the middle stripe
            for k in range(1, count // 2):
                order[count - k], shares[count - k] = order[k], shares[k]
        if any(order[k] == order[k - 1] for k in range(count)):
            continue
        told += 1
        widths = np.maximum(shares / shares.sum() * repeat_mm, least_mm)
        widths *= repeat_mm / widths.sum()
        if not says_itself(order, widths):
            return Stripes(widths_mm=tuple(float(w) for w in widths), colours=tuple(palette[k] for k in order))
    return stripes(rng, repeat_mm, least_mm, count=2)  # so short that the least width leaves nothing to differ


def says_itself(colours: Sequence[object], widths_mm: Floats) -> bool:
    """Whether a sequence looks like a shorter one said several times, its widths being one to the eye: then its sum
    would not be what anybody calls its repeat."""
    count = len(colours)
    return any(
        list(colours) == list(colours[:n]) * (count // n) and bool((_apart(widths_mm.reshape(-1, n)) <= 0).all())
        for n in range(1, count)
        if count % n == 0
    )


def _apart(turns_mm: Floats) -> Floats:
    """How much more the widths of each stripe differ between turns (K, n) than what passes for one width."""
    return np.ptp(turns_mm, axis=0) - np.maximum(SEEN_MM, SEEN_SHARE * turns_mm.mean(axis=0))


def printed(rng: np.random.Generator, kind: Kind, extent_mm: float, least_mm: float) -> AnyPrint:
    """A print whose repeat fits ``extent_mm`` at least 2.6 times, with nothing narrower than ``least_mm``."""
    largest = min(120.0, extent_mm / 2.6)
    smallest = min(max(15.0, 4.5 * least_mm), largest)

    def repeat() -> float:
        return float(np.exp(rng.uniform(math.log(smallest), math.log(largest))))

    if kind == "stripe":
        return StripePrint(across=stripes(rng, repeat(), least_mm))
    if kind == "check":
        across = stripes(rng, repeat(), least_mm)
        gingham = rng.random() < 0.4
        side = float(across.repeat_mm * (1 if rng.random() < 0.5 else rng.uniform(0.8, 1.25)))
        if gingham or side > largest:
            return CheckPrint(across=across, along=across)
        return CheckPrint(across=across, along=stripes(rng, side, least_mm))
    if kind == "motif":
        lattice = ("straight", "half_drop", "brick")[int(rng.integers(3))]
        column = float(np.exp(rng.uniform(math.log(max(12.0, 6 * least_mm)), math.log(largest / 2))))
        row = float(column * rng.uniform(0.75, 1.35))
        ground, *inks = colours(rng, int(rng.integers(2, 5)))
        shapes = ("dot", "ring", "diamond", "leaf", "square")
        motifs = [
            Motif(
                shape=shapes[int(rng.integers(5))],
                colour=ink,
                x=float(rng.uniform(-0.12, 0.12)),
                y=float(rng.uniform(-0.12, 0.12)),
                radius=float(rng.uniform(0.2, 0.32) / (1 + 0.8 * k)),
                turn_deg=float(rng.uniform(0, 180)),
            )
            for k, ink in enumerate(inks)
        ]
        return MotifPrint(ground=ground, motifs=tuple(motifs), column_mm=column, row_mm=row, lattice=lattice)
    return PlainPrint(colour=colours(rng, 1)[0])


def _cloth(rng: np.random.Generator, kind: Kind, field: tuple[float, float], fills: bool, seed: int) -> Cloth:
    pixel = field[0] / (2048 if field[0] > field[1] else 1536)
    if fills:
        size = 1.5 * field[0], 1.5 * field[1]
        seen, place = min(field), (0.0, 0.0)
    else:
        size = float(rng.uniform(0.5, 0.72)) * field[0], float(rng.uniform(0.42, 0.62)) * field[1]
        seen = min(size)
        place = float(rng.uniform(-0.05, 0.05)) * field[0], float(rng.uniform(-0.12, -0.05)) * field[1]
    return Cloth(
        print=printed(rng, kind, seen, max(2.0, 7 * pixel)),
        width_mm=size[0],
        length_mm=size[1],
        x_mm=place[0],
        y_mm=place[1],
        turn_deg=float(rng.normal(0, 4)) + (90.0 if rng.random() < 0.25 and fills else 0.0),
        skew_deg=float(rng.uniform(-3, 3)),
        phase_mm=(float(rng.uniform(0, 100)), float(rng.uniform(0, 100))),
        edges=("torn", "selvage", "torn", "selvage") if rng.random() < 0.7 else ("cut", "selvage", "torn", "cut"),
        fray_mm=float(rng.uniform(0.4, 1.6)),
        thread_mm=float(rng.uniform(0.3, 0.9)),
        weave_depth=float(rng.uniform(0.02, 0.12)),
        slub_depth=float(rng.uniform(0.01, 0.05)),
        slant_mm=float(rng.normal(0, 3)),
        seed=seed,
    )


def _ruler(
    rng: np.random.Generator, unit: str, field: tuple[float, float], cloth: Cloth, fills: bool, seed: int
) -> Ruler:
    material = ("plain", "wood", "steel", "tape")[int(rng.choice(4, p=[0.45, 0.15, 0.15, 0.25]))]
    cut_off = rng.random() < 0.35
    whole = 305.0 if unit in ("mm", "both") else 12.4 * INCH_MM
    if material == "tape" or cut_off:
        whole = float(rng.uniform(1.2, 2.0)) * field[0]
    length = min(whole, field[0] * (2.0 if material == "tape" or cut_off else 0.85))
    width = float(rng.uniform(26, 40)) if unit == "both" else float(rng.uniform(13, 34))
    longest = float(rng.uniform(0.22, 0.34)) * width if unit == "both" else float(rng.uniform(0.28, 0.5)) * width
    longest = min(longest, 12.0)
    least = longest * float(rng.uniform(0.42, 0.6))
    digit = float(np.clip(rng.uniform(0.16, 0.24) * width, 2.2, 6.0))
    margin = float(rng.choice([0.0, 0.0, 0.6]))
    room = width - margin - longest - 1.0
    if unit != "both" and digit > room:
        digit = max(2.0, room)
    on_cloth = fills or rng.random() < 0.35
    if fills:
        x, y, turn = 0.0, float(rng.uniform(-0.25, 0.3)) * field[1], float(rng.normal(0, 12))
        if rng.random() < 0.25:
            turn += 90
            length = min(length, 1.9 * field[1])
    elif on_cloth:
        x, y, turn = float(cloth.x_mm), float(cloth.y_mm + 0.3 * cloth.length_mm), float(rng.normal(0, 10))
    else:
        x, y, turn = 0.0, float(cloth.y_mm + cloth.length_mm / 2 + 0.12 * field[1]), float(rng.normal(0, 2.0))
    shift = float(rng.uniform(0, 0.35)) * field[0] if cut_off and material != "tape" else 0.0
    angle = math.radians(turn)
    x, y = x + shift * math.cos(angle), y - shift * math.sin(angle)
    if rng.random() < 0.3:
        turn += 180
    return Ruler(
        unit=unit,
        length_mm=length,
        width_mm=width,
        zero_mm=0.0 if material == "tape" else float(rng.choice([0.0, 3.0, 5.0, 10.0])),
        x_mm=x,
        y_mm=y,
        turn_deg=turn,
        body=str(rng.choice(BODIES[material])),
        ink=str(rng.choice(["#1c1c1c", "#2a2a2a", "#111111", "#3a3f45"])),
        material=material,
        margin_mm=margin,
        tick_mm=(least, (least + longest) / 2, longest),
        tick_width_mm=float(rng.uniform(0.18, 0.4)),
        digit_mm=digit,
        digit_turn_deg=int(rng.choice([0, 0, 0, 90])) if digit < 4 else 0,
        digit_gap_mm=float(rng.uniform(0.4, 1.2)),
        number_every=1,
        in_millimetres=bool(rng.random() < 0.2),
        face=int(rng.integers(4)),
        seed=seed,
    )


def torn_side(scene: Scene) -> str | None:
    """The side of the upright photo that the first cloth's lower torn edge faces, where the photo shows that edge."""
    cloth = scene.cloths[0]
    return torn_side_of(cloth, project(scene.camera.photo_from_mm, cloth.corners_mm()), scene.camera, rim_px=4)


def torn_side_of(cloth: Cloth, corners: Floats, camera: Camera, *, rim_px: int) -> str | None:
    """The side that the cloth's lower torn edge faces, its corners (4, 2) seen there in the photo; None where that edge
    is not torn or a corner comes nearer to the frame than ``rim_px``."""
    inside = (corners > rim_px).all() and (corners < [camera.width_px - rim_px, camera.height_px - rim_px]).all()
    if cloth.edges[2] != "torn" or not inside:
        return None
    away = (corners[2] + corners[3]) / 2 - corners.mean(axis=0)
    if abs(away[0]) > abs(away[1]):
        return "right" if away[0] > 0 else "left"
    return "bottom" if away[1] > 0 else "top"


def without_ruler(scene: Scene) -> Scene:
    """The same scene, its ruler taken away."""
    return replace(scene, rulers=())
