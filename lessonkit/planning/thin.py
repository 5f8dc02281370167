"""A path with as few points as its shape needs."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from math import hypot

from lessonkit.model import Point
from lessonkit.planning.geometry import off_line

TOLERANCE_MM = 1.5


def thin_path(points: Sequence[Point], tolerance_mm: float = TOLERANCE_MM) -> tuple[Point, ...]:
    """Points of a path such that no left-out one is farther than the tolerance from the rest (Douglas & Peucker 1973)."""
    if len(points) < 3:
        return tuple(points)
    keep = {0, len(points) - 1}
    spans = [(0, len(points) - 1)]
    while spans:
        i, j = spans.pop()
        worst, at = tolerance_mm, -1
        for k in range(i + 1, j):
            d = off_line(points[i], points[j], points[k])
            if d > worst:
                worst, at = d, k
        if at >= 0:
            keep.add(at)
            spans += [(i, at), (at, j)]
    return tuple(points[k] for k in sorted(keep))


def length_mm(points: Sequence[Point]) -> float:
    """Length of a path."""
    return sum(hypot(b[0] - a[0], b[1] - a[1]) for a, b in itertools.pairwise(points))
