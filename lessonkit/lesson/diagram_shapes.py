"""The top view of one shot as plain shapes in table millimetres; lesson.diagram writes them as SVG or pixels."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from lessonkit.lesson import style
from lessonkit.model import CUE_BALL, Layout, Plan, Point, Shot, Table

FRAME_MM = 150.0
"""Width drawn for rail and cushion together around the playing surface."""
CUSHION_MM = 48.0
"""How much of that is cushion: nose to rail, about 2 in (common practice, no source)."""
BALL_SCALE = 1.4
"""Balls are drawn larger than life, so that their numbers can be read."""

CLOTH = "#E9EFEA"
CUSHION = "#CBD8CF"
RAIL = "#4A4F57"
SIGHT = "#E9EFEA"
HOLE = "#15171A"
PLANNED = style.BLUE
ACTUAL = style.VERMILLION
OTHER = "#5A6068"
INK = "#15171A"


@dataclass(frozen=True)
class Stroke:
    """How a shape's line looks; dash is (on, off) in millimetres, None for a solid line."""

    colour: str
    width_mm: float
    dash: tuple[float, float] | None = None


@dataclass(frozen=True)
class Line:
    """An open or closed polyline."""

    points: tuple[Point, ...]
    stroke: Stroke | None = None
    fill: str | None = None
    closed: bool = False


@dataclass(frozen=True)
class Disc:
    """A circle."""

    centre: Point
    radius_mm: float
    fill: str | None = None
    stroke: Stroke | None = None


@dataclass(frozen=True)
class Text:
    """A short text centred on a place."""

    at: Point
    text: str
    size_mm: float
    colour: str = INK


Shape = Line | Disc | Text


def box(x0: float, y0: float, x1: float, y1: float, fill: str) -> Line:
    """A filled rectangle."""
    return Line(((x0, y0), (x1, y0), (x1, y1), (x0, y1)), fill=fill, closed=True)


def table_shapes(table: Table) -> list[Shape]:
    """Rail, cushions, cloth, sights, pockets, head string and foot spot."""
    L, W = table.length_mm, table.width_mm
    shapes: list[Shape] = [
        box(-FRAME_MM, -FRAME_MM, L + FRAME_MM, W + FRAME_MM, RAIL),
        box(-CUSHION_MM, -CUSHION_MM, L + CUSHION_MM, W + CUSHION_MM, CUSHION),
        box(0, 0, L, W, CLOTH),
        Line(((L / 4, 0), (L / 4, W)), Stroke("#A9B8AE", 5.0)),
        Disc((3 * L / 4, W / 2), 10, fill="#A9B8AE"),
    ]
    middle = (FRAME_MM + CUSHION_MM) / 2
    for i in range(1, 8):
        if i != 4:
            shapes += [_sight((L * i / 8, -middle)), _sight((L * i / 8, W + middle))]
    for i in range(1, 4):
        shapes += [_sight((-middle, W * i / 4)), _sight((L + middle, W * i / 4))]
    for name, (x, y) in table.pockets.items():
        side = name.startswith("side")
        mouth = table.side_mouth_mm if side else table.corner_mouth_mm
        out = (
            0.0 if side else math.copysign(18.0, x - L / 2),
            math.copysign(42.0 if side else 18.0, y - W / 2),
        )
        shapes.append(Disc((x + out[0], y + out[1]), mouth * 0.56, fill=HOLE))
    return shapes


def _sight(at: Point) -> Line:
    x, y = at
    return Line(((x - 15, y), (x, y - 15), (x + 15, y), (x, y + 15)), fill=SIGHT, closed=True)


def ball_shapes(number: int, at: Point, table: Table) -> list[Shape]:
    """One ball: plain, or white with a band of its colour, and its number on white; the cue ball bare."""
    r = table.radius_mm * BALL_SCALE
    colour = style.ball_colour(number)
    outline = Stroke(INK, 5.0)
    if number == CUE_BALL:
        return [Disc(at, r, fill=style.WHITE, stroke=Stroke(INK, 8.0))]
    shapes: list[Shape] = [
        Disc(at, r, fill=style.WHITE if style.is_stripe(number) else colour, stroke=outline)
    ]
    if style.is_stripe(number):
        half = math.asin(0.7)
        angles = [half * (k / 6 - 1) for k in range(13)]
        right = [(at[0] + r * math.cos(a), at[1] + r * math.sin(a)) for a in angles]
        left = [(at[0] - r * math.cos(a), at[1] - r * math.sin(a)) for a in angles]
        shapes.append(Line(tuple(right + left), fill=colour, closed=True))
    shapes.append(Disc(at, r * 0.56, fill=style.WHITE))
    shapes.append(Text(at, str(number), r * (0.95 if number < 10 else 0.76)))
    return shapes


