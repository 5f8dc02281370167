"""The stroke of the stated kind that pots the called ball and leaves the cue ball nearest its place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt

from lessonkit.model import CUE_BALL, Cushion, Intent, Layout, Pocket, Table
from lessonkit.physics.cushions import pocket_target
from lessonkit.physics.simulate import Run
from lessonkit.planning.aim import Stroke, Task, aim_exactly, find_aim, play
from lessonkit.planning.choice import openness
from lessonkit.planning.words import (
    Choice,
    arrival_spin,
    dead_tip,
    distance,
    side_choice,
    speed_choice,
    tip_choice,
)

EXPLICIT_MM = 20.0
"""How far the landing may miss a place given in figures before it weighs."""
STOP_MM = 25.0
"""How far a stop shot's cue ball may wander before it weighs."""
WRONG_RAILS, MISSED, SCRATCH, WRONG_FIRST, DISTURBED, LEFT_ALONE = 60.0, 150.0, 300.0, 300.0, 3.0, 100.0
"""What a fault weighs against the landing (in its own widths) in the choice of a stroke."""
CUSTOM_RAILS = 8.0
"""The same for rails that only custom fills in."""
NEXT_BALL = 3.0
"""What a rest without a shot at the note's next ball weighs."""
OPEN_DEG = 0.08
"""A window of the cue ball this wide halves that: about a straight shot of a metre each way."""
REFINE = 70
"""Strokes tried in each refinement."""
LEAST_SPIN = 0.25
"""R w / v with which a follow or draw should at least arrive; 1 is natural roll. Our choice."""
PLAIN_SPIN = 0.5
"""The same where the note says no more than the stroke, which should then plainly be seen. Our choice."""
RACK_MISSED, UNOPENED = 60.0, 6.0
"""What it weighs if the cue ball misses the rack that it is to open, and if no ball of the rack moves."""
CLOSE_MM = 20.0
"""Balls with a smaller gap between them belong to one rack or cluster. Our choice."""
SPINLESS = 20.0
"""What each unit of R w / v that is lacking weighs."""
MOST_LOST = 4
"""After so many strokes without an aim the whole fan of aims is no longer tried for each."""
STARTS = 3
"""So many orders of cushions are refined."""
MANY_BALLS = 11
"""With more balls the grid is coarser."""
MOST_ASIDE = 0.6
"""Share of the mouth's free half that a plan may use to change the cue ball's angle."""
FAR = 1.0
"""A landing farther off than so many widths of its place is worth a try with another part of the pocket."""
Numbers = tuple[float, float, float]
"""Speed, tip and side as they are searched."""


@dataclass(frozen=True)
class Wish:
    """All that a stroke is chosen by."""

    task: Task
    intent: Intent
    pocket: Pocket
    speed: Choice
    tip: Choice
    side: Choice
    reach_mm: float
    """Way of the cue ball to the called ball."""

    def stroke(self, speed: float, tip: float, side: float) -> Stroke:
        """A stroke from the three searched numbers, kept within their ranges."""
        v = min(max(speed, self.speed.low), self.speed.high)
        q = min(max(tip, self.tip.low), self.tip.high)
        s = min(max(side, self.side.low), self.side.high)
        if self.intent.stroke in ("stop", "stun"):
            q = max(-0.5, dead_tip(v, self.reach_mm, self.task.laws) + q)
        return Stroke(v, q, s)


@dataclass(frozen=True, eq=False)
class Found:
    """A stroke with its aim and what comes of it."""

    stroke: Stroke
    aim_deg: float
    run: Run
    cost: float
    potted: bool
    rails: int
    landing_mm: float | None
    """Distance of the rest from the stated place."""


def make_wish(task: Task, intent: Intent, pocket: Pocket) -> Wish:
    """Ranges from the note's words."""
    reach = distance(task.layout[CUE_BALL], task.ghost)
    if task.rail_first:
        from lessonkit.physics.cushions import cushions_of
        from lessonkit.planning.geometry import mirrored

        image = mirrored(task.ghost, task.rail_first, task.table, cushions_of(task.table).touch_mm)
        reach = distance(task.layout[CUE_BALL], image)
    return Wish(
        task,
        intent,
        pocket,
        speed_choice(intent),
        tip_choice(intent.stroke, intent.shade),
        side_choice(intent),
        reach,
    )


