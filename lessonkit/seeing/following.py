"""Shot by shot: from the departure of the cue ball to rest, and what left linked to what arrived."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.footage.reader import OpenFootage, Reading, reopened
from lessonkit.model import Layout, Point
from lessonkit.seeing.bedview import BedView, Live, Shown
from lessonkit.seeing.centres import push_apart
from lessonkit.seeing.discs import LEAST_APART
from lessonkit.seeing.identities import match_arrivals, match_leftovers
from lessonkit.seeing.kept import Kept, Store, replay
from lessonkit.seeing.looks import Look
from lessonkit.seeing.moving import Moving
from lessonkit.seeing.onsets import strike
from lessonkit.seeing.parts import Part
from lessonkit.seeing.residences import Residence
from lessonkit.seeing.shots import Departure, alive, next_departure, next_stay_ends, rest_time, was_struck
from lessonkit.seeing.swaps import exchange, untangle
from lessonkit.seeing.tracking import Tracker
from lessonkit.seeing.workers import Workers

Progress = Callable[[float], None]
Balls = dict[int, Moving]

STAYS_S = 1.0
"""So long after a shot a thing lies still at least that came during it from nowhere."""
LEAST_SIGHTS = 4
LONGEST_KEPT_S = 40.0
"""Of what was kept so much is handed to whoever follows a shot; a longer one is decoded from there on."""
MOST_SWAPS = 3
"""Three balls may have been mistaken for one another in turn, so exchanges are looked for again so often."""
SURELY_AWAY_MM = 25.0
"""A ball that was followed to further than this from its place had left it."""
UNSURE_MM = 3.0
"""Error of a place whose outline was not found."""


@dataclass(frozen=True, eq=False)
class Resting:
    """Everything that lay still, with its exact place and its look."""

    residences: list[Residence]
    places: list[Point]
    errors_mm: list[float | None]
    looks: dict[int, Look | None]
    colours: list[NDArray[np.float64]]
    """Mean linear light of each thing's middle, for tracking."""
    white: list[float]
    """How badly each fits the cue ball."""

    def layout(self, indices: Sequence[int], view: BedView) -> Layout:
        """Exact places by residence index, no two balls overlapping."""
        errors = {i: (e if (e := self.errors_mm[i]) is not None else UNSURE_MM) for i in indices}
        return push_apart({i: self.places[i] for i in indices}, errors, view.table)


@dataclass(frozen=True, eq=False)
class Followed:
    """One shot as tracked, balls keyed by residence index."""

    departure: Departure
    balls: Balls
    strike_s: float
    rest_s: float
    before: list[int]
    after: list[int]
    linked: dict[int, int]
    """Residence left -> residence taken."""


@dataclass(frozen=True, eq=False)
class _Task:
    """All that tracking one shot needs."""

    departure: Departure
    over_s: float
    layout: Layout
    colours: dict[int, NDArray[np.float64]]
    kept: tuple[Kept, ...]


def follow_all(
    footage: OpenFootage,
    parts: Sequence[Part],
    resting: Resting,
    store: Store,
    hands: Workers,
    tell: Progress,
) -> list[Followed]:
    """Every shot in the order of time. `tell` hears the share done, 0 to 1."""
    done: list[Followed] = []
    tracks = _Ahead(footage, parts, resting, store, hands)
    diameter_mm = parts[0].bare.view.table.ball_diameter_mm
    at_s = -1.0
    while (d := next_departure(resting.residences, resting.white, at_s)) is not None:
        balls = tracks.of(d)
        struck = was_struck(balls[d.cue], balls.values())
        if struck:
            keep_lying(resting.residences, balls, d.cue)
            end_fallen(resting.residences, balls)
        followed = _settle(resting, d, balls, diameter_mm)
        for _ in range(MOST_SWAPS):
            if not (struck and untangle(balls, followed.linked, resting.looks, diameter_mm)):
                break
            followed = _settle(resting, d, balls, diameter_mm)
        at_s = max(d.by_s, followed.rest_s) if struck and followed.strike_s > 0 else d.by_s
        if struck:
            if done and mistaken_cue(done[-1], d, diameter_mm):
                done[-1] = _settle(resting, done[-1].departure, done[-1].balls, diameter_mm)
            done.append(followed)
        tell(min(1.0, at_s / footage.info.duration_s))
    return done


