"""The document ``plan/1``: a plan as plain data, in the keys that other programs rely on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from types import MappingProxyType
from typing import Any

from stash.garment.part import Laid
from stash.piece import Polygon
from stash.planner.plan import Over, Placement, Plan, Purchase, Remeasure, Shortage


def plan_document(
    plan: Plan,
    garments: Sequence[Mapping[str, Any]],
    digests: Mapping[str, Any],
    laid: Mapping[tuple[str, int], Laid] = MappingProxyType({}),
) -> dict[str, Any]:
    """The plan with the garments it is for (resolved) and the fingerprints of the cloth it was made on.

    ``laid`` says of segments of strips about which stripe of the repeat they lie, so that later ones can match them.
    """
    return {
        "schema": "plan/1",
        "answer": plan.answer,
        "reason": plan.reason,
        "proven": plan.proven,
        "best": plan.best,
        "cost": plan.cost,
        "bound": plan.bound,
        "placements": _placements(plan.placements, laid),
        "tightest": None
        if plan.tightest is None
        else {**asdict(plan.tightest), "spare_mm": round(plan.tightest.spare_mm, 3)},
        "short": [_rounded(row) for row in plan.short],
        "in_the_way": list(plan.crowds[0].parts) if plan.crowds else [],
        "crowds": [{**asdict(row), "parts": list(row.parts)} for row in plan.crowds],
        "ways_out": [
            {
                "change": way.change,
                "edit": dict(way.edit),
                "answer": way.answer,
                "placements": _placements(way.placements),
            }
            for way in plan.ways_out
        ],
        "buy": [_rounded(row) for row in plan.buy],
        "settle": list(plan.settle),
        "remeasure": [_rounded(row) for row in plan.remeasure],
        "leftovers": [
            {
                "piece": row.piece,
                "outline_mm": _points(row.outline_mm),
                "holes_mm": [_points(hole) for hole in row.holes_mm],
            }
            for row in plan.leftovers
        ],
        "over": [{**_rounded(row), "lengths_mm": [round(mm, 3) for mm in row.lengths_mm]} for row in plan.over],
        "wider_mm": plan.wider_mm,
        "room_mm": plan.room_mm,
        "proofs": list(plan.proofs),
        "certified": plan.certified,
        "ended": plan.ended,
        "untold": list(plan.untold),
        "garments": [dict(garment) for garment in garments],
        **digests,
        "seconds": round(plan.seconds, 3),
    }


def _rounded(row: Shortage | Purchase | Remeasure | Over) -> dict[str, Any]:
    """The row's values, lengths to 0.001 mm."""
    return {key: round(value, 3) if isinstance(value, float) else value for key, value in asdict(row).items()}


def _placements(
    placements: Sequence[Placement], laid: Mapping[tuple[str, int], Laid] = MappingProxyType({})
) -> list[dict[str, Any]]:
    return [
        {
            "part": placement.part,
            "segment": placement.segment,
            "piece": placement.piece,
            "stripe": placement.stripe,
            "finished_mm": None if placement.finished_mm is None else round(placement.finished_mm, 3),
            "turned": placement.turned,
            "over": placement.over,
            **_shown(laid.get((placement.part, placement.segment))),
            "outline_mm": _points(placement.outline_mm),
        }
        for placement in placements
    ]


def _shown(laid: Laid | None) -> dict[str, Any]:
    if laid is None:
        return {}
    phase = None if laid.start_mm is None else round(laid.start_mm, 3)
    return {"repeat_stripe": laid.stripe, "phase_mm": phase}


def _points(outline: Polygon) -> list[list[float]]:
    return [[round(x, 3) + 0.0, round(y, 3) + 0.0] for x, y in outline]
