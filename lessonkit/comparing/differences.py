"""How the stroke played differs from the planned one: thickness, speed, height and side of the tip (docs/comparing.md)."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, hypot, radians, sin

from lessonkit.comparing.meant import Meant
from lessonkit.model import CUE_BALL, Account, Intent, Plan, Point, SeenShot, Strike, StrokeEstimate, Table
from lessonkit.planning.geometry import direction_deg

FULLNESS_ERROR = 0.01
"""Least error of a fullness that follows from the fitted aim; median and root mean square against truth: 0.003, 0.013."""
SEEN_FULLNESS_ERROR = 0.025
"""Of a fullness that follows from the tracked balls alone; 0.011 and 0.023."""
SURE_ERRORS = 2.0
"""A difference is sure from so many standard errors on,"""
MATTERS: dict[Account, float] = {"fullness": 0.02, "speed": 0.05, "tip_up": 0.05, "tip_left": 0.05}
"""and if it is worth words: part of a ball, share of the planned speed, ball radii. Our choice."""


@dataclass(frozen=True)
class Measured:
    """One difference before it is played through."""

    account: Account
    planned: float
    actual: float | None
    error: float | None
    """Standard error of `actual`."""
    spread: float = 0.0
    """How far other strokes that would have done as well differ from `planned`."""
    shown: float | None = None
    """The same figure of the stroke that the plan shows."""

    @property
    def sure(self) -> bool:
        """Whether it is beyond doubt and large enough to matter, and no other way of doing what the plan says turns it round."""
        if self.actual is None or self.error is None:
            return False
        if self.shown is not None and (self.actual - self.planned) * (self.actual - self.shown) < 0.0:
            return False
        off = abs(self.actual - self.planned)
        least = MATTERS[self.account] * (self.planned if self.account == "speed" else 1.0)
        return off >= SURE_ERRORS * hypot(self.error, self.spread) and off >= least


def measured(
    shot: SeenShot,
    table: Table,
    plan: Plan,
    intent: Intent,
    stroke: StrokeEstimate | None,
    held: Meant | None,
) -> tuple[Measured, ...]:
    """The differences in all accounts that the plan has a figure for; `actual` is None where the footage tells nothing.

    held: the stroke of the plan that the played one is held against; its spread adds to the error of each difference. A
    drawn plan has none, only how full its ghost ball is hit.
    """
    estimate = stroke or StrokeEstimate(None, None, None)
    first = plan.via[0] if plan.via else plan.ball
    found = []
    planned = _planned_fullness(shot, table, plan, intent, first, held)
    if planned is not None:
        actual, error = _actual_fullness(shot, table, intent, first, estimate)
        swing = _swing(shot, table, first, float(held.spread[0])) if held is not None else 0.0
        found.append(Measured("fullness", planned, actual, error, swing))
    if held is not None:
        s, p, (_, speed, up, left) = held.strike, plan.strike or held.strike, (float(v) for v in held.spread)
        e = estimate
        found += [
            Measured("speed", s.speed_mps, e.speed_mps, e.speed_error_mps, speed, p.speed_mps),
            Measured("tip_up", s.tip_up, e.tip_up, e.tip_up_error, up, p.tip_up),
            Measured("tip_left", s.tip_left, e.tip_left, e.tip_left_error, left, p.tip_left),
        ]
    return tuple(found)


def _swing(shot: SeenShot, table: Table, first: int | None, aim_deg: float) -> float:
    """What a turn of the aim changes of the fullness."""
    start = shot.layout_before.get(CUE_BALL)
    ball = shot.layout_before.get(first) if first is not None else None
    if start is None or ball is None:
        return 0.0
    return radians(aim_deg) * hypot(ball[0] - start[0], ball[1] - start[1]) / table.ball_diameter_mm


def with_account(strike: Strike, account: Account, value: float, aim_deg: float) -> Strike:
    """The planned stroke with one account as played."""
    aim, speed, up, left = strike.aim_deg, strike.speed_mps, strike.tip_up, strike.tip_left
    if account == "fullness":
        return Strike(aim_deg, speed, up, left)
    if account == "speed":
        return Strike(aim, max(value, 0.05), up, left)
    return Strike(aim, speed, value, left) if account == "tip_up" else Strike(aim, speed, up, value)


def fullness_of_aim(start: Point, ball: Point, aim_deg: float, diameter_mm: float) -> float | None:
    """How full a ball is hit by a cue ball that runs straight: 1 - |offset| / D; None: it passes by.

    offset: of the ball's centre from the line of the cue ball's (f = 1 - sin of the cut; Alciatore, fractional aiming).
    """
    c, s = cos(radians(aim_deg)), sin(radians(aim_deg))
    dx, dy = ball[0] - start[0], ball[1] - start[1]
    off = abs(-dx * s + dy * c)
    return 1.0 - off / diameter_mm if off < diameter_mm and dx * c + dy * s > 0.0 else None


def _planned_fullness(
    shot: SeenShot, table: Table, plan: Plan, intent: Intent, first: int | None, held: Meant | None
) -> float | None:
    start = shot.layout_before.get(CUE_BALL)
    ball = shot.layout_before.get(first) if first is not None else None
    if start is None or ball is None or intent.rail_first:
        return plan.fullness
    if held is not None:
        return fullness_of_aim(start, ball, held.strike.aim_deg, table.ball_diameter_mm)
    if plan.ghost is not None and plan.ghost != start:
        return fullness_of_aim(start, ball, direction_deg(start, plan.ghost), table.ball_diameter_mm)
    return None


def _actual_fullness(
    shot: SeenShot, table: Table, intent: Intent, first: int | None, estimate: StrokeEstimate
) -> tuple[float | None, float | None]:
    """Fullness and its error: by the fitted aim where the cue ball went straight to the ball, else as tracked."""
    mine = [e for e in shot.events if CUE_BALL in e.balls and e.t_s > shot.strike_s]
    met = next((e for e in mine if e.kind == "ball"), None)
    if met is None or first not in met.balls:
        return None, None
    start, ball = shot.layout_before.get(CUE_BALL), shot.layout_before.get(first)
    direct = mine[0] is met and not intent.rail_first
    if direct and start is not None and ball is not None and estimate.aim_deg is not None:
        got = fullness_of_aim(start, ball, estimate.aim_deg, table.ball_diameter_mm)
        if got is not None and estimate.aim_error_deg is not None:
            error = hypot(FULLNESS_ERROR, _swing(shot, table, first, estimate.aim_error_deg))
            if shot.fullness is None:
                return got, error
            # two ways of telling, each weighed by its error
            share = SEEN_FULLNESS_ERROR**2 / (SEEN_FULLNESS_ERROR**2 + error**2)
            both = error * SEEN_FULLNESS_ERROR / hypot(error, SEEN_FULLNESS_ERROR)
            return share * got + (1.0 - share) * shot.fullness, both
    if shot.fullness is None:
        return None, None
    return shot.fullness, SEEN_FULLNESS_ERROR
