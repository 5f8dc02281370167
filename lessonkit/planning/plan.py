"""From a note's intent and a layout to the plan: the settled call and the cue ball's planned way."""

from __future__ import annotations

from dataclasses import replace

from lessonkit.model import (
    CUE_BALL,
    STEADY,
    Event,
    Execution,
    Intent,
    Plan,
    Pocket,
    Point,
    SeenShot,
    Side,
    Strike,
    Table,
)
from lessonkit.physics.cushions import pocket_target
from lessonkit.physics.laws import DEFAULT, Laws
from lessonkit.physics.simulate import Run
from lessonkit.planning.aim import Task
from lessonkit.planning.choice import settle_ball, settle_pocket, settle_side, settle_via
from lessonkit.planning.geometry import direction_deg, fullness, turn_deg
from lessonkit.planning.search import Found, Wish, goes_into_rack, make_wish, rack_of, search, try_stroke
from lessonkit.planning.shortcomings import rails_said, shortcomings
from lessonkit.planning.spread import chances
from lessonkit.planning.thin import thin_path

NEXT_TO_NONE = 0.03
"""A pot with a smaller chance than this is no plan to speak of."""


def make_plan(
    shot: SeenShot, table: Table, intent: Intent, laws: Laws = DEFAULT, execution: Execution = STEADY
) -> Plan:
    """The intent settled on the shot's layout, with the cue ball's planned way, its spread and its chances.

    execution: how far the player's strokes stray.

    Stroke, side and speed stay None where the note has no word for them; a drawn way wins over a predicted one. Where
    nothing can be planned the path is empty and `note` says why.
    """
    landing = intent.landing.point if intent.landing is not None else None
    relative: str | None = intent.side_relative
    if _says_nothing(intent) and relative is None:
        return Plan(None, None, None, intent.side, intent.speed, intent.rails, None, (), None)
    ball = settle_ball(shot, intent)
    via = settle_via(shot, ball, intent)
    pocket = settle_pocket(shot, table, ball, intent, via) if ball is not None else intent.pocket
    plan = Plan(
        ball, pocket, intent.stroke, intent.side, intent.speed, intent.rails, landing, (), None, via=via
    )
    trouble = _trouble(shot, ball, pocket, via)
    if trouble is not None:
        return _drawn(plan, shot, intent, None, trouble)
    assert ball is not None and pocket is not None
    task = Task(
        dict(shot.layout_before),
        table,
        ball,
        pocket,
        pocket_target(pocket, table, shot.layout_before[ball]),
        intent.bank,
        intent.rail_first,
        laws,
        via=via,
    )
    if goes_into_rack(intent, ball) and rack_of(task):
        intent = replace(intent, into_rack=True)
    side = intent.side
    if side is None and relative is not None:
        side = _side_in_words(relative, task, intent, pocket)
        intent = replace(intent, side=side)
        plan = replace(plan, side=side)
    if intent.waypoints:
        return _drawn(plan, shot, intent, task, None)
    wish = make_wish(task, intent, pocket)
    found = search(wish)
    if found is None:
        return replace(plan, note=f"No way was found to send the {ball} to the {pocket} pocket from here.")
    return _spread(_predicted(plan, wish, found), task, execution)


def plan_after(
    shot: SeenShot, table: Table, intent: Intent, laws: Laws = DEFAULT, execution: Execution = STEADY
) -> Plan | None:
    """A fallback planned in the same way on the layout that the shot left; None if its ball is gone from there."""
    if intent.ball is not None and intent.ball not in shot.layout_after:
        return None
    left = replace(
        shot, layout_before=shot.layout_after, cue_path=shot.cue_path[:0], paths={}, events=(), pocketed=(),
        fullness=None,
    )  # fmt: skip
    return make_plan(left, table, intent, laws, execution)


def _says_nothing(intent: Intent) -> bool:
    """Whether a note has no plan in it."""
    return (
        intent.ball is None
        and intent.pocket is None
        and intent.stroke is None
        and intent.landing is None
        and not intent.waypoints
        and not intent.bank
        and not intent.rail_first
    )


def _trouble(shot: SeenShot, ball: int | None, pocket: Pocket | None, via: tuple[int, ...]) -> str | None:
    """Why no way can be predicted, in plain words; None if it can."""
    if CUE_BALL not in shot.layout_before:
        return "The cue ball is not in the layout, so its way could not be planned."
    if ball is None:
        return "The note names no ball and none was hit, so no way could be planned."
    if ball == CUE_BALL:
        return "The note calls the cue ball itself, so no way could be planned."
    if ball not in shot.layout_before:
        return f"The {ball} is not on the table in this layout, so no way could be planned."
    missing = [n for n in via if n not in shot.layout_before]
    if missing:
        return f"The {missing[0]} is not on the table in this layout, so no combination could be planned."
    if pocket is None:
        return f"No pocket is named, and none is open for the {ball}."
    return None


