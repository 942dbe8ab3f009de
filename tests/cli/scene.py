"""Small rendered photographs for the commands."""

from __future__ import annotations

from pathlib import Path

from tests.makers.camera import Camera
from tests.makers.cloth import Cloth, StripePrint, Stripes
from tests.makers.ruler import Ruler
from tests.makers.scene import Scene, render
from tests.makers.table import Table

CAMERA = Camera(width_px=1600, height_px=1200, tilt_deg=2.0, azimuth_deg=40.0, distance_mm=420.0)
RULER = Ruler(unit="mm", length_mm=310.0, width_mm=30.0, y_mm=120.0, seed=3)
REPEAT_MM = 42.0
CLOTH = Cloth(
    print=StripePrint(across=Stripes(widths_mm=(14.0, 28.0), colours=("#a01c24", "#efe6d2"))),
    width_mm=300.0,
    length_mm=200.0,
    y_mm=-20.0,
    edges=("torn", "selvage", "torn", "selvage"),
    seed=4,
)
TABLE = Table(colour="#3d4a3f", kind="speckled")


def write(path: Path, *, cloth: bool, ruler: bool) -> Path:
    """A photograph with striped cloth, with a ruler, with both or with neither."""
    scene = Scene(
        camera=CAMERA, table=TABLE, cloths=(CLOTH,) if cloth else (), rulers=(RULER,) if ruler else (), seed=17
    )
    return render(scene).save(path)
