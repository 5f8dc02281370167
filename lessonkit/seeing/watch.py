"""From footage to all that it shows: the table, then things at rest, then shots one by one.

    seen = watch(Path("clip.mp4"))

Two passes: a first look at a few frames a second over the whole footage, then every frame about each shot.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.footage.reader import Frame, OpenFootage, open_footage
from lessonkit.model import Layout, Point, Seen, SeenShot
from lessonkit.seeing.bedview import BedView
from lessonkit.seeing.centres import push_apart, refine_centre
from lessonkit.seeing.cloth import BareTable
from lessonkit.seeing.identities import Strings, match_arrivals, match_leftovers, name_strings
from lessonkit.seeing.looks import Close, Lighting, Look, close_look, look, white_point
from lessonkit.seeing.numbers import DOUBT_BELOW, Named, cost
from lessonkit.seeing.patches import Patcher
from lessonkit.seeing.report import describe_shot
from lessonkit.seeing.residences import Residence, residences
from lessonkit.seeing.sampling import Begun, Sample, Sampler
from lessonkit.seeing.shots import Departure, alive, next_departure, next_stay_ends, rest_time, was_struck
from lessonkit.seeing.size import tell_size
from lessonkit.seeing.tracking import Moving, Tracker
from lessonkit.table.finding import Surface, find_table

Progress = Callable[[float], None]

VIEW_MM_PER_PX = 3.2
"""A ball is 18 pixels wide in the bed view: enough to find it, little to compute."""
TABLE_PICTURES = 13
BARE_PICTURES = 26
SAMPLES_PER_S = 10.0
THREADS = 2
"""Frames of the first look that are worked on side by side."""
FIRST_LOOK = 0.55
"""Share of the work that the first look is, for the progress bar."""
CLEAR_SHARE = 0.0005
LEAST_POCKETS = 5
LEAST_SIGHTS = 12


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


@dataclass(frozen=True, eq=False)
class Followed:
    """One shot as tracked, balls keyed by residence index."""

    departure: Departure
    balls: dict[int, Moving]
    strike_s: float
    rest_s: float
    before: list[int]
    after: list[int]
    linked: dict[int, int]
    """Residence left -> residence taken."""


def watch(
    path: Path,
    *,
    table: str = "auto",
    head: str = "left",
    corners: Sequence[Point] | None = None,
    progress: Progress | None = None,
) -> Seen:
    """All that the footage shows.

    `table`, `head`, `corners` as in `find_table`; `progress` is called with the share done, 0 to 1. Raises
    FootageError and TableError.
    """
    tell = progress or (lambda _: None)
    with open_footage(path) as footage:
        frames = footage.spread(BARE_PICTURES)
        surface = _find(frames, table, head, corners)
        tell(0.05)
        view = BedView.of(surface.camera, surface.table, VIEW_MM_PER_PX)
        bare = BareTable.of(view, [view.warp_frame(f) for f in frames])
        del frames
        samples = _first_look(footage, Sampler(view, bare, Patcher(surface.camera, surface.table)), tell)
        resting = _look_closely(residences(samples, view), bare)
        followed = _follow_all(footage, view, bare, resting, tell)
        shots = _describe(followed, resting, samples, view)
        tell(1.0)
        return Seen(footage.info, surface.table, surface.camera, tuple(shots), _doubts(surface))


def _find(frames: list[Frame], size: str, head: str, corners: Sequence[Point] | None) -> Surface:
    """The surface; with size 'auto' first as 9 ft, then as what its balls tell."""
    pictures = [f.bgr() for f in frames[:: len(frames) // TABLE_PICTURES or 1]]
    surface = find_table(pictures, size=size, head=head, corners=corners)
    if size != "auto":
        return surface
    told = tell_size(frames, surface.camera, surface.table)
    if told.table.size != surface.table.size:
        # heights were scaled with the wrong size: fitted closer to the truth, the balls tell a little better
        surface = find_table(pictures, size=told.table.size, head=head, corners=corners)
        told = tell_size(frames, surface.camera, surface.table)
        if told.table.size != surface.table.size:
            surface = find_table(pictures, size=told.table.size, head=head, corners=corners)
    return replace(surface, size_sure=told.sure)


def _doubts(surface: Surface) -> tuple[str, ...]:
    """What a person should check of the table and the camera."""
    doubts = []
    if not surface.size_sure:
        size = surface.table.size
        doubts.append(
            f"the balls do not tell the table's size for sure; {size} was taken: say --table if that is wrong."
        )
    # a table without sights is none the worse; one with some sights out of place was fitted wrongly
    if surface.pockets < LEAST_POCKETS or 0 < surface.sights < LEAST_SIGHTS:
        doubts.append(
            "few of the table's pockets and sights were recognised, so places may be off by centimetres; compare "
            "top-view.png with the table, and give --corners if its edges do not run straight."
        )
    return tuple(doubts)


def _first_look(footage: OpenFootage, sampler: Sampler, tell: Progress) -> list[Sample]:
    samples: list[Sample] = []
    pending: deque[tuple[Frame, Future[Begun]]] = deque()

    def finish_one() -> None:
        frame, begun = pending.popleft()
        samples.append(sampler.finish(frame, begun.result()))
        tell(0.05 + (FIRST_LOOK - 0.05) * min(1.0, frame.t_s / footage.info.duration_s))

    due_s = 0.0
    with ThreadPoolExecutor(THREADS) as threads:
        for frame in footage.frames():
            if frame.t_s + 1e-6 < due_s:
                continue
            due_s = max(due_s + 1 / SAMPLES_PER_S, frame.t_s + 0.5 / SAMPLES_PER_S)
            pending.append((frame, threads.submit(sampler.begin, frame)))
            if len(pending) > 2 * THREADS:
                finish_one()
        while pending:
            finish_one()
    return samples


def _look_closely(found: list[Residence], bare: BareTable) -> Resting:
    radius_mm = bare.view.table.radius_mm
    lighting = Lighting(bare)
    places: list[Point] = []
    errors: list[float | None] = []
    closes: dict[int, Close] = {}
    for i, r in enumerate(found):
        others = [o.place for o in found if o is not r and o.first_s < r.last_s and o.last_s > r.first_s]
        step = max(1, len(r.patches) // 8)
        place, error = refine_centre(r.patches[::step][:8], r.place, bare, others)
        places.append(place)
        errors.append(error)
        if r.patches:
            closes[i] = close_look(r.patches, place, radius_mm, lighting)
    white = white_point(list(closes.values()))
    looks: dict[int, Look | None] = {
        i: look(closes[i], white, len(r.patches)) if i in closes else None for i, r in enumerate(found)
    }
    colours = [
        _core(closes[i], lighting.at(r.place)) if i in closes else np.full(3, 0.3)
        for i, r in enumerate(found)
    ]
    whiteness = [cost(k, 0) if (k := looks[i]) is not None else 30.0 for i in range(len(found))]
    return Resting(found, places, errors, looks, colours, whiteness)


def _core(close: Close, light: float) -> NDArray[np.float64]:
    """The mean light of a ball's middle as the camera saw it, shape (3,)."""
    return np.asarray(close.light[close.radius < 0.55].mean(0) * light, float)


