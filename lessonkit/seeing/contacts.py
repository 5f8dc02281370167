"""What a moving ball met, and when: balls, cushions, pockets, to a fraction of a frame.

A ball contact is dated where the way of the hitting ball brings the two centres one diameter apart; a cushion contact
where the ways before and after meet the line on which a ball touches the nose.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lessonkit.model import CUE_BALL, Cushion, Event, Pocketed, Point, Table, Track
from lessonkit.seeing.contacts_cue import first_contact, joined, later_contacts
from lessonkit.seeing.drops import in_mouth
from lessonkit.seeing.onsets import frame_s, left, momentum, ran
from lessonkit.seeing.pieces import Motion, after, before, place_at, scatter_mm
from lessonkit.seeing.runs import Run

Floats = NDArray[np.float64]

NEAR_MM = 26.0
"""Gap between two balls up to which one may have set the other moving."""
AFTER_MM = 1.5
"""A sight this far off the way to a hit was taken after it."""
TOUCHING_MM = 4.0
"""A measured gap between balls that may touch."""
TOGETHER_FRAMES = 1.6
"""Balls that touch set off within this many frames of each other, as far as it can be seen."""
REACHED_MM = 1.0
LEAST_WAY_MM = 25.0
"""The place of a cue ball that went less than this to a hit does not tell its direction: two errors of a millimetre are five
degrees."""
LEAST_NORMAL_MMPS = 12.0
"""Slowest meeting with a cushion that is told from rolling along it."""
AWAY_MM, AWAY_SCATTERS = 1.0, 4.0
"""A ball was away from a cushion when it was this far from it, and so many times what its sights scatter by."""
UNSURE_SLOPES = 2.5
"""A meeting counts if it is so many standard errors of a slope fast."""
LEAST_SLOPE = 0.03
"""Flattest meeting, as a share of the ball's speed: sights of a fast ball scatter by as much from one to the next."""


def touch_mm(table: Table) -> float:
    """Distance of a ball's centre from the nose line when it touches the nose: sqrt(R² - (h - R)²)."""
    R = table.radius_mm
    return float(np.sqrt(R * R - (table.nose_height_mm - R) ** 2))


def contacts(runs: Mapping[int, Run], layout: Mapping[int, Point], table: Table) -> list[Event]:
    """All that the balls met of one another and of cushions, in order of time; `layout`: where every ball lay."""
    events = ball_contacts(runs, layout, table)
    turned_s = {n: [e.t_s for e in _cushions(r, events, table)] for n, r in runs.items()}
    events = joined(events, later_contacts(runs, events, table, turned_s), runs)
    # a contact near a cushion may have looked like one
    walls = [e for r in runs.values() for e in _cushions(r, events, table)]
    return sorted(events + walls, key=lambda e: e.t_s)


def _cushions(run: Run, events: list[Event], table: Table) -> list[Event]:
    return cushion_contacts(run, table, [e.t_s for e in events if run.ball in e.balls])


def ball_contacts(runs: Mapping[int, Run], layout: Mapping[int, Point], table: Table) -> list[Event]:
    """Who set whom moving, in order of time: one event for each ball that was at rest and moved.

    `layout`: where every ball lay, moved or not.
    """
    events: list[Event] = []
    # the cue ball was struck with the cue, whatever else seems to have stirred before
    struck = runs.get(CUE_BALL) or min(runs.values(), key=lambda r: r.onset_s, default=None)
    others = {n: r for n, r in runs.items() if r is not struck and left(r.track)}
    first = _first(runs, layout, table)
    if first is not None:
        ball = first.balls[1]
        lay = np.array([[first.t_s, *layout[ball]]])
        run = others.get(ball) or Run(ball, layout[ball], lay, first.t_s)
        # nothing sets off before the first hit, whatever its sights say
        others = {n: replace(r, onset_s=max(r.onset_s, first.t_s)) for n, r in others.items()}
        others[ball] = replace(run, onset_s=first.t_s)
    at_rest = sorted(others.values(), key=lambda r: r.onset_s)
    met = _Met({**runs, **others})
    for group in _touching(at_rest, table):
        for hitter, run, t in _set_off(group, runs, met, table, first):
            events.append(Event(t, "ball", (hitter, run.ball)))
            met.note(hitter, t)
    return sorted(events, key=lambda e: e.t_s)


