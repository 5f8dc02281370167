"""How open the pockets are from a layout, for many layouts at once, and the chance of a pot by geometry alone."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sqrt

import numpy as np
from numpy.typing import NDArray

from lessonkit.model import CUE_BALL, Execution, Layout, Pocket, Table
from lessonkit.physics.cushions import CORNER_SHELF_MM, Cushions, Drop, cushions_of

Floats = NDArray[np.float64]
WIDEST_CUT_DEG = 80.0
"""A thinner cut counts as no shot: common practice, no source."""


@dataclass(frozen=True)
class Opening:
    """One straight way of a ball into a pocket."""

    ball: int
    pocket: Pocket
    window_deg: float
    """Half the aims of the cue ball that pot it."""
    chance: float


@dataclass(frozen=True, eq=False)
class Best:
    """The best straight shot from each of N layouts."""

    chance: Floats
    """(N,): 0 where there is none."""
    ball: NDArray[np.int64]
    """(N,): column of its ball, -1 where there is none."""
    pocket: NDArray[np.int64]
    """(N,): its pocket as an index of `cushions_of(table).drops`."""


def openings(layout: Layout, table: Table, execution: Execution) -> list[Opening]:
    """Every straight shot that a layout offers, the likeliest first. Without a cue ball there is none."""
    if CUE_BALL not in layout:
        return []
    numbers = [CUE_BALL, *(n for n in layout if n != CUE_BALL)]
    places = np.array([[layout[n] for n in numbers]], dtype=np.float64)
    found = []
    for column, ball in enumerate(numbers[1:], start=1):
        for drop in cushions_of(table).drops:
            window = float(windows(places, column, drop, table)[0])
            if window > 0.0:
                found.append(Opening(ball, drop.pocket, window, float(chance(window, execution))))
    return sorted(found, key=lambda o: -o.window_deg)


def best_of(places: Floats, table: Table, execution: Execution) -> Best:
    """The best straight shot of each layout.

    places: shape (N, n, 2), the cue ball first, mm; NaN: the ball is gone.
    """
    n_layouts, n_balls = places.shape[:2]
    widest, ball = np.zeros(n_layouts), np.full(n_layouts, -1)
    pocket = np.full(n_layouts, -1)
    for column in range(1, n_balls):
        for k, drop in enumerate(cushions_of(table).drops):
            window = windows(places, column, drop, table)
            better = window > widest
            widest[better], ball[better], pocket[better] = window[better], column, k
    return Best(chance(widest, execution), ball, pocket)


def chance(window_deg: Floats | float, execution: Execution) -> Floats:
    """Chance that an aim with the execution's error falls into a window of so many degrees to either side."""
    z = np.asarray(window_deg, dtype=np.float64) / max(execution.aim_deg, 1e-6) / sqrt(2.0)
    return _erf(z)


def _erf(z: Floats) -> Floats:
    """The error function for z >= 0 to 1.5e-7 (Abramowitz & Stegun 7.1.26), so that scipy need not be loaded."""
    t = 1.0 / (1.0 + 0.3275911 * z)
    powers = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
    return np.asarray(1.0 - powers * np.exp(-(np.minimum(z, 30.0) ** 2)))


def windows(places: Floats, column: int, drop: Drop, table: Table) -> Floats:
    """Half the cue ball's window in degrees, shape (N,), for one ball into one pocket; 0 where it is shut.

    The object ball's half window, atan((w cos g - D) / 2d) with g off the pocket's axis, times the share D cos c / L of
    it that the cue ball has (geometry.margin in shared/physics.toml). Shut: a ball in either way, a cut above 80
    degrees, no room for the ghost ball.
    """
    D = table.ball_diameter_mm
    cue, ball = places[:, 0], places[:, column]
    target = _targets(ball, drop, table)
    out = target - ball
    way = np.maximum(np.hypot(out[:, 0], out[:, 1]), 1e-9)
    out = out / way[:, None]
    ghost = ball - D * out
    aim = ghost - cue
    reach = np.maximum(np.hypot(aim[:, 0], aim[:, 1]), 1e-9)
    cos_cut = (aim * out).sum(axis=1) / reach
    cos_off = np.clip(out[:, 0] * drop.ox + out[:, 1] * drop.oy, 0.0, 1.0)
    mouth = table.side_mouth_mm if drop.pocket.startswith("side") else table.corner_mouth_mm
    free = np.maximum(mouth * cos_off - D, 0.0)
    window = np.degrees(np.arctan2(free, 2.0 * np.maximum(way, D)))
    window *= np.minimum(1.0, D * cos_cut / np.maximum(reach, D))
    shut = ~np.isfinite(window) | (cos_cut < cos(radians(WIDEST_CUT_DEG))) | (cos_off <= 0.0)
    shut |= ~_room(ghost, cushions_of(table), table)
    live = ~shut & (window > 0.0)
    window = np.where(live, window, 0.0)
    at = np.flatnonzero(live)
    if at.size:
        others = np.array([k for k in range(1, places.shape[1]) if k != column], dtype=np.int64)
        rest = places[at][:, others]
        blocked = _near(ball[at], target[at], rest, D) | _near(cue[at], ghost[at], rest, D)
        window[at[blocked]] = 0.0
    return window


def _targets(ball: Floats, drop: Drop, table: Table) -> Floats:
    """Where each ball is to go, shape (N, 2): the middle of the mouth, or on along its axis from inside it."""
    mouth, axis = np.array(drop.mouth), np.array((drop.ox, drop.oy))
    inside = (mouth - ball) @ axis < table.radius_mm
    return mouth + np.where(inside[:, None], (CORNER_SHELF_MM + table.radius_mm) * axis, 0.0)


def _room(ghost: Floats, edges: Cushions, table: Table) -> NDArray[np.bool_]:
    """Whether a ball can stand at each place, pockets' mouths left aside."""
    t = edges.touch_mm - 1.0
    inside = (ghost[:, 0] >= t) & (ghost[:, 0] <= table.length_mm - t)
    return np.asarray(inside & (ghost[:, 1] >= t) & (ghost[:, 1] <= table.width_mm - t))


def _near(a: Floats, b: Floats, places: Floats, reach_mm: float) -> NDArray[np.bool_]:
    """Whether any of the places (N, m, 2) lies nearer than `reach_mm` to the stretch from a to b, both (N, 2)."""
    if places.shape[1] == 0:
        return np.zeros(len(a), dtype=bool)
    way = b - a
    square = np.maximum((way**2).sum(axis=1), 1e-9)
    off = places - a[:, None]
    along = np.clip((off * way[:, None]).sum(axis=2) / square[:, None], 0.0, 1.0)
    gap = off - along[..., None] * way[:, None]
    with np.errstate(invalid="ignore"):
        return np.asarray(((gap**2).sum(axis=2) < reach_mm**2).any(axis=1))