def _layout(resting: Resting, indices: Sequence[int], view: BedView) -> Layout:
    """Exact places by residence index, no two balls overlapping."""
    errors = {i: (e if (e := resting.errors_mm[i]) is not None else 3.0) for i in indices}
    return push_apart({i: resting.places[i] for i in indices}, errors, view.table)


def _follow_all(
    footage: OpenFootage, view: BedView, bare: BareTable, resting: Resting, tell: Progress
) -> list[Followed]:
    done: list[Followed] = []
    at_s = -1.0
    found = resting.residences
    while (d := next_departure(found, resting.white, at_s)) is not None:
        followed = _follow(footage, view, bare, resting, d)
        at_s = max(d.by_s, followed.rest_s if followed.strike_s > 0 else d.by_s)
        if was_struck(followed.balls[d.cue], followed.balls.values()):
            done.append(followed)
        else:
            at_s = d.by_s
        tell(FIRST_LOOK + (1 - FIRST_LOOK) * min(1.0, at_s / footage.info.duration_s))
    return done


def _follow(footage: OpenFootage, view: BedView, bare: BareTable, resting: Resting, d: Departure) -> Followed:
    from lessonkit.seeing.contacts import onset

    found = resting.residences
    before = alive(found, max(d.from_s, found[d.cue].first_s))
    layout = _layout(resting, before, view)
    over_s = next_stay_ends(found, resting.white, d) or np.inf
    frames = footage.frames(max(0.0, d.from_s))
    first = next(frames)
    gain = bare.gain(view.warp_frame(first))
    tracker = Tracker(view, bare, layout, {i: resting.colours[i] for i in before}, gain)
    tracker.follow(chain([first], frames), d.cue, over_s)
    balls = tracker.balls
    cue = balls[d.cue]
    strike_s = onset(cue.track()) if len(cue.seen) > 1 else d.by_s
    rest_s = rest_time(balls.values(), strike_s)
    return _settle(found, resting, d, balls, strike_s, rest_s, before)


