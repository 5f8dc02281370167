"""The still before a shot with the plan drawn on it, one thing after the other."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from lessonkit.lesson import marks, projected
from lessonkit.lesson.cutlist import PLAN_STEPS, Drawn
from lessonkit.lesson.diagram_shapes import on_table
from lessonkit.lesson.drawing import DASH_MM, cushion_contacts
from lessonkit.lesson.landing import landing_place, landing_radius_mm, measured_place
from lessonkit.lesson.naming import APPEARS, Naming
from lessonkit.lesson.picture import Layer, Picture
from lessonkit.lesson.scene import Set, Step, Still, timed
from lessonkit.lesson.situation import Lane, Situation, situation
from lessonkit.model import CUE_BALL, Plan, Point

PLAN_B_DASH_MM = (20.0, 24.0)
"""Shorter dashes than the plan's own."""
ZONE_APART_MM = 60.0
"""A planned place farther than this from the middle of the note's zone is named apart from it."""
NAMED_SPREAD_MM = 70.0
"""A spread whose longer half axis is shorter than this is left without words: it is hidden under the arrow."""
TOGETHER_MM = 80.0
"""A spread whose middle lies nearer to the planned place than this shares its label."""
PLANNED_PLACE, SPREAD_WORDS = "planned place", "2 in 3 stop here"
Way = Callable[[Layer, float], None]


def plan_still(scene: Set, base: Picture, wanted: Sequence[Drawn] | None = None) -> Still:
    """The plan in steps: called ball and pocket; ghost ball and aim; the cue ball's way; where it lands; what comes then.

    `wanted` are the steps that the cut list asks for; None: all.
    """
    balls = scene.pen.balls(scene.shot.seen.layout_before)
    fixed = [scene.headline_overlay("plan"), *scene.panel_overlays(actual=False)]
    return Still(base, timed(plan_steps(scene), wanted, PLAN_STEPS), balls, fixed, scene.max_routes)


def plan_steps(scene: Set) -> list[Step]:
    """The steps in their order; a step whose part of the plan is unknown is left out."""
    naming = Naming(scene, inset=scene.panel)
    naming.doubts(scene.shot.seen.layout_before)
    plan = scene.shot.plan
    if plan is None:
        return naming.steps
    around = situation(scene.shot, scene.pen.table)
    steps = [_landing(scene, plan), _called(scene, plan), _aim(scene, plan)]
    steps += [_cue_way(scene, plan), _following(scene, plan), *_situation(scene, around), _fallback(scene)]
    _words(scene, plan, naming, around)
    return [s for s in [*steps, *naming.steps] if s is not None]


def _step(name: str, draw: Way, *, route: str = "", lasts: float = 0.06, grows: bool = False) -> Step:
    start = PLAN_STEPS[name]
    return Step(start, start + lasts, draw, grows=grows, name=name, route=route)


def _called(scene: Set, plan: Plan) -> Step | None:
    pen, layout = scene.pen, scene.shot.seen.layout_before
    if plan.ball is None and plan.pocket is None:
        return None

    def draw(layer: Layer, _: float) -> None:
        pen.way(layer, on_table(plan.ball_path, pen.table), pen.inks.aim, dash=DASH_MM, thin=True, arrow=True)
        if plan.pocket is not None:
            pen.pocket(layer, plan.pocket, pen.inks.aim)
        if plan.ball in layout:
            pen.ring(layer, layout[plan.ball], pen.inks.aim)

    return _step("called", draw, route="called ball" if len(plan.ball_path) > 1 else "")


def _aim(scene: Set, plan: Plan) -> Step | None:
    pen = scene.pen
    if plan.ghost is None:
        return None
    ghost = plan.ghost

    def draw(layer: Layer, _: float) -> None:
        if plan.cue_path:
            way = projected.stretch(plan.cue_path, 0.0, _length_at(plan, ghost))
            pen.way(layer, way, pen.inks.planned, dash=DASH_MM)
        pen.ring(layer, ghost, pen.inks.planned, grow=1.0, dashed=True)

    return _step("aim", draw, route="cue ball" if plan.cue_path else "")


