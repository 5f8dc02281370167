"""Where a ball's centre can turn: straight noses, jaws, the tips between them, and the drops of the pockets."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import cos, radians, sin, sqrt

from lessonkit.model import Cushion, Pocket, Point, Table

CORNER_TURN_DEG = 142.0
SIDE_TURN_DEG = 104.0
"""Horizontal cut angles between nose line and jaw (WPA specification, November 2001)."""
CORNER_SHELF_MM = 44.45
SIDE_SHELF_MM = 9.525
"""From the mouth to the drop: 1 3/4 in and 3/8 in, common values within the specification's ranges."""
JAW_MM = 90.0
"""Length of a jaw that is looked at; the drop lies nearer."""


@dataclass(frozen=True)
class Face:
    """A straight face: a ball's centre turns on the line through `start` shifted by the touch distance along -normal."""

    sx: float
    sy: float
    ex: float
    ey: float
    """Ends of the face itself, mm."""
    nx: float
    ny: float
    """Unit vector from the ball into the face."""
    cushion: Cushion
    jaw: bool


@dataclass(frozen=True)
class Tip:
    """The point where nose and jaw meet."""

    x: float
    y: float
    cushion: Cushion


@dataclass(frozen=True)
class Drop:
    """A pocket: a centre past the line through (x, y) along the outward (ox, oy) has dropped."""

    pocket: Pocket
    x: float
    y: float
    ox: float
    oy: float
    mouth: Point
    """Middle of the mouth."""
    reach_mm: float
    """No jaw, tip or drop of this pocket is farther from the mouth's middle than this."""
    faces: tuple[Face, ...]
    tips: tuple[Tip, ...]


@dataclass(frozen=True)
class Cushions:
    """All that stands around the cloth."""

    touch_mm: float
    """Horizontal distance from nose to centre at contact: sqrt(R2 - (h - R)2)."""
    sine: float
    """(h - R) / R, h the nose height."""
    noses: tuple[Face, ...]
    drops: tuple[Drop, ...]


@lru_cache(maxsize=8)
def cushions_of(table: Table) -> Cushions:
    """Noses, jaws and drops of a table by the specification's angles."""
    R, h = table.radius_mm, table.nose_height_mm
    L, W = table.length_mm, table.width_mm
    c, s = table.corner_mouth_mm / sqrt(2.0), table.side_mouth_mm / 2.0
    rise = min(max(h - R, 0.0), 0.9 * R)
    noses = (
        Face(0.0, c, 0.0, W - c, -1.0, 0.0, "head", False),
        Face(L, c, L, W - c, 1.0, 0.0, "foot", False),
        Face(c, 0.0, L / 2 - s, 0.0, 0.0, -1.0, "right", False),
        Face(L / 2 + s, 0.0, L - c, 0.0, 0.0, -1.0, "right", False),
        Face(c, W, L / 2 - s, W, 0.0, 1.0, "left", False),
        Face(L / 2 + s, W, L - c, W, 0.0, 1.0, "left", False),
    )
    drops = [_corner(p, table, c) for p in ("head-right", "foot-right", "head-left", "foot-left")]
    drops += [_side(p, table, s) for p in ("side-right", "side-left")]
    return Cushions(sqrt(R * R - rise * rise), rise / R, noses, tuple(drops))


def _jaw(x: float, y: float, dx: float, dy: float, nx: float, ny: float, cushion: Cushion) -> Face:
    return Face(x, y, x + JAW_MM * dx, y + JAW_MM * dy, nx, ny, cushion, True)


def _corner(pocket: Pocket, table: Table, c: float) -> Drop:
    """A corner pocket: both jaws turn by 180 - 142 degrees away from their noses."""
    X, Y = table.pockets[pocket]
    ix, iy = (1.0 if X == 0.0 else -1.0), (1.0 if Y == 0.0 else -1.0)  # into the table
    end: Cushion = "head" if X == 0.0 else "foot"
    long: Cushion = "right" if Y == 0.0 else "left"
    a = radians(180.0 - CORNER_TURN_DEG)
    ca, sa = cos(a), sin(a)
    # along the long rail towards the pocket is -ix; its jaw bends outward (-iy)
    long_jaw = _jaw(X + ix * c, Y, -ix * ca, -iy * sa, ix * sa, -iy * ca, long)
    end_jaw = _jaw(X, Y + iy * c, -ix * sa, -iy * ca, -ix * ca, iy * sa, end)
    o = sqrt(0.5)
    deep = c * o - CORNER_SHELF_MM  # of the drop line's nearest point from the corner
    return Drop(
        pocket, X + ix * deep * o, Y + iy * deep * o, -ix * o, -iy * o,
        (X + ix * c / 2, Y + iy * c / 2), c * o + 2.0 * table.radius_mm,
        (long_jaw, end_jaw), (Tip(X + ix * c, Y, long), Tip(X, Y + iy * c, end)),
    )  # fmt: skip


def _side(pocket: Pocket, table: Table, s: float) -> Drop:
    """A side pocket: jaws turn by 180 - 104 degrees."""
    X, Y = table.pockets[pocket]
    iy = 1.0 if Y == 0.0 else -1.0
    rail: Cushion = "right" if Y == 0.0 else "left"
    a = radians(180.0 - SIDE_TURN_DEG)
    ca, sa = cos(a), sin(a)
    faces = tuple(_jaw(X - k * s, Y, k * ca, -iy * sa, -k * sa, -iy * ca, rail) for k in (1.0, -1.0))
    tips = (Tip(X - s, Y, rail), Tip(X + s, Y, rail))
    return Drop(pocket, X, Y - iy * SIDE_SHELF_MM, 0.0, -iy, (X, Y), s + 2.0 * table.radius_mm, faces, tips)


def pocket_target(pocket: Pocket, table: Table, ball: Point, aside: float = 0.0) -> Point:
    """Where to aim an object ball that lies at `ball`: the middle of the mouth, mm.

    aside: shift along the mouth as a share of the room that the ball has there, -1 to 1, positive to the left of
    somebody who looks into the pocket. A ball already in the mouth is sent on along the pocket's axis.
    """
    drop = next(d for d in cushions_of(table).drops if d.pocket == pocket)
    wide = table.side_mouth_mm if pocket.startswith("side") else table.corner_mouth_mm
    free = max(0.0, wide - table.ball_diameter_mm) / 2.0 * aside
    x, y = drop.mouth[0] - drop.oy * free, drop.mouth[1] + drop.ox * free
    if (x - ball[0]) * drop.ox + (y - ball[1]) * drop.oy < table.radius_mm:
        deep = CORNER_SHELF_MM + table.radius_mm
        x, y = x + deep * drop.ox, y + deep * drop.oy
    return x, y
