"""Drawing on the table as the camera sees it: ways, dashes, rings, arrows and marks, each with an edge around it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lessonkit.lesson import projected, style
from lessonkit.lesson.picture import Cutout, Layer
from lessonkit.model import Camera, Layout, Pocket, Point, Table
from lessonkit.table.camera import project

Array = NDArray[np.float64]

DASH_MM = (46.0, 34.0)
"""On and off of a planned way: about a ball's width each, so it reads as dashed at any size."""
DOT_MM = (10.0, 24.0)


@dataclass(frozen=True, eq=False)
class Pen:
    """What drawing on one picture needs to know."""

    camera: Camera
    """Of the picture drawn on, scaled with it."""
    table: Table
    inks: style.Inks
    sizes: style.Sizes

    def px(self, points: ArrayLike, z_mm: float | None = None) -> Array:
        """Pixels, shape (N, 2), of places at a ball centre's height, or at `z_mm`."""
        return project(self.camera, points, self.table.radius_mm if z_mm is None else z_mm)

    def stroke(self, layer: Layer, ways_px: Sequence[Array], ink: style.Ink, *, thin: bool = False) -> None:
        """Lines on their edge: all edges first, so that no edge cuts a neighbour."""
        width = self.sizes.line_px * (0.6 if thin else 1.0)
        layer.lines(ways_px, ink.edge, width + 2 * self.sizes.edge_px)
        layer.lines(ways_px, ink.line, width)

    def way(
        self, layer: Layer, points: ArrayLike, ink: style.Ink, *,
        dash: tuple[float, float] | None = None, thin: bool = False, arrow: bool = False,
    ) -> None:  # fmt: skip
        """A way of ball centres, shape (N, 2) in table millimetres, following perspective and lens."""
        p = np.asarray(points, float).reshape(-1, 2)
        if len(p) < 2 or projected.lengths(p)[-1] < 1.0:
            return
        pieces = [p] if dash is None else projected.dashes(p, *dash)
        self.stroke(layer, [self.px(projected.sampled(q)) for q in pieces], ink, thin=thin)
        if arrow:
            self.arrow(layer, p, ink)

    def arrow(self, layer: Layer, points: ArrayLike, ink: style.Ink) -> None:
        """An arrow head at the way's end, in its last direction, lying in the plane of the ball centres."""
        total = float(projected.lengths(points)[-1])
        tip, back = projected.at_length(points, [total, max(0.0, total - 40.0)])
        along = tip - back
        if np.hypot(*along) < 1e-6:
            return
        along /= np.hypot(*along)
        across = np.array([-along[1], along[0]])
        length = 4.2 * self.sizes.line_px / projected.px_per_mm(self.camera, (float(tip[0]), float(tip[1])))
        corners = np.array(
            [tip, tip - along * length + across * length * 0.5, tip - along * length - across * length * 0.5]
        )
        head = self.px(corners)
        outline = [np.r_[head, head[:1]]]
        layer.lines(outline, ink.edge, 2 * self.sizes.edge_px + 1)
        layer.fill(head, ink.line)

    def ring(
        self, layer: Layer, centre: Point, ink: style.Ink, *, grow: float = 1.35, dashed: bool = False
    ) -> None:
        """A ring around a ball (or a ghost of one) at rest, `grow` times its radius."""
        outline = projected.ball_outline(self.camera, centre, self.table.radius_mm, scale=grow, count=60)
        closed = np.r_[outline, outline[:1]]
        ways = [closed[i : i + 4] for i in range(0, 60, 6)] if dashed else [closed]
        self.stroke(layer, ways, ink, thin=True)

    def zone(self, layer: Layer, centre: Point, radius_mm: float, ink: style.Ink) -> None:
        """A landing place: a light disc on the cloth, no further than the noses, with a dashed rim."""
        rim = np.clip(projected.circle(centre, radius_mm), 0.0, (self.table.length_mm, self.table.width_mm))
        layer.fill(self.px(rim, 0.0), ink.line, 0.22)
        pieces = projected.dashes(rim, 34.0, 24.0)
        self.stroke(layer, [self.px(projected.sampled(q), 0.0) for q in pieces], ink, thin=True)

    def cross(self, layer: Layer, centre: Point, ink: style.Ink, size_mm: float = 22.0) -> None:
        """A small cross at a ball's wanted centre."""
        x, y = centre
        arms = [[(x - size_mm, y), (x + size_mm, y)], [(x, y - size_mm), (x, y + size_mm)]]
        self.stroke(layer, [self.px(a) for a in arms], ink, thin=True)

    def pocket(self, layer: Layer, pocket: Pocket, ink: style.Ink) -> None:
        """A ring around a pocket's mouth."""
        x, y = self.table.pockets[pocket]
        middle = (self.table.length_mm / 2, self.table.width_mm / 2)
        out = 10.0 if pocket.startswith("side") else 6.0
        centre = (x + np.sign(x - middle[0]) * out, y + np.sign(y - middle[1]) * out)
        rim = projected.circle((float(centre[0]), float(centre[1])), self.table.corner_mouth_mm * 0.62)
        self.stroke(layer, [self.px(rim, self.table.nose_height_mm)], ink)

    def balls(self, layout: Layout) -> list[Cutout]:
        """The balls of a layout as things that stand in front of lines on the cloth."""
        outlines = (projected.ball_outline(self.camera, at, self.table.radius_mm) for at in layout.values())
        cutouts = (Cutout.polygon(o, self.sizes.width_px, self.sizes.height_px) for o in outlines)
        return [c for c in cutouts if c is not None]


