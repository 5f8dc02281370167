"""What the cue ball ran into that the plan did not have, and whether that turned it off its way (docs/comparing.md)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import hypot

import numpy as np

from lessonkit.comparing import words
from lessonkit.model import CUE_BALL, Cushion, Event, Intent, Layout, Plan, Point, SeenShot, Strike, Table
from lessonkit.physics.impacts import strike
from lessonkit.physics.laws import GRAVITY_MMPS2, Laws
from lessonkit.physics.simulate import Run, simulate
from lessonkit.planning.geometry import off_line
from lessonkit.planning.search import goes_into_rack, group_of

LEAST_MM = 50.0
"""A meeting that leaves the cue ball less than this from where it would have rolled to did not matter: our choice,"""
LEAST_SHARE = 0.25
"""nor one that brings about less than this share of the landing error."""
STIRRED_MM = 3.0
"""A ball that lies nearer to where it lay was not seen to move."""
BEFORE_S = 0.2
"""So much of the way before a meeting tells how the cue ball came to it."""
SETTLED_S = 0.004
"""Places nearer to a contact than this are reckoned from others."""
ON_WAY = 1.25
"""A ball with its centre nearer to a drawn way than so many ball widths is one that the way runs into."""
AT_NOSE_MM = 12.0
"""How far from touching a nose a drawn way may turn there."""


@dataclass(frozen=True)
class Expected:
    """What a stroke, or a drawn way, has the cue ball meet."""

    balls: frozenset[int]
    cushions: Counter[Cushion]
    rack: frozenset[int]
    """Balls of a rack or cluster that it is to go into."""


@dataclass(frozen=True)
class Meeting:
    """A contact of the cue ball that was not planned."""

    event: Event
    place: Point
    """Of the cue ball."""

    @property
    def ball(self) -> int | None:
        """The ball met; None: a cushion."""
        return next((b for b in self.event.balls if b != CUE_BALL), None)


def find_meeting(
    shot: SeenShot,
    table: Table,
    plan: Plan,
    intent: Intent,
    rest: Point | None,
    error_mm: float | None,
    made: bool | None,
    laws: Laws,
) -> tuple[Meeting | None, bool]:
    """What the cue ball ran into that the plan does not have, and whether it bears on how the shot came out.

    rest: where the cue ball stopped, None on a scratch. error_mm: how far from its place. On a ball that was missed without a
    scratch only what was met before that ball bears on it; else what turned the cue ball off its way does.
    """
    plan_has = expected(shot, table, plan, intent, laws)
    if plan_has is None:
        return None, False
    if made is False and not shot.scratch:
        until_s = _reached_s(shot, plan.via[0] if plan.via else plan.ball)
        before = next((m for m in unplanned(shot, table, plan_has) if m.event.t_s < until_s), None)
        if before is not None:
            return before, True
    if not shot.scratch and (rest is None or error_mm is None):
        return None, False
    met = that_mattered(shot, table, unplanned(shot, table, plan_has), rest, error_mm or 0.0, laws)
    return met, shot.scratch or made is not False


def _reached_s(shot: SeenShot, ball: int | None) -> float:
    """When the cue ball met a ball, or came nearest to where it lay."""
    met = [e.t_s for e in shot.events if e.kind == "ball" and CUE_BALL in e.balls and ball in e.balls]
    if met or ball not in shot.layout_before or len(shot.cue_path) == 0:
        return met[0] if met else -np.inf
    away = np.hypot(*(shot.cue_path[:, 1:] - np.array(shot.layout_before[ball])).T)
    return float(shot.cue_path[int(np.argmin(away)), 0])


def expected(shot: SeenShot, table: Table, plan: Plan, intent: Intent, laws: Laws) -> Expected | None:
    """What the plan has the cue ball meet, by its stroke played through or its drawn way; None if it has neither.

    The called ball and those of a combination are always among it; for a shot into a rack or cluster, so are its balls.
    """
    called = {b for b in (plan.ball, *plan.via) if b is not None}
    rack: frozenset[int] = frozenset()
    if plan.ball is not None and goes_into_rack(intent, plan.ball):
        rack = group_of(shot.layout_before, {CUE_BALL, *called}, table)
    if plan.strike is not None and CUE_BALL in shot.layout_before:
        return _of_run(_played(shot.layout_before, plan.strike, table, laws), called, rack)
    if len(plan.cue_path) > 1:
        return _of_way(plan.cue_path, shot.layout_before, table, called, rack)
    return None


def unplanned(shot: SeenShot, table: Table, plan_has: Expected) -> list[Meeting]:
    """The cue ball's contacts that the plan does not have, in order; jaws of a pocket that it drops in are left out."""
    found: list[Meeting] = []
    if len(shot.cue_path) < 2:
        return found
    left, balls = Counter(plan_has.cushions), plan_has.balls | plan_has.rack
    drop = next((p.pocket for p in shot.pocketed if p.ball == CUE_BALL), None)
    for event in sorted(shot.events, key=lambda e: e.t_s):
        if CUE_BALL not in event.balls or event.kind == "pocket":
            continue
        place = _place(shot, event.t_s)
        if event.kind == "ball":
            other = set(event.balls) - {CUE_BALL}
            if balls.isdisjoint(other) and all(_stirred(shot, b) for b in other):
                found.append(Meeting(event, place))
            continue
        # off a cushion the cue ball meets the rack's balls by chance, wherever they have run to
        balls = plan_has.balls
        if event.cushion is None or (drop is not None and words.jaws_of(place, table) == drop):
            continue
        left[event.cushion] -= 1
        if left[event.cushion] < 0:
            found.append(Meeting(event, place))
    return found


