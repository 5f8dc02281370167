"""How far off a fitted camera may be over the bed, in millimetres: the fit's own covariance carried to the bed.

First-order propagation of error: the covariance of the parameters is the inverse of J^T W J (any textbook of least
squares), and a place on the bed moves with the parameters by its derivative. What neighbouring measurements of one
line have in common (a shadow's edge, a lens that the model does not quite follow) counts once, not once a piece:
each line's weight is divided by the length over which its residuals stay alike. Priors keep their full weight.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from lessonkit.model import Camera, Table
from lessonkit.table.camera import project, unproject

Array = NDArray[np.float64]

FLOOR_SIGMAS = 0.1
"""No line is trusted to be measured better than this share of the sigma that the fit assumed."""


def covariance(jacobian: Array, off: Array, groups: NDArray[np.int64]) -> Array:
    """Covariance (P, P) of fitted parameters.

    `jacobian` (E + Q, P) of the residuals in sigmas, evidence first, then priors; `off` (E,) the evidence's residuals;
    `groups` (E,) the line or kind of mark that each belongs to, its members in order along it.
    """
    weight = np.ones(len(jacobian))
    for g in np.unique(groups):
        mine = np.flatnonzero(groups == g)
        weight[mine] = 1 / _spread(off[mine])
    weighed = jacobian * np.sqrt(weight)[:, None]
    return np.asarray(np.linalg.pinv(weighed.T @ weighed, hermitian=True), float)


def _spread(off: Array) -> float:
    """Variance of residuals times how many neighbours stay alike (initial positive sequence of autocorrelations)."""
    limit = 4 * max(1.4826 * float(np.median(np.abs(off))), 1e-9)
    r = np.clip(off, -limit, limit)
    variance = float(np.mean(r * r))
    alike = 1.0
    for lag in range(1, max(2, len(r) // 2)):
        together = float(np.sum(r[lag:] * r[:-lag])) / max(float(np.sum(r * r)), 1e-12)
        if together <= 0.05:
            break
        alike += 2 * together
    return max(variance, FLOOR_SIGMAS**2) * alike


def bed_error_mm(
    camera: Camera, table: Table, spread: Array, moved: Callable[[Array], Camera], best: Array
) -> float:
    """Root mean square error to be expected over the bed, at the height of the balls' centres.

    `spread`: the covariance (P, P) of the parameters, `best` (P,) their fitted values, `moved` the camera that belongs
    to any values of them.
    """
    r = table.radius_mm
    x, y = np.linspace(r, table.length_mm - r, 5), np.linspace(r, table.width_mm - r, 3)
    grid = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)
    px = project(camera, grid, r)
    root = _root(spread)
    total = 0.0
    for direction in root.T:  # columns of a square root: independent moves of one sigma each
        step = 0.1
        there = unproject(moved(best + step * direction), px, r)
        total += float(np.mean(np.sum(((there - grid) / step) ** 2, 1)))
    return float(np.sqrt(total))


def _root(spread: Array) -> Array:
    values, vectors = np.linalg.eigh((spread + spread.T) / 2)
    keep = values > 1e-14 * max(float(values.max()), 1e-300)
    return np.asarray(vectors[:, keep] * np.sqrt(values[keep]), float)