def _first(runs: Mapping[int, Run], layout: Mapping[int, Point], table: Table) -> Event | None:
    """What the cue ball met first by its own way, where that is seen."""
    cue = runs.get(CUE_BALL)
    if cue is None:
        return None
    rests = {n: p for n, p in layout.items() if n != CUE_BALL} | {
        n: r.start for n, r in runs.items() if r is not cue
    }
    others = [r for r in runs.values() if r is not cue and ran(r.track)]
    against = [
        r
        for r in others
        if _gap(r, cue, table) < TOUCHING_MM and r.onset_s < cue.onset_s + frame_s(cue.track)
    ]
    if against:  # strike and hit are one: the cue ball's sights all lie after it
        hit = min(against, key=lambda r: r.onset_s)
        return Event(max(cue.onset_s, hit.onset_s), "ball", (CUE_BALL, hit.ball))
    moved_s = [r.onset_s for r in others if _came_near(cue.track, rests, r.onset_s, table)]
    if not moved_s:
        return None
    return first_contact(cue, rests, min(moved_s), table)


def _came_near(cue: Track, rests: Mapping[int, Point], t_s: float, table: Table) -> bool:
    """Whether the cue ball may have met any ball by then: one that seems to stir before was only read otherwise."""
    step = frame_s(cue)
    rows = cue[cue[:, 0] <= t_s + 0.5 * step]
    if len(rows) < 2:
        return True
    gone = np.hypot(*np.diff(rows[:, 1:], axis=0).T)
    # between two sights it may have gone to a ball and come back
    reach = table.ball_diameter_mm + NEAR_MM + 0.5 * np.r_[gone, gone[-1]]
    far = [np.hypot(*(rows[:, 1:] - np.asarray(p)).T) for p in rests.values()]
    return bool(far) and bool((np.min(far, axis=0) < reach).any())


class _Met:
    """When and where each ball last met another, for its way is another one from there."""

    def __init__(self, runs: Mapping[int, Run]) -> None:
        self._runs = runs
        self._last: dict[int, tuple[float, Floats]] = {}

    def note(self, ball: int, t_s: float) -> None:
        """The ball met another."""
        way = Motion.through(self.way(ball, t_s, 6), t_s)
        self._last[ball] = (t_s, way.place(t_s) if way else place_at(self._runs[ball].track, t_s))

    def way(self, ball: int, until_s: float, points: int) -> Track:
        """The last sights before a time, and the place of the last meeting where it is as near."""
        run = self._runs[ball]
        at = self._last.get(ball)
        if at is None or at[0] >= until_s:
            return before(run.track, until_s, -np.inf, points)
        since = before(run.track, until_s, at[0] + 1e-4, points)
        return since if len(since) >= points else np.r_[[[at[0], *at[1]]], since]


def _touching(at_rest: list[Run], table: Table) -> list[list[Run]]:
    """The runs in groups of balls that lay against one another and set off together; most are alone."""
    groups: list[list[Run]] = []
    for run in at_rest:
        step = frame_s(run.track)
        near = [
            g for g in groups
            if run.onset_s - g[0].onset_s < TOGETHER_FRAMES * step and any(_gap(run, o, table) < TOUCHING_MM for o in g)
        ]  # fmt: skip
        for g in near:
            groups.remove(g)
        groups.append(sorted([run, *(r for g in near for r in g)], key=lambda r: r.onset_s))
    return sorted(groups, key=lambda g: g[0].onset_s)


def _gap(a: Run, b: Run, table: Table) -> float:
    return float(np.hypot(*np.subtract(a.start, b.start))) - table.ball_diameter_mm


def _set_off(
    group: list[Run], runs: Mapping[int, Run], met: _Met, table: Table, known: Event | None
) -> list[tuple[int, Run, float]]:
    """(hitter, hit, time) for each ball of a group: one was met from outside, the others by their neighbours.

    Balls that touch pass a hit on within a fraction of a frame, so their order in time cannot be seen; which of them
    was met first can, by the way of the ball that came; `known` is such a meeting.
    """
    chosen = next((r for r in group if known is not None and r.ball == known.balls[1]), None)
    if known is not None and chosen is not None:
        return _passed_on([(known.balls[0], chosen, known.t_s)], group, table)
    meetings = [m for run in group if (m := _hitter(run, group, runs, met, table)) is not None]
    if not meetings:
        return []
    reached = [m for m in meetings if m.gap_mm <= REACHED_MM]
    first = min(reached, key=lambda m: m.t_s) if reached else min(meetings, key=lambda m: m.cost)
    return _passed_on([(first.hitter, first.hit, first.t_s)], group, table)


