"""Marks of our own on the table: spread of landings, contacts, even steps of time, clusters, blocked lanes."""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from lessonkit.lesson import projected, style
from lessonkit.lesson.drawing import DOT_MM, Pen
from lessonkit.lesson.picture import Layer
from lessonkit.lesson.situation import Lane
from lessonkit.model import CUE_BALL, Event, Point, Spread, Track

Array = NDArray[np.float64]

STEP_S = 0.5
"""Time between two notches on an actual way: where they stand close the ball is slow."""
NOTCH_LEAST_MM = 45.0
"""Notches nearer to each other than this are left out: the ball has all but stopped."""
CONTACT_APART_MM = 30.0
"""Contacts nearer to each other than this share one mark."""


def draw_spread(pen: Pen, layer: Layer, spread: Spread, ink: style.Ink) -> None:
    """A spread of landings: darker than the landing place, with a thin whole rim."""
    rim = projected.spread_rim(spread, pen.table)
    layer.fill(pen.px(rim, 0.0), ink.line, 0.3)
    pen.stroke(layer, [pen.px(rim, 0.0)], ink, thin=True)


def contact_places(
    events: Iterable[Event], track: Track, after_s: float = -np.inf
) -> list[tuple[float, Point]]:
    """When and where the cue ball met a ball or a cushion, by its track; contacts at one place count once."""
    found: list[tuple[float, Point]] = []
    if len(track) < 2:
        return found
    for event in events:
        inside = track[0, 0] <= event.t_s <= track[-1, 0]
        if event.kind == "pocket" or CUE_BALL not in event.balls or event.t_s < after_s or not inside:
            continue
        x, y = (float(np.interp(event.t_s, track[:, 0], track[:, k])) for k in (1, 2))
        if all(np.hypot(x - p[0], y - p[1]) > CONTACT_APART_MM for _, p in found):
            found.append((event.t_s, (x, y)))
    return found


def draw_contact(pen: Pen, layer: Layer, at: Point, ink: style.Ink) -> None:
    """A dot a little wider than the line, in the edge's colour with a rim of the line's."""
    centre = pen.px([at])[0]
    a = np.linspace(0, 2 * np.pi, 33)[:-1]
    unit = np.c_[np.cos(a), np.sin(a)]
    for share, colour in ((1.35, ink.edge), (1.1, ink.line), (0.6, ink.edge)):
        layer.fill(centre + unit * share * pen.sizes.line_px, colour)


def notch_places(track: Track, step_s: float = STEP_S) -> Array:
    """Places on a track at even steps of time, shape (N, 4): x, y, and the direction of the way there."""
    if len(track) < 2:
        return np.zeros((0, 4))
    times = np.arange(track[0, 0] + step_s, track[-1, 0] - 1e-9, step_s)
    at = np.stack([np.interp(times, track[:, 0], track[:, k]) for k in (1, 2)], axis=1)
    soon = np.stack([np.interp(times + 0.02, track[:, 0], track[:, k]) for k in (1, 2)], axis=1)
    along = soon - at
    rows: list[Array] = []
    last = track[0, 1:3]
    for p, d in zip(at, along, strict=True):
        if np.hypot(*(p - last)) >= NOTCH_LEAST_MM and np.hypot(*d) > 1e-6:
            rows.append(np.r_[p, d / np.hypot(*d)])
            last = p
    return np.array(rows).reshape(-1, 4)


def draw_notches(pen: Pen, layer: Layer, places: ArrayLike, ink: style.Ink) -> None:
    """Short strokes across a way, within its width, in its edge's colour."""
    for x, y, dx, dy in np.asarray(places, float).reshape(-1, 4):
        a, b = pen.px([(x, y), (x + 10 * dx, y + 10 * dy)])
        along = (b - a) / max(1e-9, float(np.hypot(*(b - a))))
        across = np.array([-along[1], along[0]]) * pen.sizes.line_px * 0.75
        layer.lines([np.array([a - across, a + across])], ink.edge, max(2.0, pen.sizes.line_px * 0.4))


def around_balls(places: ArrayLike, reach_mm: float) -> Array:
    """A closed way around balls, `reach_mm` from their centres; shape (N, 2)."""
    rings = [projected.circle((float(x), float(y)), reach_mm, 24) for x, y in np.asarray(places, float)]
    hull = cv2.convexHull(np.concatenate(rings).astype(np.float32)).reshape(-1, 2).astype(float)
    return np.asarray(np.r_[hull, hull[:1]])


def draw_cluster(pen: Pen, layer: Layer, places: ArrayLike, ink: style.Ink) -> None:
    """Balls that lie together, ringed by one dotted line on the cloth."""
    rim = around_balls(places, 1.7 * pen.table.radius_mm)
    pieces = projected.dashes(rim, 20.0, 18.0)
    pen.stroke(layer, [pen.px(projected.sampled(q), 0.0) for q in pieces], ink, thin=True)


def draw_lane(pen: Pen, layer: Layer, lane: Lane, ink: style.Ink) -> None:
    """A lane that is shut: dotted, with a bar across it before the ball that shuts it."""
    pen.way(layer, [lane.start, lane.end], ink, dash=DOT_MM, thin=True)
    start, end = np.array(lane.start), np.array(lane.end)
    along = (end - start) / max(1e-9, float(np.hypot(*(end - start))))
    near = float((np.array(lane.at) - start) @ along) - 2.2 * pen.table.radius_mm
    middle = start + along * max(0.0, near)
    across = np.array([-along[1], along[0]]) * 1.5 * pen.table.radius_mm
    pen.stroke(layer, [pen.px([middle - across, middle + across])], ink)