def rails_after_contact(run: Run) -> int:
    """Cushions that the cue ball meets after its first ball, jaws left out."""
    met = False
    count = 0
    for hit in run.hits:
        if CUE_BALL not in hit.balls:
            continue
        if hit.kind == "ball":
            met = True
        elif hit.kind == "cushion" and met and not hit.jaw:
            count += 1
    return count


def try_stroke(
    wish: Wish, numbers: Sequence[float], guess_deg: float | None = None, afresh: bool = True
) -> Found | None:
    """One stroke: aim it, play it, weigh it; None where no aim sends the called ball to its pocket.

    guess_deg: the aim of a stroke near by; afresh: whether to look for an aim without it where it does not lead there.
    """
    speed, tip, side, aside = [*numbers, 0.0][:4]
    stroke = wish.stroke(speed, tip, side)
    task = wish.task
    if aside:
        shifted = pocket_target(
            wish.pocket, task.table, task.layout[task.ball], max(-MOST_ASIDE, min(MOST_ASIDE, aside))
        )
        task = replace(task, target=shifted)
    aim = find_aim(task, stroke, guess_deg)
    if aim is None and guess_deg is not None and task.exact and afresh:
        aim = find_aim(task, stroke)
    if aim is None:
        return None
    run = play(task, stroke, aim)
    found = _weigh(wish, stroke, aim, run, (speed, tip, side))
    return replace(found, cost=found.cost + 2.0 * (aside / MOST_ASIDE) ** 2)


def _weigh(wish: Wish, stroke: Stroke, aim: float, run: Run, numbers: tuple[float, float, float]) -> Found:
    """Cost: the words' usual values, the called ball, rails, landing, balls that should lie still."""
    intent, ball = wish.intent, wish.task.ball
    cost = 0.0
    for value, choice in zip(numbers, (wish.speed, wish.tip, wish.side), strict=True):
        cost += ((min(max(value, choice.low), choice.high) - choice.usual) / choice.half) ** 2
        cost += 50.0 * (max(0.0, choice.low - value, value - choice.high) / choice.half) ** 2
    first = next((h for h in run.hits if h.kind == "ball" and CUE_BALL in h.balls), None)
    if first is None or wish.task.struck not in first.balls:
        cost += WRONG_FIRST
    potted = run.dropped.get(ball) == wish.pocket
    cost += 0.0 if potted else MISSED
    rails = rails_after_contact(run)
    if intent.rails is not None:
        cost += (CUSTOM_RAILS if "rails" in intent.by_custom else WRONG_RAILS) * abs(rails - intent.rails)
    rack = rack_of(wish.task) if goes_into_rack(intent, ball) else frozenset()
    cost += _rack_cost(rack, run)
    for n in run.pieces:
        if n not in (ball, CUE_BALL, *wish.task.via) and n not in rack:
            cost += LEFT_ALONE if n in intent.leave_alone else DISTURBED
    landing_mm = None
    rest = run.rest.get(CUE_BALL)
    if first is not None and not wish.task.rail_first:
        cost += _spin_cost(wish, arrival_spin(stroke.speed_mps, stroke.tip_up, first.t_s, wish.task.laws))
    if intent.stroke == "stop" and rest is not None and first is not None:
        # a stop is played to leave the cue ball where it met the called ball
        stayed = distance(rest, run.place(CUE_BALL, first.t_s))
        cost += 4.0 * (sqrt(1.0 + (stayed / STOP_MM) ** 2) - 1.0)
    if rest is None:
        cost += SCRATCH
    elif intent.landing is not None and intent.landing.point is not None:
        landing_mm = distance(rest, intent.landing.point)
        cost += 4.0 * (sqrt(1.0 + (landing_mm / width_mm(intent)) ** 2) - 1.0)
    return Found(stroke, aim, run, cost + _next_cost(wish, run), potted, rails, landing_mm)


