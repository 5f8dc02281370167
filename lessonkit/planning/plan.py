"""From a note's intent and a layout to the plan: the settled call and the cue ball's planned way."""

from __future__ import annotations

from dataclasses import replace

from lessonkit.model import CUE_BALL, Cushion, Intent, Plan, Pocket, Point, SeenShot, Side, Strike, Table
from lessonkit.physics.cushions import pocket_target
from lessonkit.physics.laws import DEFAULT, Laws
from lessonkit.physics.simulate import Run
from lessonkit.planning.aim import Task
from lessonkit.planning.choice import settle_ball, settle_pocket, settle_side
from lessonkit.planning.geometry import blocked_mm
from lessonkit.planning.search import Found, Wish, make_wish, search, try_stroke
from lessonkit.planning.thin import thin_path

CANNOT_LAND = 1.5
"""A landing farther off than this many widths of the stated place is reported."""


def make_plan(shot: SeenShot, table: Table, intent: Intent, laws: Laws = DEFAULT) -> Plan:
    """The intent settled on the shot's layout, with the cue ball's planned way.

    Stroke, side and speed stay None where the note has no word for them; a drawn way wins over a predicted one. Where
    nothing can be planned the path is empty and `note` says why.
    """
    landing = intent.landing.point if intent.landing is not None else None
    relative: str | None = intent.side_relative
    if _says_nothing(intent) and relative is None:
        return Plan(None, None, None, intent.side, intent.speed, intent.rails, None, (), None)
    ball = settle_ball(shot, intent)
    pocket = settle_pocket(shot, table, ball, intent) if ball is not None else intent.pocket
    plan = Plan(ball, pocket, intent.stroke, intent.side, intent.speed, intent.rails, landing, (), None)
    trouble = _trouble(shot, ball, pocket)
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
    )
    side = intent.side
    if side is None and relative is not None:
        side = _side_in_words(relative, task, intent, pocket)
        intent = replace(intent, side=side)
        plan = replace(plan, side=side)
    if intent.waypoints:
        return _drawn(plan, shot, intent, task, None)
    found = search(make_wish(task, intent, pocket))
    if found is None:
        return replace(plan, note=f"No way was found to send the {ball} to the {pocket} pocket from here.")
    return _predicted(plan, task, intent, found)


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


def _trouble(shot: SeenShot, ball: int | None, pocket: Pocket | None) -> str | None:
    """Why no way can be predicted, in plain words; None if it can."""
    if CUE_BALL not in shot.layout_before:
        return "The cue ball is not in the layout, so its way could not be planned."
    if ball is None:
        return "The note names no ball and none was hit, so no way could be planned."
    if ball not in shot.layout_before:
        return f"The {ball} is not on the table in this layout, so no way could be planned."
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
    cue, ball = task.layout[CUE_BALL], task.layout[task.ball]
    return settle_side(relative, cue, ball, task.virtual_target, task.table.ball_diameter_mm, run)


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


def _predicted(plan: Plan, task: Task, intent: Intent, found: Found) -> Plan:
    """The plan with a found stroke's paths, and what it could not do."""
    run, ball = found.run, task.ball
    contact = next((h for h in run.hits if h.kind == "ball" and CUE_BALL in h.balls), None)
    ghost = run.place(CUE_BALL, contact.t_s) if contact is not None and ball in contact.balls else None
    path = run.path(CUE_BALL, 1 / 60)
    ball_path = thin_path([(float(x), float(y)) for _, x, y in run.path(ball, 1 / 60)])
    if found.potted and ball_path:
        ball_path = (*ball_path[:-1], task.table.pockets[plan.pocket]) if plan.pocket else ball_path
    return replace(
        plan,
        rails=intent.rails if _rails_said(intent) else found.rails,
        cue_path=thin_path([(float(x), float(y)) for _, x, y in path]),
        source="predicted",
        ball_path=ball_path,
        ghost=ghost,
        note=_shortcomings(task, intent, found),
        strike=Strike(found.aim_deg, found.stroke.speed_mps, found.stroke.tip_up, found.stroke.tip_left),
    )


def _shortcomings(task: Task, intent: Intent, found: Found) -> str | None:
    """What the nearest stroke does not do, in plain words; None if it does all."""
    said: list[str] = []
    if not found.potted:
        blocked = blocked_mm(
            task.layout[task.ball],
            task.target,
            task.layout,
            (task.ball, CUE_BALL),
            task.table.ball_diameter_mm,
        )
        why = ": another ball stands in its way" if blocked > 0.0 and not intent.bank else ""
        said.append(f"no stroke of the stated kind was found that pots the {task.ball}{why}")
    if CUE_BALL in found.run.dropped:
        said.append("the cue ball drops")
    if _rails_said(intent) and found.rails != intent.rails:
        said.append(f"the nearest stroke takes {found.rails} {'rail' if found.rails == 1 else 'rails'}")
    place = intent.landing
    if found.landing_mm is not None and place is not None:
        width = 60.0 if place.explicit else place.radius_mm
        if found.landing_mm > CANNOT_LAND * width:
            said.append(
                f"the nearest stroke leaves the cue ball {found.landing_mm:.0f} mm from the stated place"
            )
    if not said:
        return None
    text = "; ".join(said)
    return text[0].upper() + text[1:] + "."


def _rails_said(intent: Intent) -> bool:
    """Whether the note itself gives the number of rails."""
    return intent.rails is not None and "rails" not in intent.by_custom


def planned_cushions(run: Run) -> tuple[Cushion, ...]:
    """The cue ball's cushions in a simulated shot, jaws left out."""
    return tuple(
        h.cushion
        for h in run.hits
        if h.kind == "cushion" and h.balls == (CUE_BALL,) and not h.jaw and h.cushion
    )
