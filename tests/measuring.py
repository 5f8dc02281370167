"""Holding an analysis against the truth of computed footage."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

SAME_SHOT_S = 0.7
SAME_BALL_MM = 45.0
"""Nearer than two balls can lie, so that one found ball never stands for two."""


@dataclass(frozen=True, eq=False)
class Accuracy:
    """How an analysis stands against the truth."""

    shots_true: int
    shots_found: int
    shots_matched: int
    strike_s: NDArray[np.float64]
    """Error of every matched strike."""
    balls_true: int
    balls_found: int
    place_mm: NDArray[np.float64]
    """Distance of every matched ball, over the layouts before and after each shot."""
    numbers_right: int
    """Of the matched balls."""
    path_mm: NDArray[np.float64]
    """Distance from the cue ball's true place at every true sample."""


def measure(analysis: dict[str, Any], truth: dict[str, Any]) -> Accuracy:
    """Match shots by time and balls by place, each to at most one, and measure."""
    got, real = analysis["shots"], truth["shots"]
    gaps = np.array([[abs(r["strike_s"] - g["strike_s"]) for g in got] for r in real]).reshape(
        len(real), len(got)
    )
    pairs = [
        (real[i], got[k])
        for i, k in zip(*linear_sum_assignment(gaps), strict=True)
        if gaps[i, k] <= SAME_SHOT_S
    ]
    places: list[float] = []
    paths: list[NDArray[np.float64]] = []
    counts = np.zeros(3, int)
    for r, g in pairs:
        for key in ("layout_before", "layout_after"):
            errors, right = _layout(r[key], g[key])
            places += errors
            counts += (len(r[key]), len(g[key]), right)
        paths.append(_path(np.array(r["cue_path"]), np.array(g["cue_path"])))
    return Accuracy(
        len(real),
        len(got),
        len(pairs),
        np.array([abs(r["strike_s"] - g["strike_s"]) for r, g in pairs]),
        int(counts[0]),
        int(counts[1]),
        np.array(places),
        int(counts[2]),
        np.concatenate(paths) if paths else np.zeros(0),
    )


def _layout(real: dict[str, Any], got: dict[str, Any]) -> tuple[list[float], int]:
    """Distances of matched balls, and how many of them bear the right number."""
    if not real or not got:
        return [], 0
    a, b = np.array([p[:2] for p in real.values()]), np.array([p[:2] for p in got.values()])
    d = np.linalg.norm(a[:, None] - b[None], axis=2)
    near = [(i, k) for i, k in zip(*linear_sum_assignment(d), strict=True) if d[i, k] <= SAME_BALL_MM]
    names, called = list(real), list(got)
    return [float(d[i, k]) for i, k in near], sum(names[i] == called[k] for i, k in near)


def _path(real: NDArray[np.float64], got: NDArray[np.float64]) -> NDArray[np.float64]:
    x, y = (np.interp(real[:, 0], got[:, 0], got[:, k]) for k in (1, 2))
    return np.hypot(x - real[:, 1], y - real[:, 2])
