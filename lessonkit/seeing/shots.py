"""From things at rest to shots: who left, who was struck, where everything came to rest."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from lessonkit.seeing.residences import Residence
from lessonkit.seeing.tracking import Moving

LEAD_S = 0.35
"""How long before the last sight of a ball at rest the tracking starts."""
TOGETHER_S = 1.5
"""The cue ball leaves within this time of the first ball seen to leave; it may have been hidden at the strike."""
LEAST_TRAVEL_MM = 12.0
FREE_SHARE = 0.5
"""Share of the first sights in motion at which a struck ball is clear of hands."""


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


def was_struck(cue: Moving) -> bool:
    """Whether the cue ball ran free after it left, as a struck ball does and one that is carried does not."""
    track = cue.track()
    if len(track) < 4:
        return cue.dropped is not None and len(track) >= 3
    if np.hypot(*(track[1:, 1:] - track[0, 1:]).T).max() < LEAST_TRAVEL_MM:
        return False
    began = track[(cue.from_sight and 1) or 1, 0]
    early = [c for s, c in zip(cue.seen[1:], cue.clear, strict=False) if s[0] < began + 0.8]
    seen_share = len(early) / max(1.0, 0.8 / float(np.median(np.diff(track[:, 0]))))
    free = np.mean([c > 0.6 for c in early]) if early else 0.0
    return bool(free >= FREE_SHARE and (seen_share > 0.3 or cue.dropped is not None))


def rest_time(balls: Iterable[Moving], strike_s: float) -> float:
    """When the last ball came to rest or dropped."""
    ends = [strike_s]
    for b in balls:
        if b.dropped is not None:
            ends.append(b.dropped[0])
        elif b.rest_s is not None:
            ends.append(b.rest_s)
        elif b.seen:
            ends.append(b.seen[-1][0])
    return max(ends)