def layout_shapes(layout: Layout, table: Table) -> list[Shape]:
    """Every ball of a layout, the cue ball last and so on top."""
    order = sorted(layout, key=lambda n: (n == CUE_BALL, n))
    return [s for n in order for s in ball_shapes(n, layout[n], table)]


def _way(points: Iterable[Point], stroke: Stroke, *, arrow: bool = True) -> list[Shape]:
    pts = tuple((float(x), float(y)) for x, y in points)
    if len(pts) < 2:
        return []
    shapes: list[Shape] = [Line(pts, stroke)]
    tip = pts[-1]
    back = next((p for p in reversed(pts) if math.dist(p, tip) > 40), None)
    if arrow and back is not None:
        a = math.atan2(tip[1] - back[1], tip[0] - back[0])
        size = stroke.width_mm * 3.6
        wings = [(tip[0] - size * math.cos(a + w), tip[1] - size * math.sin(a + w)) for w in (0.45, -0.45)]
        shapes.append(Line((tip, wings[0], wings[1]), fill=stroke.colour, closed=True))
    return shapes


def plan_shapes(plan: Plan, table: Table, landing_radius_mm: float | None) -> list[Shape]:
    """The planned ways, dashed, the ghost ball and the landing place."""
    shapes: list[Shape] = []
    landing = plan.landing or (plan.cue_path[-1] if plan.cue_path else None)
    if landing is not None and landing_radius_mm:
        shapes.append(Disc(landing, landing_radius_mm, fill="#CFE0EE", stroke=Stroke(PLANNED, 7.0, (30, 22))))
    shapes += _way(on_table(plan.ball_path, table), Stroke(OTHER, 9.0, (34, 24)))
    shapes += _way(on_table(plan.cue_path, table), Stroke(PLANNED, 13.0, (46, 30)))
    if plan.ghost is not None:
        r = table.radius_mm * BALL_SCALE
        shapes.append(Disc(plan.ghost, r, stroke=Stroke(PLANNED, 8.0, (16, 12))))
    return shapes


def actual_shapes(shot: Shot, table: Table) -> list[Shape]:
    """The ways that the balls took, solid, and where the cue ball came to rest."""
    seen = shot.seen
    shapes: list[Shape] = []
    for number in sorted(seen.paths):
        if shot.plan is None or number == shot.plan.ball:
            shapes += _way(thin(on_table(seen.paths[number][:, 1:3], table)), Stroke(OTHER, 9.0))
    shapes += _way(thin(on_table(seen.cue_path[:, 1:3], table)), Stroke(ACTUAL, 13.0))
    rest = seen.layout_after.get(CUE_BALL)
    if rest is not None:
        shapes.append(Disc(rest, table.radius_mm * BALL_SCALE, fill="#F7E4D8", stroke=Stroke(ACTUAL, 10.0)))
    return shapes


def on_table(points: Iterable[Iterable[float]], table: Table) -> list[Point]:
    """The way up to where it leaves the playing surface into a pocket; what happens down there tells nothing."""
    kept: list[Point] = []
    for x, y in points:
        kept.append((float(x), float(y)))
        if not (0 <= x <= table.length_mm and 0 <= y <= table.width_mm):
            break
    return kept


def thin(points: Iterable[Iterable[float]], tolerance_mm: float = 2.0) -> list[Point]:
    """The way with points left out that lie within `tolerance_mm` of it (Ramer 1972, Douglas and Peucker 1973)."""
    pts = [(float(x), float(y)) for x, y in points]
    if len(pts) < 3:
        return pts
    keep = {0, len(pts) - 1}
    spans = [(0, len(pts) - 1)]
    while spans:
        a, b = spans.pop()
        far, at = 0.0, -1
        for i in range(a + 1, b):
            d = _distance(pts[i], pts[a], pts[b])
            if d > far:
                far, at = d, i
        if far > tolerance_mm:
            keep.add(at)
            spans += [(a, at), (at, b)]
    return [pts[i] for i in sorted(keep)]


def _distance(p: Point, a: Point, b: Point) -> float:
    dx, dy = b[0] - a[0], b[1] - a[1]
    length2 = dx * dx + dy * dy
    t = 0.0 if length2 == 0 else min(1.0, max(0.0, ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / length2))
    return math.hypot(p[0] - a[0] - t * dx, p[1] - a[1] - t * dy)
