"""Two balls mistaken for each other on their way: told by what came to rest, and mended where their ways met.

In a burst rack balls run close by one another, blurred. Where the thing that came to rest at the end of a ball's way cannot be
that ball, but can be another one that had run close by, the two ways are exchanged from there on.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations

import numpy as np

from lessonkit.seeing.looks import Look
from lessonkit.seeing.moving import Moving, off_colour
from lessonkit.seeing.numbers import costs

SURELY = 8.0
"""By how much less likely (as a cost) what two balls were followed to is than the same exchanged; half of it for one."""
NEAR = 6.0
"""So near, in diameters, ways came to each other where balls were mistaken: fast ones go further from sight to sight."""
LEAST_COLOURS = 5
"""A way of so many sights tells a colour."""
COLOUR_COST = 16.0
"""Colours that are half as far apart as those of a white ball and a dark one (see `off_colour`) tell two balls for sure."""
STEP_S = 0.004


def unlike(a: Look | None, b: Look | None) -> float:
    """How surely two looks are not of one ball: the cost of the best number for both beside the best for each."""
    if a is None or b is None:
        return 0.0
    one, other = costs([a]), costs([b])
    return float((one + other).min() - one.min() - other.min())


def untangle(
    balls: Mapping[int, Moving],
    linked: Mapping[int, int],
    looks: Mapping[int, Look | None],
    diameter_mm: float,
) -> bool:
    """Exchange the ways of balls, in place, that were mistaken for each other; whether any was.

    `linked`: the thing at rest that each ball was taken to have become; a ball without one (it fell, or was lost) may
    have been any.
    """
    ran = [i for i, b in balls.items() if len(b.seen) > 1]
    end = {i: looks.get(linked[i]) if i in linked else None for i in ran}
    wrong = [i for i in ran if unlike(looks.get(i), end[i]) > SURELY / 2]
    done: set[int] = set()
    gains: list[tuple[float, float, int, int]] = []
    for i, j in combinations(ran, 2):
        if i not in wrong and j not in wrong:
            continue
        before = unlike(looks.get(i), end[i]) + unlike(looks.get(j), end[j])
        gain = before - unlike(looks.get(i), end[j]) - unlike(looks.get(j), end[i])
        met_s = _nearest(balls[i], balls[j], NEAR * diameter_mm)
        if met_s is not None and (gain := gain - _colour_cost(balls, end, (i, j), met_s)) > SURELY:
            gains.append((gain, met_s, i, j))
    for _, met_s, i, j in sorted(gains, reverse=True):
        if not done & {i, j}:
            _exchange(balls[i], balls[j], met_s)
            done |= {i, j}
    return bool(done)


def exchange(a: Moving, b: Moving, diameter_mm: float) -> bool:
    """Exchange the ways of two balls, in place, from where they ran nearest; False where they never were near."""
    met_s = _nearest(a, b, NEAR * diameter_mm)
    if met_s is not None:
        _exchange(a, b, met_s)
    return met_s is not None


def _colour_cost(
    balls: Mapping[int, Moving], end: Mapping[int, Look | None], pair: tuple[int, int], met_s: float
) -> float:
    """What speaks against an exchange: a ball that came to no rest ran on from there in its own colour, not in the other's.

    What fell, the cue ball in the first place, shows no end to be held against it, but it was seen on its way.
    """
    cost = 0.0
    for i, j in (pair, pair[::-1]):
        colours = _colours_after(balls[i], met_s)
        if end[i] is None and len(colours) >= LEAST_COLOURS:
            seen = np.median(colours, axis=0)
            off = off_colour(balls[j].colour, seen) - off_colour(balls[i].colour, seen)
            cost += COLOUR_COST * max(0.0, off)
    return cost


def _colours_after(b: Moving, met_s: float) -> list[tuple[float, float, float]]:
    """Of the sights after a time; the first ones of a ball may have none."""
    return [c for s, c in zip(b.seen[::-1], b.colours[::-1], strict=False) if s[0] > met_s]


def _nearest(a: Moving, b: Moving, within_mm: float) -> float | None:
    """When two balls came nearest to each other while either moved; None where they stayed far apart."""
    one, other = a.track(), b.track()
    from_s, to_s = min(one[1, 0], other[1, 0]), min(one[-1, 0], other[-1, 0])
    times = np.arange(from_s, to_s, STEP_S)
    if not len(times):
        return None
    apart = np.hypot(
        *(np.interp(times, one[:, 0], one[:, c]) - np.interp(times, other[:, 0], other[:, c]) for c in (1, 2))
    )
    k = int(apart.argmin())
    return float(times[k]) if apart[k] < within_mm else None


def _exchange(a: Moving, b: Moving, met_s: float) -> None:
    """Give each the other's way from a time on, and its end."""
    cut = [sum(s[0] <= met_s for s in x.seen) for x in (a, b)]
    clear = [max(0, len(x.clear) - len(x.seen) + n) for x, n in zip((a, b), cut, strict=True)]
    a.seen, b.seen = a.seen[: cut[0]] + b.seen[cut[1] :], b.seen[: cut[1]] + a.seen[cut[0] :]
    a.clear, b.clear = a.clear[: clear[0]] + b.clear[clear[1] :], b.clear[: clear[1]] + a.clear[clear[0] :]
    a.colours, b.colours = (
        a.colours[: clear[0]] + b.colours[clear[1] :],
        b.colours[: clear[1]] + a.colours[clear[0] :],
    )
    a.dropped, b.dropped = b.dropped, a.dropped
    a.rest_s, b.rest_s = b.rest_s, a.rest_s
    a.moving, b.moving = b.moving, a.moving
    a.missed_since, b.missed_since = b.missed_since, a.missed_since
    a.from_sight, b.from_sight = min(a.from_sight, cut[0] - 1), min(b.from_sight, cut[1] - 1)