def _passed_on(
    out: list[tuple[int, Run, float]], group: list[Run], table: Table
) -> list[tuple[int, Run, float]]:
    """The first meeting, and from ball to ball through the group those that follow from it."""
    _, hit, t_s = out[0]
    done, left = [hit], [r for r in group if r is not hit]
    while left:
        parent, child = min(
            ((d, r) for d in done for r in left), key=lambda pair: _gap(pair[0], pair[1], table)
        )
        out.append((parent.ball, child, t_s))
        done.append(child)
        left.remove(child)
    return out


@dataclass(frozen=True, eq=False)
class _Meeting:
    """One way in which a ball at rest may have been set moving."""

    hitter: int
    hit: Run
    t_s: float
    gap_mm: float
    cost: float


def _hitter(run: Run, group: list[Run], runs: Mapping[int, Run], met: _Met, table: Table) -> _Meeting | None:
    best: _Meeting | None = None
    step = frame_s(run.track)
    for other in runs.values():
        if other.ball == run.ball or other in group or other.onset_s > run.onset_s + step:
            continue
        t, gap = _meeting(other, run, met, table, step)
        # a ball that moves towards it is likelier than one that merely lies beside it
        late = max(0.0, abs(t - run.onset_s) - step)
        cost = abs(gap) + 400 * late + (4.0 if other.onset_s > run.onset_s - 0.25 * step else 0.0)
        if gap < NEAR_MM and (best is None or cost < best.cost):
            # where the hitter's way does not reach it, the ball's own start tells the time
            best = _Meeting(other.ball, run, t if gap <= REACHED_MM else run.onset_s, gap, cost)
    return best


def _meeting(hitter: Run, hit: Run, met: _Met, table: Table, step: float) -> tuple[float, float]:
    """When the hitter's centre comes one diameter near to where the other lay, and the gap left at that time."""
    D = table.ball_diameter_mm
    rest = np.asarray(hit.start, float)
    came = met.way(hitter.ball, hit.onset_s + 0.3 * step, 6)
    came = came[came[:, 0] >= hit.onset_s - 8 * step]
    if len(came) >= 2:
        far = [np.hypot(*(p[1:] - rest)) for p in came]
        # the last sight is already after the hit: it lies further off, or off the way there
        led = (
            Motion.through(came[:-1], float(came[-1, 0]))
            if len(came) >= 3 and came[-1, 0] > hit.onset_s
            else None
        )
        if far[-1] > far[-2] or (
            led is not None and np.hypot(*(led.place(float(came[-1, 0])) - came[-1, 1:])) > AFTER_MM
        ):
            came = came[:-1]
    way = Motion.through(came, float(came[-1, 0])) if len(came) >= 2 else None
    if way is None:
        gap = float(np.hypot(*(place_at(hitter.track, hit.onset_s) - rest))) - D
        return hit.onset_s, gap
    ts = np.linspace(came[-1, 0] - 0.2 * step, hit.onset_s + 2.0 * step, 120)
    gaps = np.array([np.hypot(*(way.place(float(t)) - rest)) - D for t in ts])
    inside = np.nonzero(gaps <= 0)[0]
    if len(inside):
        return float(ts[inside[0]]), 0.0
    i = int(gaps.argmin())
    return float(ts[i]), float(gaps[i])


def cushion_contacts(run: Run, table: Table, others: list[float]) -> list[Event]:
    """Every meeting of a ball with a cushion; `others`: times of its other contacts, over which no fit may reach."""
    touch = touch_mm(table)
    events: list[Event] = []
    walls: tuple[tuple[Cushion, int, float, float], ...] = (
        ("head", 0, touch, 1.0), ("foot", 0, table.length_mm - touch, -1.0),
        ("right", 1, touch, 1.0), ("left", 1, table.width_mm - touch, -1.0),
    )  # fmt: skip
    for name, axis, line, inward in walls:
        events += _at_wall(run, name, axis, line, inward, others, table)
    return sorted(events, key=lambda e: e.t_s)