def mistaken_cue(before: Followed, d: Departure, diameter_mm: float) -> bool:
    """Whether the cue ball of a shot was mistaken for another ball, on its way, whose end is struck next; exchanges the two, in
    place.

    What is struck is the cue ball, so it was the cue ball that came to rest there, not a ball that it had run close by.
    """
    cue = before.departure.cue
    other = next((i for i, end in before.linked.items() if end == d.cue), None)
    if other is None or other == cue or cue not in before.linked:
        return False
    return exchange(before.balls[cue], before.balls[other], diameter_mm)


class _Ahead:
    """Tracks of departures; while one is waited for, the likely next ones are worked on as well.

    Which departure comes next depends on when the shot before it ended. It is guessed from the next stay of the cue
    ball; a wrong guess costs time, never truth, for only what was asked for is used.
    """

    def __init__(
        self, footage: OpenFootage, parts: Sequence[Part], resting: Resting, store: Store, hands: Workers
    ) -> None:
        self._footage, self._parts, self._resting, self._hands = footage, parts, resting, hands
        self._store = store
        self._begun: dict[Departure, Future[Balls]] = {}

    def of(self, d: Departure) -> Balls:
        """The tracked balls of a departure."""
        self._begin(d)
        if self._hands.count > 1:
            for later in self._guessed(d, self._hands.count):
                self._begin(later)
        balls = self._hands.result(self._begun.pop(d))
        for old in [k for k in self._begun if k.by_s <= d.by_s]:
            self._begun.pop(old).cancel()
        return balls

    def _guessed(self, d: Departure, count: int) -> Iterator[Departure]:
        found, white = self._resting.residences, self._resting.white
        for _ in range(count):
            end_s = next_stay_ends(found, white, d)
            later = next_departure(found, white, max(d.by_s, end_s - 1e-3 if end_s else d.by_s))
            if later is None:
                return
            yield later
            d = later

    def _begin(self, d: Departure) -> None:
        if d in self._begun:
            return
        found = self._resting.residences
        before = _before(found, d)
        over_s = next_stay_ends(found, self._resting.white, d) or np.inf
        task = _Task(
            d,
            over_s,
            self._resting.layout(before, self._parts[0].bare.view),
            {i: self._resting.colours[i] for i in before},
            tuple(self._store.over(d.from_s, min(over_s + 1.0, d.from_s + LONGEST_KEPT_S))),
        )
        seen_by = [p for p in self._parts if p.until_s > d.from_s][:2] or list(self._parts[-1:])
        self._begun[d] = self._hands.submit(track, self._footage.path, self._footage.reading, seen_by, task)


def end_fallen(found: list[Residence], balls: Balls) -> None:
    """Ends the residence of every ball that fell into a pocket and was not seen at its place again.

    Where a ball hung in the jaws for long the bare table is not known; nothing then shows that it has gone.
    """
    for i, b in balls.items():
        if b.dropped is not None and found[i].last_s < b.dropped[0] < found[i].end_s:
            found[i] = replace(found[i], gone_s=b.dropped[0])


def keep_lying(found: Sequence[Residence], balls: Balls, cue: int) -> None:
    """Takes back, in place, what was taken for the run of a ball that was seen lying at its place all the while.

    In a dim picture noise or a hand near by may pass for a ball that leaves; where a ball is seen at its place again, and
    never was it bare, it has not run.
    """
    for i, b in balls.items():
        if i == cue or not b.seen or found[i].last_s <= b.last[0]:
            continue
        away_mm = max(math.dist(s[1:3], b.start) for s in b.seen)
        if b.dropped is not None or away_mm > SURELY_AWAY_MM:
            balls[i] = Moving(i, b.start, b.colour)