def goes_into_rack(intent: Intent, ball: int) -> bool:
    """Whether the cue ball is to open a rack or a cluster: the note says so, or the called ball is the break ball."""
    return intent.into_rack or intent.break_ball == ball


def rack_of(task: Task) -> frozenset[int]:
    """The largest group of balls that lie close to each other: the rack, or a cluster; empty where none do."""
    return group_of(task.layout, {CUE_BALL, task.ball, *task.via}, task.table)


def group_of(layout: Layout, without: set[int], table: Table) -> frozenset[int]:
    """The largest group of balls that lie close to each other, some left out; empty where none do."""
    near = table.ball_diameter_mm + CLOSE_MM
    loose = set(layout) - without
    best: frozenset[int] = frozenset()
    while loose:
        group, edge = set[int](), [loose.pop()]
        while edge:
            one = edge.pop()
            group.add(one)
            linked = {n for n in loose if distance(layout[n], layout[one]) < near}
            loose -= linked
            edge += linked
        if len(group) > max(1, len(best)):
            best = frozenset(group)
    return best


def _rack_cost(rack: frozenset[int], run: Run) -> float:
    """What it weighs that the cue ball does not reach the rack that it is to open, or opens little of it."""
    if not rack:
        return 0.0
    met = any(h.kind == "ball" and CUE_BALL in h.balls and not rack.isdisjoint(h.balls) for h in run.hits)
    return (0.0 if met else RACK_MISSED) + UNOPENED * len(rack - run.pieces.keys()) / len(rack)


def _next_cost(wish: Wish, run: Run) -> float:
    """What a rest weighs from which the next ball has no open pocket; nothing where the place is given in figures."""
    intent = wish.intent
    if intent.next_ball not in run.rest or CUE_BALL not in run.rest or intent.next_ball == wish.task.ball:
        return 0.0
    if intent.landing is not None and intent.landing.explicit:
        return 0.0
    table = wish.task.table
    open_deg = max(openness(run.rest, table, intent.next_ball, p) for p in table.pockets)
    return NEXT_BALL / (1.0 + open_deg / OPEN_DEG)


def _spin_cost(wish: Wish, spin: float) -> float:
    """What a draw that arrives without backspin weighs, or a follow without topspin."""
    intent = wish.intent
    if intent.stroke not in ("draw", "follow", "force follow"):
        return 0.0
    alone = intent.landing is None and intent.rails is None and intent.next_ball is None
    least = PLAIN_SPIN if alone else LEAST_SPIN
    if intent.stroke == "draw":
        least = -least
    lacking = max(0.0, spin - least) if least < 0 else max(0.0, least - spin)
    return SPINLESS * lacking


def search(wish: Wish, refined: bool = True) -> Found | None:
    """The best stroke: a grid over the words' ranges, then simplex searches from its best; None: no aim at all.

    refined: whether to go on from the grid's best, and whether the grid is the fine one.
    """
    exact, guess = _first_aim(wish)
    blind = guess is None and not exact
    wish = replace(wish, task=replace(wish.task, exact=exact, blind=blind))
    tried = _grid(wish, guess, refined)
    if not tried:
        return None
    tried.sort(key=lambda pair: pair[0].cost)
    best = tried[0][0]
    if not refined:
        return best
    for numbers in _starts(tried, STARTS if exact else 1):
        better = _refine(wish, numbers, best)
        if better.cost < best.cost:
            best = better
    placed = wish.intent.landing is not None and wish.intent.landing.point is not None
    if placed and exact and (best.landing_mm is None or best.landing_mm > FAR * width_mm(wish.intent)):
        better = _refine(wish, tried[0][1], best, with_pocket=True)
        if better.cost < best.cost:
            best = better
    return best


