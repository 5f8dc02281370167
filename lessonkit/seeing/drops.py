"""When a ball fell, and what of a cushion is pocket: the mouths of the pockets."""

from __future__ import annotations

import math

import numpy as np

from lessonkit.model import Pocket, Point, Table, Track

CORNER_SHELF_MM = 41.3
"""From the line between a corner's tips to the edge of the hole: 1 to 2 1/4 inch, the middle of it (WPA's figures, from
memory)."""
SIDE_SHELF_MM = 4.8
"""The same for a side pocket: 0 to 3/8 inch."""
ONWARD_S = 0.15
"""A ball that is lost from sight before it reaches the edge is carried on for so long."""
LEAST_MMPS = 50.0
OUT_MM = 40.0
"""How far past the nose line, in a pocket's mouth, a ball is still looked for."""
DROP_MM = 12.0
"""A moving ball this far past the nose line is in the pocket."""
JUST_S = 0.3
"""See `over_hole`."""
SURELY_OVER_MM = 3.0
"""So far past the edge a ball is said to have run that was not seen there."""
JAW_RADII = 0.7
"""A centre that is further from a jaw than so many radii at the edge falls: jaws lead it in."""
TIP_MM = 8.0
"""So near a tip the nose may still have been met: tips are rounded, and places and mouths are not known better."""


def depth_mm(places: Track | np.ndarray, pocket: Pocket, table: Table) -> np.ndarray:
    """How far centres, shape (N, 2), are past the edge of a pocket's hole, along the pocket's axis; shape (N,)."""
    inward_x, inward_y = _inward_mm(places, pocket, table)
    if pocket.startswith("side"):
        return np.asarray(-inward_y - SIDE_SHELF_MM)
    edge = table.corner_mouth_mm / 2 - CORNER_SHELF_MM
    return np.asarray(edge - (inward_x + inward_y) / np.sqrt(2.0))


def _inward_mm(places: Track | np.ndarray, pocket: Pocket, table: Table) -> tuple[np.ndarray, np.ndarray]:
    """How far centres, shape (N, 2), are from a corner's rails into the bed, each of shape (N,); of a side pocket, how far along
    its rail from its middle, and into the bed."""
    px, py = table.pockets[pocket]
    along = places[:, 0] - px
    return -along if px == table.length_mm else along, places[:, 1] if py == 0 else table.width_mm - places[
        :, 1
    ]


def drop_time(track: Track, pocket: Pocket, fallback_s: float, table: Table) -> float:
    """When a tracked ball's centre passed the edge of the hole that it fell into.

    `track`: (N, 3) t, x, y up to its last sight. Where the ball was last seen before the edge it is carried on;
    `fallback_s` where its way leads to no edge.
    """
    if len(track) < 2:
        return fallback_s
    depth = depth_mm(track[:, 1:], pocket, table)
    over = np.nonzero(depth >= 0)[0]
    # it may have been over the edge and come back from the far side of the hole: the first time counts
    if len(over) and over[0] > 0:
        k = int(over[0])
        share = -depth[k - 1] / (depth[k] - depth[k - 1])
        return float(track[k - 1, 0] + share * (track[k, 0] - track[k - 1, 0]))
    if len(over):
        return float(track[0, 0])
    near = track[-4:] if len(track) >= 4 else track[-2:]
    rate = float(np.polyfit(near[:, 0], depth_mm(near[:, 1:], pocket, table), 1)[0])
    if rate < LEAST_MMPS:
        return fallback_s
    t = float(track[-1, 0] - depth[-1] / rate)
    return t if t < track[-1, 0] + ONWARD_S else fallback_s


def on_table(place: Point, table: Table) -> bool:
    """Whether a ball's centre can be there: on the bed, or in a pocket's mouth."""
    x, y = place
    out_x, out_y = max(-x, x - table.length_mm, 0.0), max(-y, y - table.width_mm, 0.0)
    if max(out_x, out_y) <= 0:
        return True
    nearest = min(np.hypot(x - px, y - py) for px, py in table.pockets.values())
    return bool(max(out_x, out_y) < OUT_MM and nearest < 2 * OUT_MM)


def entered(place: Point, table: Table) -> Pocket | None:
    """The pocket in which a moving ball with its centre there must be."""
    for name, (px, py) in table.pockets.items():
        out_x = max(-place[0], place[0] - table.length_mm)
        out_y = max(-place[1], place[1] - table.width_mm)
        if max(out_x, out_y) > DROP_MM and np.hypot(place[0] - px, place[1] - py) < 2 * OUT_MM:
            return name
    return None


def over_hole(track: Track, table: Table) -> Pocket | None:
    """The pocket over whose hole a ball's centre was seen within JUST_S of its last sight; what lies in it shows for some
    frames yet. `track`: (N, 3) t, x, y."""
    recent = track[track[:, 0] > track[-1, 0] - JUST_S] if len(track) else track
    for name, p in table.pockets.items():
        near = recent[np.hypot(*(recent[:, 1:] - p).T) < 2 * OUT_MM]
        if len(near) and float(depth_mm(near[:, 1:], name, table).max()) > 0:
            return name
    return None


def ran_over(track: Track, now_s: float, table: Table) -> Pocket | None:
    """The pocket over whose hole a ball has come by now if it ran on as in its last two sights, the last one in the mouth.

    Between two pictures a ball rolls from the shelf over the edge and is gone: no picture need show it over the hole.
    `track`: (N, 3) t, x, y.
    """
    if len(track) < 2:
        return None
    (t0, *a), (t1, *b) = track[-2:]
    for name, p in table.pockets.items():
        if np.hypot(b[0] - p[0], b[1] - p[1]) > 2 * OUT_MM:
            continue
        was, depth = (float(d) for d in depth_mm(np.array([a, b]), name, table))
        rate = (depth - was) / max(t1 - t0, 1e-3)
        if rate <= LEAST_MMPS or depth + rate * min(now_s - t1, ONWARD_S) < SURELY_OVER_MM:
            continue
        at = np.add(b, np.subtract(b, a) * -depth / (depth - was))
        if _aside_mm(at, name, table) < _half_mouth_mm(name, table) - JAW_RADII * table.radius_mm:
            return name
    return None


def _half_mouth_mm(pocket: Pocket, table: Table) -> float:
    return (table.side_mouth_mm if pocket.startswith("side") else table.corner_mouth_mm) / 2


def _aside_mm(place: np.ndarray, pocket: Pocket, table: Table) -> float:
    """How far a centre is from a pocket's axis."""
    (x,), (y,) = _inward_mm(np.atleast_2d(place), pocket, table)
    # a corner's axis runs at 45 degrees to both rails
    return abs(float(x)) if pocket.startswith("side") else abs(float(x - y)) / math.sqrt(2.0)


def in_mouth(place: Point, table: Table) -> bool:
    """Whether a ball that touches a nose line at this place does so where the mouth of a pocket is: there is no nose."""
    x, y = place
    corner = table.corner_mouth_mm / np.sqrt(2.0) - TIP_MM
    side = table.side_mouth_mm / 2 - TIP_MM
    long_rail = min(y, table.width_mm - y) < min(x, table.length_mm - x)
    if long_rail:
        return bool(min(x, table.length_mm - x) < corner or abs(x - table.length_mm / 2) < side)
    return bool(min(y, table.width_mm - y) < corner)
