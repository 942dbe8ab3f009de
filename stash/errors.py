"""Failures that a person can mend. Each says what is wrong and how to mend it; the command line prints the sentence."""

from __future__ import annotations


class StashError(Exception):
    """``problem``: what, where, found against needed; ``remedy``: what to do. Neither ends in a full stop."""

    def __init__(self, problem: str, remedy: str) -> None:
        super().__init__(f"{problem}: {remedy}")
        self.problem = problem
        self.remedy = remedy


class InputWrong(StashError):
    """A file, a value or a call is not what it must be (exit status 2)."""


class NotCertain(InputWrong):
    """What was brought does not say enough to be certain, such as a photograph with nothing that sets its scale (3)."""


class NotFound(StashError):
    """Something that was named is not there (exit status 2)."""


class Conflict(StashError):
    """What is kept and what is brought contradict each other; nothing was changed (exit status 2)."""


class CatalogueBlocked(StashError):
    """The catalogue cannot be read or written now: locked, read-only, of a newer version (exit status 2)."""


class OurFault(StashError):
    """The program contradicts itself, as when the audit refuses a plan (exit status 70)."""
