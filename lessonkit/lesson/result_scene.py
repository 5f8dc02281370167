"""The still after a shot: planned against actual, and how far the cue ball stopped from the planned place."""

from __future__ import annotations

import math
from collections.abc import Sequence

from lessonkit.lesson import projected
from lessonkit.lesson.cutlist import RESULT_STEPS, Drawn
from lessonkit.lesson.diagram import landing_radius_mm
from lessonkit.lesson.diagram_shapes import on_table, thin
from lessonkit.lesson.drawing import DASH_MM, DOT_MM
from lessonkit.lesson.labels import Key, Plate, Room, put
from lessonkit.lesson.picture import Layer, Picture
from lessonkit.lesson.scene import (
    Draw,
    Set,
    Step,
    Still,
    actual_rest,
    copying,
    distance_words,
    landing_place,
    timed,
)
from lessonkit.model import CUE_BALL, Point

NAMED_APART_MM = 260.0
"""Planned and actual places nearer than this share one label, the distance."""

SHORT_WAY_BALLS = 2.0
"""A called ball's way shorter than this is left out: it would be a mere tick beside the pocket."""


def result_still(scene: Set, base: Picture, wanted: Sequence[Drawn] | None = None) -> Still:
    """The planned way dashed, the actual way solid, then the distance between their ends.

    `wanted` are the steps that the cut list asks for; None: all.
    """
    balls = scene.pen.balls(scene.shot.seen.layout_after)
    inset = scene.inset_overlay(actual=True)
    fixed = [scene.headline_overlay("result"), *([inset] if inset is not None else [])]
    return Still(base, timed(result_steps(scene), wanted, RESULT_STEPS), balls, fixed)


def result_steps(scene: Set) -> list[Step]:
    """Steps in their order."""
    pen, shot = scene.pen, scene.shot
    landing, rest = landing_place(shot), actual_rest(shot)
    room = Room(scene.taken.width, scene.taken.height, list(scene.taken.solid), list(scene.taken.soft))

    def planned(layer: Layer, _: float) -> None:
        if landing is not None:
            pen.zone(layer, landing, landing_radius_mm(shot), pen.inks.planned)
        if shot.plan is not None:
            pen.way(
                layer, on_table(shot.plan.cue_path, pen.table), pen.inks.planned, dash=DASH_MM, arrow=True
            )

    def actual(layer: Layer, _: float) -> None:
        called = shot.plan.ball if shot.plan is not None else None
        if called in shot.seen.paths and called != CUE_BALL:
            way = thin(on_table(shot.seen.paths[called][:, 1:3], pen.table), 3.0)
            if len(way) > 1 and projected.lengths(way)[-1] > SHORT_WAY_BALLS * pen.table.ball_diameter_mm:
                pen.way(layer, way, pen.inks.aim, thin=True)
        pen.way(layer, thin(on_table(shot.seen.cue_path[:, 1:3], pen.table), 0.5), pen.inks.actual)
        if rest is not None:
            pen.ring(layer, rest, pen.inks.actual)

    steps = [Step(0.0, 0.06, planned, name="planned"), Step(0.14, 0.22, actual, name="actual")]
    if landing is not None and rest is not None and math.dist(landing, rest) > 2 * pen.table.radius_mm:
        steps.append(Step(0.32, 0.38, _error_line(scene, landing, rest), name="difference"))
    return [*steps, *_words(scene, landing, rest, room)]


def _error_line(scene: Set, landing: Point, rest: Point) -> Draw:
    pen = scene.pen

    def draw(layer: Layer, _: float) -> None:
        pen.way(layer, [landing, rest], pen.inks.aim, dash=DOT_MM, thin=True)

    return draw


def _words(scene: Set, landing: Point | None, rest: Point | None, room: Room) -> list[Step]:
    pen, shot = scene.pen, scene.shot
    steps: list[Step] = []

    def label(text: str, at: Point, gap_mm: float, start: float, name: str, key: Key | None = None) -> None:
        layer = Layer(pen.sizes.width_px, pen.sizes.height_px)
        anchor = pen.px([at])[0]
        gap = gap_mm * projected.px_per_mm(pen.camera, at)
        if (
            put(
                layer,
                Plate((text,), pen.sizes.label_px, key=key),
                (float(anchor[0]), float(anchor[1])),
                gap,
                room,
            )
            is not None
        ):
            steps.append(Step(start, start + 0.05, copying(layer), on_cloth=False, name=name))

    measured = shot.comparison.landing_error_mm if shot.comparison is not None else None
    apart = landing is not None and rest is not None and math.dist(landing, rest) > NAMED_APART_MM
    if landing is not None and rest is not None and measured is not None:
        middle = ((landing[0] + rest[0]) / 2, (landing[1] + rest[1]) / 2)
        if apart:
            label(distance_words(measured), middle, 25, 0.32, "difference")
        else:
            label(f"{distance_words(measured)} off", rest, 2.2 * pen.table.radius_mm, 0.32, "difference")
    if landing is not None and (apart or rest is None):
        label(
            "planned",
            landing,
            landing_radius_mm(shot) + 12,
            0.02,
            "planned",
            Key(pen.inks.planned.line, True),
        )
    if rest is not None and (apart or landing is None):
        label("actual", rest, 1.9 * pen.table.radius_mm, 0.16, "actual", Key(pen.inks.actual.line, False))
    for drop in shot.seen.pocketed:
        if drop.ball == CUE_BALL:
            label("scratch", pen.table.pockets[drop.pocket], pen.table.corner_mouth_mm * 0.7, 0.16, "actual")
    return steps
