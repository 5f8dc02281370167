"""The stroke to hold the played one against: of all that do what the plan says, the one nearest to it (docs/comparing.md).

A note leaves room: a little more speed with a little less follow often ends in the same place. Held against whichever stroke the
planner happened to choose, a player would be told of differences that never mattered.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from lessonkit.model import CUE_BALL, Intent, Plan, Point, SeenShot, Strike, StrokeEstimate, Table
from lessonkit.physics.impacts import MISCUE_LIMIT
from lessonkit.physics.laws import Laws
from lessonkit.physics.many import Many, simulate_many
from lessonkit.planning.words import dead_tip, side_choice, speed_choice, tip_choice

Floats = NDArray[np.float64]
AIM, SPEED, UP, LEFT = range(4)
USUAL_STRAY = np.array([0.15, 0.06, 0.05, 0.05])
"""How far strokes usually stray from what was meant: aim deg, share of the speed, tip R. As docs/strokes.md, "Execution", a
little widened for what the laws are off by."""
UNKNOWN_STRAY = np.array([0.5, 0.15, 0.12, 0.1])
"""The same where the footage does not tell how the stroke was played: then the plan's own figure is the best guess."""
PLACE_MM, LOOSE_MM = 20.0, 150.0
"""How near a stroke has to end to a place in figures, and to a planned rest that no word of the note asks for."""
UNDONE = {"pot": 40.0, "first": 60.0, "scratch": 60.0, "rails": 20.0}
"""What leaving a part of the plan undone costs, against squared strays."""
STRICT = 20.0
"""How hard the words' ranges hold, per squared tenth of a radius or tenth of the speed."""
FIRST, NEXT, ROUNDS, BEST = 400, 250, 5, 30
SEED = 14
AIMS, WIDEST_DEG = 16, 0.8
"""So many aims to either side, so far, are tried for how long the called ball still drops."""


@dataclass(frozen=True, eq=False)
class Meant:
    """The stroke held against, and how well it is fixed."""

    strike: Strike
    spread: Floats
    """Standard deviations of aim deg, speed m/s, height R, side R among strokes that would do as well, shape (4,)."""
    done: bool
    """Whether it does what the plan says: first ball, pocket, rails, no scratch, and (where one was planned) place."""


def meant(
    shot: SeenShot,
    table: Table,
    plan: Plan,
    intent: Intent,
    stroke: StrokeEstimate,
    wanted: Point | None,
    laws: Laws,
) -> Meant | None:
    """The most likely stroke to have been meant, given the plan and the stroke played; None for a plan without a stroke.

    Likely is what strays little from the stroke played, in the figures that players usually stray by, keeps within the
    words, hits and pots what was called over as many rails as planned, and ends at `wanted`. Found by playing a few
    hundred strokes and drawing the next from the best, a few times over (R. Rubinstein, The cross-entropy method, 1999).
    """
    if plan.strike is None or CUE_BALL not in shot.layout_before:
        return None
    search = _Search(shot, table, plan, intent, stroke, wanted, laws)
    rng = np.random.default_rng(SEED)
    rows = search.first(rng)
    kept, costs = rows[:0], np.zeros(0)
    for _ in range(ROUNDS):
        kept = np.vstack([kept, rows])
        costs = np.concatenate([costs, search.costs(rows)])
        order = np.argsort(costs, kind="stable")[: 4 * BEST]
        kept, costs = kept[order], costs[order]
        best = kept[:BEST]
        centre = best.mean(axis=0)
        covariance = np.cov(best.T) + np.diag((0.02 * search.stray) ** 2)
        rows = rng.multivariate_normal(0.5 * (centre + best[0]), covariance, NEXT)
    aim, speed, up, left = (float(v) for v in kept[0])
    return Meant(Strike(aim, speed, up, left), search.spread(kept[0]), bool(costs[0] < search.undone))


