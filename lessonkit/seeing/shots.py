"""From things at rest to shots: who left, who was struck, where everything came to rest."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from lessonkit.seeing.moving import Moving
from lessonkit.seeing.residences import Residence

LEAD_S = 0.35
"""How long before the last sight of a ball at rest the tracking starts."""
TOGETHER_S = 1.5
"""The cue ball leaves within this time of the first ball seen to leave; it may have been hidden at the strike."""
LEAST_TRAVEL_MM = 25.0
"""A cue ball that moved less than this was struck only if it set another ball running."""
LEAST_STAY_S = 0.8
SURELY_WHITE = 2.0
"""Cost of a look as the cue ball below which it is hardly another."""
NUDGE_MM = 3.5
EARLY_S = 1.2
ALONE = 0.7
LEAST_SPEED_MMPS = 60.0
LEAST_ALONE = 3
"""A struck ball is seen this often in its first EARLY_S moving at LEAST_SPEED_MMPS and more, bare table about it."""
NO_HAND_MMPS, EVEN_SHARE = 3500.0, 0.25
"""What runs faster than this, from sight to sight at much the same speed, is not in anybody's hand (common practice, no
source: 3.5 m/s is a hard stroke)."""


@dataclass(frozen=True)
class Departure:
    """A time at which the cue ball left its place."""

    cue: int
    """Index of the residence that it left."""
    from_s: float
    """Tracking starts here: the cue ball still lies there."""
    by_s: float
    """The cue ball had left."""


def alive(residences: Sequence[Residence], t_s: float, not_before_s: float = -np.inf) -> list[int]:
    """Indices of what lay on the table at a time (things not gone by then whose first sight is not later)."""
    return [i for i, r in enumerate(residences) if r.first_s <= t_s < r.end_s and r.last_s > not_before_s]


def next_departure(
    residences: Sequence[Residence], white: Sequence[float], after_s: float
) -> Departure | None:
    """The first departure of the cue ball after a time.

    `white`: for each residence how well it fits the cue ball (a cost; small is white). A ball that leaves while the
    cue ball stays is moved by hand and no shot.
    """
    leaving = sorted(
        (r.gone_s, i) for i, r in enumerate(residences) if r.gone_s is not None and r.gone_s > after_s
    )
    for gone_s, _ in leaving:
        there = alive(residences, gone_s - 1e-6)
        cue = min(there, key=lambda i: white[i], default=None)
        if cue is None or white[cue] > 12.0:
            continue
        r = residences[cue]
        if r.gone_s is not None and r.gone_s <= gone_s + TOGETHER_S:
            start = min(r.last_s, *(residences[i].last_s for i in there if residences[i].end_s <= r.gone_s))
            return Departure(
                cue, max(r.first_s, min(r.last_s, max(start, r.last_s - TOGETHER_S)) - LEAD_S), r.gone_s
            )
    return None


def next_stay_ends(residences: Sequence[Residence], white: Sequence[float], d: Departure) -> float | None:
    """When the cue ball, at rest again after a departure, was last seen there: by then the shot is over."""
    at_s = d.by_s
    while (later := next_departure(residences, white, at_s)) is not None:
        stay = residences[later.cue]
        # a ball that creeps to its rest seems to stay and leave again and again
        # while the cue ball runs, a striped ball seen along its axis is the whitest at rest
        # and what lay there before the cue ball left is another white thing, such as somebody's cuff
        if (
            later.cue != d.cue
            and stay.first_s > residences[d.cue].last_s
            and white[later.cue] < SURELY_WHITE
            and stay.last_s - stay.first_s > LEAST_STAY_S
        ):
            return stay.last_s
        at_s = later.by_s
    return None


def was_struck(cue: Moving, others: Iterable[Moving] = ()) -> bool:
    """Whether the cue ball ran free after it left, as a struck ball does and one that is carried does not.

    A hand covers what it carries and lets go of it at rest; a struck ball is seen alone while it moves. A cue ball
    that hits a ball close by may hardly move itself: then the other ball's run shows the stroke.
    """
    track = cue.track()
    if len(track) < 3:
        return False
    travel = float(np.hypot(*(track[1:, 1:] - track[0, 1:]).T).max())
    if travel < LEAST_TRAVEL_MM:
        return travel > NUDGE_MM and any(
            o is not cue
            and len(o.seen) > 3
            and abs(o.seen[o.from_sight][0] - track[0, 0]) < 0.3
            and was_struck(o)
            for o in others
        )
    step_s = np.maximum(np.diff(track[:, 0]), 1e-3)
    speed = np.hypot(*np.diff(track[:, 1:], axis=0).T) / step_s
    clear = np.array([*cue.clear, *[1.0] * len(speed)][: len(speed)])
    early = track[1:, 0] < track[1, 0] + EARLY_S
    # a ball drawn out to a streak fills what lies about it itself, but no hand carries one so fast
    shot_off = np.r_[False, (speed[1:] > NO_HAND_MMPS) & (np.abs(np.diff(speed)) < EVEN_SHARE * speed[1:])]
    alone = int((early & ((clear > ALONE) | shot_off) & (speed > LEAST_SPEED_MMPS)).sum())
    return alone >= min(LEAST_ALONE, len(speed) - 1)


def rest_time(balls: Iterable[Moving], strike_s: float) -> float:
    """When the last ball came to rest or dropped."""
    ends = [strike_s]
    for b in balls:
        if b.dropped is not None:
            ends.append(b.dropped[0])
        elif b.stirred():
            continue
        elif b.rest_s is not None:
            ends.append(b.rest_s)
        elif b.seen:
            ends.append(b.seen[-1][0])
    return max(ends)
