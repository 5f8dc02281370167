"""A top view of one shot: as a self-contained SVG for pages, and as pixels for the inset in the video.

Both are written from the same shapes (lesson.diagram_shapes), with the head of the table to the left and the
left long cushion on top, or turned by quarter turns.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from itertools import count

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.lesson import style
from lessonkit.lesson.diagram_shapes import (
    BALL_SCALE,
    FRAME_MM,
    SMALL_BALL_SCALE,
    WAY_MM,
    Disc,
    Look,
    Shape,
    Stroke,
    Text,
    actual_shapes,
    layout_shapes,
    plan_shapes,
    table_shapes,
    tag_shapes,
)
from lessonkit.lesson.landing import landing_radius_mm, measured_place
from lessonkit.lesson.projected import dashes
from lessonkit.lesson.text import draw_text
from lessonkit.model import CUE_BALL, Point, Shot, Table

_ids = count(1)


LEAST_LINE_PX = 4.5
"""The cue ball's way is no thinner in a picture's diagram, so that it is seen on a telephone."""


def shot_shapes(shot: Shot, table: Table, *, actual: bool = True, look: Look | None = None) -> list[Shape]:
    """All shapes of a shot's top view, in the order in which they are laid down.

    Where balls have no room for their numbers, those that the shot is about have theirs beside them.
    """
    layout, look = shot.seen.layout_before, look or Look()
    shapes = table_shapes(table)
    if shot.plan is not None:
        shapes += plan_shapes(shot.plan, table, landing_radius_mm(shot), look, measured_place(shot))
    if actual:
        shapes += actual_shapes(shot, table, look)
    shapes += layout_shapes(layout, table, look)
    if look.number_mm is not None:
        shapes += tag_shapes(_told(shot), layout, table, look.number_mm)
    return shapes


def _told(shot: Shot) -> list[int]:
    """The called ball and the next one."""
    called = shot.plan.ball if shot.plan is not None else None
    following = shot.note.intent.next_ball if shot.note is not None else None
    return [b for b in dict.fromkeys((called, following)) if b is not None and b != CUE_BALL]


class _Frame:
    """Table millimetres to drawing units (x right, y down), turned by `turn` quarter turns anticlockwise."""

    def __init__(self, table: Table, turn: int) -> None:
        self.turn = turn % 4
        self.length = table.length_mm + 2 * FRAME_MM
        self.width = table.width_mm + 2 * FRAME_MM
        self.size = (self.length, self.width) if self.turn % 2 == 0 else (self.width, self.length)

    def __call__(self, p: Point) -> Point:
        u, v = p[0] + FRAME_MM, p[1] + FRAME_MM
        L, W = self.length, self.width
        return ((u, W - v), (W - v, L - u), (L - u, v), (v, u))[self.turn]


def diagram_svg(shot: Shot, table: Table, *, turn: int = 0) -> str:
    """One `<svg>` element, self-contained, with a title and a description for those who cannot see it.

    Planned ways are dashed, actual ways solid. `turn` counts quarter turns anticlockwise.
    """
    frame = _Frame(table, turn)
    n = next(_ids)
    title, text = _words(shot)
    body = "\n".join(_svg(s, frame) for s in shot_shapes(shot, table))
    w, h = frame.size
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w:.0f} {h:.0f}" role="img" '
        f'aria-labelledby="shot-{shot.seen.number}-{n}-title shot-{shot.seen.number}-{n}-text">\n'
        f'<title id="shot-{shot.seen.number}-{n}-title">{escape(title)}</title>\n'
        f'<desc id="shot-{shot.seen.number}-{n}-text">{escape(text)}</desc>\n{body}\n</svg>'
    )


def _words(shot: Shot) -> tuple[str, str]:
    """Title and description."""
    seen, plan = shot.seen, shot.plan
    parts = [f"{len(seen.layout_before)} balls lie on the table."]
    if plan is not None and plan.ball is not None:
        where = f" in the {plan.pocket} pocket" if plan.pocket else ""
        parts.append(f"Called: ball {plan.ball}{where}.")
    if plan is not None and plan.cue_path:
        parts.append(
            "The dashed line is the cue ball's planned way, the cross its planned place, the dashed circle the zone about it or of the note."
        )
    parts.append("The solid line is the way that the cue ball took.")
    for p in seen.pocketed:
        name = "The cue ball" if p.ball == CUE_BALL else f"Ball {p.ball}"
        parts.append(f"{name} dropped in the {p.pocket} pocket.")
    if shot.comparison is not None and shot.comparison.landing_error_mm is not None:
        parts.append(
            f"The cue ball stopped {shot.comparison.landing_error_mm:.0f} mm from the planned place."
        )
    return f"Shot {seen.number} seen from above", " ".join(parts)


def _svg(shape: Shape, frame: _Frame) -> str:
    if isinstance(shape, Text):
        x, y = frame(shape.at)
        return (
            f'<text x="{x:.1f}" y="{y:.1f}" font-size="{shape.size_mm:.1f}" fill="{shape.colour}" '
            'font-family="DejaVu Sans, Verdana, sans-serif" font-weight="bold" text-anchor="middle" '
            f'dominant-baseline="central">{escape(shape.text)}</text>'
        )
    paint = f'fill="{shape.fill or "none"}"'
    if shape.stroke is not None:
        paint += f' stroke="{shape.stroke.colour}" stroke-width="{shape.stroke.width_mm:g}"'
        paint += ' stroke-linejoin="round"'
        if shape.stroke.dash is not None:
            paint += f' stroke-dasharray="{shape.stroke.dash[0]:g} {shape.stroke.dash[1]:g}"'
    if isinstance(shape, Disc):
        x, y = frame(shape.centre)
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{shape.radius_mm:.1f}" {paint}/>'
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in map(frame, shape.points))
    return f'<{"polygon" if shape.closed else "polyline"} points="{points}" {paint}/>'


Place = Callable[[list[Point]], NDArray[np.float64]]
"""Table places to pixels, shape (N, 2); the centre of the first pixel is (0, 0)."""
SHIFT = 4
"""Bits of fraction in OpenCV's coordinates: sixteenths of a pixel."""


