"""The document ``plan/1``: a plan as plain data, in the keys that other programs rely on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from stash.piece import Polygon
from stash.planner.plan import Placement, Plan


def plan_document(plan: Plan, garments: Sequence[Mapping[str, Any]], digests: Mapping[str, Any]) -> dict[str, Any]:
    """The plan with the garments it is for (resolved) and the fingerprints of the cloth it was made on."""
    return {
        "schema": "plan/1",
        "answer": plan.answer,
        "reason": plan.reason,
        "proven": plan.proven,
        "best": plan.best,
        "cost": plan.cost,
        "bound": plan.bound,
        "placements": _placements(plan.placements),
        "tightest": None
        if plan.tightest is None
        else {**asdict(plan.tightest), "spare_mm": round(plan.tightest.spare_mm, 3)},
        "short": [{**asdict(row), "missing_mm": round(row.missing_mm, 3)} for row in plan.short],
        "ways_out": [
            {
                "change": way.change,
                "edit": dict(way.edit),
                "answer": way.answer,
                "placements": _placements(way.placements),
            }
            for way in plan.ways_out
        ],
        "settle": list(plan.settle),
        "leftovers": [
            {
                "piece": row.piece,
                "outline_mm": _points(row.outline_mm),
                "holes_mm": [_points(hole) for hole in row.holes_mm],
            }
            for row in plan.leftovers
        ],
        "proofs": list(plan.proofs),
        "garments": [dict(garment) for garment in garments],
        **digests,
        "seconds": round(plan.seconds, 3),
    }


def _placements(placements: Sequence[Placement]) -> list[dict[str, Any]]:
    return [
        {
            "part": placement.part,
            "segment": placement.segment,
            "piece": placement.piece,
            "stripe": placement.stripe,
            "finished_mm": None if placement.finished_mm is None else round(placement.finished_mm, 3),
            "turned": placement.turned,
            "over": placement.over,
            "outline_mm": _points(placement.outline_mm),
        }
        for placement in placements
    ]


def _points(outline: Polygon) -> list[list[float]]:
    return [[round(x, 3) + 0.0, round(y, 3) + 0.0] for x, y in outline]
