"""Many seeds tried, in one process or several; a crash in one of them does not stop the rest."""

from __future__ import annotations

import multiprocessing
import traceback
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from typing import TypeVar

import cv2

Result = TypeVar("Result")


def tried(
    attempt: Callable[[int], Result], seeds: Iterable[int], *, jobs: int = 1
) -> Iterator[tuple[int, Result | None, str]]:
    """Each seed with its result, or with None and what went wrong, in the order of the seeds."""
    safely = partial(_safely, attempt)
    if jobs == 1:
        yield from map(safely, seeds)
        return
    with multiprocessing.get_context("spawn").Pool(jobs, initializer=cv2.setNumThreads, initargs=(1,)) as pool:
        yield from pool.imap(safely, seeds)


def _safely(attempt: Callable[[int], Result], seed: int) -> tuple[int, Result | None, str]:
    try:
        return seed, attempt(seed), ""
    except Exception:
        return seed, None, traceback.format_exc(limit=-3)