def _first_aim(wish: Wish) -> tuple[bool, float | None]:
    """Whether an exact aim can be had within the words, and if not, an aim that pots all the same; None: there is none.

    The usual stroke is asked first, then the ends of the words' ranges: a slower one may not carry the ball there.
    """
    speed, tip, side = wish.speed, wish.tip, wish.side
    ends = [(v, q) for v in (speed.usual, speed.high, speed.low) for q in (tip.usual, tip.high, tip.low)]
    strokes = [wish.stroke(v, q, side.usual) for v, q in ends]
    if any(aim_exactly(wish.task, s) for s in strokes):
        return True, None
    rough = replace(wish.task, exact=False)
    return False, next((a for a in (find_aim(rough, s) for s in strokes) if a is not None), None)


def _grid(wish: Wish, guess: float | None, fine: bool) -> list[tuple[Found, Numbers]]:
    """Strokes all over the words' ranges, each with its numbers."""
    crowded = len(wish.task.layout) > MANY_BALLS
    placed = wish.intent.landing is not None and wish.intent.landing.point is not None
    n_speed, n_tip = (5, 3) if crowded or not fine else (9, 5)
    if not placed and wish.intent.rails is None and wish.intent.next_ball is None:
        n_speed, n_tip = 3, 3
    sides = {wish.side.usual} if crowded or not fine else {wish.side.usual, wish.side.low, wish.side.high}
    lost = 0
    tried: list[tuple[Found, Numbers]] = []
    for side in sorted(sides):
        for speed in _spread(wish.speed, n_speed):
            for tip in _spread(wish.tip, n_tip):
                found = try_stroke(wish, (speed, tip, side), guess, afresh=lost < MOST_LOST)
                lost += found is None
                if found is not None:
                    guess = found.aim_deg
                    tried.append((found, (speed, tip, side)))
    return tried


def _starts(tried: Sequence[tuple[Found, Numbers]], most: int) -> list[Numbers]:
    """Where to refine: the best stroke of each order of cushions, for between them the landing jumps."""
    starts: dict[tuple[str, ...], Numbers] = {}
    for found, numbers in tried:
        starts.setdefault(cue_cushions(found.run), numbers)
    return list(starts.values())[:most]


def cue_cushions(run: Run) -> tuple[Cushion, ...]:
    """The cue ball's cushions in a simulated shot in their order, jaws left out."""
    return tuple(
        h.cushion
        for h in run.hits
        if h.kind == "cushion" and h.balls == (CUE_BALL,) and not h.jaw and h.cushion
    )


def width_mm(intent: Intent) -> float:
    """How wide the stated landing place is."""
    if intent.landing is None or intent.landing.explicit:
        return EXPLICIT_MM
    return max(intent.landing.radius_mm, EXPLICIT_MM)


def _spread(choice: Choice, n: int) -> list[float]:
    """n values over a range, its usual value among them."""
    if choice.high - choice.low < 1e-9:
        return [choice.usual]
    values = [choice.low + (choice.high - choice.low) * k / (n - 1) for k in range(n)]
    near = min(range(n), key=lambda k: abs(values[k] - choice.usual))
    values[near] = choice.usual
    return values


def _refine(wish: Wish, numbers: tuple[float, float, float], best: Found, with_pocket: bool = False) -> Found:
    """Nelder-Mead from one stroke over speed, tip, side (where open) and, if asked, the part of the pocket."""
    from scipy.optimize import minimize

    held = [best]
    scales = [wish.speed.half, wish.tip.half, wish.side.half]
    free = [0, 1, *([2] if wish.side.high - wish.side.low > 1e-9 else []), *([3] if with_pocket else [])]

    def cost(z: Sequence[float]) -> float:
        point = [*numbers, 0.0]
        for value, k in zip(z, free, strict=True):
            point[k] += float(value) * [*scales, MOST_ASIDE][k]
        found = try_stroke(wish, point, held[0].aim_deg, afresh=False)
        if found is None:
            return 1e4
        if found.cost < held[0].cost:
            held[0] = found
        return found.cost

    start = [0.0] * len(free)
    first = 0.6 if with_pocket else 0.25
    simplex = [start] + [[first if k == j else 0.0 for k in range(len(free))] for j in range(len(free))]
    options = {"maxfev": REFINE, "initial_simplex": simplex, "xatol": 1e-3, "fatol": 1e-2}
    minimize(cost, start, method="Nelder-Mead", options=options)
    return held[0]
