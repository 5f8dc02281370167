"""Pictures worked on in threads, where the work is OpenCV's and NumPy's: they let one another run meanwhile."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

T = TypeVar("T")
R = TypeVar("R")

MOST = 4
"""Each thread holds pictures of its own."""


def in_threads(work: Callable[[T], R], items: Sequence[T]) -> list[R]:
    """What the work makes of each item, in their order: the same as one after the other."""
    with ThreadPoolExecutor(min(MOST, processors())) as pool:
        return list(pool.map(work, items))


def processors() -> int:
    """How many this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
