"""The still before a shot with the plan drawn on it, one thing after the other."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from lessonkit.lesson import projected
from lessonkit.lesson.cutlist import PLAN_STEPS, Drawn
from lessonkit.lesson.diagram import landing_radius_mm
from lessonkit.lesson.diagram_shapes import on_table
from lessonkit.lesson.drawing import DASH_MM, cushion_contacts
from lessonkit.lesson.labels import Plate, Room, put
from lessonkit.lesson.picture import Layer, Picture
from lessonkit.lesson.scene import Set, Step, Still, copying, landing_place, timed
from lessonkit.model import CUE_BALL, Plan, Point

PLAN_B_DASH_MM = (20.0, 24.0)
"""Shorter dashes than the plan's own."""


def plan_still(scene: Set, base: Picture, wanted: Sequence[Drawn] | None = None) -> Still:
    """The plan in steps: called ball and pocket; ghost ball and aim; the cue ball's way; the landing place.

    `wanted` are the steps that the cut list asks for; None: all.
    """
    balls = scene.pen.balls(scene.shot.seen.layout_before)
    return Still(base, timed(plan_steps(scene), wanted, PLAN_STEPS), balls, [scene.headline_overlay("plan")])


def plan_steps(scene: Set) -> list[Step]:
    """The steps in their order; a step whose part of the plan is unknown is left out."""
    plan = scene.shot.plan
    if plan is None:
        return []
    room = Room(
        scene.taken.width, scene.taken.height,
        [b for b in scene.taken.solid if b != scene.inset_box], list(scene.taken.soft),
    )  # fmt: skip
    steps = [_called(scene, plan), _aim(scene, plan)]
    steps += [*_cue_way(scene, plan), _following(scene, plan), _fallback(scene)]
    landing = landing_place(scene.shot)
    if landing is not None:
        steps.append(_landing(scene, landing))
    return [s for s in [*steps, *_words(scene, plan, room)] if s is not None]


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

    return Step(0.05, 0.11, draw, name="called")


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

    return Step(0.2, 0.26, draw, name="aim")


def _length_at(plan: Plan, place: Point) -> float:
    """Length along the cue ball's way up to its first closest approach to `place`."""
    way = projected.sampled(plan.cue_path, 4.0)
    away = np.hypot(*(way - place).T)
    near = np.flatnonzero(away <= away.min() + 1.0)[0]
    return float(projected.lengths(way)[near])


def _cue_way(scene: Set, plan: Plan) -> list[Step]:
    pen = scene.pen
    way = on_table(plan.cue_path, pen.table)
    if len(way) < 2:
        return []
    start = _length_at(plan, plan.ghost) if plan.ghost is not None else 0.0
    total = float(projected.lengths(way)[-1])
    if total - start < 1.0:
        return []

    def draw(layer: Layer, progress: float) -> None:
        end = start + (total - start) * progress
        pen.way(
            layer, projected.stretch(way, start, end), pen.inks.planned, dash=DASH_MM, arrow=progress >= 1
        )

    return [Step(0.36, 0.6, draw, grows=True, name="way")]


def _landing(scene: Set, landing: Point) -> Step:
    pen = scene.pen

    def draw(layer: Layer, _: float) -> None:
        pen.zone(layer, landing, landing_radius_mm(scene.shot), pen.inks.planned)

    return Step(0.62, 0.68, draw, name="landing")


def _words(scene: Set, plan: Plan, room: Room) -> list[Step]:
    """Labels, each placed when the steps are made, so that later ones keep off earlier ones."""
    pen, layout = scene.pen, scene.shot.seen.layout_before
    size = pen.sizes.label_px
    steps: list[Step] = []

    def label(text: str, at: Point, gap_mm: float, start: float, name: str) -> None:
        layer = Layer(pen.sizes.width_px, pen.sizes.height_px)
        gap = gap_mm * projected.px_per_mm(pen.camera, at)
        anchor = pen.px([at])[0]
        if put(layer, Plate((text,), size), (float(anchor[0]), float(anchor[1])), gap, room) is not None:
            steps.append(Step(start, start + 0.05, copying(layer), on_cloth=False, name=name))

    ball_gap = 1.9 * pen.table.radius_mm
    if plan.ball in layout:
        label(str(plan.ball), layout[plan.ball], ball_gap, 0.05, "called")
    landing = landing_place(scene.shot)
    if landing is not None:
        label("landing", landing, landing_radius_mm(scene.shot) + 12, 0.62, "landing")
    for k, contact in enumerate(_contacts(plan, scene)):
        label(f"rail {k + 1}", contact, 1.6 * pen.table.radius_mm, 0.58, "way")
    following = next_ball(scene, plan)
    if following is not None:
        label(f"next: {following}", layout[following], ball_gap, 0.74, "next")
    fallback = scene.shot.plan_b
    if fallback is not None and len(fallback.cue_path) > 1:
        label("plan B", fallback.cue_path[-1], 40.0, 0.84, "plan b")
    return steps


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

    return Step(0.74, 0.79, draw, name="next")


def _fallback(scene: Set) -> Step | None:
    """Plan B's way of the cue ball, thin and dotted: the third and last route on the picture."""
    plan, pen, layout = scene.shot.plan_b, scene.pen, scene.shot.seen.layout_before
    if plan is None or len(plan.cue_path) < 2:
        return None

    def draw(layer: Layer, _: float) -> None:
        pen.way(
            layer,
            on_table(plan.cue_path, pen.table),
            pen.inks.aim,
            dash=PLAN_B_DASH_MM,
            thin=True,
            arrow=True,
        )
        if plan.ball in layout:
            pen.ring(layer, layout[plan.ball], pen.inks.aim, dashed=True)

    return Step(0.84, 0.89, draw, name="plan b")


def _contacts(plan: Plan, scene: Set) -> list[Point]:
    """Cushion contacts of the planned way; those closer than two balls to one before are left unnamed."""
    kept: list[Point] = []
    for c in cushion_contacts(plan.cue_path, scene.pen.table):
        if all(math.dist(c, k) > 2 * scene.pen.table.ball_diameter_mm for k in kept):
            kept.append(c)
    return kept
