"""Which difference made the difference: the planned stroke played again with one of them at a time (docs/comparing.md)."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot

import numpy as np

from lessonkit.comparing.difference_words import words_of
from lessonkit.comparing.differences import Measured, with_account
from lessonkit.comparing.meant import Meant
from lessonkit.model import (
    CUE_BALL,
    Account,
    Difference,
    Layout,
    Plan,
    Pocket,
    Point,
    SeenShot,
    Strike,
    StrokeEstimate,
    Table,
)
from lessonkit.physics.laws import Laws
from lessonkit.physics.many import Many, simulate_many

MOST = 0.5
"""Share of the landing error that one difference must bring about to account for most of it,"""
STILL = 0.25
"""and still at least this share if it was one standard error larger or smaller: else the shot hangs on a hair."""
LEAD = 0.15
"""So much more than any other difference."""
UNEXPLAINED = 0.5
"""Share of the landing error that all known differences together may leave over for a cause to be named."""


FIRM_MOST, FIRM_STILL, FIRM_LEAD, FIRM_LEFT, FIRM_ERRORS = 0.65, 0.5, 0.25, 0.35, 3.0
"""The same bounds, and the difference in its errors, for a cause that is named without 'probably': one at the limit of those
above is told in one run and not in the next. All our choice."""


@dataclass(frozen=True)
class Ending:
    """How a simulated stroke ends."""

    rest: Point | None
    """Of the cue ball; None: it dropped."""
    drop: Pocket | None
    made: bool
    """Whether the called ball went where it was called."""


@dataclass(frozen=True)
class Causes:
    """The differences played through."""

    differences: tuple[Difference, ...]
    cause: Account | None
    unexplained_mm: float | None
    firm: bool = False
    """Whether the cause is no close thing."""


def find_causes(
    shot: SeenShot,
    table: Table,
    plan: Plan,
    held: Meant | None,
    found: tuple[Measured, ...],
    stroke: StrokeEstimate | None,
    made: bool | None,
    landed: bool,
    laws: Laws,
) -> Causes:
    """Play the stroke held against with each difference alone and with all known ones, and say which accounts for how it ended.

    held: that stroke; without one nothing is told of causes, and with one that does not do what the plan says nothing at all.
    stroke: as played; with its aim the planned fullness becomes the played one. made, landed:
    whether the called ball dropped, and whether the cue ball came to rest where it was wanted. On a made ball what is explained
    is where the cue ball stopped, on a miss the miss, on a scratch the drop.
    """
    if held is not None and not held.done:
        return Causes((), None, None)
    plain = tuple(_difference(m, plan) for m in found)
    start = shot.layout_before.get(CUE_BALL)
    aim_deg = stroke.aim_deg if stroke is not None else None
    aim_error_deg = stroke.aim_error_deg if stroke is not None else None
    known = [m for m in found if m.actual is not None and (m.account != "fullness" or aim_deg is not None)]
    if held is None or start is None or not known:
        return Causes(plain, None, None)
    strokes = [held.strike, _all(held.strike, known, aim_deg)]
    for m in known:
        strokes += _three(held.strike, m, aim_deg, aim_error_deg)
    ends = _play(shot.layout_before, strokes, table, laws, plan)
    planned, together = ends[0], ends[1]
    rest = _rest(shot)
    drop = next((p.pocket for p in shot.pocketed if p.ball == CUE_BALL), None)
    shares: dict[Account, tuple[float | None, float | None]] = {}
    landings: dict[Account, Point | None] = {}
    for i, m in enumerate(known):
        three = ends[2 + 3 * i : 5 + 3 * i]
        told = [_explained(planned, e, rest, drop, made) for e in three]
        landings[m.account] = three[0].rest
        shares[m.account] = (
            told[0],
            None if any(t is None for t in told) else min(t for t in told if t is not None),
        )
    differences = tuple(
        replace(d, landing=landings.get(d.account), explains=share, explains_least=least)
        for d in plain
        for share, least in [shares.get(d.account, (None, None))]
    )
    left = _left_over(planned, together, rest)
    explained = _explained(planned, together, rest, drop, made)
    if not landed and explained is not None and explained >= 1.0 - UNEXPLAINED:
        cause, firm = _cause(differences)
        return Causes(differences, cause, left, firm and explained >= 1.0 - FIRM_LEFT)
    return Causes(differences, None, left)


def _cause(differences: tuple[Difference, ...]) -> tuple[Account | None, bool]:
    """The sure difference that explains most, if it does so by far and does not hang on a hair; and whether it is firm."""
    told = [(d.explains, d) for d in differences if d.explains is not None]
    if not told:
        return None, False
    share, best = max(told, key=lambda p: (p[0], p[1].sure))
    # a miss or a scratch happens or not: a doubtful difference that would also have brought it about is no rival
    whole = share == 1.0
    second = max((s for s, d in told if d is not best and (d.sure or not whole)), default=0.0)
    least = best.explains_least
    if not best.sure or share < MOST or least is None or least < STILL or share - second < LEAD:
        return None, False
    errors = abs((best.actual or 0.0) - best.planned) / max(best.error or 0.0, 1e-9)
    firm = share >= FIRM_MOST and least >= FIRM_STILL and share - second >= FIRM_LEAD
    return best.account, firm and errors >= FIRM_ERRORS


def _difference(m: Measured, plan: Plan) -> Difference:
    words = words_of(m.account, m.planned, m.actual, plan.stroke) if m.sure and m.actual is not None else None
    error = None if m.error is None else hypot(m.error, m.spread)
    return Difference(m.account, m.planned, m.actual, error, m.sure, words)


def _all(strike: Strike, known: list[Measured], aim_deg: float | None) -> Strike:
    for m in known:
        strike = with_account(
            strike, m.account, m.actual or 0.0, aim_deg if aim_deg is not None else strike.aim_deg
        )
    return strike


def _three(strike: Strike, m: Measured, aim_deg: float | None, aim_error_deg: float | None) -> list[Strike]:
    """The stroke with one difference as measured, and with it one standard error smaller and larger."""
    value, error = m.actual or 0.0, m.error or 0.0
    aim = aim_deg if aim_deg is not None else strike.aim_deg
    if m.account != "fullness":
        return [with_account(strike, m.account, value + k * error, aim) for k in (0.0, -1.0, 1.0)]
    return [
        with_account(strike, m.account, value, aim + k * (aim_error_deg or 0.0)) for k in (0.0, -1.0, 1.0)
    ]


def _play(layout: Layout, strokes: list[Strike], table: Table, laws: Laws, plan: Plan) -> list[Ending]:
    rows = np.array([[s.aim_deg, s.speed_mps, s.tip_up, s.tip_left] for s in strokes])
    many = simulate_many(layout, rows, table, laws)
    return [_ending(many, k, plan) for k in range(len(strokes))]


def _ending(many: Many, k: int, plan: Plan) -> Ending:
    cue = many.column(CUE_BALL)
    x, y = (float(c) for c in many.rest[k, cue])
    pocket = int(many.pocket[k, cue])
    made = False
    if plan.ball is not None and plan.ball in many.balls:
        went = int(many.pocket[k, many.column(plan.ball)])
        made = went >= 0 and plan.pocket in (None, many.pockets[went])
    if pocket >= 0:
        return Ending(None, many.pockets[pocket], made)
    return Ending((x, y), None, made)


def _rest(shot: SeenShot) -> Point | None:
    return None if shot.scratch else shot.layout_after.get(CUE_BALL)


def _explained(
    planned: Ending, ending: Ending, rest: Point | None, drop: Pocket | None, made: bool | None
) -> float | None:
    """Share of what went otherwise than planned that an ending brings about; None: it cannot be said.

    On a scratch 1 if the cue ball drops in the same pocket, else 0; on a missed ball 1 if it is missed, else 0; else how
    much nearer to the real rest the cue ball ends than by the plan.
    """
    if drop is not None:
        return None if planned.drop is not None else float(ending.drop == drop)
    if made is False:
        return float(not ending.made) if planned.made else None
    if rest is None or planned.rest is None:
        return None
    error = hypot(rest[0] - planned.rest[0], rest[1] - planned.rest[1])
    if ending.rest is None:
        return 0.0
    return 1.0 - hypot(rest[0] - ending.rest[0], rest[1] - ending.rest[1]) / max(error, 1.0)


def _left_over(planned: Ending, together: Ending, rest: Point | None) -> float | None:
    if rest is None or together.rest is None or planned.rest is None:
        return None
    return hypot(rest[0] - together.rest[0], rest[1] - together.rest[1])
