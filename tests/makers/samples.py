"""The demo's photographs: the gardener's deck-chair stripe, as a phone would have taken it. Run to write them anew:

python -m tests.makers.samples [FOLDER]
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

from tests.makers.camera import Camera
from tests.makers.cloth import Cloth, StripePrint, Stripes
from tests.makers.ruler import Ruler
from tests.makers.scene import Scene, render
from tests.makers.table import Table

FOLDER = Path(__file__).resolve().parents[2] / "samples"

#: An even stripe: read from the middle of the orange or of the teal, it is the same both ways.
DECKCHAIR = Stripes(widths_mm=(22.0, 8.0, 14.0, 8.0), colours=("#c2582e", "#efe6cf", "#2a6276", "#efe6cf"))
#: A sewing tape with eighths of an inch, and one with millimetres.
INCH_TAPE = Ruler(
    unit="inch8",
    length_mm=60.3 * 25.4,
    width_mm=19.0,
    zero_mm=3.0,
    body="#f0d860",
    ink="#161616",
    material="tape",
    tick_mm=(4.0, 6.0, 9.0),
    tick_width_mm=0.45,
    digit_mm=6.0,
    digit_gap_mm=1.2,
    face=1,
    seed=11,
)
METRIC_RULE = Ruler(
    unit="mm",
    length_mm=310.0,
    width_mm=30.0,
    zero_mm=5.0,
    body="#f3f0e6",
    tick_mm=(4.5, 6.5, 9.0),
    tick_width_mm=0.3,
    digit_mm=4.5,
    seed=12,
)


def placed(ruler: Ruler, x_mm: float, y_mm: float, turn_deg: float) -> Ruler:
    """The ruler laid in another place."""
    return replace(ruler, x_mm=x_mm, y_mm=y_mm, turn_deg=turn_deg)


def cloth(width_mm: float, length_mm: float, seed: int, **places: float) -> Cloth:
    """A piece of the stripe, torn off top and bottom, its print skewed by a degree and a half to the torn edges."""
    options: dict[str, float] = {"skew_deg": 1.5, "fray_mm": 1.6, "thread_mm": 0.7, "weave_depth": 0.07, **places}
    return Cloth(
        print=StripePrint(across=DECKCHAIR),
        width_mm=width_mm,
        length_mm=length_mm,
        edges=("torn", "selvage", "torn", "selvage"),
        slub_depth=0.03,
        phase_mm=(9.0 * seed, 0.0),
        seed=seed,
        **options,
    )


def scenes() -> dict[str, tuple[Scene, str]]:
    """Each photograph's name, its scene and when it was taken."""
    oak = Table(colour="#7a5a3e", kind="wood", depth=0.06)
    slate = Table(colour="#4a4d52", kind="speckled", depth=0.05)
    size = {"width_px": 4032, "height_px": 3024}
    return {
        "stripe-length-1.jpg": (
            Scene(
                camera=Camera(**size, tilt_deg=3.4, azimuth_deg=70.0, roll_deg=-1.1, distance_mm=900.0),
                table=oak,
                cloths=(cloth(960.0, 640.0, 1, x_mm=-10.0, y_mm=-70.0, turn_deg=1.0),),
                rulers=(placed(INCH_TAPE, 90.0, 330.0, 1.2),),
                quality=88,
                noise=2.2,
                seed=101,
            ),
            "2026:05:17 10:31:08",
        ),
        "stripe-length-2.jpg": (
            Scene(
                camera=Camera(**size, tilt_deg=4.6, azimuth_deg=205.0, roll_deg=1.6, distance_mm=860.0),
                table=oak,
                cloths=(cloth(880.0, 610.0, 2, x_mm=12.0, y_mm=-66.0, turn_deg=-0.8, slant_mm=4.0),),
                rulers=(placed(INCH_TAPE, 60.0, 318.0, -0.7),),
                shade_towards_deg=160.0,
                quality=88,
                noise=2.2,
                seed=102,
            ),
            "2026:05:17 10:34:41",
        ),
        "stripe-close.jpg": (
            Scene(
                camera=Camera(**size, tilt_deg=5.5, azimuth_deg=300.0, roll_deg=0.7, distance_mm=330.0),
                table=oak,
                cloths=(cloth(1500.0, 900.0, 3, turn_deg=2.0),),
                rulers=(placed(METRIC_RULE, -6.0, 92.0, 3.5),),
                quality=86,
                noise=2.2,
                seed=103,
            ),
            "2026:05:17 10:38:02",
        ),
        "stripe-remnants.jpg": (
            Scene(
                camera=Camera(**size, tilt_deg=4.0, azimuth_deg=20.0, roll_deg=-0.6, distance_mm=640.0),
                table=slate,
                cloths=(
                    cloth(330.0, 300.0, 4, x_mm=-190.0, y_mm=-70.0, turn_deg=2.2),
                    cloth(210.0, 330.0, 5, x_mm=150.0, y_mm=-60.0, turn_deg=-3.0, slant_mm=14.0),
                ),
                rulers=(placed(METRIC_RULE, 0.0, 185.0, -1.0),),
                quality=88,
                noise=2.2,
                seed=104,
            ),
            "2026:05:17 10:44:27",
        ),
    }


def write(folder: Path) -> None:
    """Render every photograph into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, (scene, taken) in scenes().items():
        path = render(scene).save(folder / name, taken=taken)
        print(f"{path}  {path.stat().st_size / 1e6:.1f} MB")


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
