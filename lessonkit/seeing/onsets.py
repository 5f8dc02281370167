"""When a ball at rest began to move: finer than a frame, from its first sights in motion carried back to where it lay.

A struck cue ball slows at once (it slides), and it may meet another ball within its first frames. So its way is fitted
with its bend, and only up to the time at which another ball sets off: nothing else can have moved that ball.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lessonkit.model import Track
from lessonkit.seeing.pieces import Motion

Floats = NDArray[np.float64]

SIGHTS = 6
"""So many sights in motion tell the start."""
EARLY_FRAMES = 1.0
"""So long before its last sight at rest a ball may have set off: a motion of some millimetres is not seen yet."""
RAN_MM = 4.0
"""What was seen to move less than this over some sights lay still; its place was only read otherwise."""
LEAST_MMPS = 20.0
"""Slower than this, sights tell no start."""
LEFT_MM = 8.0
"""What ends this far from its place has moved."""
STRAY_MM = 6.0
"""A sight this far off the way through it and its neighbours is looked at as a false one."""
LATE_S = 0.3
"""So much later than the ball that it hit may the cue ball seem to set off."""
NEXT_MM = 40.0
"""A ball this far off the cue ball's first way was not what it met."""


def onset(track: Track) -> float:
    """When a ball at rest began to move; `track`: (N, 3) t, x, y, the first row the last sight at rest."""
    if len(track) < 3:
        return float(track[min(1, len(track) - 1), 0])
    rest, first = track[0], track[1]
    moved = _going(track[1 : 1 + SIGHTS], rest)
    if len(moved) < 2:
        return float(0.5 * (rest[0] + first[0]))
    earliest_s = rest[0] - EARLY_FRAMES * frame_s(track)
    t = _back(moved, rest)
    if t is None or not earliest_s <= t <= first[0]:
        # it met something soon: what is left are the first two
        t = _back(moved[:2], rest)
    return float(np.clip(t if t is not None else first[0], earliest_s, first[0]))


def left(track: Track) -> bool:
    """Whether a ball ran, or lay elsewhere in the end: what does neither was only read otherwise for some frames."""
    end = np.median(track[1:][-5:, 1:], axis=0) if len(track) > 1 else track[0, 1:]
    return len(track) <= 3 or ran(track) or float(np.hypot(*(end - track[0, 1:]))) > LEFT_MM


def _way(moved: Track, t0_s: float) -> Motion | None:
    """The motion through the sights; of five and more, one that alone does not fit (a cue in front) is left out."""
    way = Motion.through(moved, t0_s)
    if way is None or len(moved) < 5 or _off_mm(way, moved) < STRAY_MM:
        return way
    others = [np.delete(moved, k, 0) for k in range(len(moved))]
    ways = [(w, _off_mm(w, part)) for part in others if (w := Motion.through(part, t0_s)) is not None]
    best, off_mm = min(ways, key=lambda pair: pair[1])
    return best if off_mm < STRAY_MM / 2 else way


def _off_mm(way: Motion, sights: Track) -> float:
    return float(max(np.hypot(*(way.place(float(s[0])) - s[1:])) for s in sights))


def frame_s(track: Track) -> float:
    """Seconds from one sight to the next."""
    return float(np.median(np.diff(track[:, 0]))) if len(track) > 1 else 1 / 30


def ran(track: Track) -> bool:
    """Whether a ball that seems to have left its place was seen going on from there."""
    later = track[4:9] if len(track) > 6 else track[-2:]
    return len(track) > 2 and float(np.hypot(*(np.median(later[:, 1:], axis=0) - track[1, 1:]))) > RAN_MM


def _going(moved: Track, rest: Floats) -> Track:
    """The sights up to the one from which the ball comes back."""
    away = np.hypot(*(moved[:, 1:] - rest[1:]).T)
    back = np.nonzero(np.diff(away) <= 0)[0]
    return moved[: back[0] + 1] if len(back) else moved