def _before(found: Sequence[Residence], d: Departure) -> list[int]:
    return alive(found, max(d.from_s, found[d.cue].first_s))


def track(path: Path, reading: Reading, parts: Sequence[Part], task: _Task) -> Balls:
    """Follow one shot to its end; `parts`: that in which it begins, and the one after it, if any."""
    cv2.setNumThreads(1)
    d = task.departure
    tracker = Tracker(parts[0].bare.view, parts[0].bare, task.layout, task.colours)
    with reopened(path, reading) as footage:
        tracker.follow(_shown(footage, max(0.0, d.from_s), parts, task.kept, tracker), d.cue, task.over_s)
    return tracker.balls


def _shown(
    footage: OpenFootage, from_s: float, parts: Sequence[Part], kept: Sequence[Kept], tracker: Tracker
) -> Iterator[Shown]:
    """Every frame, the tracker told before each part by which camera it is."""
    for part in parts:
        of_part = [k for k in kept if part.from_s <= k.start_s < part.until_s]
        moments = _moments(footage, max(from_s, part.from_s), part, of_part)
        first = next(moments, None)
        if first is not None:
            tracker.see_by(part.bare, part.bare.gain(first.bed()))
            yield from chain([first], moments)


def _moments(footage: OpenFootage, from_s: float, part: Part, kept: Sequence[Kept]) -> Iterator[Shown]:
    """The frames of a part from a time on: those that were kept, then decoded ones."""
    view = part.bare.view
    if kept:
        yield from replay(view, kept, from_s)
        from_s = kept[-1].end_s
    if from_s < min(part.until_s, footage.info.duration_s):
        for frame in footage.frames(from_s, None if math.isinf(part.until_s) else part.until_s):
            yield Live(view, frame)


def _settle(resting: Resting, d: Departure, balls: Balls, diameter_mm: float) -> Followed:
    """Link what left to what arrived."""
    found = resting.residences
    before = _before(found, d)
    cue = balls[d.cue]
    others = [b.track() for i, b in balls.items() if i != d.cue and len(b.seen) > LEAST_SIGHTS]
    strike_s = strike(cue.track(), others, diameter_mm) if len(cue.seen) > 1 else d.by_s
    rest_s = rest_time(balls.values(), strike_s)
    moved = [i for i in before if len(balls[i].seen) > 1]
    # a residence that ends during the shot was left, whether or not the tracker saw its ball go
    gone = [i for i in before if found[i].end_s <= rest_s + 0.3]
    left = list(dict.fromkeys([*moved, *gone]))
    left = [i for i in left if found[i].end_s < np.inf and found[i].end_s <= rest_s + 0.5]
    following = [r.gone_s for r in found if r.gone_s is not None and r.gone_s > rest_s + 0.5]
    horizon_s = min(following, default=np.inf)
    arrivals = [
        i for i, r in enumerate(found)
        if i not in before and r.first_s >= strike_s and r.end_s > rest_s + 0.2 and r.first_s < horizon_s
    ]  # fmt: skip
    ends = {i: balls[i].last[1] for i in left if balls[i].seen and balls[i].dropped is None}
    linked = match_arrivals(ends, arrivals, found)
    lost = [i for i in left if i not in linked and balls[i].dropped is None]
    free = [a for a in arrivals if a not in linked.values() and found[a].first_s <= rest_s + 4.0]
    linked |= match_leftovers(lost, free, resting.looks)
    stayed = [i for i in before if i not in left]
    after = stayed + list(linked.values())
    # what came to rest during the shot and stays is a ball of it, though where it lay before was not seen
    for a in free:
        apart = [np.hypot(*np.subtract(found[a].place, found[i].place)) for i in after]
        came = found[a].first_s <= rest_s and found[a].end_s > rest_s + STAYS_S
        if a not in linked.values() and came and min(apart, default=np.inf) > 0.5 * diameter_mm * LEAST_APART:
            after.append(a)
    return Followed(d, balls, strike_s, rest_s, before, after, linked)