def cushion_contacts(points: ArrayLike, table: Table, reach_mm: float = 12.0) -> list[Point]:
    """Where a way of ball centres turns at a cushion, in order.

    Args:
        points: shape (N, 2), table millimetres.
        reach_mm: how far from touching the nose a turning point may lie, for ways drawn by hand.
    """
    p = np.asarray(points, float).reshape(-1, 2)
    found: list[Point] = []
    for axis, size in ((0, table.length_mm), (1, table.width_mm)):
        for sign, nose in ((-1.0, 0.0), (1.0, size)):
            gap = sign * (nose - p[:, axis]) - table.radius_mm if len(p) else np.zeros(0)
            near = np.flatnonzero(gap < reach_mm)
            for run in np.split(near, np.flatnonzero(np.diff(near) > 1) + 1) if len(near) else []:
                k = int(run[np.argmin(gap[run])])
                # a way that starts or ends at a cushion has not turned there
                if run[0] > 0 and run[-1] < len(p) - 1 and _turns(p[:, axis], run):
                    found.append((float(p[k, 0]), float(p[k, 1])))
    order = {pt: int(np.argmin(np.hypot(*(p - pt).T))) for pt in found}
    return sorted(found, key=order.__getitem__)


def _turns(values: Array, run: NDArray[np.intp]) -> bool:
    """Whether the way comes to this cushion and leaves it again."""
    peak = values[run]
    before, after = values[run[0] - 1], values[run[-1] + 1]
    middle = peak[len(peak) // 2]
    return bool((middle - before) * (after - middle) <= 0)


def way_until(track: NDArray[np.float64], t_s: float, short_mm: float = 0.0) -> Array:
    """The way of a track, shape (N, 3), up to a time, less its last `short_mm`; shape (M, 2), empty before it starts."""
    if len(track) < 2 or t_s <= track[0, 0]:
        return np.zeros((0, 2))
    now = [np.interp(t_s, track[:, 0], track[:, k]) for k in (1, 2)]
    past = track[track[:, 0] < t_s, 1:3]
    way = np.asarray(np.r_[past, [now]], float)
    if short_mm <= 0:
        return way
    total = float(projected.lengths(way)[-1])
    return projected.stretch(way, 0.0, total - short_mm) if total > short_mm else np.zeros((0, 2))


def layout_at(
    before: Layout, tracks: dict[int, NDArray[np.float64]], dropped_s: dict[int, float], t_s: float
) -> Layout:
    """Where each ball is at a moment of the shot: on its track if it moved, else where it lay; gone once dropped."""
    layout: Layout = {}
    for ball, place in before.items():
        if t_s >= dropped_s.get(ball, np.inf):
            continue
        track = tracks.get(ball)
        if track is not None and len(track) and t_s > track[0, 0]:
            place = (
                float(np.interp(t_s, track[:, 0], track[:, 1])),
                float(np.interp(t_s, track[:, 0], track[:, 2])),
            )
        layout[ball] = place
    return layout