def _at_wall(
    run: Run, name: Cushion, axis: int, line: float, inward: float, others: list[float], table: Table
) -> list[Event]:
    track = run.track
    if len(track) < 4:
        return []
    t = track[:, 0]
    off = inward * (track[:, 1 + axis] - line)
    rate = np.diff(off) / np.maximum(np.diff(t), 1e-4)
    met: list[tuple[int, Event]] = []
    i = 1
    while i < len(track) - 1:
        nearest = off[i] <= off[i - 1] and off[i] < off[i + 1]
        # what may still be gone in the frame in which the ball turns
        reach = 6.0 + 0.6 * max(-rate[i - 1], rate[i], 0.0) * (t[i + 1] - t[i - 1]) / 2
        if nearest and off[i] < reach:
            event = _turn(run, name, axis, line, inward, i, others)
            # in a pocket's mouth there is no nose: what turns a ball there is a jaw, or the hole's far side
            if event is not None and not in_mouth(_touching_at(track, event.t_s, axis, line), table):
                # a ball that has not been away, and come back, meets no cushion again: its sights scatter
                away = AWAY_MM + AWAY_SCATTERS * scatter_mm(track[max(0, i - 8) : i + 9])
                here = off[i - 1 : i + 2].mean()
                if met and off[met[-1][0] : i + 1].max() - here < away:
                    if here < off[met[-1][0] - 1 : met[-1][0] + 2].mean():
                        met[-1] = i, event
                else:
                    met.append((i, event))
                i += 2
                continue
        i += 1
    return [event for _, event in met]


def _touching_at(track: Track, t_s: float, axis: int, line: float) -> Point:
    at = place_at(track, t_s)
    return (line, float(at[1])) if axis == 0 else (float(at[0]), line)


def _turn(
    run: Run, name: Cushion, axis: int, line: float, inward: float, i: int, others: list[float]
) -> Event | None:
    track = run.track
    t_turn = float(track[i, 0])
    step = frame_s(track)
    since = max([o for o in [run.onset_s, *others] if o < t_turn - 0.2 * step], default=run.onset_s)
    until = min([o for o in others if o > t_turn + 0.2 * step], default=float(track[-1, 0]))
    came = track[(track[:, 0] <= t_turn) & (track[:, 0] >= since - 1e-6)][-4:]
    went = track[(track[:, 0] >= t_turn) & (track[:, 0] <= until + 1e-6)][:4]
    near = track[max(0, i - 3) : i + 4]
    speed = float(
        np.median(np.hypot(*np.diff(near[:, 1:], axis=0).T) / np.maximum(np.diff(near[:, 0]), 1e-4))
    )
    # the slope through four sights, evenly spaced, is uncertain by their scatter over sqrt(5) steps
    unsure = scatter_mm(track[max(0, i - 8) : i + 9]) / (np.sqrt(5.0) * step)
    least = max(LEAST_NORMAL_MMPS, LEAST_SLOPE * speed, UNSURE_SLOPES * unsure)
    times: list[float] = []
    speeds: list[float] = []
    # the turning sight itself belongs to whichever side fits it
    for part, back in ((came[:-1], False), (went[1:], True), (came, False), (went, True)):
        if len(part) < 2 or len(times) >= 2:
            continue
        slope, at = np.polyfit(part[:, 0], inward * (part[:, 1 + axis] - line), 1)
        towards = slope if back else -slope
        if towards < least:
            continue
        times.append(float(-at / slope))
        speeds.append(float(towards))
    if not times or max(speeds) < least:
        return None
    weights = np.asarray(speeds)
    t = float(np.clip(np.average(times, weights=weights), t_turn - 1.2 * step, t_turn + 1.2 * step))
    return Event(t, "cushion", (run.ball,), cushion=name)


def pocket_events(dropped: list[Pocketed]) -> list[Event]:
    """One event for each drop."""
    return [Event(p.t_s, "pocket", (p.ball,), pocket=p.pocket) for p in dropped]


