"""The still after a shot: planned against actual, and how far the cue ball stopped from the planned place."""

from __future__ import annotations

import math
from collections.abc import Sequence

from lessonkit.lesson import marks, projected
from lessonkit.lesson.cutlist import RESULT_STEPS, Drawn
from lessonkit.lesson.diagram_shapes import on_table, thin, tidy
from lessonkit.lesson.drawing import DASH_MM, DOT_MM
from lessonkit.lesson.labels import Key
from lessonkit.lesson.landing import actual_rest, landing_place, landing_radius_mm, measured_place
from lessonkit.lesson.naming import Naming
from lessonkit.lesson.picture import Layer, Picture
from lessonkit.lesson.play_scene import SHORT_WAY_BALLS
from lessonkit.lesson.scene import Set, Step, Still, distance_words, speed_words, timed
from lessonkit.model import CUE_BALL, Point

NAMED_APART_MM = 260.0
"""Planned and actual places nearer than this share one label, the distance."""
MEASURE_STEP_MM = 20.0
"""Words keep off the dotted line that is measured, at points so far apart."""


def result_still(scene: Set, base: Picture, wanted: Sequence[Drawn] | None = None) -> Still:
    """The planned way dashed, the actual way solid, then the distance between their ends.

    `wanted` are the steps that the cut list asks for; None: all.
    """
    balls = scene.pen.balls(scene.shot.seen.layout_after)
    inset = scene.inset_overlay(actual=True)
    fixed = [scene.headline_overlay("result"), *([inset] if inset is not None else [])]
    return Still(base, timed(result_steps(scene), wanted, RESULT_STEPS), balls, fixed, scene.max_routes)


def result_steps(scene: Set) -> list[Step]:
    """Steps in their order."""
    pen, shot = scene.pen, scene.shot
    landing, place, rest = landing_place(shot), measured_place(shot), actual_rest(shot)
    naming = Naming(scene, inset=True)
    naming.doubts(shot.seen.layout_after)

    def planned(layer: Layer, _: float) -> None:
        if landing is not None and shot.note is not None and shot.note.intent.landing is not None:
            pen.zone(layer, landing, landing_radius_mm(shot), pen.inks.planned)
        if shot.plan is not None:
            way = on_table(shot.plan.cue_path, pen.table)
            pen.way(layer, way, pen.inks.planned, dash=DASH_MM, arrow=True)
        if place is not None:
            pen.cross(layer, place, pen.inks.planned)

    def actual(layer: Layer, _: float) -> None:
        track = tidy(shot.seen.cue_path, pen.table)
        pen.way(layer, thin(track[:, 1:3], 0.5), pen.inks.actual)
        marks.draw_notches(pen, layer, marks.notch_places(track), pen.inks.actual)
        for _t, at in marks.contact_places(shot.seen.events, track):
            marks.draw_contact(pen, layer, at, pen.inks.actual)
        if rest is not None:
            pen.ring(layer, rest, pen.inks.actual)

    a, b, c = (RESULT_STEPS[k] for k in ("planned", "actual", "difference"))
    steps = [Step(a, a + 0.06, planned, name="planned", route="planned way" if shot.plan else "")]
    steps += _called_ball(scene, b)
    steps.append(Step(b, b + 0.08, actual, name="actual", route="actual way"))
    if place is not None and rest is not None and math.dist(place, rest) > 2 * pen.table.radius_mm:
        ends = [place, rest]

        def measure(layer: Layer, _: float) -> None:
            pen.way(layer, ends, pen.inks.aim, dash=DOT_MM, thin=True)

        steps.append(Step(c, c + 0.06, measure, name="difference"))
        naming.room.ways.append(pen.px(ends))
        naming.room.soft.append(pen.px(projected.sampled(ends, MEASURE_STEP_MM)))
    _words(scene, naming, place, rest)
    return [*steps, *naming.steps]


def _called_ball(scene: Set, start: float) -> list[Step]:
    """The called ball's actual way, if it is long enough to tell something."""
    pen, shot = scene.pen, scene.shot
    called = shot.plan.ball if shot.plan is not None else None
    if called not in shot.seen.paths or called == CUE_BALL:
        return []
    way = thin(tidy(shot.seen.paths[called], pen.table)[:, 1:3], 8.0)
    if len(way) < 2 or projected.lengths(way)[-1] <= SHORT_WAY_BALLS * pen.table.ball_diameter_mm:
        return []

    def draw(layer: Layer, _: float) -> None:
        pen.way(layer, way, pen.inks.aim, thin=True)

    return [Step(start, start + 0.08, draw, name="actual", route="called ball")]


def _words(scene: Set, naming: Naming, place: Point | None, rest: Point | None) -> None:
    """Distance and what brought it about, planned, actual, speed, scratch."""
    pen, shot, at = scene.pen, scene.shot, RESULT_STEPS
    measured = shot.comparison.landing_error_mm if shot.comparison is not None else None
    apart = place is not None and rest is not None and math.dist(place, rest) > NAMED_APART_MM
    if place is not None and rest is not None and measured is not None:
        middle = ((place[0] + rest[0]) / 2, (place[1] + rest[1]) / 2)
        words = [distance_words(measured) + ("" if apart else " off"), *_cause(scene)]
        where, gap = (middle, 25.0) if apart else (rest, 2.2 * pen.table.radius_mm)
        naming.add(words, where, gap, at["difference"], "difference")
    if place is not None and (apart or rest is None):
        key = Key(pen.inks.planned.line, True)
        naming.add("planned", place, 45.0, at["planned"] + 0.02, "planned", key=key)
    if rest is not None and (apart or place is None):
        key = Key(pen.inks.actual.line, False)
        naming.add("actual", rest, 1.9 * pen.table.radius_mm, at["actual"] + 0.02, "actual", key=key)
    for drop in shot.seen.pocketed:
        if drop.ball == CUE_BALL:
            gap = pen.table.corner_mouth_mm * 0.7
            naming.add("scratch", pen.table.pockets[drop.pocket], gap, at["actual"] + 0.02, "actual")
    speed = speed_words(shot)
    if speed is not None and len(shot.seen.cue_path):
        start = (float(shot.seen.cue_path[0, 1]), float(shot.seen.cue_path[0, 2]))
        naming.add(speed, start, 1.9 * pen.table.radius_mm, at["actual"] + 0.02, "actual", share=0.85)


def _cause(scene: Set) -> list[str]:
    """What the cue ball ran into, and the one difference of the stroke that accounts for most of the error, in its words."""
    compared = scene.shot.comparison
    if compared is None:
        return []
    met = compared.unplanned
    ball = next((b for b in met.balls if b != CUE_BALL), None) if met is not None else None
    if ball is not None:
        return [f"ran into the {ball}"]
    return [d.words for d in compared.differences if d.account == compared.cause and d.sure and d.words]
