"""What is known of a cloth after its photograph has been measured: plain data, and the document others rely on."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

from vision.estimate import Estimate

Point = tuple[float, float]
ScaleSource = Literal["ruler", "target", "card", "points"]
PrintKind = Literal["stripe", "check", "motif", "plain"]
LatticeKind = Literal["straight", "half_drop", "brick"]
SkewReference = Literal["torn", "selvage", "thread", "weave"]

#: A repeat known no better than this is no answer (contract of the measurement document).
REPEAT_LIMIT_RELATIVE_U95 = 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """How many photo pixels a millimetre takes at the middle of the fabric, and along the reference itself."""

    source: ScaleSource
    unit: Literal["inch", "mm"] | None
    px_per_mm: Estimate
    reference_px_per_mm: float
    tilt_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Stripe:
    """One stripe of the repeat; ``centre_mm`` is counted from the print's origin along its across direction."""

    label: str
    width: Estimate
    centre_mm: float
    hex: str
    colour: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Lattice:
    """The smallest translations of a print, in mm, in the square-on picture's frame (x right, y down)."""

    kind: LatticeKind
    a_mm: Point
    b_mm: Point


@dataclass(frozen=True, slots=True, kw_only=True)
class Print:
    """The print of one cloth. ``across_direction_deg`` in (-90, 90], counter-clockwise as seen.

    ``stripes_along`` and ``along`` are counted along ``along_direction_deg`` from ``along_origin_mm``. ``bow_percent``
    is how deep the stripes bend, over their length, positive where their middle lies ahead in the across direction.
    """

    kind: PrintKind
    across: Estimate | None = None
    across_direction_deg: Estimate | None = None
    along: Estimate | None = None
    origin_mm: float | None = None
    even: bool | None = None
    stripes: tuple[Stripe, ...] = ()
    stripes_along: tuple[Stripe, ...] | None = None
    lattice: Lattice | None = None
    along_direction_deg: Estimate | None = None
    along_origin_mm: float | None = None
    bow_percent: Estimate | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Skew:
    """An angle of the cloth: of the print's axis against the grain, or of the weft against square to the selvage.

    Degrees, positive where the first lies counter-clockwise of the second; ``reference`` is what shows the second.
    """

    angle: Estimate
    percent: float
    reference: SkewReference


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A cloth's outline in mm, origin at the corner of its bounding box, x right, y down; holes likewise."""

    points_mm: tuple[Point, ...]
    u95_mm: float
    area_mm2: float
    holes_mm: tuple[tuple[Point, ...], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Cloth:
    """One cloth in the photograph: where it lies, what is printed on it, how the print lies to the grain (``skew``),
    and where both can be seen how the weft lies against square to the selvage (``weft``)."""

    outline: Outline | None
    print: Print | None
    skew: Skew | None
    weft: Skew | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """All that one photograph tells. ``main`` is the largest cloth; ``scraps`` is filled where there are several."""

    photo: str
    scale: Scale | None
    main: Cloth
    scraps: tuple[Cloth, ...] = ()
    warnings: tuple[str, ...] = field(default=())

    def to_document(self) -> dict[str, Any]:
        """The document ``measurement/1``: what cannot be measured is null."""
        document: dict[str, Any] = {"schema": "measurement/1", "photo": self.photo, "scale": _scale(self.scale)}
        document.update(_cloth(self.main))
        document["scraps"] = [_cloth(scrap) for scrap in self.scraps]
        document["warnings"] = list(self.warnings)
        return document


def _round(value: float | None, digits: int = 3) -> float | None:
    return None if value is None else round(float(value), digits) + 0.0


def _pair(name: str, estimate: Estimate | None, digits: int = 3) -> dict[str, float | None]:
    if estimate is None:
        return {name: None, f"{name}_u95": None}
    return {name: _round(estimate.value, digits), f"{name}_u95": _round(estimate.u95, digits)}


def _points(points: tuple[Point, ...]) -> list[list[float]]:
    return [[round(x, 3) + 0.0, round(y, 3) + 0.0] for x, y in points]


def _scale(scale: Scale | None) -> dict[str, Any] | None:
    if scale is None:
        return None
    return {
        "source": scale.source,
        "unit": scale.unit,
        **_pair("px_per_mm", scale.px_per_mm, 5),
        "reference_px_per_mm": _round(scale.reference_px_per_mm, 5),
        "tilt_deg": _round(scale.tilt_deg, 2),
    }


def _stripes(stripes: tuple[Stripe, ...] | None) -> list[dict[str, Any]] | None:
    if stripes is None:
        return None
    return [
        {
            "label": stripe.label,
            **_pair("width_mm", stripe.width),
            "centre_mm": _round(stripe.centre_mm),
            "hex": stripe.hex,
            "colour": stripe.colour,
        }
        for stripe in stripes
    ]


def _print(print_: Print | None) -> dict[str, Any] | None:
    if print_ is None:
        return None
    direction = print_.across_direction_deg
    lattice = print_.lattice
    return {
        "kind": print_.kind,
        **_pair("across_mm", print_.across),
        **_pair("across_direction_deg", direction),
        **_pair("along_mm", print_.along),
        **_pair("along_direction_deg", print_.along_direction_deg),
        "origin_mm": _round(print_.origin_mm),
        "along_origin_mm": _round(print_.along_origin_mm),
        **_pair("bow_percent", print_.bow_percent),
        "even": print_.even,
        "stripes": _stripes(print_.stripes),
        "stripes_along": _stripes(print_.stripes_along),
        "lattice": None
        if lattice is None
        else {"kind": lattice.kind, "a_mm": _points((lattice.a_mm,))[0], "b_mm": _points((lattice.b_mm,))[0]},
    }


def _skew(skew: Skew | None) -> dict[str, Any] | None:
    if skew is None:
        return None
    return {**_pair("deg", skew.angle), "percent": _round(skew.percent), "reference": skew.reference}


def _cloth(cloth: Cloth) -> dict[str, Any]:
    outline = cloth.outline
    return {
        "print": _print(cloth.print),
        "skew": _skew(cloth.skew),
        "weft": _skew(cloth.weft),
        "fabric": None
        if outline is None
        else {
            "outline_mm": _points(outline.points_mm),
            "outline_mm_u95": _round(outline.u95_mm),
            "area_mm2": _round(outline.area_mm2, 1),
            "holes_mm": [_points(hole) for hole in outline.holes_mm],
        },
    }
