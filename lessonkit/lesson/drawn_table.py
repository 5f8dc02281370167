"""The table as a diagram in place of the footage: drawn from above, its balls where they are at a moment."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from lessonkit.lesson import projected, style
from lessonkit.lesson.diagram import Place, paint
from lessonkit.lesson.diagram_shapes import Look, layout_shapes, table_shapes
from lessonkit.lesson.drawing import layout_at
from lessonkit.lesson.picture import U8, Picture
from lessonkit.lesson.view import GROUND, View
from lessonkit.model import CUE_BALL, Analysis, Layout, Point, SeenShot
from lessonkit.table.camera import project

TRUE_SIZE = Look(ball_scale=1.0, bold=0.6)
"""Balls as large as they are, so that contacts and ghost balls look as they are."""
_OVER = 2
"""The bare table is drawn at so many times its size and averaged, once."""


class DrawnTable:
    """Draws tables for one view of the diagram alone."""

    def __init__(self, view: View, analysis: Analysis) -> None:
        self._view, self._analysis = view, analysis
        table = analysis.table
        middle = (table.length_mm / 2, table.width_mm / 2)
        self._scale = projected.px_per_mm(view.camera, middle)
        self._bare = self._drawn_bare()
        self._last: tuple[Layout, Picture] | None = None

    def _place(self, over: int) -> Place:
        def place(points: list[Point]) -> NDArray[np.float64]:
            return np.asarray(project(self._view.camera, points) * over + (over - 1) / 2)

        return place

    def _drawn_bare(self) -> U8:
        w, h = self._view.size
        image = np.empty((h * _OVER, w * _OVER, 3), np.uint8)
        image[:] = style.bgr(GROUND)
        for shape in table_shapes(self._analysis.table):
            paint(image, shape, self._place(_OVER), self._scale * _OVER)
        return np.asarray(cv2.resize(image, (w, h), interpolation=cv2.INTER_AREA), np.uint8)

    def picture(self, layout: Layout) -> Picture:
        """The table with these balls; the same object as long as they are the same, not to be changed."""
        if self._last is None or self._last[0] != layout:
            image = self._bare.copy()
            for shape in layout_shapes(layout, self._analysis.table, TRUE_SIZE):
                paint(image, shape, self._place(1), self._scale)
            self._last = (dict(layout), Picture.from_bgr(image))
        return self._last[1]

    def at(self, shot: SeenShot | None, t_s: float) -> Picture:
        """The table at a footage time, within a shot or, with None, between shots; as `picture`."""
        if shot is None:
            return self.picture(self._between(t_s))
        tracks = {CUE_BALL: shot.cue_path, **shot.paths}
        dropped_s = {p.ball: p.t_s for p in shot.pocketed}
        return self.picture(layout_at(shot.layout_before, tracks, dropped_s, t_s))

    def _between(self, t_s: float) -> Layout:
        """The layout before the next shot; after the last one what that left."""
        shots = [s.seen for s in self._analysis.shots]
        following = next((s.layout_before for s in shots if s.strike_s >= t_s), None)
        return following if following is not None else (shots[-1].layout_after if shots else {})
