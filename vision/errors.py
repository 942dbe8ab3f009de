"""What can go wrong between the photograph and the measurement, said in the words of the person who took it."""

from __future__ import annotations


class VisionError(Exception):
    """A failure with its remedy: ``problem`` says what and where, ``remedy`` what to do. Neither ends in a stop."""

    def __init__(self, problem: str, remedy: str) -> None:
        super().__init__(f"{problem}: {remedy}")
        self.problem = problem
        self.remedy = remedy


class PhotoUnreadable(VisionError):
    """The file is not a photograph that can be opened (missing, empty, truncated, too large, another kind)."""


class LibraryMissing(VisionError):
    """A system library that the image code needs is not on this machine."""


class CallWrong(VisionError):
    """The options given with a photograph contradict each other or cannot be used."""


class ScaleNotFound(VisionError):
    """Nothing in the photograph sets its scale, or not surely enough. A result for the caller, not a crash."""
