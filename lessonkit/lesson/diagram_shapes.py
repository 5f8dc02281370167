"""The top view of one shot as plain shapes in table millimetres; lesson.diagram writes them as SVG or pixels."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lessonkit.lesson import style
from lessonkit.lesson.projected import circle, spread_rim
from lessonkit.model import CUE_BALL, Layout, Plan, Point, Shot, Table

FRAME_MM = 150.0
"""Width drawn for rail and cushion together around the playing surface."""
CUSHION_MM = 48.0
"""How much of that is cushion: nose to rail, about 2 in (common practice, no source)."""
BALL_SCALE = 1.4
"""Balls are drawn larger than life, so that their numbers can be read."""
SMALL_BALL_SCALE = 1.9
"""In a drawing too small for numbers, for the colours to be seen."""

JAWS_MM = 95.0
"""Nearer to a pocket's nominal place than this a ball is between its jaws (half a corner's mouth and a ball's radius)."""

CLOTH = "#E9EFEA"
CUSHION = "#CBD8CF"
RAIL = "#4A4F57"
SIGHT = "#E9EFEA"
HOLE = "#15171A"
PLANNED = style.BLUE
ACTUAL = style.VERMILLION
OTHER = "#5A6068"
INK = "#15171A"
WAY_MM = 13.0
"""Width of the cue ball's ways."""


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


@dataclass(frozen=True)
class Look:
    """How large a drawing draws what would be too small in it at its own size."""

    ball_scale: float = BALL_SCALE
    bold: float = 1.0
    """Width of lines, arrows and dashes with them, to that of a page's drawing."""
    number_mm: float | None = None
    """Height of letters where balls have no room for their numbers, which then stand beside some; None: on all."""

    def stroke(self, colour: str, width_mm: float, dash: tuple[float, float] | None = None) -> Stroke:
        """A line's stroke; dashes grow by less than its width, so that short ways still show some."""
        share = math.sqrt(self.bold)
        return Stroke(colour, width_mm * self.bold, dash and (dash[0] * share, dash[1] * share))


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


def ball_shapes(number: int, at: Point, table: Table, look: Look | None = None) -> list[Shape]:
    """One ball: plain, or white with a band of its colour, and its number on white; the cue ball bare."""
    look = look or Look()
    r = table.radius_mm * look.ball_scale
    colour = style.ball_colour(number)
    outline = look.stroke(INK, 5.0)
    if number == CUE_BALL:
        return [Disc(at, r, fill=style.WHITE, stroke=look.stroke(INK, 8.0))]
    shapes: list[Shape] = [
        Disc(at, r, fill=style.WHITE if style.is_stripe(number) else colour, stroke=outline)
    ]
    if style.is_stripe(number):
        half = math.asin(0.7)
        angles = [half * (k / 6 - 1) for k in range(13)]
        right = [(at[0] + r * math.cos(a), at[1] + r * math.sin(a)) for a in angles]
        left = [(at[0] - r * math.cos(a), at[1] - r * math.sin(a)) for a in angles]
        shapes.append(Line(tuple(right + left), fill=colour, closed=True))
    if look.number_mm is not None:
        return shapes
    shapes.append(Disc(at, r * 0.56, fill=style.WHITE))
    shapes.append(Text(at, str(number), r * (0.95 if number < 10 else 0.76)))
    return shapes


def layout_shapes(layout: Layout, table: Table, look: Look | None = None) -> list[Shape]:
    """Every ball of a layout, the cue ball last and so on top."""
    order = sorted(layout, key=lambda n: (n == CUE_BALL, n))
    return [s for n in order for s in ball_shapes(n, layout[n], table, look)]


def tag_shapes(balls: Iterable[int], layout: Layout, table: Table, size_mm: float) -> list[Shape]:
    """Numbers of `size_mm` beside these balls, each where most room is: within the cloth, off balls and other numbers."""
    shapes: list[Shape] = []
    taken = list(layout.values())
    reach = table.radius_mm * SMALL_BALL_SCALE + 0.62 * size_mm
    for ball in balls:
        if ball not in layout:
            continue
        x, y = layout[ball]
        places = [
            (x + reach * math.cos(a), y + reach * math.sin(a)) for a in (k * math.pi / 4 for k in range(8))
        ]
        own = [p for p in taken if p != layout[ball]]

        def room(p: Point, own: list[Point] = own) -> float:
            inside = min(p[0], table.length_mm - p[0], p[1], table.width_mm - p[1]) - 0.5 * size_mm
            return min([inside, *(math.dist(p, q) - size_mm for q in own)])

        at = max(places, key=room)
        taken.append(at)
        shapes += [Disc(at, 0.62 * size_mm, fill=CLOTH), Text(at, str(ball), size_mm)]
    return shapes


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