def _back(moved: Track, rest: Floats) -> float | None:
    """When the way through the sights leaves the place of rest; None where they tell no motion."""
    t = float(moved[0, 0])
    way = _way(moved, t)
    if way is None:
        return None
    # the nearest time to the place of rest on a way that is all but straight: a few steps along it
    for _ in range(4):
        v = way.velocity(t)
        speed = float(np.hypot(*v))
        if speed < LEAST_MMPS:
            return None
        t += float((rest[1:] - way.place(t)) @ v) / speed**2
    return t


def strike(cue: Track, others: Sequence[Track], diameter_mm: float) -> float:
    """When the cue ball was struck; tracks as in `onset`, `others` of the balls that it may have set moving.

    Sights after the first hit tell nothing of the strike. Where fewer than two lie before it, the hit itself stands for
    one: the centres are a diameter apart. Where none does, the balls' momenta after the hit (equal masses) give the
    speed.
    """
    alone, step = onset(cue), frame_s(cue)
    struck = [o for o in others if ran(o) and onset(o) > alone - LATE_S]
    if len(cue) < 3 or not struck:
        return alone
    hit = _first(cue, struck)
    hit_s = onset(hit)
    before = cue[1:][cue[1:, 0] < hit_s]
    if len(before) >= SIGHTS:
        return alone
    rest = cue[0]
    at = _met_at(rest, before, hit, diameter_mm)
    if at is None:
        return alone
    if len(before) >= 2:
        t, earliest_s = _back(before, rest), rest[0] - EARLY_FRAMES * step
    elif len(before) == 1:
        t, earliest_s = _back(np.r_[before, [[hit_s, *at]]], rest), rest[0] - EARLY_FRAMES * step
    else:
        t = _by_momentum(cue, struck, hit_s, float(np.hypot(*(at - rest[1:]))))
        earliest_s = hit_s - 2 * step
    if t is None or t < earliest_s:
        return alone
    return float(min(t, cue[1, 0], hit_s))


def _first(cue: Track, struck: Sequence[Track]) -> Track:
    """What the cue ball met: of the balls that set off together the one nearest to it."""
    first_s = min(onset(o) for o in struck)
    together = [o for o in struck if onset(o) < first_s + frame_s(cue)]
    return min(together, key=lambda o: float(np.hypot(*(o[0, 1:] - cue[0, 1:]))))


def _met_at(rest: Floats, before: Track, hit: Track, diameter_mm: float) -> Floats | None:
    """Where the cue ball's centre was when it met the ball, shape (2,); None: its way passes by that ball."""
    lay = hit[0, 1:]
    if len(before):
        u = before[-1, 1:] - rest[1:]
        u = u / max(float(np.hypot(*u)), 1e-9)
    else:
        # the struck ball leaves along the line of centres
        n = hit[min(3, len(hit) - 1), 1:] - lay
        n = n / max(float(np.hypot(*n)), 1e-9)
        return np.asarray(lay - diameter_mm * n, float)
    to = lay - rest[1:]
    along, across = float(to @ u), abs(float(u[0] * to[1] - u[1] * to[0]))
    if across > diameter_mm + NEXT_MM or along < 0:
        return None
    depth = float(np.sqrt(max(diameter_mm**2 - across**2, 0.0)))
    return np.asarray(rest[1:] + u * max(along - depth, 0.0), float)


def _by_momentum(cue: Track, others: Sequence[Track], hit_s: float, gone_mm: float) -> float | None:
    """The strike, from the speed that the cue ball must have had when it met the others."""
    speed = float(np.hypot(*momentum(cue, others, hit_s)))
    return hit_s - gone_mm / speed if speed > LEAST_MMPS else None


def momentum(cue: Track, others: Sequence[Track], hit_s: float) -> Floats:
    """Velocity of the cue ball before a hit, mm/s, shape (2,): the sum of all velocities after it, for masses are equal."""
    total = np.zeros(2)
    for track in (cue, *others):
        way = Motion.through(track[1:][track[1:, 0] >= hit_s - 1e-3][:4], hit_s)
        if way is not None:
            total += way.velocity(hit_s)
    return total
