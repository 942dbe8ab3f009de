"""A photograph as it is kept beside the cloth that was measured from it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPhoto:
    """A photograph as it is kept: a JPEG without any word of where it was taken."""

    jpeg: bytes
    taken: str | None = None
    focal35_mm: float | None = None

    @property
    def sha256(self) -> str:
        """The fingerprint of the file."""
        return hashlib.sha256(self.jpeg).hexdigest()
