"""How far two paths are apart."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lessonkit.model import Point

SAMPLES = 200


def resample(path: ArrayLike, n: int = SAMPLES) -> NDArray[np.float64]:
    """A path (N, 2) as n points at equal steps of its length, shape (n, 2), mm. Raises ValueError if it is empty."""
    points = np.asarray(path, dtype=np.float64).reshape(-1, 2)
    if len(points) == 0:
        raise ValueError("a path without points cannot be resampled")
    steps = np.hypot(*np.diff(points, axis=0).T) if len(points) > 1 else np.zeros(0)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    at = np.linspace(0.0, along[-1], n)
    return np.column_stack([np.interp(at, along, points[:, k]) for k in (0, 1)])


def mean_distance_mm(a: ArrayLike, b: ArrayLike, n: int = SAMPLES) -> float:
    """Mean distance of two paths (N, 2), each gone through at an even pace from start to end, mm."""
    return float(np.mean(np.hypot(*(resample(a, n) - resample(b, n)).T)))


def frechet(a: ArrayLike, b: ArrayLike) -> float:
    """Discrete Fréchet distance of two point sequences (N, 2) and (M, 2).

    c(i, j) = max(min(c(i-1, j), c(i-1, j-1), c(i, j-1)), d(i, j)); T. Eiter & H. Mannila, Computing Discrete Fréchet
    Distance, CD-TR 94/64, TU Wien, 1994.
    """
    p, q = (np.asarray(x, dtype=np.float64).reshape(-1, 2) for x in (a, b))
    d = np.hypot(p[:, None, 0] - q[None, :, 0], p[:, None, 1] - q[None, :, 1])
    c = np.full(d.shape, np.inf)
    for i in range(len(p)):
        for j in range(len(q)):
            if i == 0 and j == 0:
                best = 0.0
            else:
                best = min(
                    c[i - 1, j] if i else np.inf,
                    c[i - 1, j - 1] if i and j else np.inf,
                    c[i, j - 1] if j else np.inf,
                )
            c[i, j] = max(best, d[i, j])
    return float(c[-1, -1])


def length_mm(path: ArrayLike) -> float:
    """Length of a path (N, 2)."""
    points = np.asarray(path, dtype=np.float64).reshape(-1, 2)
    return float(np.sum(np.hypot(*np.diff(points, axis=0).T))) if len(points) > 1 else 0.0


def from_nearest(path: Sequence[Point], place: Point) -> list[Point]:
    """The part of a path from its point nearest to a place on."""
    k = min(range(len(path)), key=lambda i: (path[i][0] - place[0]) ** 2 + (path[i][1] - place[1]) ** 2)
    return list(path[k:])
