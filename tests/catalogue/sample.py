"""Documents to test with: the stash of the published contract's example, with keys of other programs added."""

from __future__ import annotations

import copy
from typing import Any

from stash.catalogue.stash import Stash
from stash.interchange.digest import plan_digests

_STASH: dict[str, Any] = {
    "schema": "stash/1",
    "kept_by": {"aunt": ["linen", "é"]},
    "fabrics": [
        {
            "id": "ticking",
            "name": "Red ticking",
            "one_way": False,
            "both_faces": False,
            "weight_gsm": 210,
            "print": {
                "kind": "stripe",
                "across_mm": 60,
                "across_mm_u95": 0.3,
                "along_mm": None,
                "along_mm_u95": None,
                "dyed": "yarn",
                "stripes": [
                    {"label": "A", "width_mm": 20, "centre_mm": 10, "hex": "#a01c24", "thread": None},
                    {"label": "B", "width_mm": 40, "centre_mm": 40, "hex": "#efe6d2"},
                ],
            },
        }
    ],
    "pieces": [
        {
            "id": "t1",
            "fabric": "ticking",
            "outline_mm": [[0, 0], [1100, 0], [1100, 900], [0, 900]],
            "outline_mm_u95": 0.5,
            "holes_mm": [],
            "flaws_mm": [[[900, 800], [950, 800], [950, 850]]],
            "stripe_direction_deg": 1.25,
            "stripe_origin_mm": 3.5,
            "along_origin_mm": 0,
            "shelf": "top",
        }
    ],
}

_CUT = [[[38.25, 0], [101.75, 0], [101.75, 712.7], [38.25, 712.7]]]
_LEFT = [
    [[0, 0], [38.25, 0], [38.25, 712.7], [101.75, 712.7], [101.75, 0], [1100, 0], [1100, 850], [0, 850]],
    [[0, 860], [60, 860], [60, 900], [0, 900]],
]


def stash_document() -> dict[str, Any]:
    """A fresh copy of the stash document."""
    return copy.deepcopy(_STASH)


def plan_document(stash: Stash, **changes: Any) -> dict[str, Any]:
    """A plan that cuts one strip from t1 and leaves a large remnant and a scrap of 60 x 40 mm."""
    document: dict[str, Any] = {
        "schema": "plan/1",
        "answer": "yes",
        "placements": [{"part": "hem", "segment": 1, "piece": "t1", "outline_mm": ring} for ring in _CUT],
        "leftovers": [{"piece": "t1", "outline_mm": ring} for ring in _LEFT],
        "garments": [{"name": "Ticking jacket"}],
        **plan_digests(stash.contents(), ["t1"]),
    }
    return document | changes
