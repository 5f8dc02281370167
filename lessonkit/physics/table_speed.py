"""How fast a table rolls, read from its own tracked balls."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from lessonkit.model import SeenShot, Track
from lessonkit.physics.laws import DEFAULT, GRAVITY_MMPS2, Laws

SLIDING_S = 0.7
"""A ball has stopped slipping so long after its last contact."""
LEAST_S = 0.9
LEAST_MM = 60.0
LEAST_POINTS = 8
STILL_MM = 6.0
"""More than a tracked place is usually off."""
LEAST_STRETCHES = 3
RANGE = (0.004, 0.02)
"""Rolling decelerations over g that are believed: the published 0.005 to 0.015, a little widened."""


def rolling_decelerations(shots: Iterable[SeenShot]) -> list[tuple[float, float]]:
    """(deceleration over g, weight) of every stretch on which a ball only rolled to rest.

    A parabola along its way; the weight N T4 is the inverse of the variance of its curvature for N points over T s.
    """
    found = []
    for shot in shots:
        tracks: dict[int, Track] = {0: shot.cue_path, **shot.paths}
        for ball, track in tracks.items():
            if any(p.ball == ball for p in shot.pocketed) or len(track) < LEAST_POINTS:
                continue
            last = max((e.t_s for e in shot.events if ball in e.balls), default=shot.strike_s)
            value = _deceleration(track, last + SLIDING_S)
            if value is not None:
                found.append(value)
    return found


def _deceleration(track: Track, start_s: float) -> tuple[float, float] | None:
    """mu and weight of one stretch from `start_s` until the ball lies still; None if it is too short to tell."""
    moving = _until_rest(track)
    part = moving[moving[:, 0] >= start_s]
    if len(part) < LEAST_POINTS or part[-1, 0] - part[0, 0] < LEAST_S:
        return None
    ends = part[-1, 1:] - part[0, 1:]
    way = float(np.hypot(*ends))
    if way < LEAST_MM:
        return None
    along = (part[:, 1:] - part[0, 1:]) @ (ends / way)
    across = (part[:, 1:] - part[0, 1:]) @ (np.array([-ends[1], ends[0]]) / way)
    if float(np.max(np.abs(across))) > 0.04 * way + 5.0:
        return None  # not one straight roll
    a = -2.0 * float(np.polyfit(part[:, 0] - part[0, 0], along, 2)[0])
    mu = a / GRAVITY_MMPS2
    weight = len(part) * float(part[-1, 0] - part[0, 0]) ** 4
    return (mu, weight) if RANGE[0] <= mu <= RANGE[1] else None


def _until_rest(track: Track) -> Track:
    """A track without its last part, in which the ball lies still or is within STILL_MM of doing so."""
    end = np.median(track[-5:, 1:], axis=0)
    away = np.hypot(*(track[:, 1:] - end).T)
    # a running median, so that one bad place does not look like a move
    calm = np.median(np.lib.stride_tricks.sliding_window_view(np.pad(away, 2, mode="edge"), 5), axis=1)
    moved = np.flatnonzero(calm > STILL_MM)
    return track[: int(moved[-1]) + 1] if len(moved) else track[:0]


def fit_laws(shots: Iterable[SeenShot], laws: Laws = DEFAULT) -> Laws:
    """Laws with the rolling deceleration that a table's own balls show: the weighted median of its straight rolls.

    The laws come back as they are where fewer than LEAST_STRETCHES rolls can be read.
    """
    found = rolling_decelerations(shots)
    if len(found) < LEAST_STRETCHES:
        return laws
    values, weights = np.array(sorted(found)).T
    share = np.cumsum(weights) - 0.5 * weights
    return replace(laws, mu_roll=float(np.interp(0.5 * np.sum(weights), share, values)))
