"""What was told of one cut of a plan, when a plan is cut in stages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

How = Literal["cut", "spoiled", "short"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """One cut of a plan, by the plan's fingerprint: a part, or one segment of it, and how it went."""

    plan: str
    part: str
    segment: int
    how: How = "cut"

    @property
    def key(self) -> str:
        """By which it is kept; no two stages of a plan are of the same cut."""
        return f"{self.plan}/{self.segment}/{self.part}"
