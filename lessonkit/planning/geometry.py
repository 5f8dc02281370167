"""Ghost ball, cut, mirror images, diamonds (docs/strokes.md, "Aiming")."""

from __future__ import annotations

from collections.abc import Iterable
from math import atan2, cos, degrees, hypot, sin

from lessonkit.model import Cushion, Layout, Point, Table


def ghost_ball(ball: Point, target: Point, diameter_mm: float) -> Point:
    """G = O - D (P - O)/|P - O|: where the cue ball must be to send `ball` to `target`."""
    d = hypot(target[0] - ball[0], target[1] - ball[1]) or 1.0
    k = diameter_mm / d
    return ball[0] - k * (target[0] - ball[0]), ball[1] - k * (target[1] - ball[1])


def direction_deg(a: Point, b: Point) -> float:
    """Direction from a to b, degrees from +x towards +y."""
    return degrees(atan2(b[1] - a[1], b[0] - a[0]))


def turn_deg(a: float, b: float) -> float:
    """From direction a to direction b, -180 to 180, positive to the left."""
    return (b - a + 180.0) % 360.0 - 180.0


def cut_deg(cue: Point, ball: Point, target: Point, diameter_mm: float) -> float:
    """Cut angle, signed: positive where the ball leaves to the left of the cue ball's way."""
    ghost = ghost_ball(ball, target, diameter_mm)
    return turn_deg(direction_deg(cue, ghost), direction_deg(ball, target))


def fullness(cut: float) -> float:
    """Hit fraction f = 1 - sin |c| (Alciatore, fractional-ball aiming)."""
    return 1.0 - sin(abs(cut) * 0.017453292519943295)


def mirror(point: Point, cushion: Cushion, table: Table, inset_mm: float) -> Point:
    """Mirror image of a place in the line `inset_mm` inside a nose, where the centres turn."""
    x, y = point
    if cushion == "head":
        return 2 * inset_mm - x, y
    if cushion == "foot":
        return 2 * (table.length_mm - inset_mm) - x, y
    if cushion == "right":
        return x, 2 * inset_mm - y
    return x, 2 * (table.width_mm - inset_mm) - y


def mirrored(target: Point, cushions: Iterable[Cushion], table: Table, inset_mm: float) -> Point:
    """Where to aim so that a ball meets `cushions` in order and then `target`, by equal angles."""
    for name in reversed(tuple(cushions)):
        target = mirror(target, name, table, inset_mm)
    return target


def diamonds(mm: float, length_mm: float) -> float:
    """A length along the long rail in diamonds: eighths of the table's length."""
    return mm / (length_mm / 8.0)


def off_line(a: Point, b: Point, p: Point) -> float:
    """Distance of p from the stretch a-b, mm."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    n = dx * dx + dy * dy
    k = 0.0 if n == 0.0 else max(0.0, min(1.0, ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / n))
    return hypot(p[0] - a[0] - k * dx, p[1] - a[1] - k * dy)


def blocked_mm(a: Point, b: Point, layout: Layout, leave_out: Iterable[int], diameter_mm: float) -> float:
    """By how much the worst ball reaches into a ball's way from a to b; 0: the way is clear."""
    out = set(leave_out)
    return max((diameter_mm - off_line(a, b, p) for n, p in layout.items() if n not in out), default=0.0)


def half_window_deg(opening_mm: float, diameter_mm: float, distance_mm: float, off_axis_deg: float) -> float:
    """Half the angle in which a ball still drops: atan((w cos g - D) / 2d), g off the pocket's axis."""
    free = opening_mm * cos(off_axis_deg * 0.017453292519943295) - diameter_mm
    if free <= 0.0 or distance_mm <= 0.0:
        return 0.0
    return degrees(atan2(free, 2.0 * distance_mm))