def _length_at(plan: Plan, place: Point) -> float:
    """Length along the cue ball's way up to its first closest approach to `place`."""
    way = projected.sampled(plan.cue_path, 4.0)
    away = np.hypot(*(way - place).T)
    near = np.flatnonzero(away <= away.min() + 1.0)[0]
    return float(projected.lengths(way)[near])


def _cue_way(scene: Set, plan: Plan) -> Step | None:
    pen = scene.pen
    way = on_table(plan.cue_path, pen.table)
    if len(way) < 2:
        return None
    start = _length_at(plan, plan.ghost) if plan.ghost is not None else 0.0
    total = float(projected.lengths(way)[-1])
    if total - start < 1.0:
        return None
    turns = [(at, _length_at(plan, at)) for at in _contacts(plan, scene)]

    def draw(layer: Layer, progress: float) -> None:
        end = start + (total - start) * progress
        part = projected.stretch(way, start, end)
        pen.way(layer, part, pen.inks.planned, dash=DASH_MM, arrow=progress >= 1)
        for at, length in turns:
            if start <= length <= end:
                marks.draw_contact(pen, layer, at, pen.inks.planned)

    return _step("way", draw, route="cue ball", lasts=0.24, grows=True)


def _landing(scene: Set, plan: Plan) -> Step | None:
    """The place that the note names, the spread of landings, and a cross at the end from which the figure is measured."""
    pen, shot = scene.pen, scene.shot
    landing, measured = landing_place(shot), measured_place(shot)
    if landing is None:
        return None

    def draw(layer: Layer, _: float) -> None:
        if shot.note is not None and shot.note.intent.landing is not None:
            pen.zone(layer, landing, landing_radius_mm(shot), pen.inks.planned)
        if plan.landing_spread is not None:
            marks.draw_spread(pen, layer, plan.landing_spread, pen.inks.planned)
        pen.cross(layer, measured or landing, pen.inks.planned)

    return _step("landing", draw)


def _words(scene: Set, plan: Plan, naming: Naming, around: Situation) -> None:
    """Labels in the order of telling."""
    pen, shot, layout = scene.pen, scene.shot, scene.shot.seen.layout_before
    ball_gap, at = 1.9 * pen.table.radius_mm, PLAN_STEPS
    if plan.ball in layout:
        naming.add(str(plan.ball), layout[plan.ball], ball_gap, at["called"], "called")
    for k, contact in enumerate(_contacts(plan, scene)):
        naming.add(f"rail {k + 1}", contact, 1.6 * pen.table.radius_mm, at["way"] + 0.22, "way", share=0.85)
    _landing_words(scene, plan, naming)
    following = next_ball(scene, plan)
    if following is not None:
        naming.add(f"next: {following}", layout[following], ball_gap, at["next"], "next")
    for ball, role in around.roles:
        naming.add(f"{role}: {ball}", layout[ball], ball_gap, at["roles"], "roles", share=0.85)
    for group in around.clusters:
        middle = np.mean([layout[b] for b in group], axis=0)
        reach = max(math.dist(layout[b], middle) for b in group) + ball_gap
        naming.add("cluster", (float(middle[0]), float(middle[1])), reach, at["roles"], "roles", share=0.85)
    for lane in around.lanes:
        naming.add("blocked", lane.at, ball_gap, at["roles"], "roles", share=0.85)
    fallback = shot.plan_b
    if fallback is not None and len(fallback.cue_path) > 1:
        naming.add("plan B", fallback.cue_path[-1], 40.0, at["plan b"], "plan b")