def _settle(
    found: list[Residence], resting: Resting, d: Departure, balls: dict[int, Moving], strike_s: float, rest_s: float, before: list[int]
) -> Followed:  # fmt: skip
    """Link what left to what arrived."""
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
    return Followed(d, balls, strike_s, rest_s, before, stayed + list(linked.values()), linked)


def _describe(
    followed: list[Followed], resting: Resting, samples: Sequence[Sample], view: BedView
) -> list[SeenShot]:
    strings = Strings()
    for f in followed:
        for earlier, later in f.linked.items():
            strings.link(earlier, later)
    heads = strings.heads(len(resting.residences))
    rests = [r for f in followed for r in (f.before, f.after)]
    named = name_strings(heads, resting.looks, rests, {heads[f.departure.cue] for f in followed})
    shots: list[SeenShot] = []
    for k, f in enumerate(followed):
        numbers = {
            i: named[heads[i]] for i in {*f.before, *f.after} if named.get(heads[i], Named(-1, 0)).number >= 0
        }
        since_s = followed[k - 1].rest_s if k else 0.0
        until_s = followed[k + 1].strike_s if k + 1 < len(followed) else np.inf
        shots.append(
            describe_shot(
                k + 1, f.balls, f.strike_s, f.rest_s,
                before=_layout(resting, [i for i in f.before if i in numbers], view),
                after=_layout(resting, [i for i in f.after if i in numbers], view),
                linked=f.linked, numbers={i: n.number for i, n in numbers.items()},
                doubtful={numbers[i].number for i in numbers if numbers[i].confidence < DOUBT_BELOW or resting.errors_mm[i] is None},
                table=view.table,
                clear_before_s=_clear(samples, max(since_s, f.strike_s - 30.0), f.strike_s - 0.05),
                clear_after_s=_clear(samples, f.rest_s, min(until_s - 0.1, f.rest_s + 30.0)),
            )
        )  # fmt: skip
    return shots


def _clear(samples: Sequence[Sample], from_s: float, to_s: float) -> float | None:
    """The middle of the longest time between the two in which nobody stands before the table; None: there is none.

    Its ends show somebody stepping in or out.
    """
    best: tuple[float, float] = (0.0, 0.0)
    began: float | None = None
    within = [s for s in samples if from_s <= s.t_s <= to_s]
    for k, s in enumerate(within):
        clear = s.people <= CLEAR_SHARE
        if clear and began is None:
            began = s.t_s
        if began is not None and (not clear or k == len(within) - 1):
            ended = s.t_s if clear else within[k - 1].t_s
            if ended - began >= best[1] - best[0]:
                best = (began, ended)
            began = None
    if best == (0.0, 0.0):
        return None
    middle = 0.5 * (best[0] + best[1])
    return min((s.t_s for s in within), key=lambda t: abs(t - middle))


cv2.setNumThreads(1)  # frames are worked on side by side; threads within one would only get in their way
