"""By what a plan is known in the catalogue."""

from __future__ import annotations

import hashlib
from typing import Any

from stash.interchange.digest import canonical


def plan_fingerprint(document: Any) -> str:
    """By which the cuts of a plan are kept; the same for every copy of its file."""
    return hashlib.sha256(canonical(document).encode()).hexdigest()