def _landing_words(scene: Set, plan: Plan, naming: Naming) -> None:
    """Labels of the planned place, of the spread of landings (with the place where they lie together) and of the note's zone."""
    pen, shot, at = scene.pen, scene.shot, PLAN_STEPS["landing"]
    landing, measured, spread = landing_place(shot), measured_place(shot), plan.landing_spread
    rim = (
        projected.spread_rim(spread, pen.table)
        if spread is not None and spread.major_mm >= NAMED_SPREAD_MM
        else None
    )
    middle = None if rim is None else (float(rim[:-1, 0].mean()), float(rim[:-1, 1].mean()))
    reach = 0.0 if rim is None else min(float(np.ptp(rim[:, 0])), float(np.ptp(rim[:, 1]))) / 2
    place = measured or landing
    # two labels for one spot would send two lines to it
    together = middle is not None and place is not None and math.dist(middle, place) <= TOGETHER_MM
    if landing is not None:
        apart = measured is not None and math.dist(landing, measured) > ZONE_APART_MM
        named = shot.note is not None and shot.note.intent.landing is not None
        radius = landing_radius_mm(shot) if named and not apart else 30.0
        words = [PLANNED_PLACE, SPREAD_WORDS] if together else [PLANNED_PLACE]
        gap = max(radius, reach) if together else radius
        naming.add(words, measured or landing, gap + 12, at, "landing", share=0.9 if together else 1.0)
        if apart and named:
            # the figure is measured from the cross, so the words of the note have a name of their own
            naming.add("zone of the note", landing, landing_radius_mm(shot) + 12, at, "landing", share=0.8)
    if middle is not None and not together:
        naming.add(SPREAD_WORDS, middle, reach + 8, at + 0.04, "landing", share=0.8)


def next_ball(scene: Set, plan: Plan) -> int | None:
    """The ball that the note wants to play next, if it lies on the table."""
    ball = scene.shot.note.intent.next_ball if scene.shot.note is not None else None
    known = ball in scene.shot.seen.layout_before and ball not in (CUE_BALL, plan.ball)
    return ball if known else None


def _following(scene: Set, plan: Plan) -> Step | None:
    ball = next_ball(scene, plan)
    if ball is None:
        return None
    place = scene.shot.seen.layout_before[ball]

    def draw(layer: Layer, _: float) -> None:
        scene.pen.ring(layer, place, scene.pen.inks.aim, dashed=True)

    return _step("next", draw, lasts=APPEARS)


def _situation(scene: Set, around: Situation) -> list[Step]:
    """Roles, clusters and blocked lanes; a lane is a way like others and counts against their number."""
    pen, layout = scene.pen, scene.shot.seen.layout_before

    def draw(layer: Layer, _: float) -> None:
        for ball, _role in around.roles:
            pen.ring(layer, layout[ball], pen.inks.aim, grow=1.25, dashed=True)
        for group in around.clusters:
            marks.draw_cluster(pen, layer, [layout[b] for b in group], pen.inks.aim)

    steps = [_step("roles", draw, lasts=APPEARS)] if around.roles or around.clusters else []
    for k, lane in enumerate(around.lanes):

        def bar(layer: Layer, _: float, lane: Lane = lane) -> None:
            marks.draw_lane(pen, layer, lane, pen.inks.aim)

        steps.append(_step("roles", bar, lasts=APPEARS, route=f"lane {k}"))
    return steps


def _fallback(scene: Set) -> Step | None:
    """Plan B's way of the cue ball, thin and dotted."""
    plan, pen, layout = scene.shot.plan_b, scene.pen, scene.shot.seen.layout_before
    if plan is None or len(plan.cue_path) < 2:
        return None

    def draw(layer: Layer, _: float) -> None:
        way = on_table(plan.cue_path, pen.table)
        pen.way(layer, way, pen.inks.aim, dash=PLAN_B_DASH_MM, thin=True, arrow=True)
        if plan.ball in layout:
            pen.ring(layer, layout[plan.ball], pen.inks.aim, dashed=True)

    return _step("plan b", draw, lasts=APPEARS, route="plan b")


def _contacts(plan: Plan, scene: Set) -> list[Point]:
    """Cushion contacts of the planned way; those closer than two balls to one before are left unnamed."""
    kept: list[Point] = []
    for c in cushion_contacts(plan.cue_path, scene.pen.table):
        if all(math.dist(c, k) > 2 * scene.pen.table.ball_diameter_mm for k in kept):
            kept.append(c)
    return kept
