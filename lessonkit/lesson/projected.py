"""Ways and discs on the table as the picture shows them: sampled finely in millimetres, then through the camera."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lessonkit.model import Camera, Point, Spread, Table
from lessonkit.table.camera import centre_mm, project

Array = NDArray[np.float64]

STEP_MM = 12.0
"""Sampling of ways: at 1 px per 1.3 mm the chord of a lens-curved line is off by far less than 0.1 px."""


def lengths(points: ArrayLike) -> Array:
    """Length of the way up to each point, shape (N,), for points of shape (N, 2)."""
    p = np.asarray(points, float).reshape(-1, 2)
    total = np.zeros(len(p))
    if len(p) > 1:
        steps = p[1:] - p[:-1]
        np.cumsum(np.hypot(steps[:, 0], steps[:, 1]), out=total[1:])
    return total


def at_length(points: ArrayLike, at: ArrayLike) -> Array:
    """Places, shape (M, 2), at these lengths along the way; beyond the ends, the ends."""
    p, s = np.asarray(points, float).reshape(-1, 2), lengths(points)
    a = np.atleast_1d(np.asarray(at, float))
    return np.stack([np.interp(a, s, p[:, 0]), np.interp(a, s, p[:, 1])], axis=1)


def stretch(points: ArrayLike, start: float, end: float) -> Array:
    """The part of the way between two lengths along it, its own corners kept; shape (N, 2), N >= 2."""
    p, s = np.asarray(points, float).reshape(-1, 2), lengths(points)
    inner = (s > start) & (s < end)
    ends = at_length(p, [start, end])
    return np.concatenate([ends[:1], p[inner], ends[1:]])


def sampled(points: ArrayLike, step_mm: float = STEP_MM) -> Array:
    """The way with points at most `step_mm` apart, its own corners kept; shape (N, 2)."""
    p = np.asarray(points, float).reshape(-1, 2)
    if len(p) < 2:
        return p
    s = lengths(p)
    extra = np.arange(step_mm, s[-1], step_mm)
    return at_length(p, np.unique(np.r_[s, extra]))


def dashes(points: ArrayLike, on_mm: float, off_mm: float, start_mm: float = 0.0) -> list[Array]:
    """The way cut into dashes, each of shape (N, 2); the last one ends with the way."""
    total = float(lengths(points)[-1]) if len(np.atleast_2d(points)) > 1 else 0.0
    starts = np.arange(start_mm, total, on_mm + off_mm)
    return [stretch(points, a, min(a + on_mm, total)) for a in starts]


def circle(centre: Point, radius_mm: float, count: int = 72) -> Array:
    """A closed ring of places, shape (count + 1, 2)."""
    a = np.linspace(0, 2 * np.pi, count + 1)
    return np.asarray(np.c_[centre[0] + radius_mm * np.cos(a), centre[1] + radius_mm * np.sin(a)], float)


def spread_rim(spread: Spread, table: Table, count: int = 72) -> Array:
    """The rim of a spread, closed, clipped to where a ball's centre can be; shape (count + 1, 2), millimetres."""
    a = np.linspace(0, 2 * np.pi, count + 1)
    turn = np.radians(spread.turn_deg)
    u, v = spread.major_mm * np.cos(a), spread.minor_mm * np.sin(a)
    x = spread.centre[0] + u * np.cos(turn) - v * np.sin(turn)
    y = spread.centre[1] + u * np.sin(turn) + v * np.cos(turn)
    r = table.radius_mm
    return np.asarray(
        np.c_[np.clip(x, r, table.length_mm - r), np.clip(y, r, table.width_mm - r)], np.float64
    )


def ball_outline(
    camera: Camera, centre: Point, radius_mm: float, *, scale: float = 1.0, count: int = 48
) -> Array:
    """The edge of a ball resting on the cloth as the picture shows it, pixels, shape (count, 2).

    The sight rays that touch a sphere of radius r seen from distance d touch it along a circle of radius
    r sqrt(1 - (r/d)²) whose centre lies r²/d towards the eye (plane geometry of the tangent). `scale` widens it.
    """
    c = np.array([centre[0], centre[1], radius_mm])
    eye = centre_mm(camera) - c
    d = float(np.linalg.norm(eye))
    w = eye / d
    # u and v span the plane across w: u = w x (1, 0, 0), v = w x u
    u = np.array([0.0, w[2], -w[1]]) / np.hypot(w[1], w[2])
    v = np.array([w[1] * u[2] - w[2] * u[1], w[2] * u[0] - w[0] * u[2], w[0] * u[1] - w[1] * u[0]])
    ring = radius_mm * scale * np.sqrt(max(0.0, 1 - (radius_mm / d) ** 2))
    a = np.linspace(0, 2 * np.pi, count, endpoint=False)
    places = c + w * radius_mm**2 / d + ring * (np.outer(np.cos(a), u) + np.outer(np.sin(a), v))
    return project(camera, places)


def scaled(camera: Camera, factor_x: float, factor_y: float) -> Camera:
    """The camera of the picture after scaling; the centre of its first pixel is (0, 0) again."""
    scale = np.array([[factor_x, 0, (factor_x - 1) / 2], [0, factor_y, (factor_y - 1) / 2], [0, 0, 1]])
    return replace(camera, matrix=scale @ camera.matrix)


def quarter_turns(camera: Camera, table: Table) -> int:
    """How many quarter turns anticlockwise bring a drawing with the head on the left into the picture's direction."""
    middle = (table.length_mm / 2, table.width_mm / 2)
    a, b = project(camera, [middle, (middle[0] + 100, middle[1])])
    return round(float(np.degrees(np.arctan2(a[1] - b[1], b[0] - a[0]))) / 90) % 4


def px_per_mm(camera: Camera, at: Point) -> float:
    """How many pixels a millimetre on the cloth takes here, the mean of both directions."""
    p = project(camera, [at, (at[0] + 10, at[1]), (at[0], at[1] + 10)])
    return float(np.hypot(*(p[1:] - p[0]).T).mean() / 10)