def diagram_image(
    shot: Shot, table: Table, width_px: int, *, actual: bool = True, turn: int = 0, number_px: float = 0.0
) -> NDArray[np.uint8]:
    """The same drawing as pixels, shape (height, width_px, 3), blue-green-red, opaque.

    `actual=False` leaves out what happened, for the moment before the shot is seen. `number_px` is the least height of
    letters that can be read where it is shown; balls that have no room for it bear no number.
    """
    frame = _Frame(table, turn)
    over = 2  # drawn at twice the size and averaged: balls stay round at 200 pixels
    scale = over * width_px / frame.size[0]
    height = max(1, round(width_px * frame.size[1] / frame.size[0]))
    image = np.zeros((height * over, width_px * over, 3), np.uint8)
    look = Look()
    if number_px:
        bold = max(1.0, LEAST_LINE_PX * over / (WAY_MM * scale))
        room_px = table.radius_mm * BALL_SCALE * 0.95 * scale / over
        look = (
            Look(bold=bold)
            if room_px >= number_px
            else Look(SMALL_BALL_SCALE, bold, number_px * over / scale)
        )

    def place(points: list[Point]) -> NDArray[np.float64]:
        return np.array([frame(p) for p in points]) * scale - 0.5

    for shape in shot_shapes(shot, table, actual=actual, look=look):
        paint(image, shape, place, scale)
    return np.asarray(cv2.resize(image, (width_px, height), interpolation=cv2.INTER_AREA), np.uint8)


def paint(image: NDArray[np.uint8], shape: Shape, place: Place, scale: float) -> None:
    """Draw a shape into a picture, shape (height, width, 3), in which a millimetre takes `scale` pixels."""
    if isinstance(shape, Text):
        x, y = place([shape.at])[0] + 0.5
        draw_text(image, shape.text, (x, y), shape.size_mm * scale, shape.colour)
        return
    if isinstance(shape, Disc):
        angles = np.linspace(0, 2 * np.pi, 73)[:-1]
        points = [
            (shape.centre[0] + shape.radius_mm * np.cos(a), shape.centre[1] + shape.radius_mm * np.sin(a))
            for a in angles
        ]
        closed = True
    else:
        points, closed = list(shape.points), shape.closed
    if shape.fill is not None:
        cv2.fillPoly(image, [_fixed(place(points))], style.bgr(shape.fill), cv2.LINE_AA, SHIFT)
    if shape.stroke is not None:
        _stroke(image, shape.stroke, points, closed, place, scale)


def _fixed(points_px: NDArray[np.float64]) -> NDArray[np.int32]:
    return np.round(points_px * (1 << SHIFT)).astype(np.int32)


def _stroke(
    image: NDArray[np.uint8], stroke: Stroke, points: list[Point], closed: bool, place: Place, scale: float
) -> None:
    width = max(1, round(stroke.width_mm * scale))
    ring = [*points, points[0]] if closed else points
    pieces = [np.asarray(ring)] if stroke.dash is None else dashes(np.asarray(ring), *stroke.dash)
    for piece in pieces:
        line = _fixed(place([(float(x), float(y)) for x, y in piece]))
        cv2.polylines(image, [line], False, style.bgr(stroke.colour), width, cv2.LINE_AA, SHIFT)