def fullness(
    cue: Run, contact: Event, runs: Mapping[int, Run], table: Table, turned_s: Sequence[float] = ()
) -> float | None:
    """How full the cue ball's first hit was: 1 - sin(cut angle), 1 full, 0 a graze; `turned_s`: when it met cushions.

    The sine of the cut is the distance of the struck ball's centre from the cue ball's line, in diameters
    (Alciatore, fractional-ball aiming).
    """
    hit = runs.get(contact.balls[1])
    if hit is None:
        return None
    step = frame_s(cue.track)
    begin = _begin(cue, contact.t_s, turned_s)
    # a sight within half a frame of strike or hit may be drawn out, by a long exposure, over rest or turn
    free = (cue.track[:, 0] > begin[0] + 0.5 * step) & (cue.track[:, 0] < contact.t_s - 0.5 * step)
    if contact.t_s - begin[0] < step or not free.any():
        told = _by_departure(begin[1:], cue, hit, contact.t_s, runs, table)
        if told is not None:
            return told
    came = before(cue.track, contact.t_s + 0.05 * step, begin[0] - 1e-6)
    if len(came) < 2:
        came = np.r_[[begin], came]
    if len(came) < 2:
        return None
    way = Motion.through(came, contact.t_s)
    if way is None:
        return None
    v = way.velocity(contact.t_s)
    speed = float(np.hypot(*v))
    if speed < 1e-6:
        return None
    to = np.asarray(hit.start) - way.place(contact.t_s)
    sine = abs(float(v[0] * to[1] - v[1] * to[0])) / speed / table.ball_diameter_mm
    return float(1 - min(1.0, sine))


def _begin(cue: Run, t_s: float, turned_s: Sequence[float]) -> Floats:
    """Where the way to a contact begins, time and place, shape (3,): at the last cushion before it, else at the strike."""
    turns = sorted(t for t in turned_s if cue.onset_s < t < t_s)
    if turns:
        since_s = turns[-2] if len(turns) > 1 else cue.onset_s
        way = Motion.through(before(cue.track, turns[-1], since_s - 1e-6, 4), turns[-1])
        if way is not None:
            return np.array([turns[-1], *way.place(turns[-1])])
    return np.array([cue.onset_s, *cue.start])


def _by_departure(
    start: Floats, cue: Run, hit: Run, hit_s: float, runs: Mapping[int, Run], table: Table
) -> float | None:
    """Fullness where hardly a frame lies between `start` (strike or cushion) and hit, from where the struck ball went.

    It leaves along the line of centres, which tells where the cue ball was when they met. Where that is too near for a way, a
    millimetre being some degrees, the momenta of the two after the hit tell which way the cue ball came. None where others
    lay about the struck ball.
    """
    alone = all(
        np.hypot(*np.subtract(r.start, hit.start)) > table.ball_diameter_mm + NEAR_MM
        for r in runs.values()
        if r.ball not in (CUE_BALL, hit.ball)
    )
    if len(hit.track) < 3 or not alone:
        return None
    lay = np.asarray(hit.start, float)
    n, u = hit.track[2, 1:] - lay, lay - start
    n /= max(float(np.hypot(*n)), 1e-9)
    u = u - table.ball_diameter_mm * n
    far = float(np.hypot(*u))
    if far < LEAST_WAY_MM:
        u = momentum(cue.track, [hit.track], hit_s)
        far = float(np.hypot(*u))
    if far < 1.0 or float(u @ n) <= 0:
        return None
    return float(1 - min(1.0, abs(float(u[0] * n[1] - u[1] * n[0])) / far))


def with_contacts(track: Track, events: list[Event], ball: int) -> Track:
    """The track with the places of its contacts put in, where the ways before and after meet."""
    rows = [tuple(r) for r in track]
    times = sorted(e.t_s for e in events if ball in e.balls and e.kind != "pocket")
    for k, t in enumerate(times):
        if not track[0, 0] < t < track[-1, 0] or np.abs(track[:, 0] - t).min() < 2e-3:
            continue
        since = times[k - 1] if k else -np.inf
        until = times[k + 1] if k + 1 < len(times) else np.inf
        a = Motion.through(before(track, t, since, 4), t)
        b = Motion.through(after(track, t, until, 4), t)
        places = [m.place(t) for m in (a, b) if m is not None]
        if places and (len(places) < 2 or np.hypot(*(places[0] - places[1])) < 25):
            p = np.mean(places, axis=0)
            rows.append((t, float(p[0]), float(p[1])))
    return np.array(sorted(rows), float).reshape(-1, 3)