CROSS_MM = 26.0
"""Arms of the cross at the planned place."""


def _cross(place: Point, arm_mm: float) -> Shape:
    """A filled cross: a line of its colour would be dashed."""
    (x, y), t = place, 0.16 * arm_mm
    right = [(t, t), (arm_mm, t), (arm_mm, -t)]
    corners = [
        (u * c - v * s, u * s + v * c) for c, s in ((1, 0), (0, -1), (-1, 0), (0, 1)) for u, v in right
    ]
    return Line(tuple((x + u, y + v) for u, v in corners), fill=PLANNED, closed=True)


def plan_shapes(
    plan: Plan,
    table: Table,
    landing_radius_mm: float | None,
    look: Look | None = None,
    place: Point | None = None,
) -> list[Shape]:
    """The planned ways, dashed, the ghost ball, the zone of the note, the spread of landings, a cross at the planned place."""
    shapes: list[Shape] = []
    look = look or Look()
    landing = plan.landing or (plan.cue_path[-1] if plan.cue_path else None)
    if landing is not None and landing_radius_mm:
        stroke = look.stroke(PLANNED, 7.0, (30, 22))
        rim = np.clip(circle(landing, landing_radius_mm), 0.0, (table.length_mm, table.width_mm))[:-1]
        points = tuple((float(x), float(y)) for x, y in rim)
        shapes.append(Line(points, stroke, fill="#CFE0EE", closed=True))
    if plan.landing_spread is not None:
        rim = spread_rim(plan.landing_spread, table)
        shapes.append(
            Line(
                tuple((float(x), float(y)) for x, y in rim[:-1]),
                look.stroke(PLANNED, 6.0),
                fill="#A9CBE4",
                closed=True,
            )
        )
    shapes += _way(on_table(plan.ball_path, table), look.stroke(OTHER, 9.0, (34, 24)))
    shapes += _way(on_table(plan.cue_path, table), look.stroke(PLANNED, WAY_MM, (46, 30)))
    if plan.ghost is not None:
        r = table.radius_mm * look.ball_scale
        shapes.append(Disc(plan.ghost, r, stroke=look.stroke(PLANNED, 8.0, (16, 12))))
    if place is not None:
        shapes.append(_cross(place, CROSS_MM * look.bold**0.5))
    return shapes


def actual_shapes(shot: Shot, table: Table, look: Look | None = None) -> list[Shape]:
    """The ways that the balls took, solid, and where the cue ball came to rest."""
    seen, look = shot.seen, look or Look()
    shapes: list[Shape] = []
    for number in sorted(seen.paths):
        if shot.plan is None or number == shot.plan.ball:
            track = tidy(seen.paths[number], table)
            shapes += _way(thin(track[:, 1:3], 4.0), look.stroke(OTHER, 9.0))
    shapes += _way(thin(tidy(seen.cue_path, table)[:, 1:3]), look.stroke(ACTUAL, WAY_MM))
    rest = seen.layout_after.get(CUE_BALL)
    if rest is not None:
        r = table.radius_mm * look.ball_scale
        shapes.append(Disc(rest, r, fill="#F7E4D8", stroke=look.stroke(ACTUAL, 10.0)))
    return shapes


def tidy(track: NDArray[np.float64], table: Table) -> NDArray[np.float64]:
    """A track without what happens in a pocket's jaws, where a rattling ball's place is a guess, shape (N, 3).

    Of each stay there the first and last point are left, and the way ends where it leaves the playing surface.
    """
    if len(track) < 3:
        return track
    p = track[:, 1:3]
    off = (p < 0).any(1) | (p[:, 0] > table.length_mm) | (p[:, 1] > table.width_mm)
    end = int(np.argmax(off)) + 1 if off.any() else len(track)
    mouths = np.array(list(table.pockets.values()))
    jaws = np.hypot(*(p[:end, None] - mouths[None]).transpose(2, 0, 1)).min(1) < JAWS_MM
    inner = np.zeros(end, bool)
    inner[1:-1] = jaws[1:-1] & jaws[:-2] & jaws[2:]
    return np.asarray(track[:end][~inner], np.float64)


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
    return [pts[i] for i in kept_points(pts, tolerance_mm)]


def kept_points(pts: Sequence[Point], tolerance_mm: float) -> list[int]:
    """Which points of a way `thin` keeps, ascending."""
    if len(pts) < 3:
        return list(range(len(pts)))
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
    return sorted(keep)


def _distance(p: Point, a: Point, b: Point) -> float:
    dx, dy = b[0] - a[0], b[1] - a[1]
    length2 = dx * dx + dy * dy
    t = 0.0 if length2 == 0 else min(1.0, max(0.0, ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / length2))
    return math.hypot(p[0] - a[0] - t * dx, p[1] - a[1] - t * dy)