def _stirred(shot: SeenShot, ball: int) -> bool:
    """Whether a ball was seen to move: one that was run into does, so a contact without it is doubtful."""
    before, after = shot.layout_before.get(ball), shot.layout_after.get(ball)
    if ball in shot.paths or before is None or after is None:
        return True
    return hypot(after[0] - before[0], after[1] - before[1]) > STIRRED_MM


def that_mattered(
    shot: SeenShot, table: Table, meetings: Iterable[Meeting], rest: Point | None, error_mm: float, laws: Laws
) -> Meeting | None:
    """The first meeting that left the cue ball somewhere else than it would have rolled to; None: none did.

    rest: where it stopped; on a scratch None, and the last ball that it met counts.
    """
    if rest is None:
        return next((m for m in reversed(list(meetings)) if m.ball is not None), None)
    least = max(LEAST_MM, LEAST_SHARE * error_mm)
    for m in meetings:
        free = rolled_to(shot, table, m, laws)
        if free is None or hypot(free[0] - rest[0], free[1] - rest[1]) >= least:
            return m
    return None


def rolled_to(shot: SeenShot, table: Table, meeting: Meeting, laws: Laws) -> Point | None:
    """Where the cue ball would have rolled to past a meeting; None: into a cushion, or too little was seen before it.

    s = v² / (2 µ g) along the way on which it came, v read from the last tenths of a second before.
    """
    t = meeting.event.t_s
    others = [
        e.t_s for e in shot.events if CUE_BALL in e.balls and e is not meeting.event and e.t_s < t - SETTLED_S
    ]
    since = max([t - BEFORE_S, shot.strike_s, *others])
    track = shot.cue_path
    part = track[(track[:, 0] > since + SETTLED_S) & (track[:, 0] < t - SETTLED_S)]
    if len(part) < 3:
        return None
    d = part[:, 0] - t
    slope = np.linalg.lstsq(np.column_stack([np.ones_like(d), d]), part[:, 1:], rcond=None)[0][1]
    speed = float(np.hypot(*slope))
    if speed < 1.0:
        return meeting.place
    slowing = laws.mu_roll * GRAVITY_MMPS2
    # the straight line through the places gives the speed in their middle
    speed = max(0.0, speed + slowing * float(np.mean(d)))
    run = speed**2 / (2.0 * slowing) / float(np.hypot(*slope))
    x, y = meeting.place[0] + run * float(slope[0]), meeting.place[1] + run * float(slope[1])
    r = table.radius_mm
    return (x, y) if r <= x <= table.length_mm - r and r <= y <= table.width_mm - r else None


def brings_about(shot: SeenShot, table: Table, played: Strike, meeting: Meeting, laws: Laws) -> bool:
    """Whether a stroke meets, up to a cushion that was not planned, what the cue ball met, in the same order."""
    run = _played(shot.layout_before, played, table, laws)
    simulated = [(h.kind, set(h.balls), h.cushion) for h in run.hits if CUE_BALL in h.balls]
    real = [
        (e.kind, set(e.balls), e.cushion)
        for e in sorted(shot.events, key=lambda e: e.t_s)
        if CUE_BALL in e.balls and e.t_s <= meeting.event.t_s
    ]
    return simulated[: len(real)] == real


def _played(layout: Layout, s: Strike, table: Table, laws: Laws) -> Run:
    x, y = layout[CUE_BALL]
    cue = strike(x, y, s.aim_deg, s.speed_mps, s.tip_up, s.tip_left, table.radius_mm)
    return simulate(layout, cue, table, laws)


def _of_run(run: Run, called: set[int], rack: frozenset[int]) -> Expected:
    mine = [h for h in run.hits if CUE_BALL in h.balls]
    balls = {b for h in mine if h.kind == "ball" for b in h.balls if b != CUE_BALL}
    cushions = Counter(h.cushion for h in mine if h.kind == "cushion" and h.cushion is not None)
    return Expected(frozenset(balls | called), cushions, rack)


def _of_way(
    way: Sequence[Point], layout: Layout, table: Table, called: set[int], rack: frozenset[int]
) -> Expected:
    near = ON_WAY * table.ball_diameter_mm
    stretches = list(pairwise(way))
    balls = {n for n, p in layout.items() if any(off_line(a, b, p) < near for a, b in stretches)}
    cushions: Counter[Cushion] = Counter()
    for x, y in way[1:]:
        gaps: dict[Cushion, float] = {
            "head": x, "foot": table.length_mm - x, "right": y, "left": table.width_mm - y,
        }  # fmt: skip
        for name, gap in gaps.items():
            cushions[name] += gap < table.radius_mm + AT_NOSE_MM
    return Expected(frozenset((balls - {CUE_BALL}) | called), cushions, rack)


def _place(shot: SeenShot, t_s: float) -> Point:
    track = shot.cue_path
    return float(np.interp(t_s, track[:, 0], track[:, 1])), float(np.interp(t_s, track[:, 0], track[:, 2]))