class _Search:
    """What strokes are weighed by."""

    undone = 18.0
    """A cost from which on the best stroke leaves something undone or strays beyond belief."""

    def __init__(
        self,
        shot: SeenShot,
        table: Table,
        plan: Plan,
        intent: Intent,
        stroke: StrokeEstimate,
        wanted: Point | None,
        laws: Laws,
    ) -> None:
        assert plan.strike is not None
        self.shot, self.table, self.plan, self.intent, self.laws = shot, table, plan, intent, laws
        s = plan.strike
        self.planned = np.array([s.aim_deg, s.speed_mps, s.tip_up, s.tip_left])
        self.centre, self.stray = _belief(self.planned, stroke)
        self.wanted = wanted
        self.near_mm = _near_mm(intent)

    def first(self, rng: np.random.Generator) -> Floats:
        """Strokes about the one played, about the planned one, and between them."""
        share = rng.choice([0.0, 0.5, 1.0], FIRST, p=[0.5, 0.2, 0.3])[:, None]
        rows = (1.0 - share) * self.centre + share * self.planned
        rows = rows + rng.normal(0.0, 1.5, (FIRST, 4)) * self.stray
        rows[0], rows[1] = self.centre, self.planned
        return np.asarray(rows)

    def costs(self, rows: Floats) -> Floats:
        """Twice the negative log-likelihood of each stroke's having been meant."""
        rows[:, SPEED] = np.clip(rows[:, SPEED], 0.05, 12.0)
        rows[:, UP:] = np.clip(rows[:, UP:], -MISCUE_LIMIT, MISCUE_LIMIT)
        many = simulate_many(self.shot.layout_before, rows, self.table, self.laws)
        cost = np.sum(((rows - self.centre) / self.stray) ** 2, axis=1)
        return np.asarray(cost + self._words(rows) + self._undone(many))

    def spread(self, row: Floats) -> Floats:
        """Standard deviations of strokes that would do as well as one: by how the place moves and how long it pots."""
        steps = 0.25 * self.stray * np.array([0.2, 1.0, 1.0, 1.0])
        aims = row + np.linspace(-1.0, 1.0, 2 * AIMS + 1)[:, None] * WIDEST_DEG * np.eye(4)[AIM]
        sides = np.vstack([row + sign * np.diag(steps) for sign in (1.0, -1.0)])
        many = simulate_many(self.shot.layout_before, np.vstack([aims, sides]), self.table, self.laws)
        precision = np.diag(1.0 / self.stray**2)
        plan = self.plan
        if plan.ball is not None and plan.ball in many.balls and plan.pocket is not None:
            pots = many.dropped(plan.ball, plan.pocket)[: 2 * AIMS + 1]
            if pots[AIMS]:
                low, high = AIMS, AIMS
                while low > 0 and pots[low - 1]:
                    low -= 1
                while high < 2 * AIMS and pots[high + 1]:
                    high += 1
                precision[AIM, AIM] += 12.0 / ((high - low + 1) * WIDEST_DEG / AIMS) ** 2
        rest = many.rest[2 * AIMS + 1 :, many.column(CUE_BALL)]
        moved = (rest[:4] - rest[4:]) / (2.0 * steps[:, None])
        if self.wanted is not None and np.all(np.isfinite(moved)):
            precision += moved @ moved.T / self.near_mm**2
        return np.asarray(np.sqrt(np.diag(np.linalg.inv(precision))))

    def _words(self, rows: Floats) -> Floats:
        """What leaving the words' ranges costs."""
        speed, side = speed_choice(self.intent), side_choice(self.intent)
        off = (
            np.maximum(0.0, np.maximum(speed.low - rows[:, SPEED], rows[:, SPEED] - speed.high)) / speed.usual
        )
        cost = (off / 0.1) ** 2
        if self.intent.side is not None:
            off = np.maximum(0.0, np.maximum(side.low - rows[:, LEFT], rows[:, LEFT] - side.high))
            cost = cost + (off / 0.05) ** 2
        if self.intent.stroke is not None:
            tip = tip_choice(self.intent.stroke, self.intent.shade)
            height = rows[:, UP] - (self._dead(rows) if self.intent.stroke in ("stop", "stun") else 0.0)
            off = np.maximum(0.0, np.maximum(tip.low - height, height - tip.high))
            cost = cost + (off / 0.05) ** 2
        return np.asarray(cost)

    def _dead(self, rows: Floats) -> Floats:
        start, ghost = self.shot.layout_before[CUE_BALL], self.plan.ghost
        way = hypot(ghost[0] - start[0], ghost[1] - start[1]) if ghost is not None else 500.0
        return np.array([dead_tip(float(v), way, self.laws) for v in rows[:, SPEED]])

    def _undone(self, many: Many) -> Floats:
        """What leaving a part of the plan undone costs."""
        plan, cost = self.plan, np.zeros(len(many.end_s))
        first = plan.via[0] if plan.via else plan.ball
        if first is not None and first in many.balls:
            cost += UNDONE["first"] * (many.first_ball != first)
        if plan.ball is not None and plan.ball in many.balls and plan.pocket is not None:
            cost += UNDONE["pot"] * ~many.dropped(plan.ball, plan.pocket)
        cue = many.column(CUE_BALL)
        cost += UNDONE["scratch"] * (many.pocket[:, cue] >= 0)
        if plan.rails is not None:
            cost += UNDONE["rails"] * np.minimum(
                np.abs(many.cue_cushions - many.cushions_before - plan.rails), 2
            )
        if self.wanted is not None:
            off = np.nan_to_num(np.hypot(*(many.rest[:, cue] - np.array(self.wanted)).T), nan=1000.0)
            # beyond three widths it costs less than its square, so that a far place still draws strokes towards it
            x = off / self.near_mm
            cost += np.where(x < 3.0, x * x, 6.0 * x - 9.0)
        return np.asarray(cost)


def _belief(planned: Floats, stroke: StrokeEstimate) -> tuple[Floats, Floats]:
    """The stroke played, with the plan's figures where it is not known, and how far from it the one meant may be."""
    centre, stray = planned.copy(), UNKNOWN_STRAY * np.array([1.0, planned[SPEED], 1.0, 1.0])
    told = (
        (stroke.aim_deg, stroke.aim_error_deg),
        (stroke.speed_mps, stroke.speed_error_mps),
        (stroke.tip_up, stroke.tip_up_error),
        (stroke.tip_left, stroke.tip_left_error),
    )
    for k, (value, error) in enumerate(told):
        if value is None or error is None:
            continue
        if k == AIM:
            value = float(planned[AIM] + (value - planned[AIM] + 180.0) % 360.0 - 180.0)
        usual = USUAL_STRAY[k] * (value if k == SPEED else 1.0)
        centre[k], stray[k] = value, sqrt(usual**2 + error**2)
    return centre, stray


def _near_mm(intent: Intent) -> float:
    """How near to the wanted place a stroke has to end to count as doing what the plan says."""
    place = intent.landing
    if place is None:
        return LOOSE_MM
    return PLACE_MM if place.explicit else max(PLACE_MM, 0.5 * place.radius_mm)
