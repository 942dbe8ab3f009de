"""Plans made by hand, with the fabrics and pieces they are cut from: the demo's jacket in small, and harder ones."""

from __future__ import annotations

from typing import Any

from shapely.geometry import Polygon
from shapely.ops import unary_union

from stash.fabric import Fabric, Print, Stripe
from stash.piece import Piece, across_axis, along_axis
from vision.estimate import Estimate

SEAM_MM = 6.35

DECK = Fabric(
    id="deck",
    name="Deck-chair stripe",
    print=Print(
        kind="stripe",
        across=Estimate(63.5, 0.3),
        stripes=(
            Stripe(label="A", width_mm=19.05, centre_mm=9.525, hex="#96282c", colour="moderate red"),
            Stripe(label="B", width_mm=6.35, centre_mm=22.225, hex="#f3efe4", colour="white"),
            Stripe(label="C", width_mm=25.4, centre_mm=38.1, hex="#2a4a7d", colour="moderate blue"),
            Stripe(label="D", width_mm=12.7, centre_mm=57.15, hex="#e8dcc4", colour="pale yellow"),
        ),
    ),
)
INDIGO = Fabric(id="indigo", name="Plain indigo linen", print=Print(kind="plain"), extra={"hex": "#27344f"})


def strip(
    name: str, length_mm: float, width_mm: float = 50.8, *, stripe: str = "A", fabric: str = "deck"
) -> dict[str, Any]:
    """A strip of border as a plan's garments hold it."""
    cut = width_mm + 2 * SEAM_MM
    return {
        "id": name, "fabric": fabric, "stripe": stripe, "length_mm": length_mm, "width_mm": width_mm,
        "seam_mm": SEAM_MM, "cut_width_mm": cut, "stripe_at_mm": cut / 2, "make": "flat", "joins": 0,
    }  # fmt: skip


def placed(
    part: dict[str, Any], piece: Piece, fabric: Fabric, k: int, start_mm: float, *, segment: int = 1,
    finished_mm: float | None = None,
) -> dict[str, Any]:  # fmt: skip
    """A segment of a strip, its stripe's occurrence k, from p·d = start on."""
    assert fabric.print.across is not None
    n, d = across_axis(piece.stripe_direction_deg or 0), along_axis(piece.stripe_direction_deg or 0)
    stripe = next(one for one in fabric.print.stripes if one.label == part["stripe"])
    u = piece.stripe_origin_mm + stripe.centre_mm + k * fabric.print.across.value - part["stripe_at_mm"]
    finished = part["length_mm"] if finished_mm is None else finished_mm
    w, v = part["cut_width_mm"], finished + 2 * part["seam_mm"]
    corners = [(u, start_mm), (u + w, start_mm), (u + w, start_mm + v), (u, start_mm + v)]
    return {
        "part": part["id"], "segment": segment, "piece": piece.id, "stripe": part["stripe"], "finished_mm": finished,
        "turned": False,
        "outline_mm": [[round(a * n[0] + b * d[0], 3), round(a * n[1] + b * d[1], 3)] for a, b in corners],
    }  # fmt: skip


def plan(placements: list[dict[str, Any]], pieces: list[Piece], garment: dict[str, Any]) -> dict[str, Any]:
    """A yes with those placements; what is over is the pieces less the parts."""
    leftovers = []
    for piece in pieces:
        cut = unary_union([Polygon(one["outline_mm"]) for one in placements if one["piece"] == piece.id])
        rest = Polygon(piece.outline_mm, piece.holes_mm).difference(cut.buffer(1e-6)).buffer(0)
        leftovers += [
            {
                "piece": piece.id,
                "outline_mm": [list(point) for point in part.exterior.coords[:-1]],
                "holes_mm": [[list(point) for point in ring.coords[:-1]] for ring in part.interiors],
            }
            for part in getattr(rest, "geoms", [rest])
            if part.area > 100
        ]
    return {
        "schema": "plan/1", "answer": "yes", "reason": None, "proven": True, "best": True, "placements": placements,
        "tightest": {"part": placements[0]["part"], "segment": 1, "spare_mm": 9.5}, "short": [], "ways_out": [],
        "settle": [], "leftovers": leftovers, "garments": [garment], "seconds": 0.1,
    }  # fmt: skip


def jacket() -> tuple[dict[str, Any], list[Fabric], list[Piece]]:
    """A gardener's jacket: a skewed length, two remnants that are no rectangles, and a panel from plain cloth."""
    length = Piece(
        id="deck-1", fabric="deck", outline_mm=((0, 0), (1100, 8), (1092, 1390), (4, 1384)), outline_u95_mm=0.6,
        stripe_direction_deg=2.1, stripe_origin_mm=12.0,
        flaws_mm=(((640, 900), (690, 890), (700, 950), (650, 960)),),
        extra={"edges": {"left": "selvage", "top": "torn"}},
    )  # fmt: skip
    corner = Piece(
        id="deck-2", fabric="deck", outline_mm=((0, 0), (420, 0), (420, 300), (210, 300), (210, 760), (0, 760)),
        stripe_direction_deg=-1.2, stripe_origin_mm=-4.0,
    )  # fmt: skip
    wedge = Piece(
        id="deck-3", fabric="deck", outline_mm=((30, 0), (820, 40), (760, 330), (0, 300)), stripe_direction_deg=90.0,
        stripe_origin_mm=0.0,
    )  # fmt: skip
    linen = Piece(id="linen-1", fabric="indigo", outline_mm=((0, 0), (1524, 0), (1524, 1200), (0, 1200)))
    parts = {
        one["id"]: one
        for one in (
            strip("front-left", 660), strip("front-right", 660), strip("hem", 1400), strip("join-left", 720),
            strip("neck", 425, 31.75), strip("sleeve-left", 457),
        )
    }  # fmt: skip
    body = {"id": "body", "fabric": "indigo", "width_mm": 1473.2, "length_mm": 965.2, "seam_mm": 0.0, "align": "grain"}
    placements = [
        placed(parts["front-left"], length, DECK, 1, 6), placed(parts["front-right"], length, DECK, 3, 12),
        placed(parts["hem"], length, DECK, 5, 18, segment=1, finished_mm=800),
        placed(parts["hem"], length, DECK, 7, 60, segment=2, finished_mm=600),
        placed(parts["join-left"], length, DECK, 9, 29),
        placed(parts["sleeve-left"], corner, DECK, 1, 4), placed(parts["neck"], wedge, DECK, -3, 20),
        {"part": "body", "segment": 1, "piece": "linen-1", "stripe": None, "finished_mm": None, "turned": False,
         "outline_mm": [[12.7, 0], [1485.9, 0], [1485.9, 965.2], [12.7, 965.2]]},
    ]  # fmt: skip
    garment = {
        "name": "Gardener's jacket", "seam_mm": SEAM_MM, "strips": list(parts.values()), "panels": [body],
        "cautions": ["Wash and press both cloths before measuring: linen may shrink 4–8 %.",
                     "Stay-stitch the fronts and the neck: off-grain edges stretch."],
        "notes": ["Fuse a patch 1½ in square at the end of each side cut before cutting it."],
    }  # fmt: skip
    pieces = [length, corner, wedge, linen]
    return plan(placements, pieces, garment), [DECK, INDIGO], pieces