def _side_in_words(relative: str, task: Task, intent: Intent, pocket: Pocket) -> Side | None:
    """Inside, outside, running or reverse turned to left or right."""
    run: Run | None = None
    if relative in ("running", "reverse"):
        wish: Wish = make_wish(task, intent, pocket)
        found = try_stroke(wish, (wish.speed.usual, wish.tip.usual, 0.0))
        run = found.run if found is not None else None
    cue, ball = task.layout[CUE_BALL], task.layout[task.struck]
    return settle_side(relative, cue, ball, task.struck_target, task.table.ball_diameter_mm, run)


def _drawn(plan: Plan, shot: SeenShot, intent: Intent, task: Task | None, trouble: str | None) -> Plan:
    """The drawn way if there is one (start, ghost ball, waypoints), else the trouble alone."""
    start = shot.layout_before.get(CUE_BALL)
    if not intent.waypoints or start is None:
        return replace(plan, note=trouble)
    points: list[Point] = [start]
    ghost: Point | None = None
    ball_path: tuple[Point, ...] = ()
    if task is not None:
        ghost = task.ghost
        if not intent.rail_first:
            points.append(ghost)
        if not intent.bank:
            ball_path = (task.layout[task.ball], task.target)
    points += intent.waypoints
    landing = plan.landing if plan.landing is not None else intent.waypoints[-1]
    return replace(
        plan,
        cue_path=tuple(points),
        source="drawn",
        landing=landing,
        ghost=ghost,
        ball_path=ball_path,
        note=trouble,
    )


def _predicted(plan: Plan, wish: Wish, found: Found) -> Plan:
    """The plan with a found stroke's paths and contacts, and what it could not do."""
    task, intent = wish.task, wish.intent
    run, ball = found.run, task.ball
    contact = next((h for h in run.hits if h.kind == "ball" and CUE_BALL in h.balls), None)
    ghost: Point | None = None
    full: float | None = None
    if contact is not None and task.struck in contact.balls:
        ghost = run.place(CUE_BALL, contact.t_s)
        full = _fullness(run, contact.t_s, ghost, task.layout[task.struck])
    path = run.path(CUE_BALL, 1 / 60)
    ball_path = thin_path([(float(x), float(y)) for _, x, y in run.path(ball, 1 / 60)])
    if found.potted and ball_path:
        ball_path = (*ball_path[:-1], task.table.pockets[plan.pocket]) if plan.pocket else ball_path
    return replace(
        plan,
        rails=intent.rails if rails_said(intent) else found.rails,
        cue_path=thin_path([(float(x), float(y)) for _, x, y in path]),
        source="predicted",
        ball_path=ball_path,
        ghost=ghost,
        note=shortcomings(wish, found, full),
        strike=Strike(found.aim_deg, found.stroke.speed_mps, found.stroke.tip_up, found.stroke.tip_left),
        fullness=full,
        contacts=contacts_of(run, {CUE_BALL, ball, *task.via}),
    )


def _fullness(run: Run, t_s: float, ghost: Point, struck: Point) -> float:
    """How much of a ball at rest the cue ball hits that comes to `ghost` at `t_s`."""
    before = run.place(CUE_BALL, max(0.0, t_s - 1e-3))
    return fullness(turn_deg(direction_deg(before, ghost), direction_deg(ghost, struck)))


def contacts_of(run: Run, balls: set[int]) -> tuple[Event, ...]:
    """What some balls meet, in order, touches of jaws left out."""
    return tuple(
        Event(h.t_s, h.kind, h.balls, h.cushion, h.pocket)  # type: ignore[arg-type]
        for h in run.hits
        if not h.jaw and not balls.isdisjoint(h.balls)
    )


def _spread(plan: Plan, task: Task, execution: Execution) -> Plan:
    """The plan with its chances and the spread of its landings."""
    if plan.strike is None or plan.ball is None or plan.pocket is None:
        return plan
    off_cushions = bool(task.bank or task.rail_first)
    c = chances(
        task.layout, plan.strike, plan.ball, plan.pocket, task.table, task.laws, execution, off_cushions
    )
    note = plan.note
    if c.pot is not None and c.pot < NEXT_TO_NONE and note is None:
        note = f"The pot is next to impossible: it would go in {round(100 * c.pot)} times of 100."
    return replace(
        plan,
        note=note,
        pot_chance=c.pot,
        scratch_chance=c.scratch,
        landing_spread=c.spread,
        execution=execution,
    )
